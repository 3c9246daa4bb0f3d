"""What a header does that other implements do not: cut its way round corners, and go down early."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats, median
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import Runs, by_run, firsts, heading_change, true_runs, whole_runs

Flags = NDArray[np.bool_]
HALTED_M_S, GOES_M_S = 0.2, 0.4
"""Slower than the first, and a machine stood to line up; than the second, and it is at a stand."""
SLOWEST_M_S = 0.8
"""No slower is it taken to go over the way to the crop."""
CLEAR_S = 1.0
"""How long before the crop a header is lowered, and how long after it raised."""
AHEAD_M = 3.0
"""How far in front of the antenna a header is, where it is not stated (common practice)."""
UNCUT, HALTS_S, SHORT_S = 0.3, 4, 8
"""Share of the line on standing crop at an end that comes to a stand within so long; and the
shortest run that is cut short."""
PAUSE_S, HASTE, SHORTER = 40, 1.6, 2.0
"""For how long a header that runs straight on may find nothing to cut, how much faster it goes then
at most, and how much longer that is, at most, than the work in the same run."""
CREEPS, EVENLY, CREEPS_S, CREEPS_WIDTHS = (0.15, 0.65), 0.35, 10, 1.2
"""How slow a stroke is that opens a corner, of the working speed, from and to; how much its pace
varies at most, as a log ratio; how long it takes at least, and how long it is, in widths: a gap in
the record that is bridged from one bout to the next is shorter."""
STROKE_S, LOOP_S, BACK, BACK_WIDTHS = 5, 25, 1.0, 4.0
"""How long a stroke takes at least and a loop between two at most; how fast one drives back to the
next cut at least, of the working speed, and how far at most, in widths."""
AWAY_S, STRAIGHT_ON, LASTS_S, BEYOND_S = 8, np.radians(35), 6, 2
"""The same where positions tremble: the way so long before a second and after it, how far these are
turned at most, for how long that holds at least, and how much longer the stroke is at either end.
"""
LINED_UP = np.radians(20)
SET_OFF_S = 12
"""How long before the crop a header goes down at most, when the machine has backed to line up."""


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


def slow_cuts(path: Path, run: NDArray[np.intp], runs: Runs, usual: float, width_m: float) -> Flags:
    """Seconds of runs that are driven straight on, slowly and at an even pace: (m,) mask.

    A header cuts the corners of an opening lap so, with loops between in place of reversing.
    Nothing else that it does is slower than its work for as long: it turns and travels faster, and
    lines up in fits and starts. run: (m,) number of each second's run; usual: working speed. [m/s]
    """
    log = np.log(np.maximum(path.speed, 0.05))
    spread = np.sqrt(np.maximum(by_run(run, log * log) - by_run(run, log) ** 2, 0.0))
    slow = (runs.speed > CREEPS[0] * usual) & (runs.speed < CREEPS[1] * usual)
    slow &= (spread < EVENLY) & (np.bincount(run) >= CREEPS_S)
    slow &= runs.length_m > CREEPS_WIDTHS * width_m
    slow[0] = False
    return np.asarray(slow[run])


def back_to_cut(
    path: Path, run: NDArray[np.intp], runs: Runs, slow: Flags, usual: float, width_m: float
) -> Flags:
    """Seconds of short runs as fast as the work or faster, right before slow cuts or after them:
    (m,) mask.

    Who opens a corner in slow cuts drives back between them, beside where he cuts. slow: (m,)
    slow cuts; run: (m,) number of each second's run; usual: working speed. [m/s]
    """
    begin, count = firsts(run), np.bincount(run)
    cut = np.bincount(run, weights=slow) > 0
    found = np.zeros(len(count), dtype=bool)
    for a, b in pairwise(np.flatnonzero(count >= STROKE_S)[1:].tolist()):
        if begin[b] - begin[a] - count[a] > LOOP_S or path.piece[begin[a]] != path.piece[begin[b]]:
            continue
        found[a] |= cut[b]
        found[b] |= cut[a]
    found &= ~cut & (runs.speed > BACK * usual) & (runs.length_m < BACK_WIDTHS * width_m)
    return np.asarray(found[run])


def creeping(path: Path, usual: float) -> Flags:
    """As slow_cuts, where positions tremble so that a slow way looks like nothing but bends: what
    tells is how far the machine gets in some seconds, and where. (m,) mask."""
    found = np.zeros(len(path), dtype=bool)
    for a, b in true_runs(~path.reverse, path.piece):
        at = path.x[a : b + 1] + 1j * path.y[a : b + 1]
        way = (at[AWAY_S:] - at[:-AWAY_S]) / AWAY_S
        before, after = way[:-AWAY_S], way[AWAY_S:]
        slow = np.minimum(np.abs(before), np.abs(after)) > CREEPS[0] * usual
        slow &= np.maximum(np.abs(before), np.abs(after)) < CREEPS[1] * usual
        slow &= np.abs(np.angle(after * np.conj(before))) < STRAIGHT_ON
        for c, d in true_runs(slow, np.zeros(len(slow), dtype=np.int32)):
            if d - c >= LASTS_S:
                found[a + c + AWAY_S - BEYOND_S : a + d + AWAY_S + BEYOND_S + 1] = True
    return found


def down_all_along(path: Path, work: Flags) -> Flags:
    """Work with breaks closed in which the machine ran straight on, hardly faster: (m,) mask.

    Where strips on both sides left next to nothing for a while a header stays down.
    """
    out = work.copy()
    run = whole_runs(path)
    for a, b in true_runs(~work, path.piece):
        between = a > 0 and b < len(work) - 1 and 0 < run[a] == run[a - 1] == run[b + 1]
        if not between or b - a >= PAUSE_S:
            continue
        cut = (run == run[a]) & work
        fastest = float(path.speed[a : b + 1].max())
        if b - a < SHORTER * cut.sum() and fastest < HASTE * median(path.speed[cut]):
            out[a : b + 1] = True
    return out


def ahead(path: Path, line: Line, work: Flags, new: Floats, stated: bool) -> Flags:
    """Runs of a line carried in front, begun a second before its line is over the crop and ended a
    second after it is clear of it: (m,) mask.

    A header is lowered before the crop and raised when it is clear of it, so that nothing is
    left standing (common practice). Where it is not stated how far in front it is, the antenna
    stands for it, which is late; it is taken to be so far ahead as headers are. Where the machine
    has backed or stood to line up, it is lowered as it sets off; and one that comes to a stand in
    the crop is lowered until then. new: (m,) share of the line on ground of its own, 0-1, as far as
    it is known near the ends of runs.
    """
    able = ~path.reverse & (path.speed > GOES_M_S)
    able &= heading_change(line.heading) < np.radians(45)
    out = work.copy()
    for a, b in true_runs(work, path.piece):
        far_m = 0.0 if stated else AHEAD_M
        first = _as_far(able, path.piece, a, -round(CLEAR_S + _lasts_s(far_m, path, a, b + 1)))
        out[_set_off(path, first) : a] = True
        halt = _halt(path, b) if new[b : b + 2].mean() > UNCUT else 0
        if halt:
            out[b : b + halt] = True
            continue
        last = b + round(CLEAR_S - _lasts_s(far_m, path, max(b - 2, a), b + 1))
        if last > b:
            out[b : _as_far(able, path.piece, b, last - b) + 1] = True
        elif b - a > SHORT_S and path.piece[min(b + 1, len(out) - 1)] == path.piece[b]:
            # Not where the record ends with the work: there it may be written only while it cuts.
            out[last + 1 : b + 1] = False
    return out


def _lasts_s(way_m: float, path: Path, begin: int, end: int) -> float:
    """How long a machine takes for a short way as fast as in some seconds. [s]"""
    return way_m / max(float(path.speed[begin:end].mean()), SLOWEST_M_S)


def _as_far(able: Flags, piece: NDArray[np.int32], row: int, by: int) -> int:
    """The row up to which a machine goes on able to work from one, `by` seconds on or back."""
    to = row
    for k in range(1, abs(by) + 1):
        at = row + k * (1 if by > 0 else -1)
        if not (0 <= at < len(able)) or not able[at] or piece[at] != piece[row]:
            break
        to = at
    return to


def _halt(path: Path, end: int) -> int:
    """How many seconds after the end of a run the machine comes to a stand or backs; 0 where it
    goes on."""
    after = slice(end + 1, end + 1 + HALTS_S)
    stands = (path.speed[after] < GOES_M_S) | path.reverse[after]
    stands &= path.piece[after] == path.piece[end]
    at = np.flatnonzero(stands)
    return int(at[0]) + 1 if len(at) else 0


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
