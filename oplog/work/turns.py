"""Turns: known by how they are driven, where the ground that is turned on does not tell.

Where the headland is worked last, or another day, ground under a turn is new as it is under work.
But nobody works in a loop, nor in a bend that ends in a change of gear; nor is a field worked by
pieces of its headland, one between every two bouts, each over the one before: the sides of a lap
lie edge to edge.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from oplog.work.claims import Swath, ground_of, share
from oplog.work.motion import Path
from oplog.work.runs import SHORT_S, Runs, comb, firsts, heading_change, true_runs

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
ABOUT = np.radians(135)
GEAR_S = 60
"""A turn with a change of gear takes no longer."""
TIGHT_M, LOOP = 15.0, np.radians(200)
"""Radius below which a bend is tight, and how far one swings that is a loop."""
LONGEST_S = 90
"""No turn takes longer, nor does the way along a headland to a bout some widths further on."""
WIDTHS = 4
"""A shorter run, in widths, is no bout that could be turned from."""
AGAINST = -0.8
"""Cosine of how far two bouts that are driven against one another are turned, at most."""
PARALLEL = np.radians(8)
"""Bouts that are turned between lie no further askew."""
NEAR = 9
"""The next bout is no more widths away; the other side of a lap mostly is."""
SHORTER = 0.5
"""A run between two bouts is part of a turn if it is shorter than this share of either."""
OVER = 0.4
"""Share of the ground under a turn over which others lie, at least."""

BLURRED = 1 / 6
"""Where positions wander by more of the width, sides of laps seem to lie over one another."""


def backed_about(path: Path, run: Rows) -> Flags:
    """Seconds between two runs of which the second goes the other way, with a change of gear
    between: (m,) mask. That takes too long to be seen within seconds, but is a turn all the same.

    run: (m,) number of each second's run.
    """
    found = np.zeros(len(run), dtype=bool)
    first, lasts_s = firsts(run), np.bincount(run)
    long = np.flatnonzero(lasts_s >= SHORT_S)
    for before, after in pairwise(long[long > 0].tolist()):
        a, b = int(first[before] + lasts_s[before]), int(first[after])
        if b - a > GEAR_S or path.piece[a - 1] != path.piece[b]:
            continue
        about = abs(path.heading[b] - path.heading[a - 1]) > ABOUT
        found[max(a - 3, 0) : b + 3] = about and path.reverse[a:b].any()
    return found


def looped(path: Path) -> Flags:
    """Seconds of loops, bends so tight and long that nobody works in them: (m,) mask.

    In work round and round an end comes about by half a circle; a loop swings further.
    """
    bend = heading_change(path.heading)
    tight = (bend > 6.0 * np.maximum(path.speed, 0.7) / TIGHT_M) & ~path.reverse
    found = np.zeros(len(bend), dtype=bool)
    for a, b in true_runs(tight, path.piece):
        swung = np.abs(np.diff(path.heading[max(a - 2, 0) : b + 3])).sum()
        found[a : b + 1] = swung > LOOP
    return found


def turned_over(path: Path, run: Rows, runs: Runs, lay: Swath, width_m: float) -> Flags:
    """Seconds from the end of a bout to the beginning of the next, where these lie over one
    another: (m,) mask.

    run: (m,) number of each second's run; lay: of the line on a raster.
    """
    number = np.zeros(len(run), dtype=np.int32)
    if path.drift_m > BLURRED * width_m:
        return number > 0
    for k, rows in enumerate(_between(path, run, runs, width_m), 1):
        number[rows] = k
    turning = number > 0
    if not turning.any():
        return turning
    # Of the turns alone: they are a tenth of the day, and all that they cover is under themselves.
    some = lay.part_of(turning)
    ground = ground_of(some, turning[turning])
    own = number.take(some.second)
    others = number.take(ground.first.take(some.cells)) != own
    others |= number.take(ground.last.take(some.cells)) != own
    over = np.zeros(len(run))
    over[turning] = share(some, others)
    mean = np.bincount(number, weights=over) / np.maximum(np.bincount(number), 1)
    return np.asarray(turning & (mean[number] > OVER))


def _between(path: Path, run: Rows, runs: Runs, width_m: float) -> Iterator[slice]:
    """Rows between each two bouts that follow one another and are driven against one another."""
    first, count = firsts(run), np.bincount(run)
    last = first + count - 1
    long = np.flatnonzero((count >= SHORT_S) & (runs.length_m > WIDTHS * width_m))
    bouts = long[long > 0].tolist()
    tooth = comb(runs, width_m)
    for k, before in enumerate(bouts):
        for step in (1, 2):
            if k + step >= len(bouts):
                continue
            after = bouts[k + step]
            a, b = int(last[before]), int(first[after])
            shorter = min(runs.length_m[before], runs.length_m[after])
            if step > 1 and runs.length_m[bouts[k + 1]] > SHORTER * shorter:
                continue
            if b - a > LONGEST_S or path.piece[a] != path.piece[b] or _sides(runs, before, after):
                continue
            # Short sides of laps round what is left lie side by side, ways not.
            if tooth[before + 1 : after].any():
                continue
            # A way to where a lap begins, say, is not parallel to it as bouts are.
            turned = (runs.angle[before] - runs.angle[after] + np.pi / 2) % np.pi - np.pi / 2
            if abs(turned) > PARALLEL:
                continue
            against = np.cos(path.heading[b] - path.heading[a]) < AGAINST
            if against and _aside_m(path, a, b) < NEAR * width_m:
                yield slice(a + 1, b)


def _aside_m(path: Path, end: int, begin: int) -> float:
    """How far aside of the line that ends in one row another begins. [m]"""
    dx, dy = path.x[begin] - path.x[end], path.y[begin] - path.y[end]
    return float(abs(dy * np.cos(path.heading[end]) - dx * np.sin(path.heading[end])))


def _sides(runs: Runs, before: int, after: int) -> bool:
    """Whether two runs are sides of one lap, between which the third may be worked as well, or
    either is of a lap round most of the field, of which what lies between may be the last side."""
    one = runs.lap[before] == runs.lap[after] and runs.lap[before] > 0
    return bool(one or runs.around[before] or runs.around[after])
