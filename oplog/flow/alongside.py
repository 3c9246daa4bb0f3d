"""Two ways in one track that run close to each other: two machines, or two receivers on one?

Receivers on one machine move together: their errors change slowly, and what lies between them
turns with the machine. Two machines part and meet, or change sides from bout to bout.
"""

from __future__ import annotations

from operator import itemgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.flow.echelon import in_echelon
from oplog.records import dataclass
from oplog.track import Floats

APART_M = 20.0
PARTED_M = 25.0
"""Two receivers on one machine hardly differ by the one, nor does what lies between them change
by the other while they drive for PARTED_S."""
PARTED_S = 20.0
SIDES_M = 4.5
"""An implement's receiver swings to either side by less."""
FEWEST = 20
BESIDE_M = 3.0
"""Ways nearer than this are one."""

_OFTEN = 0.1
_FEWEST_MINUTES = 3
_MINUTE_S = 60.0
_MOVING_M_S = 0.7
_STRAIGHT_RAD = np.radians(8.0)
_FEWEST_STRAIGHT = 60
_AS_FAR = 0.35
_IN_ORDER = 1.3
_FEWEST_CHANGES = 5
_MOSTLY = 0.8
_EITHER = 0.2
_LONGEST_M = 13.0
"""A receiver on a long trailed implement lies 12 m behind the tractor's, and no two solutions of
one place are so far apart for hours."""
_ASIDE_M = 8.0
"""Receivers on one machine are up to 7.5 m aside of each other."""
_ONE_SIDE = 0.95
_ONE_COURSE = 0.6
_STIFF_M = 0.3
_STEPS = 1.5
_SAME_M = 0.05
_PARTED_TO_M = 40.0
"""Receivers 12 m behind each other are never so far apart, however their errors wander."""
_MOST_FIXES = 4_000
_BEAM = 8
_LATE_MOST = 5.0
_LOOKED_AT = 10_000
_LONGEST_GAP = 2.5

Mask = NDArray[np.bool_]
Places = NDArray[np.complex128]
"""East and north as one complex number. [m]"""
Rows = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Pair:
    """Two ways at the same moments. first, second: (n,) places as complex numbers [m]; seconds:
    (n,) increasing, where both are known. [s]"""

    seconds: Floats
    first: Places
    second: Places


def of_one_stamp(seconds: Floats, at: Places, rows: Rows) -> Pair:
    """The ways of fixes that bear one stamp by twos. rows: (n,) the later of each two.

    Most files have them in one order throughout; in others each goes on from the nearer place.
    """
    first, second = at[rows - 1], at[rows]
    kept = np.abs(np.diff(first)) + np.abs(np.diff(second))
    changed = np.abs(first[1:] - second[:-1]) + np.abs(second[1:] - first[:-1])
    if kept.sum() > _IN_ORDER * np.minimum(kept, changed).sum():
        swapped = np.r_[False, np.cumsum(changed < kept) % 2 == 1]
        first, second = np.where(swapped, second, first), np.where(swapped, first, second)
    return Pair(seconds[rows], first, second)


def taking_turns(seconds: Floats, at: Places) -> Pair | None:
    """The ways of fixes that lie now on the one, now on the other; None if there are no two.

    Each fix lies beside the line of its neighbours, and near that of the next but one.
    """
    # Here and there first: most tracks have no such fix, and are long.
    for every in (max(len(at) // _LOOKED_AT, 1), 1):
        rows = _beside(seconds, at, np.arange(2, len(at) - 2, every))
        if not len(rows):
            return None
    if len(rows) < FEWEST:
        return None
    fullest = int(np.argmax(np.searchsorted(rows, rows + _MOST_FIXES) - np.arange(len(rows))))
    begin, end = rows[fullest] - 2, min(rows[-1] + 3, rows[fullest] + _MOST_FIXES)
    of = _followed(seconds[begin:end], at[begin:end])
    ways = [np.flatnonzero(of == k) + begin for k in (False, True)]
    if min(map(len, ways)) < FEWEST:
        return None
    return _at_the_same_moments(seconds, at, *ways)


def _beside(seconds: Floats, at: Places, k: Rows) -> Rows:
    """Which of the fixes k lie beside the line of their neighbours, and not of those beyond."""
    beside = np.abs(at[k] - _between(seconds, at, k, 1))
    return k[(beside > BESIDE_M) & (np.abs(at[k] - _between(seconds, at, k, 2)) < beside / 3)]


def _between(seconds: Floats, at: Places, k: Rows, off: int) -> Places:
    """Where the way stood at each fix by those `off` before and behind it."""
    before, behind = k - off, k + off
    part = (seconds[k] - seconds[before]) / np.maximum(seconds[behind] - seconds[before], 1e-6)
    return np.asarray(at[before] + part * (at[behind] - at[before]))


def _followed(seconds: Floats, at: Places) -> Mask:
    """Which of two ways each fix goes on: the likeliest of all, by a beam search.

    A fix costs what it lies off the place that its way was heading for, and a metre for each
    interval that the way was early or late.
    """
    usual_s = 2.0 * float(np.median(np.diff(seconds)))
    nowhere: _Head = (0.0, None, 0j)
    beam: list[tuple[float, _Head, _Head, Any]] = [(0.0, nowhere, nowhere, None)]
    for s, p in zip(seconds.tolist(), at.tolist(), strict=True):
        grown = []
        for cost, one, other, trail in beam:
            missed, head = _gone_on(one, s, p, usual_s)
            grown.append((cost + missed, head, other, (trail, False)))
            if one[1] is not None:
                missed, head = _gone_on(other, s, p, usual_s)
                grown.append((cost + missed, one, head, (trail, True)))
        grown.sort(key=itemgetter(0))
        beam = grown[:_BEAM]
    of, trail = [], beam[0][3]
    while trail is not None:
        trail, way = trail
        of.append(way)
    return np.array(of[::-1], dtype=bool)


_Head = tuple[float, complex | None, complex]
"""Where a way stood last: seconds, place, velocity."""


def _gone_on(head: _Head, s: float, p: complex, usual_s: float) -> tuple[float, _Head]:
    """What it costs that a way goes on to a fix, and where it stands then."""
    t, q, v = head
    if q is None:
        return 0.0, (s, p, 0j)
    late = abs((s - t) / usual_s - 1.0)
    moved = (p - q) / (s - t) if s - t > 0.1 else v
    return abs(p - q - v * (s - t)) + min(late, _LATE_MOST), (s, p, moved)


def _at_the_same_moments(seconds: Floats, at: Places, one: Rows, other: Rows) -> Pair | None:
    """Both ways at the moments of the first, where the second has fixes close by."""
    moments, held = seconds[one], seconds[other]
    behind = np.searchsorted(held, moments)
    inside = (behind > 0) & (behind < len(held))
    gap = held[np.minimum(behind, len(held) - 1)] - held[np.maximum(behind - 1, 0)]
    usual = float(np.median(np.diff(held)))
    both = inside & (gap <= _LONGEST_GAP * max(usual, 1e-3))
    if both.sum() < FEWEST:
        return None
    moments = moments[both]
    second = np.interp(moments, held, at[other].real) + 1j * np.interp(
        moments, held, at[other].imag
    )
    return Pair(moments, at[one][both], second)


def part_and_meet(pair: Pair) -> bool:
    """Whether the distance between two ways grows and shrinks as only two machines make it.

    In a tenth of the minutes in which either moves, and three at least. Where the one lies of the
    other would tell more, but of receivers far behind each other a turn changes that as well.
    """
    apart_m = np.abs(pair.second - pair.first)
    later = np.interp(pair.seconds + PARTED_S, pair.seconds, np.arange(len(apart_m)))
    row = np.minimum(np.rint(later).astype(np.intp), len(apart_m) - 1)
    in_time = np.abs(pair.seconds[row] - pair.seconds - PARTED_S) < PARTED_S / 2
    parted = in_time & (np.abs(apart_m[row] - apart_m) > PARTED_M)
    parted &= np.maximum(apart_m[row], apart_m) > _PARTED_TO_M
    moved = np.maximum(np.abs(pair.first[row] - pair.first), np.abs(pair.second[row] - pair.second))
    moving = in_time & (moved > _MOVING_M_S * PARTED_S)
    minute = np.floor(pair.seconds / _MINUTE_S)
    parted_minutes = len(np.unique(minute[parted & moving]))
    return parted_minutes >= max(_FEWEST_MINUTES, _OFTEN * len(np.unique(minute[moving])))


def side_by_side(pair: Pair) -> bool:
    """Whether two ways run straight beside each other, always as far off, as only two machines
    do: bout beside bout, or the one kept to a side of the other."""
    straight = _straight(pair)
    if straight.sum() < _FEWEST_STRAIGHT:
        return False
    course = np.diff(pair.first)[1:][straight]
    course = course / np.abs(course)
    off = (pair.second - pair.first)[1:-1][straight] * course.conj()
    low_m, left_m, high_m = np.percentile(np.abs(off.imag), [10, 50, 90])
    if left_m < SIDES_M or high_m - low_m > _AS_FAR * left_m:
        return False
    if change_sides(off) and (
        _far_off(off) or in_echelon((pair.first[1:-1], pair.second[1:-1]), straight)
    ):
        return True
    return keep_aside(off, course) and not _stiff(pair.seconds[1:-1][straight], off, pair.first)


def change_sides(off: Places) -> bool:
    """Whether the way behind lies now left, now right of the one ahead. off: (n,) where the
    second way lies of the first, ahead and left. [m]

    Which way is the first may be mistaken from bout to bout, and what lies between two solutions
    of one receiver may keep to a point of the compass. Either turns left and right, but ahead and
    behind too: so only the one by the other counts. A receiver far behind another, and off to a
    point of the compass, does look like bouts, but only from as near as an implement is long
    (`_far_off`); there `echelon` tells.
    """
    ahead_m, left_m = np.abs(off.real), np.abs(off.imag)
    told = (ahead_m > SIDES_M) & (left_m > np.median(left_m) / 2)
    if told.sum() < _MOSTLY * len(off):
        return False
    sides = (off.real * off.imag)[told] > 0
    changes = int(np.count_nonzero(np.diff(sides)))
    either = _EITHER < sides.mean() < 1.0 - _EITHER
    return bool(either and _FEWEST_CHANGES <= changes <= len(sides) / 5)


def _far_off(off: Places) -> bool:
    """Whether a way lies farther ahead or aside than a receiver on the same machine."""
    return bool(max(np.percentile(np.abs(part), 25) for part in (off.real, off.imag)) > _LONGEST_M)


def keep_aside(off: Places, course: Places) -> bool:
    """Whether the second way keeps abreast of the first, to one side and farther off than a
    receiver on the same machine, in more than one course: what is so by the compass alone is
    nearer on the way back. off: as for change_sides; course: (n,) of length 1."""
    left = float(np.mean(off.imag > 0))
    near_m = float(np.percentile(np.abs(off.imag), 10))
    ahead_m = float(np.percentile(np.abs(off.real), 75))
    abreast = max(left, 1.0 - left) > _ONE_SIDE and ahead_m < _ASIDE_M
    return bool(abreast and near_m > _ASIDE_M and abs(course.mean()) < _ONE_COURSE)


def _stiff(seconds: Floats, off: Places, first: Places) -> bool:
    """Whether the distance between two ways hardly changes from minute to minute, as between
    places that were worked out for the halves of a boom. A driver beside another wavers."""
    _, minute = np.unique(np.floor(seconds / _MINUTE_S), return_inverse=True)
    apart_m = np.bincount(minute, np.abs(off)) / np.bincount(minute)
    near_m, far_m = np.percentile(apart_m, [10, 90])
    return bool(far_m - near_m < max(_STIFF_M, _STEPS * _written_m(first)))


def _written_m(at: Places) -> float:
    """How finely places are written: the commonest least step east or north. [m]"""
    least = []
    for values in (at.real, at.imag):
        steps = np.diff(np.unique(values))
        steps = steps[steps > _SAME_M]
        least.append(np.percentile(steps, 5) if len(steps) else np.inf)
    return float(min(least))


def _straight(pair: Pair) -> Mask:
    """At which moments, but for the first and last, both ways run straight."""
    straight = np.ones(max(len(pair.seconds) - 2, 0), dtype=bool)
    for at in (pair.first, pair.second):
        step = np.diff(at)
        moving = np.abs(step) > _MOVING_M_S * np.diff(pair.seconds)
        turn = np.abs(np.angle(step[1:] * step[:-1].conj()))
        straight &= (turn < _STRAIGHT_RAD) & moving[1:] & moving[:-1]
    return straight
