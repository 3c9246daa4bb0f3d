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
Cellwise = NDArray[np.float32]


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
class Way:
    """The way of a working line over a raster, in steps no longer than a cell.

    owner: (n,) second that each step belongs to, ascending; steps: (m,) steps of each second, at
    least one; column, row: (n,) middle of the line, in cells; sin, cos: (n,) of its heading.
    """

    raster: Raster
    owner: Seconds
    steps: NDArray[np.intp]
    column: Cellwise
    row: Cellwise
    sin: Cellwise
    cos: Cellwise


@dataclass(frozen=True, eq=False)
class Swath:
    """The working line of every second as samples on a raster, k of them in each step of its way.

    cells: (n, k) cell of each sample; field: (n, k) whether the sample lies in the field.
    """

    way: Way
    cells: Cells
    field: Flags

    @property
    def raster(self) -> Raster:
        return self.way.raster

    @property
    def owner(self) -> Seconds:
        """Second that each step belongs to: (n,)"""
        return self.way.owner


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


def way_of(x: Floats, y: Floats, heading: Floats, piece: Seconds, width_m: float) -> Way:
    """The way of a working line, on a raster for a working width: (m,) its centre and heading."""
    grid = raster(x, y, width_m)
    after = np.minimum(np.arange(len(x)) + 1, len(x) - 1)
    after = np.where(piece[after] == piece, after, after - 1)
    dx, dy, turn = x[after] - x, y[after] - y, heading[after] - heading
    steps = np.clip(np.ceil(np.hypot(dx, dy) / grid.size_m), 1, 60).astype(np.intp)
    first = np.cumsum(steps) - steps
    u = ((np.arange(steps.sum()) - np.repeat(first, steps) + 0.5) / np.repeat(steps, steps)).astype(
        np.float32
    )

    def between(start: Floats, change: Floats) -> Cellwise:
        at, by = (np.repeat(v.astype(np.float32), steps) for v in (start, change))
        return np.asarray(at + u * by)

    angle = between(heading, turn)
    return Way(
        grid,
        np.repeat(np.arange(len(x), dtype=np.int32), steps),
        steps,
        between((x - grid.west) / grid.size_m, dx / grid.size_m),
        between((y - grid.south) / grid.size_m, dy / grid.size_m),
        np.sin(angle),
        np.cos(angle),
    )


def swath(way: Way, width_m: float) -> Swath:
    """Lay the working line over the ground, without a hole."""
    wide = width_m / way.raster.size_m
    samples = int(np.ceil(wide - 1e-6))
    across = ((np.arange(samples, dtype=np.float32) + 0.5) / samples - 0.5) * np.float32(wide)
    # In cells: by far the most of the arithmetic is done once for each sample. The raster reaches
    # two widths beyond the way, so that nothing lies off it.
    columns = (way.column[:, None] - way.sin[:, None] * across).astype(np.int32)
    rows = (way.row[:, None] + way.cos[:, None] * across).astype(np.int32)
    cells = (rows * np.int32(way.raster.columns) + columns).astype(np.intp)
    return Swath(way, cells, np.ones(cells.shape, dtype=bool))


def within(lay: Swath, ground: Any, sure: Flags) -> Swath:
    """The same swath with its samples beyond the field told. sure: (m,) seconds wholly in it."""
    from shapely import contains_xy, prepare

    asked = np.flatnonzero(~sure[lay.owner])
    cells, back = np.unique(lay.cells[asked], return_inverse=True)
    prepare(ground)
    field = lay.field.copy()
    inside = np.asarray(contains_xy(ground, *lay.raster.centre(cells)))
    field[asked] = inside[back].reshape(field[asked].shape)
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
    last = np.full(wide.raster.rows * wide.raster.columns, -1, dtype=np.int32)
    # Of several values for one cell the last one given stays.
    last[cells] = owner
    return Ground(_first(wide, cells, owner), last)


def first_claims(lay: Swath, working: Flags) -> Seconds:
    """First second at which each cell was covered by work: (cells,), NEVER where none."""
    return _first(lay, *_worked(lay, working))


def _first(lay: Swath, cells: Cells, owner: Seconds) -> Seconds:
    first = np.full(lay.raster.rows * lay.raster.columns, NEVER, dtype=np.int32)
    first[cells[::-1]] = owner[::-1]
    return first


def _worked(lay: Swath, working: Flags) -> tuple[Cells, Seconds]:
    """Cells of the working seconds' samples, and the second of each, ascending: (j,)"""
    chosen = np.flatnonzero(working[lay.owner])
    cells = lay.cells.take(chosen, axis=0)
    return cells.ravel(), np.repeat(lay.owner[chosen], cells.shape[1])


def share(lay: Swath, flag: Flags) -> Floats:
    """Share of each second's samples for which a flag is set: (n, k) -> (m,) 0-1.

    flag: of all samples, or of some across the line.
    """
    across = flag.shape[1]
    steps = lay.way.steps
    starts = (np.cumsum(steps) - steps) * across
    told = np.add.reduceat(flag.ravel().view(np.int8), starts, dtype=np.int32)
    return np.asarray(told / (steps * across))


def alone(lay: Swath, ground: Ground, recent_s: int = 12) -> Floats:
    """Share of each second's line on the field's ground that no other work covers, ever: (m,)."""
    return share(lay, lay.field & _own(ground, lay.cells, lay.owner[:, None], recent_s))


def _own(ground: Ground, cells: Cells, owner: Seconds, recent_s: int) -> Flags:
    """Whether no work but that of some seconds about it covers a cell."""
    first, last = ground.first.take(cells), ground.last.take(cells)
    return np.asarray((first >= owner - recent_s) & (last <= owner + recent_s))


def novelty(lay: Swath, wide: Swath, working: Flags, rank: NDArray[np.int8]) -> Floats:
    """Share of the working line of each second that has the best claim to its ground: (m,) 0-1."""
    return share(lay, claimed(lay, wide, working, rank))


def claimed(
    lay: Swath, wide: Swath, working: Flags, rank: NDArray[np.int8], recent_s: int = 8
) -> Flags:
    """Which samples of a swath have the best claim to their ground: (n, k) mask.

    wide: the same line laid wider by as much as neighbours leave between them, so that gaps do
    not look like ground left to work. A claim of higher rank wins whenever it was made; among
    equals the earlier wins. Ground beyond the field is nobody's to work. What the machine
    covered in the last `recent_s` seconds is its own.
    """
    mine = lay.field.copy()
    ranks, owner = rank[lay.owner], lay.owner
    for r in np.unique(rank[working]).tolist():
        chosen = working & (rank == r)
        lower = np.flatnonzero(ranks < r)
        if len(lower):
            ground = ground_of(wide, chosen)
            first, cells = ground.first, lay.cells.take(lower, axis=0)
            mine[lower] &= _own(ground, cells, owner[lower][:, None], recent_s)
        else:
            first = first_claims(wide, chosen)
        since = np.where(ranks == r, owner - recent_s, -1)
        mine &= first.take(lay.cells) >= since[:, None]
    return mine


def beside(ground: Ground, spots: list[Cells], recent_s: int = 12) -> Flags:
    """Whether any of the spots given for each second is covered by other work, ever: (m,)."""
    now = np.arange(len(spots[0]))
    covered = np.zeros(len(now), dtype=bool)
    for spot in spots:
        covered |= (ground.first[spot] < now - recent_s) | (ground.last[spot] > now + recent_s)
    return covered
