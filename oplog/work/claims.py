"""Claims: which second of work has the best claim to each spot of ground, on a fine raster.

The strongest sign that an implement is in the ground is ground not yet worked under it. A raster
of about an eighth of the width answers that for a whole visit in a few array operations.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats

ACROSS = 8
"""Samples across the working width."""
MOST_CELLS = 12_000_000
"""A raster is made coarser rather than larger than this."""
SHORT_S = 32_000
"""A way of no more seconds has them in two bytes each, which is half the memory to go through."""
LAID_AT_ONCE = 8192
"""So many steps are laid out at a time, as the processor's own memory holds that."""
LONG_STEPS = 100
"""A run of more steps is gone through by itself."""

Flags = NDArray[np.bool_]
Cells = NDArray[np.int64]
Seconds = NDArray[np.int16 | np.int32]
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
    least one; begins: (m + 1,) first step of each second, and n; column, row: (n,) middle of the
    line, in cells; sin, cos: (n,) of its heading.
    """

    raster: Raster
    owner: Seconds
    steps: NDArray[np.intp]
    begins: NDArray[np.intp]
    column: Cellwise
    row: Cellwise
    sin: Cellwise
    cos: Cellwise


@dataclass(frozen=True, eq=False)
class Swath:
    """The working line of every second as samples on a raster, k of them in each step of its way.

    cells: (n, k) cell of each sample; second: (n, k) that it belongs to; field: (n, k) whether it
    lies in the field.
    """

    way: Way
    cells: Cells
    second: Seconds
    field: Flags

    @property
    def raster(self) -> Raster:
        return self.way.raster

    @property
    def seconds(self) -> Seconds:
        """The seconds that it is of, ascending."""
        return self.way.owner[self.way.begins[:-1]]

    def part_of(self, chosen: Flags) -> Swath:
        """The steps of some of its seconds: (m,) mask."""
        way, rows = self.way, np.flatnonzero(self.of_steps(chosen))
        steps = way.steps[chosen]
        names = ("owner", "column", "row", "sin", "cos")
        columns = {name: getattr(way, name).take(rows) for name in names}
        part = replace(way, steps=steps, begins=_begins(steps), **columns)
        return Swath(
            part,
            self.cells.take(rows, axis=0),
            self.second.take(rows, axis=0),
            self.field.take(rows, axis=0),
        )

    def of_steps(self, flags: NDArray[Any]) -> NDArray[Any]:
        """What is said of each second, for each step: (m,) -> (n,)"""
        return np.repeat(flags, self.way.steps)


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
    begins = _begins(steps)
    place = np.arange(begins[-1]) - np.repeat(begins[:-1], steps)
    u = ((place + 0.5) / np.repeat(steps, steps)).astype(np.float32)

    def between(start: Floats, change: Floats) -> Cellwise:
        at, by = (np.repeat(v.astype(np.float32), steps) for v in (start, change))
        return np.asarray(at + u * by)

    angle = between(heading, turn)
    return Way(
        grid,
        np.repeat(np.arange(len(x), dtype=np.int16 if len(x) <= SHORT_S else np.int32), steps),
        steps,
        begins,
        between((x - grid.west) / grid.size_m, dx / grid.size_m),
        between((y - grid.south) / grid.size_m, dy / grid.size_m),
        np.sin(angle),
        np.cos(angle),
    )


def _begins(steps: NDArray[np.intp]) -> NDArray[np.intp]:
    """The first step of each second, and the number of all."""
    return np.concatenate([[0], np.cumsum(steps)])


def swath(way: Way, width_m: float) -> Swath:
    """Lay the working line over the ground, without a hole."""
    wide = width_m / way.raster.size_m
    samples = int(np.ceil(wide - 1e-6))
    across = ((np.arange(samples, dtype=np.float32) + 0.5) / samples - 0.5) * np.float32(wide)
    aside, cells = across[:, None], np.empty((len(way.owner), samples), dtype=np.intp)
    # In cells, and some steps at a time, as long rows in the processor's own memory are what NumPy
    # is quick with. The raster reaches two widths beyond the way, so that nothing lies off it.
    for begin in range(0, len(cells), LAID_AT_ONCE):
        some = slice(begin, begin + LAID_AT_ONCE)
        row = (way.row[some] + way.cos[some] * aside).astype(np.int32)
        row *= np.int32(way.raster.columns)
        row += (way.column[some] - way.sin[some] * aside).astype(np.int32)
        cells[some] = row.T
    second = np.repeat(way.owner, samples).reshape(cells.shape)
    return Swath(way, cells, second, np.ones(cells.shape, dtype=bool))


def within(lay: Swath, ground: Any, sure: Flags) -> Swath:
    """The same swath with its samples beyond the field told. sure: (m,) seconds wholly in it."""
    from shapely import contains_xy, prepare

    asked = _stretches(lay, ~sure)
    inside = np.zeros(lay.raster.rows * lay.raster.columns, dtype=bool)
    for run in asked:
        inside[lay.cells[run].ravel()] = True
    once = np.flatnonzero(inside)
    prepare(ground)
    inside[once] = contains_xy(ground, *lay.raster.centre(once))
    field = lay.field.copy()
    for run in asked:
        field[run] = inside.take(lay.cells[run])
    return replace(lay, field=field)


@dataclass(frozen=True, eq=False)
class Ground:
    """When each cell was first and last covered by some work: (cells,) seconds each; `never` and
    -1 where none covered it."""

    first: Seconds
    last: Seconds


Part = tuple[Flags, Ground]
"""Some of the seconds of work, (m,), and the ground that they cover."""


def never(seconds: Seconds) -> int:
    """What stands for the first second of a cell that no work covers: later than any."""
    return int(np.iinfo(seconds.dtype).max)


def ground_of(wide: Swath, working: Flags) -> Ground:
    """The ground that the working seconds of a swath cover."""
    first = _unclaimed(wide)
    ground = Ground(first, np.full_like(first, -1))
    for cells, seconds in _samples(wide, working):
        np.minimum.at(ground.first, cells, seconds)
        # Of several values for one cell the last one given stays.
        ground.last[cells] = seconds
    return ground


def together(grounds: Sequence[Ground]) -> Ground:
    """The ground that some work covers, from that of each part of it."""
    # One after the other: NumPy's own `reduce` copies all of them side by side first.
    return Ground(
        reduce(np.minimum, [g.first for g in grounds]),
        reduce(np.maximum, [g.last for g in grounds]),
    )


def first_claims(lay: Swath, working: Flags) -> Seconds:
    """First second at which each cell was covered by work: (cells,), `never` where none."""
    first = _unclaimed(lay)
    for cells, seconds in _samples(lay, working):
        np.minimum.at(first, cells, seconds)
    return first


def _unclaimed(lay: Swath) -> Seconds:
    return np.full(lay.raster.rows * lay.raster.columns, never(lay.second), lay.second.dtype)


def _samples(lay: Swath, working: Flags) -> Iterator[tuple[Cells, Seconds]]:
    """The cells and seconds of what working seconds cover, in the order driven: run by run without
    a copy, but where runs are so short that one copy of all costs less than to go through them."""
    runs = _stretches(lay, working)
    if sum(run.stop - run.start for run in runs) > LONG_STEPS * len(runs):
        for run in runs:
            yield lay.cells[run].ravel(), lay.second[run].ravel()
        return
    rows = np.flatnonzero(lay.of_steps(working))
    yield lay.cells.take(rows, axis=0).ravel(), lay.second.take(rows, axis=0).ravel()


def _stretches(lay: Swath, working: Flags) -> list[slice]:
    """The steps of each run of working seconds, in the order driven: parts small enough for the
    processor's own memory, and of which no copy need be made."""
    told = np.concatenate([[False], working, [False]])
    change = np.flatnonzero(told[1:] != told[:-1])
    return [slice(a, b) for a, b in lay.way.begins[change].reshape(-1, 2).tolist()]


def share(lay: Swath, flag: Flags) -> Floats:
    """Share of each second's samples for which a flag is set: (n, k) -> (m,) 0-1.

    flag: of all samples, or of some across the line.
    """
    across = flag.shape[1]
    if across == ACROSS and flag.flags.c_contiguous:
        # The usual number, which a number of eight bytes holds: counted for a step at a time.
        each_step = np.bitwise_count(flag.ravel().view(np.uint64))
        told = np.add.reduceat(each_step, lay.way.begins[:-1], dtype=np.int32)
    else:
        each = flag.ravel().view(np.int8)
        told = np.add.reduceat(each, lay.way.begins[:-1] * across, dtype=np.int32)
    return np.asarray(told / (lay.way.steps * across))


def alone(lay: Swath, ground: Ground, recent_s: int = 12) -> Floats:
    """Share of each second's line on the field's ground that no other work covers, ever: (m,)."""
    return share(lay, lay.field & _own(ground, lay.cells, lay.second, recent_s))


def _own(ground: Ground, cells: Cells, second: Seconds, recent_s: int) -> Flags:
    """Whether no work but that of some seconds about it covers a cell."""
    first, last = ground.first.take(cells), ground.last.take(cells)
    return np.asarray((first >= second - recent_s) & (last <= second + recent_s))


def novelty(
    lay: Swath, wide: Swath, working: Flags, rank: NDArray[np.int8], known: Sequence[Part] = ()
) -> Floats:
    """Share of the working line of each second that has the best claim to its ground: (m,) 0-1."""
    return share(lay, claimed(lay, wide, working, rank, known))


def claimed(
    lay: Swath, wide: Swath, working: Flags, rank: NDArray[np.int8], known: Sequence[Part] = (),
    recent_s: int = 8,
) -> Flags:  # fmt: skip
    """Which samples of a swath have the best claim to their ground: (n, k) mask.

    wide: the same line laid wider by as much as neighbours leave between them, so that gaps do
    not look like ground left to work; and for all seconds, where `lay` is of some. working, rank:
    (m,) of all. A claim of higher rank wins whenever it was made; among equals the earlier wins.
    Ground beyond the field is nobody's to work. What the machine covered in the last `recent_s`
    seconds is its own. known: what ground some of the work covers, where that has been worked out
    before.
    """
    mine, since, ranked = lay.field.copy(), lay.second - recent_s, rank[lay.seconds]
    ranks = lay.of_steps(ranked)
    for r in np.unique(rank[working]).tolist():
        chosen, lower = working & (rank == r), np.flatnonzero(ranks < r)
        ground = next((g for part, g in known if np.array_equal(part, chosen)), None)
        if len(lower):
            ground = ground or ground_of(wide, chosen)
            cells, second = lay.cells.take(lower, axis=0), lay.second.take(lower, axis=0)
            mine[lower] &= _own(ground, cells, second, recent_s)
        first = ground.first if ground else first_claims(wide, chosen)
        for run in _stretches(lay, ranked == r):
            mine[run] &= first.take(lay.cells[run]) >= since[run]
    return mine


def turned(
    lay: Swath, ground: Ground, heading: Floats, rows: slice | Flags, other_s: int
) -> Floats:
    """How far the first and the last work on each sample's ground lies turned to its own line:
    (2, n, k) [rad], 0 for along it; NaN where that is no other work.

    rows: the steps of the swath that are asked. other_s: work this much sooner or later is other.
    """
    cells, now = lay.cells[rows], lay.second[rows]
    found = []
    for by in (ground.first.take(cells), ground.last.take(cells)):
        other = (by >= 0) & (by != never(by)) & (np.abs(by - now) > other_s)
        turn = heading[np.where(other, by, 0)] - heading[now]
        found.append(np.where(other, np.abs((turn + np.pi / 2) % np.pi - np.pi / 2), np.nan))
    return np.stack(found)


def beside(ground: Ground, spots: list[Cells], recent_s: int = 12) -> Flags:
    """Whether any of the spots given for each second is covered by other work, ever: (m,)."""
    now = np.arange(len(spots[0]), dtype=ground.first.dtype)
    before, after = now - recent_s, now + recent_s
    covered = np.zeros(len(now), dtype=bool)
    for spot in spots:
        covered |= (ground.first.take(spot) < before) | (ground.last.take(spot) > after)
    return covered
