"""Claims: which second of work has the best claim to each spot of ground, on a fine raster.

The strongest sign that an implement is in the ground is ground not yet worked under it. A raster
of about an eighth of the width answers that for a whole visit in a few array operations.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats

ACROSS = 8
"""Samples across the working width."""
MOST_CELLS = 12_000_000
"""A raster is made coarser rather than larger than this."""
NEVER = np.iinfo(np.int32).max

Flags = NDArray[np.bool_]
Cells = NDArray[np.int64]
Seconds = NDArray[np.int32]


@dataclass(frozen=True)
class Raster:
    """Square cells over a piece of the plane. size_m: side of a cell. [m]"""

    west: float
    south: float
    size_m: float
    rows: int
    columns: int

    def centre(self, cells: Cells) -> tuple[Floats, Floats]:
        """Middles of cells."""
        row, column = np.divmod(cells, self.columns)
        return self.west + (column + 0.5) * self.size_m, self.south + (row + 0.5) * self.size_m

    def cell(self, x: Floats, y: Floats) -> Cells:
        """Cells of positions; those beyond the raster are moved to its rim."""
        column = ((x - self.west) / self.size_m).astype(np.int64)
        row = ((y - self.south) / self.size_m).astype(np.int64)
        return np.asarray(
            np.clip(row, 0, self.rows - 1) * self.columns + np.clip(column, 0, self.columns - 1)
        )


@dataclass(frozen=True, eq=False)
class Swath:
    """The working line of every second as samples on a raster.

    cells: (k,) cell of each sample; owner: (k,) second that it belongs to, ascending;
    counts: (m,) samples of each second, at least one; field: (k,) whether the sample lies in the
    field.
    """

    raster: Raster
    cells: Cells
    owner: Seconds
    counts: NDArray[np.intp]
    field: Flags

    def spread(self, values: NDArray[Any]) -> NDArray[Any]:
        """What is told of each second, told of each of its samples: (m,) -> (k,)."""
        return np.repeat(values, self.counts)


def raster(x: Floats, y: Floats, width_m: float) -> Raster:
    """The raster for a way of the working line and a working width. [m]"""
    west, south = float(x.min()) - 2 * width_m, float(y.min()) - 2 * width_m
    east, north = float(x.max()) + 2 * width_m, float(y.max()) + 2 * width_m
    size = max(width_m / ACROSS, float(np.sqrt((east - west) * (north - south) / MOST_CELLS)))
    return Raster(
        west,
        south,
        size,
        rows=int((north - south) / size) + 1,
        columns=int((east - west) / size) + 1,
    )


def swath(
    grid: Raster, x: Floats, y: Floats, heading: Floats, piece: Seconds, width_m: float
) -> Swath:
    """Lay the working line over the ground: (m,) its centre and heading -> samples.

    grid: the raster of this very way, which reaches two widths beyond it on every side.
    """
    step = np.hypot(np.diff(x, append=x[-1]), np.diff(y, append=y[-1]))
    step[np.diff(piece, append=-1) != 0] = 0.0
    substeps = np.clip(np.ceil(step / grid.size_m), 1, 60).astype(np.intp)
    owner = np.repeat(np.arange(len(x)), substeps)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(substeps) - substeps, substeps)
    u = (within + 0.5) / substeps[owner]
    after = np.minimum(owner + 1, len(x) - 1)
    after = np.where(piece[after] == piece[owner], after, owner)
    angle = heading[owner] + u * (heading[after] - heading[owner])
    samples = int(np.ceil(width_m / grid.size_m - 1e-6))
    # In cells from here on: by far the most of the arithmetic is done once for each sample.
    across = ((np.arange(samples) + 0.5) / samples - 0.5) * (width_m / grid.size_m)
    column = (x[owner] + u * (x[after] - x[owner]) - grid.west) / grid.size_m
    row = (y[owner] + u * (y[after] - y[owner]) - grid.south) / grid.size_m
    columns = (column[:, None] - np.sin(angle)[:, None] * across).astype(np.intp)
    rows = (row[:, None] + np.cos(angle)[:, None] * across).astype(np.intp)
    cells = (rows * grid.columns + columns).ravel()
    owners = np.repeat(owner.astype(np.int32), samples)
    return Swath(grid, cells, owners, substeps * samples, np.ones(len(cells), dtype=bool))


def within(lay: Swath, ground: Any, sure: Flags) -> Swath:
    """The same swath with its samples beyond the field told. sure: (m,) seconds wholly in it."""
    from shapely import contains_xy, prepare

    asked = np.flatnonzero(lay.spread(~sure))
    cells, back = np.unique(lay.cells[asked], return_inverse=True)
    prepare(ground)
    field = lay.field.copy()
    field[asked] = np.asarray(contains_xy(ground, *lay.raster.centre(cells)))[back]
    return replace(lay, field=field)


@dataclass(frozen=True, eq=False)
class Ground:
    """When each cell was first and last covered by some work: (cells,) seconds each; NEVER and
    -1 where none covered it."""

    first: Seconds
    last: Seconds


def ground_of(wide: Swath, working: Flags) -> Ground:
    """The ground that the working seconds of a swath cover."""
    cells, owner = _worked(wide, working)
    size = wide.raster.rows * wide.raster.columns
    first, last = np.full(size, NEVER, dtype=np.int32), np.full(size, -1, dtype=np.int32)
    # Of several values for one cell the last one given stays.
    first[cells[::-1]] = owner[::-1]
    last[cells] = owner
    return Ground(first, last)


def first_claims(lay: Swath, working: Flags) -> Seconds:
    """First second at which each cell was covered by work: (cells,), NEVER where none."""
    first = np.full(lay.raster.rows * lay.raster.columns, NEVER, dtype=np.int32)
    cells, owner = _worked(lay, working)
    first[cells[::-1]] = owner[::-1]
    return first


def _worked(lay: Swath, working: Flags) -> tuple[Cells, Seconds]:
    chosen = lay.spread(working)
    return lay.cells[chosen], lay.owner[chosen]


def share(lay: Swath, flag: Flags) -> Floats:
    """Share of each second's samples for which a flag is set: (k,) -> (m,) 0-1."""
    starts = np.cumsum(lay.counts) - lay.counts
    return np.asarray(np.add.reduceat(flag.view(np.int8), starts, dtype=np.int32) / lay.counts)


def alone(lay: Swath, ground: Ground, recent_s: int = 12) -> Floats:
    """Share of each second's line on the field's ground that no other work covers, ever: (m,)."""
    first, last = ground.first[lay.cells], ground.last[lay.cells]
    return share(lay, lay.field & (first >= lay.owner - recent_s) & (last <= lay.owner + recent_s))


def novelty(
    lay: Swath, wide: Swath, working: Flags, rank: NDArray[np.int8], recent_s: int = 8
) -> Floats:
    """Share of the working line of each second that has the best claim to its ground: (m,) 0-1.

    wide: the same line laid wider by as much as neighbours leave between them, so that gaps do
    not look like ground left to work. A claim of higher rank wins whenever it was made; among
    equals the earlier wins. Ground beyond the field is nobody's to work. What the machine
    covered in the last `recent_s` seconds is its own.
    """
    mine = lay.field.copy()
    for r in np.unique(rank[working]).tolist():
        chosen = working & (rank == r)
        lower = np.flatnonzero(lay.spread(rank < r) & mine)
        if len(lower):
            ground = ground_of(wide, chosen)
            first, cells, owner = ground.first, lay.cells[lower], lay.owner[lower]
            earlier, later = first[cells] < owner - recent_s, ground.last[cells] > owner + recent_s
            mine[lower] = ~(earlier | later)
        else:
            first = first_claims(wide, chosen)
        equal = np.flatnonzero(lay.spread(rank == r) & mine)
        mine[equal] = first[lay.cells[equal]] >= lay.owner[equal] - recent_s
    return share(lay, mine)


def beside(ground: Ground, spots: list[Cells], recent_s: int = 12) -> Flags:
    """Whether any of the spots given for each second is covered by other work, ever: (m,)."""
    now = np.arange(len(spots[0]))
    covered = np.zeros(len(now), dtype=bool)
    for spot in spots:
        covered |= (ground.first[spot] < now - recent_s) | (ground.last[spot] > now + recent_s)
    return covered
