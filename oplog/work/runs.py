"""Straight runs, and bouts known by their likeness to those beside them.

A last strip is mostly on ground that its neighbours have worked, and so is a way across the
field; but a bout runs along its neighbours to a fraction of a degree, is as long as they are
and is driven at the same speed. A way to the gate is nearly never all three.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats
from oplog.work.line import Line
from oplog.work.motion import Path

Flags = NDArray[np.bool_]
PARALLEL = np.radians(0.3)
"""A steered bout keeps to its neighbours this closely; drift adds to it."""
NEAR_WIDTHS = 4.5
AS_LONG = 0.85
"""How long the shorter of two runs beside one another is, of the other, that are as long."""
FEWEST_BESIDE = 4
"""So many runs with others beside them show that one without is another matter."""
SHORT_S = 12
"""A shorter run has no side that could be told."""
MOST_LEFT = 4
"""Widths between the bouts of a comb, at most; EVENLY: by how much these may differ, in widths."""
EVENLY = 0.12
WINDROW_M, STEERED = 40.0, 0.08
"""How far apart the bouts of a comb are at most, whatever their width, if they are long; and by
what share of that they may differ where they lie more than two widths apart."""
STOPPED_M = 12.0
"""A bout goes on no further from where it was broken off, nor further back."""
AROUND, WHOLE = 0.5, 0.75
"""Share of the way round a field from which on its edge is followed for the sake of work; and of a
whole lap, which cuts corners and lies within the edge."""
BEND_S, STEADY, AWAY = 12, 0.55, np.radians(130)
"""A bend that is driven through: its length at most, the share of the working speed kept, and how
far it turns at most."""
SPIRAL_S, SPIRAL, SAME_HAND = 20, 0.6, 2
"""The same of a bend in work round and round, where one end comes about after the other, over new
ground; and how many before it went to the same hand."""
SIDE_S, SIDE_WIDTHS = 6, 5
"""A shorter run is none between two corners: nor is one across a turn, if it is not this long."""
STRAYS_M, STRAYS = 1.5, 0.1
"""How far off his own tracks a driver strays who goes over them again, or in widths, if more."""
ON_LAP = 0.35
"""How far off the line of a lap, in widths, a run lies that goes along it."""
LEADS_S = 60.0
"""How soon a run leads to a stop, or comes from one."""
IN_LINE, HALT_M = np.cos(np.radians(15)), 30.0
"""How straight on and how near a bout goes on after a halt."""
KINK_S, KINK = (6, 16), np.radians(15)
"""A kink bends within so long either side, and not from there to further off; by how much."""
SLIGHT, AT_ONCE, SEEN_M = np.radians(8), 0.05, 0.1
"""A slighter one parts a run as well where the pace, if the work keeps its own, changes by as much,
as a log ratio, and positions tremble by less."""
PACE_S, PACE, EVEN = (3, 12), 0.3, 1 / 3
"""A run is parted where its speed changes between so long before and after, by how much, as a log
ratio; and how far it varies on either side at most, as a share of that."""
TREMBLES_M = 0.2
"""Where positions tremble by more no kink is seen."""
LAP_WIDTHS, LAP_M, LAP_MOST_M = 0.75, 3.0, 12.0
"""By how much the sides of a lap differ in distance from the edge, as it is drawn: a part of a
width more than the second, but no more than the third."""
CORNER_S = 45
"""No longer between two sides of a lap: a machine may have to come about at its corner."""


@dataclass(frozen=True, eq=False)
class Runs:
    """Straight runs, by number; number 0 stands for all that is between them.

    x, y: (k,) their middles [m]; angle: (k,) direction of their middle halves, axial [rad];
    length_m: (k,); speed: (k,) mean [m/s]. edge_m: (k,) distance kept from the field's edge,
    infinite where none is. lap: (k,) number of the first run of its lap of the headland;
    around: (k,) whether that lap goes round most of the field; whole: and whether round all of it.
    """

    x: Floats
    y: Floats
    angle: Floats
    length_m: Floats
    speed: Floats
    edge_m: Floats
    lap: NDArray[np.intp]
    around: Flags
    whole: Flags


def true_runs(flags: Flags, piece: NDArray[np.int32]) -> list[tuple[int, int]]:
    """First and last row of each run of set flags within a piece."""
    apart = np.diff(piece) != 0
    first, last = flags.copy(), flags.copy()
    first[1:] &= ~flags[:-1] | apart
    last[:-1] &= ~flags[1:] | apart
    return list(zip(np.flatnonzero(first).tolist(), np.flatnonzero(last).tolist(), strict=True))


def midst(work: Flags, piece: NDArray[np.int32], ends_s: int = 8) -> Flags:
    """Seconds in the midst of runs: (m,) mask. They have the better claim to their ground.

    Where the end of a bout and the side of another overlap, the end was lifted there, whichever
    was driven first: a headland worked last is spared by the bouts that run up to it.
    """
    found = np.zeros(len(work), dtype=bool)
    for a, b in true_runs(work, piece):
        found[a + ends_s : max(b - ends_s + 1, 0)] = True
    return found


def heading_change(heading: Floats, reach: int = 3) -> Floats:
    """How far the heading turns within `reach` seconds either side: (m,) [rad]"""
    held = np.concatenate([heading[:1].repeat(reach), heading, heading[-1:].repeat(reach)])
    return np.asarray(np.abs(held[2 * reach :] - held[: -2 * reach]))


def middles(run: NDArray[np.intp], chosen: Flags) -> Flags:
    """The middles of some runs, of none more seconds than of the median one: (m,) mask.

    run: (m,) number of each second's run; chosen: (k,) runs.
    """
    count = np.bincount(run)
    if not chosen.any():
        return np.zeros(len(run), dtype=bool)
    most = float(np.median(count[chosen]))
    off = np.abs(np.arange(len(run)) - firsts(run)[run] - (count[run] - 1) / 2)
    return np.asarray(chosen[run] & (off <= most / 2))


def middle_halves(run: NDArray[np.intp]) -> NDArray[np.intp]:
    """The numbers of runs in their middle halves, 0 elsewhere: (m,)"""
    place, size = np.arange(len(run)) - firsts(run)[run], np.bincount(run)[run]
    middle = (run > 0) & (place >= size // 4) & (place < size - size // 4)
    return np.where(middle, run, 0)


def whole_runs(path: Path) -> NDArray[np.intp]:
    """Number of each run, driven forward and nearly straight without a stop, 0 outside: (m,)

    Runs are a matter of motion alone, whatever they are taken for: evidence that hung on the
    labels would swing to and fro with them.
    """
    chosen, start = _straight(path)
    return np.where(chosen, np.cumsum(start), 0)


def running(path: Path, keeps_pace: bool = True) -> NDArray[np.intp]:
    """Number of each straight run, as whole_runs, but parted where it has a kink, and where one
    pace gives way to another if the work keeps its own: (m,)"""
    chosen, start = _straight(path)
    if path.noise_m <= TREMBLES_M:
        start |= chosen & _kinks(path, keeps_pace)
        if keeps_pace:
            start |= chosen & _paces(path)
    return np.where(chosen, np.cumsum(start), 0)


def apart_from(chosen: Flags, run: NDArray[np.intp]) -> NDArray[np.intp]:
    """The numbers of runs, (m,), parted where they come to some seconds and leave them."""
    start = (np.diff(run, prepend=0) != 0) | (np.diff(chosen, prepend=chosen[:1]) != 0)
    return np.where(run > 0, np.cumsum(start & (run > 0)), 0)


def _straight(path: Path) -> tuple[Flags, Flags]:
    """Seconds of straight forward running, and of these the first each time: (m,) masks."""
    chosen = (path.speed > 0.3) & ~path.reverse & (heading_change(path.heading) < np.radians(40))
    return chosen, chosen & ~np.concatenate([[False], chosen[:-1] & (np.diff(path.piece) == 0)])


def _kinks(path: Path, keeps_pace: bool) -> Flags:
    """Seconds in the midst of a slight bend between two straight ways: (m,) mask.

    A way along the field swings onto the first bout so. Curved bouts bend all along, and a bout
    along a crooked hedge keeps its pace.
    """
    near, far = KINK_S
    row = np.arange(len(path))
    first, last = (np.searchsorted(path.piece, path.piece, side=side) for side in ("left", "right"))
    earlier, before, after, beyond = (
        path.heading[np.clip(row + by, first, last - 1)] for by in (-far, -near, near, far)
    )
    bend = np.abs(after - before)
    beside = np.maximum(np.abs(beyond - after), np.abs(before - earlier))
    (pace_before, _), (pace_after, _) = _paces_about(path)
    slight = (bend > SLIGHT) & (np.abs(pace_after - pace_before) > AT_ONCE)
    slight &= keeps_pace & (path.noise_m < SEEN_M)
    bent = ((bend > KINK) | slight) & (beside < bend / 4)
    found = np.zeros(len(path), dtype=bool)
    for a, b in true_runs(bent, path.piece):
        found[(a + b + 1) // 2] = True
    return found


def _paces(path: Path) -> Flags:
    """Seconds at which one steady pace gives way to another: (m,) mask.

    A lap that is broken off, say, and gone on along as a way.
    """
    (before, uneven_before), (after, uneven_after) = _paces_about(path)
    step = np.abs(after - before)
    steps = (step > PACE) & (np.maximum(uneven_before, uneven_after) < EVEN * step)
    found = np.zeros(len(path), dtype=bool)
    for a, b in true_runs(steps, path.piece):
        found[(a + b + 1) // 2] = True
    return found


def _paces_about(path: Path) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Pace and its spread some seconds before each second, and some after it."""
    return _pace(path, -PACE_S[1], -PACE_S[0]), _pace(path, *PACE_S)


def _pace(path: Path, begin_s: int, end_s: int) -> tuple[Floats, Floats]:
    """Mean and spread of the logarithm of speed from so many seconds after each to so many, (m,)
    each; the spread is infinite where the record does not reach so far."""
    log = np.log(np.maximum(path.speed, 0.1))
    sums = np.vstack([np.zeros(2), np.cumsum(np.column_stack([log, log * log]), axis=0)])
    row = np.arange(len(path))
    a, b = row + begin_s, row + end_s
    first, last = (np.searchsorted(path.piece, path.piece, side=side) for side in ("left", "right"))
    there = (a >= first) & (b <= last)
    a, b = np.where(there, a, 0), np.where(there, b, 1)
    mean, square = ((sums[b] - sums[a]) / (end_s - begin_s)).T
    spread = np.sqrt(np.maximum(square - mean * mean, 0.0))
    return mean, np.where(there, spread, np.inf)


def driven_through(
    path: Path, run: NDArray[np.intp], runs: Runs, fit: Floats, new: Floats, usual: float,
    width_m: float,
) -> Flags:  # fmt: skip
    """Bends between two long runs that are driven as fast as the work: (m,) mask.

    Who lifts for a corner slows for it, goes back or loops; and a turn at the end of a bout
    comes about, which between two sides of a lap round the field is a sharp corner. A road bends
    too, but fits nothing. In work round and round ends come about, but all to the same hand and
    over ground that is still to be worked. fit: (m,) how far each second's run fits its neighbours,
    new: (m,) share of new ground, 0-1 each. usual: working speed. [m/s]
    """
    first = firsts(run)
    last = first + np.bincount(run) - 1
    found = np.zeros(len(run), dtype=bool)
    lasts_s = last - first + 1
    long = np.flatnonzero(
        (lasts_s >= SHORT_S) | (lasts_s >= SIDE_S) & (runs.length_m > SIDE_WIDTHS * width_m)
    )
    hand, ends = 0.0, 0
    for before, after in pairwise(long[long > 0].tolist()):
        a, b = last[before], first[after]
        if b - a <= 1:  # one run, parted
            continue
        bend = float(path.heading[min(b + 3, len(run) - 1)] - path.heading[max(a - 3, 0)])
        ends = ends + 1 if np.sign(bend) == hand else 0
        hand = np.sign(bend)
        if b - a > SPIRAL_S or path.piece[a] != path.piece[b] or min(fit[a], fit[b]) < 0.5:
            continue
        here = slice(max(a - 3, 0), b + 4)
        slowest = path.speed[here].min() / usual
        away = np.pi if runs.around[before] and runs.around[after] else AWAY
        spiral = ends >= SAME_HAND and slowest > SPIRAL and new[a : b + 1].mean() > 0.5
        short = b - a <= BEND_S
        gone_on = (short and slowest > STEADY and abs(bend) < away) or spiral
        if gone_on and not path.reverse[here].any():
            found[here] = True
    return found


def by_run(run: NDArray[np.intp], values: Floats) -> Floats:
    """Mean of values over each run, by its number: (k,)"""
    return np.asarray(np.bincount(run, weights=values) / np.maximum(np.bincount(run), 1))


def least_quarter(run: NDArray[np.intp], values: Floats, ends_s: int = 4) -> Floats:
    """The least of the means of values over the quarters of each run, but for some seconds at its
    ends: (k,)"""
    size = np.bincount(run)
    place, length = np.arange(len(run)) - firsts(run)[run] - ends_s, size[run] - 2 * ends_s
    within = (place >= 0) & (place < length)
    quarter = 4 * run[within] + 4 * place[within] // length[within]
    count = np.bincount(quarter, minlength=4 * len(size))
    total = np.bincount(quarter, weights=values[within], minlength=4 * len(size))
    return np.asarray((total / np.maximum(count, 1)).reshape(-1, 4).min(axis=1))


def run_mean(run: NDArray[np.intp], values: Floats) -> Floats:
    """Mean of values over each run, at each of its seconds: (m,)"""
    return np.asarray(by_run(run, values)[run])


def runs_of(
    path: Path, line: Line, run: NDArray[np.intp], ground: Any | None, width_m: float
) -> Runs:
    """Measure the runs of a path; run: (m,) number of each second's run."""
    count = np.bincount(run)
    number = middle_halves(run)

    def mean(values: Floats) -> Floats:
        kept = np.bincount(number, weights=values, minlength=len(count))
        return np.asarray(kept / np.maximum(np.bincount(number, minlength=len(count)), 1))

    x, y = mean(line.x), mean(line.y)
    dx, dy = line.x - x[number], line.y - y[number]
    angle = np.arctan2(2 * mean(dx * dy), mean(dx * dx) - mean(dy * dy)) / 2
    length = np.asarray(np.bincount(run, weights=path.speed), dtype=np.float64)
    edge_m, hand = _along_edge(line, run, ground, width_m, path.drift_m)
    lap = _laps(path, run, edge_m, hand, width_m)
    round_of = _round_of(lap, length, edge_m, ground)
    speed = length / np.maximum(count, 1)
    return Runs(
        x, y, np.asarray(angle), length, speed, edge_m, lap, round_of > AROUND, round_of > WHOLE
    )  # fmt: skip


def likeness(
    runs: Runs, fit: Floats, usual: float, width_m: float, drift_m: float
) -> tuple[Flags, Flags]:
    """Runs that are like the bouts beside them, and runs as long that lie askew to them.

    fit: (k,) how far each run fits its neighbours edge to edge. usual: working speed [m/s].
    Two (k,) masks; neither where fewer than two bouts lie beside a run.
    """
    bout = (fit >= 0.5) & (runs.length_m > 4 * width_m)
    bout[0] = False
    k = np.flatnonzero(bout)
    turned, along, aside = _laid(runs, np.arange(len(fit))[:, None], k)
    beside = (turned < np.radians(8)) & (aside < NEAR_WIDTHS * width_m)
    beside &= (along < runs.length_m[k] / 2) & (k != np.arange(len(fit))[:, None])
    enough = beside.sum(axis=1) >= 2
    enough[0] = False
    off, size = _median(turned, beside), _median(runs.length_m[k][None, :] + 0 * turned, beside)
    share = runs.length_m / np.maximum(size, 1.0)
    parallel = off < PARALLEL + 2 * drift_m / np.maximum(runs.length_m, 1.0)
    steady = np.abs(np.log(np.maximum(runs.speed, 0.05) / usual)) < 0.12
    # At the field's very edge there is no last strip: that is the first lap, or a way home.
    alike = enough & parallel & (np.abs(share - 1) < 0.12) & steady & (runs.edge_m > 0.62 * width_m)
    askew = enough & ~parallel & (np.abs(share - 1) < 0.2)
    return alike, askew


def comb(runs: Runs, width_m: float) -> Flags:
    """Runs between two of their like at equal distances, like the teeth of a comb, and those at
    its ends: (k,) mask, in whatever order they were driven.

    Bouts of which every second or third is left out, or that lie further apart than they are wide,
    as tramlines and windrows do, fit their neighbours nowhere; but three ways as long as each other
    are not driven in parallel at equal distances.
    """
    found = np.zeros(len(runs.x), dtype=bool)
    k, tooth, teeth = _teeth(runs, width_m)
    if len(teeth.x) < 3:
        return found
    every = np.arange(len(teeth.x))
    turned, along, aside_m = _laid(teeth, every, every[:, None])
    aside = aside_m / width_m
    longer = np.maximum(teeth.length_m[:, None], teeth.length_m)
    wide = (aside_m < WINDROW_M) & (longer > 2 * aside_m)
    beside = (turned < np.radians(3)) & (along < 0.55 * longer)
    beside &= (aside > 1 - EVENLY) & ((aside < MOST_LEFT + EVENLY) | wide)
    like = beside & (np.abs(teeth.length_m[:, None] - teeth.length_m) < 0.2 * longer)
    to_left = _left_of(teeth, every)
    left = np.where(like & to_left, aside, np.inf).min(axis=1)
    right = np.where(like & ~to_left, aside, np.inf).min(axis=1)
    within = np.isfinite(left) & np.isfinite(right)
    step = np.where(within, left, np.nan)
    # Whole widths are meant; other distances could be even by chance.
    slack = np.where(np.abs(step - np.rint(step)) < EVENLY, EVENLY, EVENLY / 2)
    slack = np.fmax(slack, np.where(step > 2 + EVENLY, STEERED * step, 0.0))
    within &= ~(np.abs(step - np.where(within, right, 0.0)) >= slack)
    found[k] = _grown(within, np.where(within, step, np.nan), slack, beside, aside)[tooth]
    return found


def _grown(
    teeth: Flags, step: Floats, slack: Floats, beside: NDArray[np.bool_], aside: Floats
) -> Flags:
    """Teeth, and what lies one step on from a tooth, as long as there is such: (n,) mask.

    In a field of many corners not all are as long as those beside them. step, slack: (n,) of the
    teeth, in widths; beside, aside: (n, n) which lie parallel, and how far apart.
    """
    while True:
        at_step = beside & teeth & (np.abs(aside - step) < slack)
        more = at_step.any(axis=1) & ~teeth
        if not more.any():
            return teeth
        of = np.argmax(at_step, axis=1)[more]
        step[more], slack[more] = step[of], slack[of]
        teeth = teeth | more


def _teeth(runs: Runs, width_m: float) -> tuple[NDArray[np.intp], NDArray[np.intp], Runs]:
    """The longer runs (n,), which tooth each is of (n,), and the teeth: runs that go on in one
    line after a stop are one."""
    k = np.flatnonzero(runs.length_m > 2 * width_m)
    k = k[k > 0]
    turned, along, aside = _laid(runs, k[1:], k[:-1])
    apart = along - (runs.length_m[k[1:]] + runs.length_m[k[:-1]]) / 2
    on = (turned < np.radians(3)) & (np.abs(apart) < STOPPED_M)
    on &= aside < np.minimum(0.5 * width_m + turned * along, width_m)
    tooth = np.cumsum(np.concatenate([np.ones(min(len(k), 1), dtype=np.intp), ~on])) - 1
    length = np.bincount(tooth, weights=runs.length_m[k]).astype(np.float64)
    longest = np.lexsort([runs.length_m[k], tooth])[np.cumsum(np.bincount(tooth)) - 1]

    def middle(values: Floats) -> Floats:
        mean = np.bincount(tooth, weights=values[k] * runs.length_m[k])
        return np.asarray(mean / np.maximum(length, 1e-9))

    teeth = part_of_runs(runs, k[longest])
    return k, tooth, replace(teeth, x=middle(runs.x), y=middle(runs.y), length_m=length)


def part_of_runs(runs: Runs, k: NDArray[np.intp]) -> Runs:
    """Some runs, by their numbers."""
    return Runs(*(getattr(runs, f.name)[k] for f in fields(runs)))


def _left_of(runs: Runs, k: NDArray[np.intp]) -> Flags:
    """Whether each of some runs lies left of each other's direction: (n, n), others in columns."""
    dx, dy = runs.x[k] - runs.x[k, None], runs.y[k] - runs.y[k, None]
    cos, sin = np.cos(runs.angle[k, None]), np.sin(runs.angle[k, None])
    return np.asarray(dy * cos > dx * sin)


def abreast(runs: Runs, width_m: float, drift_m: float) -> Flags:
    """Runs that lie parallel beside two others or more, as bouts do and ways seldom: (k,) mask."""
    k, parallel, aside = _parallel(runs, width_m, drift_m, shifted=1.0)
    beside = parallel & (aside > 0.5 * width_m) & (aside < NEAR_WIDTHS * width_m)
    found = np.zeros(len(runs.x), dtype=bool)
    found[k] = beside.sum(axis=1) >= 2
    return found


def among_likes(runs: Runs, width_m: float) -> Flags:
    """Runs with others parallel to either hand, of which one at least is as long: (k,) mask.

    As the bouts of those who steer by eye, that lie too unevenly for a comb; ways lie so seldom.
    """
    found = np.zeros(len(runs.x), dtype=bool)
    k = np.flatnonzero(runs.length_m > 3 * width_m)
    k = k[k > 0]
    some = part_of_runs(runs, k)
    every = np.arange(len(k))
    turned, along, aside = _laid(some, every, every[:, None])
    length = some.length_m
    longer = np.maximum(length[:, None], length)
    beside = (turned < np.radians(3)) & (along < 0.55 * longer)
    beside &= (aside > 0.3 * width_m) & (aside < NEAR_WIDTHS * width_m)
    as_long = beside & (np.minimum(length[:, None], length) > AS_LONG * longer)
    to_left = _left_of(some, every)
    both = (beside & to_left).any(axis=1) & (beside & ~to_left).any(axis=1)
    found[k] = both & as_long.any(axis=1)
    return found


def lone(runs: Runs, width_m: float, drift_m: float) -> Flags:
    """Long runs beside which none lies parallel, where others do: (k,) mask. Ways from patch to
    patch, say; sides of laps may have none beside them either, and are left out."""
    k, parallel, aside = _parallel(runs, width_m, drift_m, shifted=1.0)
    near = parallel & (aside > 0.4 * width_m) & (aside < NEAR_WIDTHS * width_m)
    beside = near.any(axis=1)
    found = np.zeros(len(runs.x), dtype=bool)
    if beside.sum() >= FEWEST_BESIDE:
        found[k] = ~beside & (runs.length_m[k] > 5 * width_m) & ~np.isfinite(runs.edge_m[k])
    return found


def side_by_side(runs: Runs, width_m: float, drift_m: float) -> bool:
    """Whether two runs lie parallel and edge to edge, or several make a comb, as bouts do and ways
    seldom."""
    _, parallel, aside = _parallel(runs, width_m, drift_m, shifted=0.5)
    close = (aside > 0.4 * width_m) & (aside < 1.35 * width_m + 2 * drift_m)
    return bool((parallel & close).any() or comb(runs, width_m).any())


def _parallel(
    runs: Runs, width_m: float, drift_m: float, shifted: float
) -> tuple[NDArray[np.intp], Flags, Floats]:
    """The longer runs (n,), which are parallel (n, n), and how far their middles lie aside. [m]

    shifted: how far along these may lie, in lengths of runs.
    """
    k = np.flatnonzero(runs.length_m > 2 * width_m)
    k = k[k > 0]
    turned, along, aside = _laid(runs, k[:, None], k)
    mean = (runs.length_m[k, None] + runs.length_m[k]) / 2
    slack = np.radians(2) + 2 * drift_m / np.minimum(runs.length_m[k, None], runs.length_m[k])
    return k, (turned < slack) & (along < shifted * mean), aside


def _laid(runs: Runs, of: NDArray[np.intp], by: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
    """How runs lie to others: turned [rad], and their middles along and aside of these. [m]"""
    turned = np.abs((runs.angle[of] - runs.angle[by] + np.pi / 2) % np.pi - np.pi / 2)
    dx, dy = runs.x[of] - runs.x[by], runs.y[of] - runs.y[by]
    cos, sin = np.cos(runs.angle[by]), np.sin(runs.angle[by])
    return turned, np.abs(dx * cos + dy * sin), np.abs(dy * cos - dx * sin)


def _along_edge(
    line: Line, run: NDArray[np.intp], ground: Any | None, width_m: float, drift_m: float
) -> tuple[Floats, Floats]:
    """Distance from the field's edge of runs that keep it, as the sides of a lap do: (k,) [m];
    and to which hand it lies: (k,) 1 for left, -1 for right."""
    from shapely import distance, points, prepare

    count = np.bincount(run)
    kept, hand = np.full(len(count), np.inf), np.zeros(len(count))
    k = np.flatnonzero(count >= SHORT_S)
    k = k[k > 0]
    if ground is None or not len(k):
        return kept, hand
    shares = np.linspace(0.06, 0.94, 11)
    rows = firsts(run)[k][:, None] + (count[k][:, None] * shares).astype(np.intp)
    edge = ground.boundary
    prepare(edge)
    passed = distance(points(line.x[rows], line.y[rows]), edge)
    off = np.sort(passed, axis=1)
    slack_m = 0.15 * width_m + drift_m
    # But for two stations at either end: a run may cut a corner, or go on into the next lap.
    even = off[:, -3] - off[:, 2] < slack_m
    middle = off[:, off.shape[1] // 2]
    along = (even | _next_lap(passed, width_m, slack_m)) & (middle < 4.5 * width_m)
    kept[k[along]] = middle[along]
    hand[k[along]] = _hand(line, rows[along, off.shape[1] // 2], ground)
    return kept, hand


def _next_lap(off: Floats, width_m: float, slack_m: float) -> Flags:
    """Whether a run goes on into the next lap on its way: (k,) mask. off: (k, n) distances from the
    edge, by which it keeps one width farther from some station on. [m]"""
    found = np.zeros(len(off), dtype=bool)
    for j in range(3, off.shape[1] - 4):
        outer, inner = off[:, 1:j], off[:, j + 2 : -1]
        even = np.maximum(np.ptp(outer, axis=1), np.ptp(inner, axis=1)) < slack_m
        step_m = np.median(inner, axis=1) - np.median(outer, axis=1)
        found |= even & (np.abs(step_m - width_m) < slack_m)
    return found


def _hand(line: Line, rows: NDArray[np.intp], ground: Any) -> Floats:
    """To which hand the edge of the field lies, or did if a line that is outside lay within:
    (k,) 1 for left, -1 for right."""
    from shapely import contains_xy, get_coordinates, points, shortest_line

    x, y, ahead = line.x[rows], line.y[rows], line.heading[rows]
    to = get_coordinates(shortest_line(points(x, y), ground.boundary))[1::2]
    left = np.cos(ahead) * (to[:, 1] - y) - np.sin(ahead) * (to[:, 0] - x)
    return np.asarray(np.sign(left) * np.where(contains_xy(ground, x, y), 1.0, -1.0))


def _laps(
    path: Path, run: NDArray[np.intp], edge_m: Floats, hand: Floats, width_m: float
) -> NDArray[np.intp]:
    """Runs along the field's edge that follow on one another, by the number of the first: (k,)

    The sides of a lap of the headland are one piece of work, whatever its corners are like; and
    all the way round it the edge lies to the same hand, which it does not there and back, and about
    as far off, which it does not from a bout along one edge to the lap. All other runs stand by
    themselves.
    """
    lap, first = np.arange(len(edge_m)), firsts(run)
    last = first + np.bincount(run) - 1
    most_m = min(LAP_WIDTHS * width_m + LAP_M, LAP_MOST_M)
    for before, after in pairwise(np.flatnonzero(np.isfinite(edge_m)).tolist()):
        same = path.piece[first[after]] == path.piece[last[before]]
        same &= hand[after] == hand[before] and abs(edge_m[after] - edge_m[before]) < most_m
        if same and first[after] - last[before] <= CORNER_S:
            lap[after] = lap[before]
    return lap


def _round_of(
    lap: NDArray[np.intp], length_m: Floats, edge_m: Floats, ground: Any | None
) -> Floats:
    """How far round the field the lap goes that each run along its edge is a side of: (k,) share of
    the way round it, 0 for other runs. Nobody drives round most of a field but to work."""
    from shapely import get_exterior_ring, get_parts, length

    along = np.isfinite(edge_m)
    if ground is None or not along.any():
        return np.zeros(len(lap))
    gone_m = np.bincount(lap, weights=np.where(along, length_m, 0.0), minlength=len(lap))
    round_m = float(length(get_exterior_ring(get_parts(ground))).sum())
    return np.where(along, gone_m[lap] / round_m, 0.0)


def over_the_same_lap(runs: Runs, width_m: float, drift_m: float) -> Flags:
    """Sides of a lap that lie over an earlier side of it: (k,) mask.

    Not those beside the last bout before the lap, along the same edge: what is left there for the
    lap may be little.
    """
    found = np.zeros(len(runs.x), dtype=bool)
    k = np.flatnonzero(runs.around)
    same = runs.lap[k][:, None] == runs.lap[k]
    found[k] = (same & _over_earlier(runs, k, width_m, drift_m)).any(axis=1)
    return found


def under_a_lap(runs: Runs, width_m: float) -> Flags:
    """Runs that lie on the line of a side of a whole lap, which they are none of: (k,) mask.

    Ways along a headland that is worked later, or that was: nobody works it twice.
    """
    found = np.zeros(len(runs.x), dtype=bool)
    k = np.flatnonzero((runs.length_m > 2 * width_m) & ~runs.around)
    k, laps = k[k > 0], np.flatnonzero(runs.whole)
    turned, along, aside = _laid(runs, k[:, None], laps)
    on = (turned < np.radians(8)) & (aside < ON_LAP * width_m)
    on &= along < (runs.length_m[laps] - runs.length_m[k][:, None] / 2) / 2
    found[k] = on.any(axis=1)
    return found


def repeated(runs: Runs, width_m: float, drift_m: float) -> NDArray[np.intp]:
    """How many earlier runs each longer one lies over: (k,)"""
    found = np.zeros(len(runs.x), dtype=np.intp)
    k = np.flatnonzero(runs.length_m > 2 * width_m)
    k = k[k > 0]
    found[k] = _over_earlier(runs, k, width_m, drift_m).sum(axis=1)
    return found


def _over_earlier(runs: Runs, k: NDArray[np.intp], width_m: float, drift_m: float) -> Flags:
    """Which of some runs lie on the same line as which earlier ones: (n, n) mask, these in
    columns."""
    turned, along, aside = _laid(runs, k[:, None], k)
    strays_m = max(STRAYS_M, STRAYS * width_m) + 2 * drift_m
    over = (turned < np.radians(8)) & (aside < min(strays_m, width_m / 2))
    over &= along < (runs.length_m[k][:, None] + runs.length_m[k]) / 2
    return np.asarray(over & (k < k[:, None]))


def beside_stops(
    path: Path, run: NDArray[np.intp], k: NDArray[np.intp], stops: Sequence[tuple[int, int]]
) -> Flags:
    """Which of some runs are the last before a stop or the first after it: (n,) mask.

    Not where the machine goes on in line: it halted in a bout. k: (n,) numbers of runs. stops:
    last row before each and first row after it.
    """
    begin = firsts(run)[k]
    end = begin + np.bincount(run)[k] - 1
    found = np.zeros(len(k), dtype=bool)
    for left, begun in stops:
        before, after = np.flatnonzero(end <= left)[-1:], np.flatnonzero(begin >= begun)[:1]
        if len(before) and len(after) and _in_line(path, int(end[before[0]]), int(begin[after[0]])):
            continue
        found[before[left - end[before] < LEADS_S]] = True
        found[after[begin[after] - begun < LEADS_S]] = True
    return found


def _in_line(path: Path, left: int, begun: int) -> bool:
    """Whether a machine goes on in the line, and about where, it stopped. Rows of the path."""
    turned = np.cos(path.heading[begun] - path.heading[left])
    away = np.hypot(path.x[begun] - path.x[left], path.y[begun] - path.y[left])
    return bool(turned > IN_LINE and away < HALT_M)


def firsts(run: NDArray[np.intp]) -> NDArray[np.intp]:
    """First row of each run, by number; runs are numbered in the order driven. (k,)"""
    return np.searchsorted(np.maximum.accumulate(run), np.arange(int(run.max(initial=0)) + 1))


def _median(values: Floats, chosen: Flags) -> Floats:
    """Median of the chosen values of each row, infinite where none is chosen."""
    kept = np.sort(np.where(chosen, values, np.inf), axis=1)
    if not kept.shape[1]:
        return np.full(len(values), np.inf)
    middle = np.maximum(chosen.sum(axis=1) - 1, 0) // 2
    return np.asarray(kept[np.arange(len(kept)), middle])
