"""Gaps in the record: which of them a machine can only have driven through in one way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats, median
from oplog.work.clean import Cleaned

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
Places = NDArray[np.complex128]
BRIDGED_S = 55.0
"""A gap up to this is bridged where the way across it shows. Less than `GAP_S` in
`oplog/flow/cutting.py`, so that nothing is drawn across a private place."""
STRAIGHT_S, COURSE_S = 8.0, 3.0
"""How long before and after a gap the way shows where the machine was going, and its course."""
IN_TIME, IN_TIME_ROUND = 0.15, 0.2
"""How far the speed across a gap may be from the speed beside it, as a log ratio; the second where
it is driven round a corner."""
IN_LINE, SHARPEST = np.radians(6), np.radians(120)
"""How far off its course a machine that went straight on comes out; and the sharpest corner in a
gap of which it is seen where it lay."""
LEAST_M_S = 0.5
"""A slower machine may be about to stop."""
ROUND_M = 6.0
"""How far from a corner a machine begins to turn."""
CROOKED = np.radians(3)
"""How far apart the course at a gap and that over STRAIGHT_S are where it was going straight."""


def longest_gap_s(interval_s: float) -> float:
    """Longest interval that is bridged; anything longer is a hole in the record. [s]"""
    return max(10.0, 6.0 * interval_s)


def bridged(cleaned: Cleaned, interval_s: float) -> tuple[Cleaned, Rows]:
    """The fixes, with some put in where a machine went round a corner while none were written,
    and the rows at which the record begins anew after a hole.

    interval_s: between fixes, as a rule. Fixes put in have the row of the one before them.
    """
    hole = (np.diff(cleaned.seconds) > longest_gap_s(interval_s)) & ~stood(cleaned)
    gaps = np.flatnonzero(hole)
    straight, corners = _crossed(cleaned, gaps)
    hole[gaps[straight]] = False
    rounded = {k: corner for k, corner in corners.items() if hole[k]}
    hole[list(rounded)] = False
    cuts = np.flatnonzero(hole) + 1
    for k in sorted(rounded, reverse=True):
        cleaned, put_in = _put_in(cleaned, k, rounded[k], interval_s)
        cuts[cuts > k] += put_in
    return cleaned, cuts


def stood(cleaned: Cleaned) -> Flags:
    """Intervals in which a logger that writes by distance wrote nothing, as the machine stood.

    Such a logger is known by its having no short steps at any speed, or hardly any where it does
    not keep to one interval either. (n-1,) mask.
    """
    step = np.hypot(np.diff(cleaned.x), np.diff(cleaned.y))
    if len(step) < 50:
        return np.zeros(len(step), dtype=bool)
    shortest, short, usual = np.percentile(step, [1, 5, 50])
    interval_s = np.diff(cleaned.seconds)
    uneven = (np.abs(interval_s - median(interval_s)) < 0.5).mean() < 0.85
    by_distance = usual > 0.5 and (short if uneven else shortest) > 0.4 * usual
    return np.asarray(step <= 2.2 * usual) if by_distance else np.zeros(len(step), dtype=bool)


def _crossed(cleaned: Cleaned, gaps: Rows) -> tuple[Flags, dict[int, complex]]:
    """Gaps across which the machine can only have gone on as it was going, (k,) mask, and others
    in which it went round one corner: where that lay, by gap. [m]

    It comes out of the gap in line with how it went in, or where both lines meet, as far on as
    its speed takes it. A gap of a minute may be a private place that was cut out: none as long as
    that is bridged. gaps: (k,) interval after which fix.
    """
    t, at = cleaned.seconds, cleaned.x + 1j * cleaned.y
    straight, corners = np.zeros(len(gaps), dtype=bool), {}
    for n, k in enumerate(gaps.tolist()):
        lasts_s = float(t[k + 1] - t[k])
        before, after = _before(t, at, k), _after(t, at, k + 1)
        if before is None or after is None or lasts_s > BRIDGED_S:
            continue
        over = (at[k + 1] - at[k]) / lasts_s
        straight[n] = all(
            any(_goes_on(over, course) for course in (side.long, side.short))
            for side in (before, after)
        )
        if before.even or after.even:
            corner = _corner(at[k], before.short, at[k + 1], after.short, lasts_s)
            if corner is not None:
                corners[k] = corner
    return straight, corners


@dataclass(frozen=True)
class _Way:
    """How a machine went into a gap or came out of it: mean velocities over the last or next
    seconds, more and fewer of them. [m/s]"""

    long: complex
    short: complex

    @property
    def even(self) -> bool:
        """Whether it went straight."""
        return bool(abs(np.angle(self.short / self.long)) < CROOKED)


def _before(t: Floats, at: Places, end: int) -> _Way | None:
    """How the way went up to a fix, None where it did not."""
    first = [min(int(np.searchsorted(t, t[end] - s)), end - 1) for s in (STRAIGHT_S, COURSE_S)]
    return _way(*((at[end] - at[k]) / (t[end] - t[k]) for k in first)) if end > 0 else None


def _after(t: Floats, at: Places, begin: int) -> _Way | None:
    """How the way went from a fix, None where it did not."""
    if begin + 1 >= len(t):
        return None
    last = [int(np.searchsorted(t, t[begin] + s, side="right")) - 1 for s in (STRAIGHT_S, COURSE_S)]
    last = [max(k, begin + 1) for k in last]
    return _way(*((at[k] - at[begin]) / (t[k] - t[begin]) for k in last))


def _way(long: complex, short: complex) -> _Way | None:
    return _Way(long, short) if min(abs(long), abs(short)) > LEAST_M_S else None


def _goes_on(over: complex, beside: complex) -> bool:
    """Whether a machine went over a gap as fast and in the direction as beside it. [m/s]"""
    as_fast = abs(np.log(max(abs(over), 1e-3) / abs(beside))) < IN_TIME
    return bool(as_fast and abs(np.angle(over / beside)) < IN_LINE)


def _corner(
    begin: complex, into: complex, end: complex, out: complex, lasts_s: float
) -> complex | None:
    """Where the way in and the way out of a gap meet, if they can be driven in the time.

    begin, end: where it begins and ends [m]; into, out: velocities there [m/s].
    """
    if abs(np.angle(out / into)) > SHARPEST:
        return None
    ahead, back = into / abs(into), out / abs(out)
    across = (ahead.conjugate() * back).imag
    if abs(across) < np.sin(IN_LINE):
        return None
    way = end - begin
    # begin + there_m * ahead == end - on_m * back
    there_m = (way.conjugate() * back).imag / across
    on_m = (ahead.conjugate() * way).imag / across
    if min(there_m, on_m) < 0:
        return None
    expected_s = there_m / abs(into) + on_m / abs(out)
    in_time = abs(np.log(lasts_s / max(expected_s, 0.1))) < IN_TIME_ROUND
    return begin + there_m * ahead if in_time else None


def _put_in(cleaned: Cleaned, gap: int, corner: complex, interval_s: float) -> tuple[Cleaned, int]:
    """The fixes with a way round a corner put in after one of them, and how many that are."""
    t = cleaned.seconds
    begin, end = (complex(cleaned.x[k], cleaned.y[k]) for k in (gap, gap + 1))
    to_m, from_m = abs(corner - begin), abs(end - corner)
    round_m = min(ROUND_M, to_m, from_m)
    enters = corner + (begin - corner) * (round_m / max(to_m, 1e-9))
    leaves = corner + (end - corner) * (round_m / max(from_m, 1e-9))
    u = np.linspace(0.0, 1.0, 9)
    bend = (1 - u) ** 2 * enters + 2 * u * (1 - u) * corner + u**2 * leaves
    way = np.concatenate([[begin], bend, [end]])
    gone = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(way)))])
    count = max(int((t[gap + 1] - t[gap]) / interval_s) - 1, 1)
    share = np.arange(1, count + 1) / (count + 1)
    place = np.interp(share * gone[-1], gone, way.real), np.interp(share * gone[-1], gone, way.imag)

    def with_these(values: NDArray[np.float64], these: Floats) -> Floats:
        return np.insert(values, gap + 1, these)

    return replace(
        cleaned,
        seconds=with_these(t, t[gap] + share * (t[gap + 1] - t[gap])),
        x=with_these(cleaned.x, place[0]),
        y=with_these(cleaned.y, place[1]),
        rows=np.insert(cleaned.rows, gap + 1, np.full(count, cleaned.rows[gap])),
    ), count
