"""What a machine does in a field while not working: turning, filling, standing, travelling."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.motion import Path
from oplog.work.runs import TREMBLES_M, true_runs

WORKING, TURNING, FILLING, STANDING, TRAVELLING, UNRECORDED = range(6)
NAMES = ("working", "turning", "filling", "standing", "travelling", "unrecorded")

FILL_S = 30
"""A shorter stop is not for filling. LONG_FILL_S: a longer one is, but in mid-bout only where a
header may be emptied at a stand; IN_BOUT_FILL_S: a longer one is, anywhere. Common practice."""
LONG_FILL_S = 120
IN_BOUT_FILL_S = 300
STOOD_M_S = 0.1
"""Slower, and a machine stands, where positions do not tremble."""
HALT_S = 10
"""A shorter stop between two bouts is part of the turn: a change of gear, a look behind."""
IN_LINE_S = 10
"""How long before and after a stop the way is looked at, to see whether they are in line."""
CLOSE_S, AT_ONCE_S, BACKED_M = 20, 6, 15.0
"""How soon before and after a stop there was work, if it lies within a bout, and with a header; and
how far back at most the bout goes on."""
ELSEWHERE_M = 30.0
"""A stop further than this from both ends of a turn was gone to for its own sake."""
ABOUT_S, STRAIGHT = 4, np.radians(20)
"""How long before and after each step its way is looked at, and how far that may bend."""

Codes = NDArray[np.int8]
Flags = NDArray[np.bool_]


def classify(
    path: Path, work: Flags, holds: bool, width_m: float, break_s: float, cuts: bool = False
) -> Codes:
    """A state for each second of the path: (m,) codes into NAMES.

    holds: the implement is filled or emptied in the field, so that stops may be for filling.
    cuts: it has a header, and may be emptied where it happens to be.
    """
    codes = np.full(len(path), TRAVELLING, dtype=np.int8)
    codes[work] = WORKING
    codes[_joined_stops(path, standing(path), ~work)] = STANDING
    _mark_turns(codes, path, work, width_m)
    if holds:
        _mark_filling(codes, path, work, break_s, cuts)
    return codes


def _joined_stops(path: Path, still: Flags, free: Flags) -> Flags:
    """Stops, with shifts of a few seconds that get nowhere taken in: (m,) mask.

    Noise makes a standing receiver seem to creep, and a machine at a trailer is shunted.
    """
    joined = still & free
    near_m = max(3.0, 3.0 * path.drift_m)
    for a, b in true_runs(~still & free, path.piece):
        between = a > 0 and b < len(path) - 1 and joined[a - 1] and joined[b + 1]
        if between and b - a < 20:
            shift = np.hypot(path.x[b + 1] - path.x[a - 1], path.y[b + 1] - path.y[a - 1])
            if shift < near_m:
                joined[a : b + 1] = True
    return joined


def standing(path: Path) -> Flags:
    """Seconds in which the machine does not get anywhere: (m,) mask.

    Noise makes a standing receiver wander: the way made good over ten seconds counts, against
    what the noise explains.
    """
    least_m = max(1.5, 4.0 * path.noise_m)
    rows = np.arange(len(path))
    a = np.clip(rows - 5, 0, len(path) - 1)
    b = np.clip(rows + 5, 0, len(path) - 1)
    made_good = np.hypot(path.x[b] - path.x[a], path.y[b] - path.y[a])
    slow = path.speed < max(0.25, path.noise_m / 4)
    return np.asarray((made_good < least_m) & (path.speed < 0.5) | slow, dtype=bool)


def stops(path: Path, least_s: int) -> list[tuple[int, int]]:
    """First and last row of each stop of so many seconds or more; where positions tremble, of
    those in which the machine does not get anywhere."""
    stood = standing(path) if path.noise_m > TREMBLES_M else path.speed < STOOD_M_S
    return [(a, b) for a, b in true_runs(stood, path.piece) if b - a >= least_s]


def runs(codes: NDArray[Any], pieces: NDArray[np.int32]) -> list[tuple[int, int]]:
    """First and last row of each run of one state within one piece."""
    change = (np.diff(codes) != 0) | (np.diff(pieces) != 0)
    cut = np.flatnonzero(change) + 1
    starts = np.concatenate([[0], cut])
    ends = np.concatenate([cut, [len(codes)]]) - 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _mark_turns(codes: Codes, path: Path, work: Flags, width_m: float) -> None:
    """Moving between the end of one bout and the start of the next, close by: turning.

    With the moments at a halt that a change of direction takes. Going to a stop somewhere else
    (a trailer, a bowser) and back is travelling.
    """
    near_m, most_m = 40.0 + 4.0 * width_m, 90.0 + 9.0 * width_m
    for first, last in runs(np.where(work, 1, 0).astype(np.int8), path.piece):
        between = first > 0 and last < len(path) - 1 and not work[first]
        if not between or not (work[first - 1] and work[last + 1]):
            continue
        here = slice(first, last + 1)
        still = codes[here] == STANDING
        stops = true_runs(still, path.piece[here]) if still.any() else []
        moving = codes[here] == TRAVELLING
        for p, q in stops:
            if q - p < HALT_S:
                moving[p : q + 1] = True
        if any(q - p >= FILL_S and _elsewhere(path, first, last, first + p) for p, q in stops):
            continue
        way = float(path.speed[here][moving].sum())
        apart = np.hypot(path.x[last] - path.x[first], path.y[last] - path.y[first])
        if apart <= near_m and way <= most_m and int(moving.sum()) <= 120:
            codes[here][moving] = TURNING


def _elsewhere(path: Path, first: int, last: int, at: int) -> bool:
    """Whether a stop is away from where the work ended and where it went on."""
    aside = [np.hypot(path.x[at] - path.x[k], path.y[at] - path.y[k]) for k in (first, last)]
    return bool(min(aside) > ELSEWHERE_M)


def _mark_filling(codes: Codes, path: Path, work: Flags, break_s: float, cuts: bool) -> None:
    """Stops that are not breaks, at places used more than once or long enough: filling.

    A stop in mid-bout (work before and after, on the same line) is something else unless it is
    very long: a blockage, a look at the job. A header is emptied where it stands, and may back off
    from the crop for that.
    """
    in_bout_s, close_s = (LONG_FILL_S, AT_ONCE_S) if cuts else (IN_BOUT_FILL_S, CLOSE_S)
    stops = [
        (a, b) for a, b in true_runs(codes == STANDING, path.piece) if FILL_S <= b - a + 1 < break_s
    ]
    places = np.array([[path.x[a : b + 1].mean(), path.y[a : b + 1].mean()] for a, b in stops])
    reach_m = 40.0 + 3 * path.drift_m
    for k, (a, b) in enumerate(stops):
        size, in_bout = b - a + 1, _mid_bout(path, work, a, b, close_s)
        used_again = (np.hypot(*(places - places[k]).T) < reach_m).sum() >= 2
        if size >= in_bout_s or (not in_bout and (used_again or size >= LONG_FILL_S)):
            codes[a : b + 1] = FILLING


def _mid_bout(path: Path, work: Flags, first: int, last: int, close_s: int) -> bool:
    """Whether a stop lies within a bout: work close before and after, in one direction, though the
    machine may have backed off to look."""
    before = np.flatnonzero(work[max(first - close_s, 0) : first])
    after = np.flatnonzero(work[last + 1 : last + 1 + close_s])
    if not (len(before) and len(after)):
        return False
    left, begun = max(first - close_s, 0) + int(before[-1]), last + 1 + int(after[0])
    if abs(_way(path, left, begun)) > BACKED_M:
        return False
    # By the way made good: a receiver that stands has no heading, only noise that adds up.
    way = max(IN_LINE_S, int(8 * path.noise_m))
    came = _way(path, max(left - way, 0), left)
    went = _way(path, begun, min(begun + way, len(path) - 1))
    turned = np.angle(went * np.conj(came))
    return bool(abs(turned) < np.radians(20))


def _way(path: Path, first: int, last: int) -> complex:
    """The way made good between two rows, as a complex number. [m]"""
    return complex(path.x[last] - path.x[first], path.y[last] - path.y[first])


def way_m(path: Path, rows: Flags) -> Floats:
    """Length of each second's step to the next, for the rows asked for: (m,) [m]

    A trembling receiver lengthens every step, by 2 % at walking pace with a phone: there steps
    count as far as they go on along the way of some seconds about, where that is straight.
    """
    dx, dy = np.diff(path.x, append=path.x[-1:]), np.diff(path.y, append=path.y[-1:])
    step = np.hypot(dx, dy)
    if path.noise_m > TREMBLES_M:
        row = np.arange(len(path))
        first, last = (np.searchsorted(path.piece, path.piece, side=s) for s in ("left", "right"))
        a, b = np.maximum(row - ABOUT_S, first), np.minimum(row + 1 + ABOUT_S, last - 1)
        cx, cy = path.x[b] - path.x[a], path.y[b] - path.y[a]
        onward = (dx * cx + dy * cy) / np.maximum(np.hypot(cx, cy), 0.01)
        straight = np.abs(path.heading[b] - path.heading[a]) < STRAIGHT
        step = np.where(straight, np.maximum(onward, 0.0), step)
    step[np.diff(path.piece, append=-1) != 0] = 0.0
    return np.asarray(np.where(rows, step, 0.0))
