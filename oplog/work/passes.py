"""Passes: ground done over again without leaving the field, and whether that is a second pass.

Rolling in the morning and drilling in the afternoon is two pieces of work in one stay. Ground
covered again is otherwise read as travelling over finished work, so this is asked before the
states are told.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.work.claims import Swath, beside, first_claims, ground_of, never, share
from oplog.work.idle import stops
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import beside_stops, heading_change, true_runs, whole_runs

SHARE = 0.5
"""Ground done again is a second pass where it is more than half of the ground done before it.

Below that it is work done over, in the same visit: its hours count as work, its ground as
overlap. Common practice, no source: the share at which a person would say the field was done
again."""

LEAST = 0.1
"""Less than this of the ground done again is odd runs, not work done over."""

FEWEST_RUNS = 4
"""Runs laid side by side over finished ground that are work, not ways to a trailer or gate."""

MOSTLY = 0.7
"""Share of the runs of a series that are over finished ground, at least."""

OLD, WAY_RUNS = 0.75, 6
"""Share of a run's ground from which on it is over finished ground; and of how many such runs, with
the bends of a headland between them, ways to a stop and from it to the work consist at most."""

FEW = 3
"""Runs in a row of another kind that do not end a second pass."""

ALONG, SHARP, CROSSED = np.radians(3.0), np.radians(25.0), 0.1
"""How far parallel runs may be turned to each other, up to which angle runs cross sharply, and the
share of pairs that do where they are ways."""

CAME, TAIL, TAIL_S = 0.25, 0.1, 60
"""So much of the work done over may come before it in its stay unseen, and so much or so many
seconds after it."""

STOOD_S = 45
"""How long a machine stands that does something else than turn."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Again:
    """A stretch in which ground was done over again. first, last: rows of the path.

    share: of the ground covered before it.
    """

    first: int
    last: int
    share: float


def done_again(path: Path, line: Line, lay: Swath, width_m: float) -> Again | None:
    """The longest stretch in which finished ground was worked again, or None.

    Only long straight runs are asked: turns, and ways to and from a trailer, cover ground again
    in any work. A stretch is runs one after the other, all on ground covered before, most of
    them with another of the stretch at their side. lay: of the line.
    """
    bouts, run = _long_runs(path, width_m)
    if bouts.sum() < 120:
        return None
    old = share(lay, first_claims(lay, bouts).take(lay.cells) < lay.second - 120)
    numbers = np.unique(run[bouts])
    mean_old = np.bincount(run, weights=old * bouts) / np.maximum(
        np.bincount(run, weights=bouts), 1
    )
    done = mean_old > OLD
    # Ways to a yard or a trailer and back lead over whatever ground.
    led = beside_stops(path, run, numbers, _breaks(path))
    numbers = numbers[~_ways(led, done[numbers])]
    found = [
        again
        for a, b in _stretches(done[numbers])
        if (again := _stretch(path, line, lay, bouts, run, numbers[a : b + 1], done, width_m))
    ]
    most = max(found, key=lambda s: s.share) if found else None
    return most if most is not None and most.share >= LEAST else None


def _long_runs(path: Path, width_m: float) -> tuple[Flags, NDArray[np.intp]]:
    """Straight forward runs of several widths: (m,) mask, and the number of each second's run."""
    run = whole_runs(path)
    way = np.bincount(run, weights=path.speed)
    long = way >= max(40.0, 4 * width_m)
    long[0] = False
    return long[run] & (heading_change(path.heading) < np.radians(20)), run


def _ways(led: Flags, done: Flags) -> Flags:
    """Runs that lead to a stop or from one, and on over finished ground to the work: (n,) mask.

    led: (n,) those right before stops and after them; done: (n,) runs over finished ground.
    """
    found = led.copy()
    for a, b in _sets(done):
        if b < len(led) and b - a <= WAY_RUNS and led[a:b].any():
            found[a:b] = True
    return found


def _sets(flags: Flags) -> list[list[int]]:
    """First of each series of set flags, and the one after its last."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [[int(a), int(b)] for a, b in ends.reshape(-1, 2)]


def _breaks(path: Path) -> list[tuple[int, int]]:
    """Where a machine left the field or stood for long: last row before, first row after it."""
    stood = stops(path, STOOD_S)
    return [*((a, a + 1) for a in np.flatnonzero(np.diff(path.piece) != 0).tolist()), *stood]


def _stretches(flags: Flags) -> list[tuple[int, int]]:
    """First and last of each series of set flags that is long enough, one gap let pass; and up to
    `FEW` in a row between two such series, short runs in a corner that is still to be worked."""
    filled = flags.copy()
    filled[1:-1] |= flags[:-2] & flags[2:]
    found: list[tuple[int, int]] = []
    for a, b in _sets(filled):
        # On ways along a headland that is done it is every second run, with a bout between.
        if flags[a:b].sum() < FEWEST_RUNS or flags[a:b].mean() < MOSTLY:
            continue
        if found and a - found[-1][1] - 1 <= FEW:
            found[-1] = found[-1][0], b - 1
        else:
            found.append((a, b - 1))
    return found


def _stretch(
    path: Path, line: Line, lay: Swath, bouts: Flags, run: NDArray[np.intp],
    numbers: NDArray[np.intp], done: Flags, width_m: float,
) -> Again | None:  # fmt: skip
    """A series of runs as a stretch, if they lie side by side. done: (k,) runs over finished
    ground: those of the series that lead to a stop and from it have others beside them too."""
    mine = bouts & np.isin(run, numbers)
    first, last = int(np.flatnonzero(mine)[0]), int(np.flatnonzero(mine)[-1])
    sides = []
    for reach in (0.75, 1.0, -0.75, -1.0):
        x = line.x - np.sin(line.heading) * reach * width_m
        y = line.y + np.cos(line.heading) * reach * width_m
        sides.append(lay.raster.cell(x, y))
    meant = bouts & done[run]
    meant[:first], meant[last + 1 :] = False, False
    flanked = beside(ground_of(lay, meant), sides)[mine].mean()
    if flanked < 0.6 or _cross(line, mine, run, numbers):
        return None
    earlier = bouts & (np.arange(len(path)) < first)
    before, during = (first_claims(lay, some) != never(lay.second) for some in (earlier, mine))
    covered = max(int(before.sum()), 1)
    return Again(*_widened(path, bouts, first, last), float((before & during).sum() / covered))


def _cross(line: Line, mine: Flags, run: NDArray[np.intp], numbers: NDArray[np.intp]) -> bool:
    """Whether many pairs of runs of a series cross at a sharp angle: ways to and fro between the
    ends of a field do, and lie beside each other too, but bouts only some odd way."""
    rows = [np.flatnonzero(mine & (run == n))[[0, -1]] for n in numbers.tolist()]
    at = line.x[rows] + 1j * line.y[rows]
    begin, way = at[:, 0], at[:, 1] - at[:, 0]
    turned = np.angle(way[:, None].conj() * way)
    sharp = np.abs(np.sin(turned))
    away = begin - begin[:, None]
    across = (way[:, None].conj() * way).imag
    across = np.where(sharp > np.sin(ALONG), across, np.inf)
    share, of_other = (away.conj() * way).imag / across, (away.conj() * way[:, None]).imag / across
    middle = (np.abs(share - 0.5) < 0.4) & (np.abs(of_other - 0.5) < 0.4)
    crossed = middle & (sharp > np.sin(ALONG)) & (sharp < np.sin(SHARP))
    return bool(crossed.mean() > CROSSED)


def _widened(path: Path, bouts: Flags, first: int, last: int) -> tuple[int, int]:
    """A stretch from where the machine came back to the field or set off, or else from the middle
    of the longest pause before it, to the end where that is near.

    What was done over begins with a lap, of which one side is the first run of its stay and others
    may lie where few did before: a stay belongs to the stretch that makes up most of it.
    """
    done = float(bouts[first : last + 1].sum())
    came = sorted(b for _, b in _breaks(path) if b <= first)
    pauses = [(a, b) for a, b in true_runs(~bouts, path.piece) if b < first]
    if len(came) and bouts[came[-1] : first].sum() < CAME * done:
        first = int(came[-1])
    elif pauses:
        a, b = pauses[-1]
        first = (a + b) // 2 + 1
    return first, len(path) - 1 if bouts[last + 1 :].sum() < max(TAIL_S, TAIL * done) else last
