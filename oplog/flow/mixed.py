"""Tell a file that mixes two machines: one machine cannot be in two places."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.flow import alongside
from oplog.geodesy import Plane
from oplog.track import Floats, Times, Track, median
from oplog.work.clean import clean, interleaved, written_m
from oplog.work.jumps import FASTEST_M_S, impossible, plausible

FAR_M = 60.0
"""Two receivers on one machine, or two solutions of one receiver, are never so far apart for
long; nearer ones are told by how they move (see alongside)."""
AT_ONCE_MOST = 4
"""Where more fixes bear one stamp, the clock is coarse (whole minutes)."""
FEWEST = 20
AT_ONCE_SHARE = 0.005
JUMPING = 0.1
"""A receiver loses itself now and then; where more than this share of the fixes is elsewhere,
there are two machines."""

_BACK = 4
_WINDOW = 40
_WINDOW_SHARE = 0.4
_ZIGZAG_M = 12.0
_GRIDS = 2.5
"""A fix that is rounded now up and now down leaps over a step of the grid, east and north."""
_SLOWEST_STEP_S = 10.0
_STILL_M = 10.0
_MOVED_M = 200.0
_LEAP_M = 500.0
_LEAP_M_S = 100.0
_LEAPS_BACK_M = 100.0
_PIECE_FIXES = 60
_PIECE_M = 30.0

Mask = NDArray[np.bool_]


def two_machines(fixes: Track) -> str:
    """What shows that a track (as gather.ready gives it) is of more than one machine; "" if
    nothing does. The time named is UTC."""
    grid_m = written_m(fixes.lat)
    if grid_m > FAR_M:
        return ""
    plane = Plane(median(fixes.lon), median(fixes.lat))
    x, y = plane.xy(fixes.lon, fixes.lat)
    time = fixes.time
    apart = _at_one_moment(time, x, y)
    if apart.any():
        return _said("two places at one moment", time, apart, _steps_m(x, y))
    first = np.r_[True, np.diff(time) > np.timedelta64(0, "us")]
    time, x, y = time[first], x[first], y[first]
    for jumps in (_zigzag(time, x, y, grid_m), _leaps(time, x, y)):
        if jumps.any():
            what = "positions leap between places faster than any machine can drive"
            return _said(what, time, jumps, _steps_m(x, y))
    if not impossible(np.diff(time) / np.timedelta64(1, "s"), _steps_m(x, y)[1:]).any():
        return ""
    cleaned = clean(fixes, plane)
    if cleaned.jumps > max(FEWEST, JUMPING * len(cleaned)) or interleaved(cleaned):
        return "positions jump back and forth between places, faster than any machine can drive"
    return ""


def _said(what: str, time: Times, which: Mask, step_m: Floats) -> str:
    """The statement, with how far apart and when first. step_m: distance from the fix before."""
    far_m = float(step_m[which].max())
    far = f"{far_m / 1000.0:.1f} km" if far_m >= 1000.0 else f"{far_m:.0f} m"
    at = str(time[which][0].astype("datetime64[s]")).replace("T", " at ")
    return f"{what}, up to {far} apart, {int(which.sum())} times, first on {at} UTC"


def _steps_m(x: Floats, y: Floats) -> Floats:
    return np.asarray(np.r_[0.0, np.hypot(np.diff(x), np.diff(y))])


def _seconds(time: Times) -> Floats:
    return np.asarray((time - time[0]) / np.timedelta64(1, "s")) if len(time) else np.zeros(0)


def _at_one_moment(time: Times, x: Floats, y: Floats) -> Mask:
    """Fixes at the stamp of the fix before them, and elsewhere; none if they are few."""
    none: Mask = np.zeros(len(time), dtype=bool)
    same: Mask = np.r_[False, np.diff(time) == np.timedelta64(0, "us")]
    if not same.any():
        return none
    group = np.cumsum(~same)
    held = np.bincount(group)[group]
    fewest = max(FEWEST, AT_ONCE_SHARE * len(time))
    apart: Mask = same & (held <= AT_ONCE_MOST) & (_steps_m(x, y) > alongside.APART_M)
    if np.sum(apart & ((held > 2) | (_steps_m(x, y) > FAR_M))) >= fewest:
        return apart
    twos = np.flatnonzero(same & (held == 2))
    if len(twos) < fewest:
        return none
    pair = alongside.of_one_stamp(_seconds(time), x + 1j * y, twos)
    if apart.sum() >= fewest and alongside.part_and_meet(pair):
        return apart
    return np.asarray(same & (held == 2)) if alongside.side_by_side(pair) else none


def _zigzag(time: Times, x: Floats, y: Floats, grid_m: float) -> Mask:
    """Fixes of two ways that take turns, if two machines drove them; else none."""
    step_m = _steps_m(x, y)
    found = _to_and_fro(time, x, y, grid_m)
    if int(np.sum(found & (step_m > FAR_M))) >= FEWEST:
        return found
    pair = alongside.taking_turns(_seconds(time), x + 1j * y)
    if pair is None:
        return np.zeros(len(time), dtype=bool)
    if found.any() and alongside.part_and_meet(pair):
        return found
    return np.asarray(alongside.side_by_side(pair) & (step_m > alongside.BESIDE_M))


def _to_and_fro(time: Times, x: Floats, y: Floats, grid_m: float) -> Mask:
    """Fixes far from the one before and near an older one, where that is the rule.

    Two machines that both move, or move against each other: a receiver that wavers between two
    places while it stands does neither. Nothing is told from fixes more than ten seconds apart:
    a machine may turn between them.
    """
    n = len(time)
    none = np.zeros(n, dtype=bool)
    if n < _WINDOW:
        return none
    step_m = _steps_m(x, y)
    quick = np.r_[False, np.diff(time) <= np.timedelta64(int(_SLOWEST_STEP_S), "s")]
    far = quick & (step_m > _ZIGZAG_M)
    if far.sum() < FEWEST:
        return none
    older_m = np.full(n, np.inf)
    for k in range(2, _BACK + 1):
        older_m[k:] = np.minimum(older_m[k:], np.hypot(x[k:] - x[:-k], y[k:] - y[:-k]))
    back = far & (older_m < step_m / 2)
    if back.sum() < FEWEST:
        return none
    least_m = max(_ZIGZAG_M, _GRIDS * grid_m)
    back &= step_m > least_m
    if back.sum() < FEWEST:
        return none
    total = np.r_[0, np.cumsum(back)]
    often = np.flatnonzero(total[_WINDOW:] - total[:-_WINDOW] >= _WINDOW_SHARE * _WINDOW)
    inside = np.zeros(n + 1, dtype=np.int64)
    np.add.at(inside, often, 1)
    np.add.at(inside, often + _WINDOW, -1)
    found = back & (np.cumsum(inside)[:n] > 0)
    moves = found.any() and (
        step_m[found].std() > _STILL_M or older_m[found].sum() > max(_MOVED_M, 2 * least_m)
    )
    return found if moves else none


def _leaps(time: Times, x: Floats, y: Floats) -> Mask:
    """Steps that no machine can make, between long stretches that both move.

    A single one counts only if it is far and sudden; to and fro, nearer ones do. Wild fixes are
    left out before: the way there and the way back may lie either side of what is far.
    """
    found = np.zeros(len(time), dtype=bool)
    leap, _, _ = _leaping(time, x, y)
    if not leap.any() or leap.sum() > len(time) // _PIECE_FIXES:
        return found
    rows = np.flatnonzero(plausible(_seconds(time), x, y))
    x, y = x[rows], y[rows]
    leap, step_m, speed_m_s = _leaping(time[rows], x, y)
    starts = np.r_[0, np.flatnonzero(leap)]
    ends = np.r_[starts[1:], len(rows)]
    long = np.array([_is_long(x[a:b], y[a:b]) for a, b in zip(starts, ends, strict=True)])
    kept = starts[1:][long[1:] & long[:-1]]
    sudden = kept[(step_m[kept] > _LEAP_M) & (speed_m_s[kept] > _LEAP_M_S)]
    found[rows[kept if len(kept) > 1 else sudden]] = True
    return found


def _leaping(time: Times, x: Floats, y: Floats) -> tuple[Mask, Floats, Floats]:
    """Which steps are leaps, their lengths [m] and speeds [m/s]."""
    step_m = _steps_m(x, y)
    step_s = np.r_[1.0, np.diff(time) / np.timedelta64(1, "s")]
    speed_m_s = step_m / np.maximum(step_s, 1.0)
    return (step_m > _LEAPS_BACK_M) & (speed_m_s > FASTEST_M_S), step_m, speed_m_s


def _is_long(x: Floats, y: Floats) -> bool:
    return len(x) >= _PIECE_FIXES and float(np.hypot(np.ptp(x), np.ptp(y))) > _PIECE_M
