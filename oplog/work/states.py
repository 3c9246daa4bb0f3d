"""States: whether the implement was in the ground, second by second.

A two-state sequence model: evidence for and against work in each second is added up, changing
over costs something, and the most likely sequence is found (Viterbi). The evidence is geometry
that holds for any implement: ground not yet worked under the working line, the visit's own
working speed, straight running against turning, and direction of travel. As the first depends
on what was worked before, labels and evidence are worked out in turn until they agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.claims import (
    Cells,
    Ground,
    Raster,
    Swath,
    alone,
    beside,
    ground_of,
    novelty,
    raster,
    share,
    swath,
    within,
)
from oplog.work.clean import drift_m
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import Runs, likeness, runs_of

Flags = NDArray[np.bool_]
LIFTED_LATE_S = 0.3
"""An implement is lifted when it is through, and takes its time to come up (common practice)."""


@dataclass(frozen=True)
class Evidence:
    """Weights of the evidence, in nats (log-likelihood ratio of work against not)."""

    new_ground: float = 4.0
    """For a working line wholly on new ground, over and above `old_ground`."""
    old_ground: float = 2.2
    """Against work where no ground is new."""
    some_new: float = 0.3
    """Share of new ground that speaks for two thirds of `new_ground`; noise adds to it."""
    part_width: float = 0.08
    """The same for a header, which takes strips much narrower than itself."""
    steady: float = 0.5
    """For the visit's usual speed."""
    reverse: float = 6.0
    turning: float = 2.0
    turning_back: float = 5.0
    """For a turn that ends up the other way within twenty seconds: never work."""
    round_work: float = 0.8
    """How much of that is let go where the line keeps to its neighbour all round the bend."""
    stroke: float = 5.0
    """For a forward stroke in a corner, where a header cuts its way round."""
    outside: float = 6.0
    still: float = 4.0
    alike: float = 1.0
    """For new ground, at least, on a run that is like the bouts beside it."""
    apart: float = 5.0
    """Against a run that has neither worked ground nor the field's edge beside it."""
    lower: float = 3.0
    """Cost of starting work; lift: of stopping."""
    lift: float = 3.0


def label(
    path: Path,
    line: Line,
    width_m: float,
    gap_m: float,
    ground: Any | None,
    gates: Sequence[int],
    weights: Evidence,
    cuts: bool = False,
) -> Flags:
    """Working or not, for each second of the path: (m,) mask.

    gap_m: what neighbouring bouts leave between them. [m]
    ground: the field in the plane, None for no field. gates: rows of the path at which the
    machine came in over the boundary or had just gone out. cuts: a header that has to cut its
    way round corners.
    """
    lays = _lay(path, line, width_m, gap_m, ground)
    sides = _sides(line, width_m, ground, lays.narrow.raster)
    inland = np.maximum(share(lays.inside, lays.inside.field), 0.1)
    inside = _within(ground, line.x, line.y, max(2.0, 0.4 * width_m))
    fixed = -weights.reverse * path.reverse - weights.outside * ~inside
    turning = _turning_evidence(path, line, weights)
    if cuts:
        fixed = fixed + weights.stroke * strokes(path)
    work = first_guess(path) & inside
    # With positions that wander by a part of the width, it is not seen what ground is new, and
    # fitting edge to edge means nothing.
    wander = drift_m(path.noise_m) / width_m
    blurred, sight = wander > 1 / 4, 1 / (1 + (3 * wander) ** 2)
    run = running(path)
    runs = runs_of(path, line, run, ground, width_m)
    some = weights.part_width if cuts else weights.some_new
    before: Floats | float = 0.0
    for turn in range(10):
        usual = working_speed(path.speed, work)
        covered = ground_of(lays.wide, work)
        new = novelty(
            lays.inside, lays.wide, work, _rank(path, runs.lap[run], lays, covered, usual)
        )
        gain = weights.new_ground * (1 - np.exp(-new / some)) - weights.old_ground
        fits = _fits(covered, sides, new)
        apart: Floats | float = 0.0
        share_fit, alike = _fitting(path, run, runs, fits, new / inland, usual, width_m, blurred)
        if not blurred:
            apart = weights.apart * _apart(path, run, share_fit, gates)
        gain = np.where(alike, np.maximum(gain, weights.alike), gain)
        score = (
            fixed
            - turning * (1 - weights.round_work * _all_round(fits & (new >= 0.5)))
            + _speed_evidence(path.speed, usual, *_slack(path, work, usual), weights)
            + sight * gain
            - apart
        )
        score = np.clip(score, -6.0, 4.0)
        # Two readings can each call the other forth; their mean settles which is the stronger.
        score = before = score if turn < 2 else (score + before) / 2
        again = decode(score, weights.lower, weights.lift)
        if bool((again == work).all()):
            break
        work = again
    # The ends lie where the ground itself was worked, not where it was worked but for a gap.
    bare = novelty(lays.narrow, lays.narrow, work, _deep(work, path.piece))
    far = 5 if cuts else 10
    inmost = _within(ground, line.x, line.y, -1.5 * width_m)
    return trim(path, line, work, bare, usual, inmost, width_m, far)


def trim(
    path: Path, line: Line, work: Flags, new: Floats, usual: float, inmost: Flags, width_m: float,
    far: int = 10,
) -> Flags:  # fmt: skip
    """Move the ends of each run to where the line comes onto new ground and leaves it: (m,) mask.

    The sequence model finds the runs. Within some seconds of their ends the line decides, to the
    second: where it crosses from old ground to new or back; failing that, where it runs straight,
    looked for as far as `far` seconds inward. inmost: (m,) where there is room for a headland.
    """
    able = ~path.reverse & (path.speed > 0.25 * usual)
    turn = heading_change(line.heading, 1)
    # Noise bends a heading over two seconds by its size over the way gone.
    bent = np.radians(5) + 2 * path.noise_m / max(2 * usual, 0.5)
    level = able & (new >= 0.2)
    # A trailed implement swings straight some seconds after the machine: at the start the
    # machine's own heading tells, at the end the implement's.
    lined_up = level & (heading_change(path.heading, 1) < bent)
    drawn_straight = level & (turn < bent)
    out = work.copy()
    runs = true_runs(work, path.piece)
    square = able & (turn < np.radians(30))
    begins = [_end_of_run(a, 1, new, square, lined_up, far) for a, _ in runs]
    ends = [_end_of_run(b, -1, new, square, drawn_straight, far)[0] for _, b in runs]
    inner = [e for e in ends if inmost[min(e + 1, len(inmost) - 1)]]
    for (a, b), (begin, crossed), end in zip(runs, begins, ends, strict=True):
        if not crossed:
            begin = _at_neighbours_end(begin, line, inner, width_m, far)
        if end > begin:
            out[min(a, begin) : max(b, end) + 1] = False
            out[begin : end + 1] = True
    return np.asarray(out, dtype=bool)


def _at_neighbours_end(begin: int, line: Line, ends: list[int], width_m: float, far: int) -> int:
    """The row at which a bout that begins on untouched ground is level with where others ended.

    A machine runs straight for a while before it lowers, but turns soon after it lifts: where
    the headland is worked another day, the ends of the bouts beside show where its edge is.
    """
    x, y, heading = line.x, line.y, line.heading
    along = np.array([np.cos(heading[begin]), np.sin(heading[begin])])
    last = np.array([e for e in ends if e != begin and np.cos(heading[e] - heading[begin]) < -0.94])
    if not len(last):
        return begin
    out = np.minimum(last + 1, len(x) - 1)
    offset = np.column_stack([x[out] - x[begin], y[out] - y[begin]])
    inward, aside = offset @ along, np.abs(offset @ np.array([-along[1], along[0]]))
    beside = (np.abs(inward) < 2 * width_m + 10.0) & (aside < 5 * width_m)
    if not beside.any():
        return begin
    edge = float(inward[beside][np.argmin(aside[beside])])
    rows = np.arange(begin, min(begin + far + 1, len(x)))
    gone = np.column_stack([x[rows] - x[begin], y[rows] - y[begin]]) @ along
    level = np.flatnonzero(gone >= edge)
    return int(rows[level[0]]) if len(level) else begin


def _end_of_run(
    at: int, inward: int, new: Floats, able: Flags, straight: Flags, far: int, reach: int = 5
) -> tuple[int, bool]:
    """Where a run really ends, looked for within `reach` seconds; inward: +1 start, -1 end.

    With it, whether it was seen to come onto new ground there or to leave it.
    """
    rows = at + inward * np.arange(-reach, reach + 1)
    rows = rows[(rows >= 0) & (rows < len(new))]
    on = new[rows] >= (0.35 if inward > 0 else 0.2)
    crossing = np.flatnonzero(on[1:] & ~on[:-1] & able[rows[1:]]) + 1
    if len(crossing):
        k = int(crossing[np.argmin(np.abs(rows[crossing] - at))])
        return int(rows[0]) + inward * _first_corner(
            new[rows], k, 0.0 if inward > 0 else LIFTED_LATE_S
        ), True
    further = at + inward * np.arange(reach + 1, far + 1)
    rows = np.concatenate([rows, further[(further >= 0) & (further < len(new))]])
    steady = np.flatnonzero(straight[rows])
    return (int(rows[steady[0]]) if len(steady) else at), False


def _first_corner(new: Floats, k: int, late_s: float) -> int:
    """The row at which the first corner of the line comes onto new ground, near crossing k.

    A line that crosses aslant is lowered when its first corner is over new ground, and lifted
    when its last is over old. The share of new ground rises over as long as the line takes to
    cross, and over the second that each row stands for.
    """

    def reached(level: float) -> float:
        above = np.flatnonzero(new[k - 1 :] >= level)
        if not len(above):
            return np.nan
        j = k - 1 + int(above[0])
        if j == k - 1:
            return float(j)
        return float(j - (new[j] - level) / (new[j] - new[j - 1]))

    low, mid, high = reached(0.3), reached(0.5), reached(0.7)
    if np.isnan(high):
        return k
    slant = max((high - low) / 0.4 - 1.0, 0.0)
    return int(np.clip(np.ceil(mid - slant / 2 - late_s), max(k - 3, 0), min(k + 1, len(new) - 1)))


def strokes(path: Path) -> Flags:
    """Forward strokes of a machine that goes to and fro in a corner: (m,) mask.

    A header has to cut its way round the corner of an opening cut: forward, back, forward a
    little further. Reversing twice or more within a short time and place is that, once is a turn.
    """
    back = [(a, b) for a, b in true_runs(path.reverse & (path.speed > 0.15), path.piece) if b > a]
    found = np.zeros(len(path), dtype=bool)
    for (a, b), (c, d) in pairwise(back):
        near = np.hypot(path.x[c] - path.x[b], path.y[c] - path.y[b]) < 30.0
        if near and c - b <= 40 and path.piece[a] == path.piece[d]:
            found[max(a - 12, 0) : d + 13] = True
    return found & ~path.reverse & (path.speed > 0.1)


HALTED_M_S = 0.2
LINED_UP = np.radians(20)
SET_OFF_S = 12
"""How long before the crop a header goes down at most, when the machine has backed to line up."""


def ahead(path: Path, line: Line, work: Flags, stated: bool) -> Flags:
    """Runs of a line carried in front, begun two seconds sooner and ended a second later.

    A header is lowered before the crop and raised when it is clear of it, so that nothing is
    left standing. Common practice; recorded harvests show some two seconds and one. Where it is
    not stated how far in front it is, the antenna stands for it, which is late enough. Where the
    machine has backed or stood to line up, it is lowered as it sets off.
    """
    able = ~path.reverse & (path.speed > 0.4) & (heading_change(line.heading) < np.radians(45))
    out = work.copy()
    for _ in range(2):
        out |= able & np.concatenate([out[1:], [False]])
    if stated:
        out |= able & np.concatenate([[False], work[:-1]])
    for a, _ in true_runs(out, path.piece):
        out[_set_off(path, a) : a] = True
    return out


def _set_off(path: Path, start: int) -> int:
    """The second in which the machine set off towards a start, if it did so shortly before."""
    first = max(start - SET_OFF_S, 0)
    halted = path.reverse[first:start] | (path.speed[first:start] < HALTED_M_S)
    halted &= path.piece[first:start] == path.piece[start]
    if not halted.any():
        return start
    at = first + int(np.flatnonzero(halted)[-1]) + 1
    askew = np.abs(path.heading[at:start] - path.heading[start]) > LINED_UP
    return at + int(np.flatnonzero(askew)[-1]) + 1 if askew.any() else at


def true_runs(flags: Flags, piece: NDArray[np.int32]) -> list[tuple[int, int]]:
    """First and last row of each run of set flags within a piece."""
    run = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])) != 0).reshape(
        -1, 2
    )
    found = []
    for a, b in run.tolist():
        cuts = (np.flatnonzero(np.diff(piece[a:b])) + a + 1).tolist()
        edges = [a, *cuts, b]
        found += [(p, q - 1) for p, q in pairwise(edges)]
    return found


def first_guess(path: Path) -> Flags:
    """Straight forward running: what work looks like before anything is known. (m,) mask."""
    bend = heading_change(path.heading)
    return np.asarray(
        (path.speed > 0.3) & (path.speed < 8) & ~path.reverse & (bend < np.radians(25)), dtype=bool
    )


@dataclass(frozen=True, eq=False)
class _Lays:
    """The working line on the ground as it is, widened by the gaps between neighbours, and as it
    is in the field: where a boom swings out over the hedge, that is no ground to work."""

    narrow: Swath
    wide: Swath
    inside: Swath


def _lay(path: Path, line: Line, width_m: float, gap_m: float, ground: Any | None) -> _Lays:
    grid = raster(line.x, line.y, width_m)
    narrow, wide = (
        swath(grid, line.x, line.y, line.heading, path.piece, w)
        for w in (width_m, width_m + 2 * gap_m)
    )
    if ground is None:
        return _Lays(narrow, wide, narrow)
    sure = _within(ground, line.x, line.y, -0.6 * width_m)
    return _Lays(narrow, wide, within(narrow, ground, sure))


def _rank(
    path: Path, lap: NDArray[np.intp], lays: _Lays, covered: Ground, usual: float
) -> NDArray[np.int8]:
    """How good a claim each second of work has on its ground: (m,) 0, 1 or 2.

    Steady straight running counts, and so does a run most of whose ground nobody else covers:
    a bout has its ground to itself; a way across the field, driven before or after, has not.
    lap: (m,) number of the run, or of the lap of the headland that it is a side of.
    """
    steady = (np.abs(np.log(np.maximum(path.speed, 0.05) / usual)) < 0.3) & (
        heading_change(path.heading, 8) < np.radians(30)
    )
    alone_run = (lap > 0) & (_run_mean(lap, alone(lays.inside, covered)) >= 0.35)
    return np.asarray(steady * (1 + alone_run), dtype=np.int8)


def _deep(work: Flags, piece: NDArray[np.int32], ends_s: int = 8) -> NDArray[np.int8]:
    """Claims for the ends of runs: the midst of a run has the better claim. (m,) 0 or 1.

    Where the end of a bout and the side of another overlap, the end was lifted there, whichever
    was driven first: a headland worked last is spared by the bouts that run up to it.
    """
    deep = np.zeros(len(work), dtype=np.int8)
    for a, b in true_runs(work, piece):
        deep[a + ends_s : b - ends_s + 1] = 1
    return deep


@dataclass(frozen=True, eq=False)
class _Side:
    """One side of the working line. within: cells near its middle; beyond: cells past its end;
    off: (m,) whether the ground past its end is not the field's."""

    within: Cells
    beyond: list[Cells]
    off: Flags


def _sides(line: Line, width_m: float, ground: Any | None, grid: Raster) -> list[_Side]:
    def spot(reach: float) -> tuple[Floats, Floats]:
        across = reach * width_m
        return line.x - np.sin(line.heading) * across, line.y + np.cos(line.heading) * across

    sides = []
    for left in (1.0, -1.0):
        past = [spot(left * reach) for reach in (0.6, 0.75, 0.95)]
        off = np.any([~_within(ground, *at, 0.0) for at in past], axis=0)
        sides.append(_Side(grid.cell(*spot(left * 0.1)), [grid.cell(*at) for at in past], off))
    return sides


def _fits(covered: Ground, sides: list[_Side], new: Floats) -> Flags:
    """Where the line lies edge to edge with its neighbour, as a bout does: (m,) mask.

    Beyond one end of the line the ground is worked, by others, or is not field, and within that
    end it is not; a last strip has such ground at both ends.
    """
    left, right = (side.off | beside(covered, side.beyond) for side in sides)
    free = [~beside(covered, [side.within]) for side in sides]
    return np.asarray((left & free[0]) | (right & free[1]) | (left & right & (new >= 0.3)))


def _fitting(
    path: Path, run: NDArray[np.intp], runs: Runs, fits: Flags, new: Floats, usual: float,
    width_m: float, blurred: bool,
) -> tuple[Floats, Flags]:  # fmt: skip
    """How far each second's run fits where it lies, (m,) 0-1; and (m,) last strips.

    A last strip laps over its neighbour and fits badly; but partly new ground, all along, is no
    ground that a way leads over, unless it lies askew. Where nothing fits there is no work to be
    the last of. blurred: what fits is not seen, and only likeness tells.
    """
    fit, own = _by_run(run, (fits | blurred).astype(np.float64)), _by_run(run, new)
    alone = own > 0.8
    drift = drift_m(path.noise_m)
    alike, askew = likeness(runs, fit, usual, width_m, drift)
    some = _run_mean(run, np.minimum(new, 0.75)) > 0.02
    last = alike[run] & some & ((fit[run] < 0.5) | blurred)
    steady = np.abs(np.log(np.maximum(runs.speed, 0.05) / usual)) < 0.12
    elsewhere = runs.length_m[1:][fit[1:] >= 0.5].sum() > 3 * runs.length_m
    side = np.isfinite(runs.edge_m) & alone & steady & elsewhere
    strip = _run_mean(run, ((new > 0.1) & (new < 0.75)).astype(np.float64)) > 0.7
    share_fit = fit[run]
    if (share_fit[run > 0] >= 0.5).mean() > 0.25:
        share_fit = np.where((strip & ~askew[run]) | last | side[run], 1.0, share_fit)
    return share_fit, last


def _apart(path: Path, run: NDArray[np.intp], share_fit: Floats, gates: Sequence[int]) -> Floats:
    """Which seconds belong to runs that only lead to or from the work: (m,) 0 or 1.

    A way across fits nowhere. Runs that do not fit are taken for ways where they lead on from
    the entry, to the exit, or to and from a stop, with no run that fits between.
    """
    apart = _across(path, run, share_fit)
    for rows in _ways(path, run, share_fit, gates):
        apart[rows] = True
    return apart.astype(np.float64)


def _across(path: Path, run: NDArray[np.intp], fit: Floats) -> Flags:
    """Runs that fit less than half and go in a direction of their own: (m,) mask.

    From one end of the work to the other, say. Axial directions, compared with those of the
    runs that do fit.
    """
    first = np.unique(run, return_index=True)[1]
    doubled = 2 * path.heading
    mean = np.arctan2(
        _run_mean(run, np.sin(doubled))[first], _run_mean(run, np.cos(doubled))[first]
    )
    length = np.bincount(run, weights=path.speed)
    fitting = np.where((fit[first] >= 0.5) & (np.arange(len(first)) > 0), length, 0.0)
    alike = np.abs((mean[:, None] - mean[None, :] + np.pi) % (2 * np.pi) - np.pi)
    like = ((alike < np.radians(20)) * fitting[None, :]).sum(axis=1)
    odd = (fit[first] < 0.45) & (like < 0.1 * max(float(fitting.sum()), 1.0)) & (length > 30.0)
    odd[0] = False
    return np.asarray(odd[run], dtype=bool)


def _all_round(flags: Flags, reach: int = 8) -> Floats:
    """How far a flag holds without a break for some seconds either side: (m,) 0-1."""
    width = 2 * reach + 1
    padded = np.concatenate([np.zeros(reach), flags, np.zeros(reach)])
    mean = np.convolve(padded, np.full(width, 1 / width), mode="valid")
    return np.clip((mean - 0.6) / 0.4, 0.0, 1.0)


def _ways(
    path: Path, run: NDArray[np.intp], fit: Floats, gates: Sequence[int]
) -> list[NDArray[np.intp]]:
    """Rows of the runs that lead on from the entry, the exit or a stop and do not fit."""
    numbers, first = np.unique(run, return_index=True)
    runs = [(int(n), int(f)) for n, f in zip(numbers, first, strict=True) if n > 0]
    runs.sort(key=lambda r: r[1])
    if not runs:
        return []
    stops = list(gates) + [
        (a + b) // 2 for a, b in true_runs(path.speed < 0.1, path.piece) if b - a >= 15
    ]
    loose = {n for n, f in runs if fit[f] < 0.4}
    order = [n for n, _ in runs]
    length = np.bincount(run)
    begin = np.array([f for _, f in runs])
    ways: set[int] = set()
    for stop in stops:
        at = int(np.searchsorted(begin, stop))
        for side in (order[at:], order[:at][::-1]):
            for n in side:
                if n not in loose and length[n] > 12:
                    break
                if n in loose:
                    ways.add(n)
    return [np.flatnonzero(run == n) for n in ways]


def running(path: Path) -> NDArray[np.intp]:
    """Number of each straight run, driven forward without a stop, 0 outside: (m,)

    Runs are a matter of motion alone, whatever they are taken for: evidence that hung on the
    labels would swing to and fro with them.
    """
    chosen = (path.speed > 0.3) & ~path.reverse & (heading_change(path.heading) < np.radians(40))
    start = chosen & ~np.concatenate([[False], chosen[:-1] & (np.diff(path.piece) == 0)])
    return np.where(chosen, np.cumsum(start), 0)


def _by_run(run: NDArray[np.intp], values: Floats) -> Floats:
    """Mean of values over each run, by its number: (k,)"""
    return np.asarray(np.bincount(run, weights=values) / np.maximum(np.bincount(run), 1))


def _run_mean(run: NDArray[np.intp], values: Floats) -> Floats:
    """Mean of values over each run, at each of its seconds: (m,)"""
    return np.asarray(_by_run(run, values)[run])


def working_speed(speed: Floats, work: Flags) -> float:
    """The visit's own working speed: median over the time working. [m/s]"""
    return float(np.median(speed[work])) if work.any() else 2.0


def heading_change(heading: Floats, reach: int = 3) -> Floats:
    """How far the heading turns within `reach` seconds either side: (m,) [rad]"""
    rows = np.arange(len(heading))
    after = heading[np.clip(rows + reach, 0, len(heading) - 1)]
    before = heading[np.clip(rows - reach, 0, len(heading) - 1)]
    return np.asarray(np.abs(after - before))


def decode(score: Floats, lower: float, lift: float) -> Flags:
    """Most likely sequence of two states given the evidence for "working": (m,) mask."""
    n = len(score)
    came_from_work = np.zeros((n, 2), dtype=bool)
    off, on = 0.0, 0.0
    for i, s in enumerate(score.tolist()):
        to_off = on - lift > off
        to_on = not off - lower > on
        off, on = (on - lift if to_off else off), (on if to_on else off - lower) + s
        came_from_work[i, 0], came_from_work[i, 1] = to_off, to_on
    work = np.zeros(n, dtype=bool)
    state = on > off
    for i in range(n - 1, -1, -1):
        work[i] = state
        state = bool(came_from_work[i, int(state)])
    return work


def _slack(path: Path, work: Flags, usual: float) -> tuple[float, float]:
    """How far the visit's own straight work falls below and rises above its usual speed.

    As log ratios. A drill that keeps its speed makes slow or fast driving suspect; a harvester
    that follows the crop does not.
    """
    deep = work & (heading_change(path.heading, 8) < np.radians(20))
    if deep.sum() < 30:
        return 0.6, 0.3
    low, high = np.percentile(path.speed[deep], [15, 90])
    below = float(np.clip(1.5 * np.log(usual / max(low, 0.05)), 0.3, 0.8))
    return below, float(np.clip(1.5 * np.log(high / usual), 0.15, 0.4))


def _speed_evidence(
    speed: Floats, usual: float, below: float, above: float, weights: Evidence
) -> Floats:
    r = np.log(np.maximum(speed, 0.05) / usual)
    slower = 0.5 * np.minimum((r / below) ** 2, 6.0)
    faster = 0.5 * np.minimum((r / above) ** 2, 8.0)
    still = weights.still * (speed < 0.12 * usual)
    return np.asarray(weights.steady - np.where(r < 0, slower, faster) - still)


def _turning_evidence(path: Path, line: Line, weights: Evidence) -> Floats:
    """Against work while the implement turns, and more so where it comes about: (m,) [nats]

    A bend of 30 m radius is nothing, one of 10 m is a turn.
    """
    bend = heading_change(line.heading)
    way = 6.0 * np.maximum(path.speed, 0.7)
    turning = np.clip((bend / way - 1 / 30) / (1 / 10 - 1 / 30), 0.0, 1.5)
    back = (heading_change(line.heading, 9) > np.radians(135)) & (bend > np.radians(25))
    return np.asarray(weights.turning * turning + weights.turning_back * back)


def _within(ground: Any | None, x: Floats, y: Floats, by_m: float) -> Flags:
    from shapely import contains_xy, prepare

    if ground is None:
        return np.ones(len(x), dtype=bool)
    wider = ground.buffer(by_m)
    prepare(wider)
    return np.asarray(contains_xy(wider, x, y), dtype=bool)
