"""From what a file says, row by row, to a Track: what every format has in common."""

from __future__ import annotations

from dataclasses import fields
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from oplog.readers import _tally as say
from oplog.readers import _times
from oplog.readers._tally import Tally
from oplog.readers.rollover import CYCLE_DAYS
from oplog.records import dataclass
from oplog.track import NOT_STATED, Floats, Track, empty, track

_CYCLE_US = CYCLE_DAYS * _times.DAY_US
_ASTRAY_US = 3653 * _times.DAY_US
_FIRST_GPS_US = 3658 * _times.DAY_US
"""1980-01-07: weeks of GPS are counted from the day before."""
_MOST_ASTRAY = 0.2


@dataclass
class Rows:
    """Fixes as a file gives them, in its order. All columns have shape (n,).

    time_us: microseconds since 1970, _times.NAT where not known; became: see _times.GOOD.
    where: place in the file, for telling the line. The other columns are those of Track.
    """

    time_us: _times.Ints
    became: NDArray[np.int8]
    lat: Floats
    lon: Floats
    speed_m_s: Floats
    course_deg: Floats
    hdop: Floats
    quality: NDArray[np.int8]
    segment: NDArray[np.int32]
    where: _times.Ints

    def __len__(self) -> int:
        return len(self.time_us)

    def take(self, rows: Any) -> Rows:
        """The rows that a mask, slice or index array selects."""
        return Rows(*(getattr(self, f.name)[rows] for f in fields(self)))


def join(parts: list[Rows]) -> Rows:
    """Rows one behind the other, segments as they are numbered."""
    if len(parts) == 1:
        return parts[0]
    return Rows(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Rows)))


def finish(rows: Rows, tally: Tally, zone: str | None, device: str) -> Track:
    """Set aside what cannot be used, count it, and number the segments anew.

    Nothing is sorted: where time steps backwards a new segment begins.
    """
    rows = _usable(rows, tally)
    if not len(rows):
        return empty()
    time_us = _in_utc(rows, tally, zone)
    astray = _astray(time_us)
    if astray is not None:
        tally.add_rows(say.ASTRAY, astray, rows.where)
        rows, time_us = rows.take(~astray), time_us[~astray]
    keep = _first_of_each(time_us, rows.lat, rows.lon)
    if keep is not None:
        tally.add_rows(say.REPEATED, ~keep, rows.where)
        rows, time_us = rows.take(keep), time_us[keep]
    back, rolled_over = _steps(time_us)
    tally.add_rows(say.BACKWARDS, back & ~rolled_over, rows.where)
    tally.add_rows(say.ROLLED_OVER, rolled_over, rows.where)
    breaks = np.r_[False, rows.segment[1:] != rows.segment[:-1]] | back | rolled_over
    return track(
        _times.as_times(time_us),
        rows.lat,
        rows.lon,
        speed_m_s=np.where(rows.speed_m_s >= 0, rows.speed_m_s, np.nan),
        course_deg=np.where(
            (rows.course_deg >= 0) & (rows.course_deg <= 360), rows.course_deg, np.nan
        ),
        hdop=np.where(rows.hdop >= 0, rows.hdop, np.nan),
        quality=rows.quality,
        segment=np.cumsum(breaks, dtype=np.int32),
        device=device,
    )


def known_zone(zone: str | None) -> str | None:
    """The zone if it is one, else None."""
    try:
        return zone if zone and ZoneInfo(zone) else None
    except (ValueError, OSError, KeyError):
        return None


def _usable(rows: Rows, tally: Tally) -> Rows:
    on_earth = (np.abs(rows.lat) <= 90) & (np.abs(rows.lon) <= 180)  # False for NaN
    island = (rows.lat == 0) & (rows.lon == 0)
    timeless = on_earth & ~island & (rows.became == _times.BAD)
    unfixed = on_earth & ~island & ~timeless & (rows.quality == 0)
    good = on_earth & ~island & ~timeless & ~unfixed
    if good.all():
        return rows
    for message, bad in (
        (say.NO_POSITION, ~on_earth),
        (say.NULL_ISLAND, island),
        (say.NOT_A_TIME, timeless),
        (say.NO_FIX, unfixed),
    ):
        tally.add_rows(message, bad, rows.where)
    return rows.take(good)


def _in_utc(rows: Rows, tally: Tally, zone: str | None) -> _times.Ints:
    tally.add_rows(say.NO_TIME, rows.became == _times.MISSING, rows.where)
    tally.add_rows(say.LEAP_SECOND, rows.became == _times.LEAP, rows.where)
    local = rows.became == _times.LOCAL
    if not local.any():
        return rows.time_us
    named = known_zone(zone)
    time_us = rows.time_us.copy()
    if named is None:
        time_us[local] = _times.NAT
        tally.add_rows(say.LOCAL_TIME, local, rows.where)
    else:
        time_us[local] = _times.to_utc(time_us[local], named)
    return time_us


def _first_of_each(time_us: _times.Ints, lat: Floats, lon: Floats) -> NDArray[np.bool_] | None:
    """Mask that leaves out a fix whose time and place came before; None if none did."""
    if (np.diff(time_us) > 0).all():
        return None
    order = np.lexsort((np.arange(len(lat)), lon, lat, time_us))
    same = np.ones(len(order) - 1, bool)
    for column in (time_us, lat, lon):
        same &= column[order[1:]] == column[order[:-1]]
    again = order[1:][same & (time_us[order[1:]] != _times.NAT)]
    if not len(again):
        return None
    keep = np.ones(len(order), bool)
    keep[again] = False
    return keep


def _astray(time_us: _times.Ints) -> NDArray[np.bool_] | None:
    """Mask of a few fixes dated ten years and more from the middle one, and of any number dated
    before there were receivers, as these write them before they know the date; None for none.

    Those that are off by 1024 weeks are told otherwise (see _steps).
    """
    known = time_us != _times.NAT
    astray = known & (time_us < _FIRST_GPS_US)
    if not known.any() or (astray == known).all():
        return None
    timed = time_us[known & ~astray]
    if int(timed.max()) - int(timed.min()) > _ASTRAY_US:
        apart = np.abs(time_us - np.partition(timed, len(timed) // 2)[len(timed) // 2])
        few = known & ~astray & (apart > _ASTRAY_US) & ~_of_cycles(apart)
        if few.sum() <= _MOST_ASTRAY * len(timed):
            astray |= few
    return astray if astray.any() else None


def _of_cycles(apart_us: _times.Ints) -> NDArray[np.bool_]:
    """Whether differences of time are 1024 weeks, or some times that, to the day."""
    cycles = np.rint(apart_us / _CYCLE_US)
    return np.asarray((cycles > 0) & (np.abs(apart_us - cycles * _CYCLE_US) < _times.DAY_US))


def _steps(time_us: _times.Ints) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Masks of the fixes before the last timed one, and of those about 1024 weeks from it."""
    timed = np.flatnonzero(time_us != _times.NAT)
    step = np.diff(time_us[timed])
    back, rolled_over = np.zeros((2, len(time_us)), bool)
    back[timed[1:][step < 0]] = True
    rolled_over[timed[1:][_of_cycles(np.abs(step))]] = True
    return back, rolled_over


def unstated(n: int) -> dict[str, Any]:
    """Columns for n rows of which a file says nothing but time and place."""
    nan = np.full(n, np.nan)
    return {
        "speed_m_s": nan,
        "course_deg": nan,
        "hdop": nan,
        "quality": np.full(n, NOT_STATED, np.int8),
        "segment": np.zeros(n, np.int32),
    }
