"""From sentences to fixes: what carries one time of day is one epoch, and gets a date."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.readers import _nmea_fields as nf
from oplog.readers import _tally as say
from oplog.readers import _times
from oplog.readers._nmea_fields import UNKNOWN, Said
from oplog.readers._nmea_scan import Floats, Ints, Mask
from oplog.readers._rows import Rows
from oplog.readers._tally import Tally
from oplog.track import NOT_STATED

UNDATED = "fixes with a time of day, but no date anywhere in the file"
BROKEN = "a position that cannot be one (hemisphere missing, or minutes of 60 and more)"

_QUALITY_OF_MODE = {"A": 1, "D": 2, "P": 3, "R": 4, "F": 5, "E": 6, "M": 7, "S": 8, "N": 0}
_NOT_MEASURED = (6, 7, 8)
_CORRECTED = (2, 3, 4, 5)
_FIRST_EPOCHS = 10

Codes = NDArray[np.int8]


def merge(said: Said, tally: Tally) -> Rows:
    """One row an epoch that has a fix, in the order of the file."""
    tally.add_rows(BROKEN, said.broken, said.place, "dropped")
    timed = said.clock_us != UNKNOWN
    first = int(np.argmax(timed)) if timed.any() else len(said)
    said, timed = said.take(slice(first, None)), timed[first:]
    if not len(said):
        return _rows(said, np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.int8))
    epoch = _epochs(said, timed)
    count = int(epoch[-1]) + 1
    quality = _quality(said, epoch, count)
    at = _best_positions(said, epoch, count, quality)
    has = at >= 0
    place = said.place[np.searchsorted(epoch, np.arange(count))]
    tally.add_rows(say.NO_FIX, (quality == 0), place)
    tally.add_rows(say.NOT_MEASURED, has & np.isin(quality, _NOT_MEASURED), place)
    fixed = has & (quality != 0) & ~np.isin(quality, _NOT_MEASURED)
    clock = said.clock_us[np.searchsorted(epoch, np.arange(count))]
    time_us = _dated(said, epoch, count, clock)
    dated = time_us != _times.NAT
    tally.add_rows(UNDATED, fixed & ~dated, place, "places kept without times")
    rows = _rows(said, at[fixed], time_us[fixed], quality[fixed])
    for name, kinds in (
        ("speed_m_s", (nf.VTG, nf.RMC)),
        ("course_deg", (nf.VTG, nf.RMC)),
        ("hdop", (nf.GGA,)),
    ):
        setattr(rows, name, _latest(said, epoch, count, name, kinds)[fixed])
    return rows


def _epochs(said: Said, timed: Mask) -> Ints:
    """Number of the epoch of each row; rows without a time belong to the one before them."""
    clock = said.clock_us
    rows = np.flatnonzero(timed)
    new = np.zeros(len(said), np.int64)
    new[rows[1:]] = clock[rows[1:]] != clock[rows[:-1]]
    return np.cumsum(new)


def _best_positions(said: Said, epoch: Ints, count: int, quality: Codes) -> Ints:
    """Row of each epoch's position, -1 for none.

    Sentences of one epoch can differ by as much as the receiver extrapolates between them, so
    one kind is used throughout: the one that closes the first epochs, when all is worked out.
    Others fill in where it is missing. Where corrections make the fix finer than that kind
    writes it down, the finest written is used.
    """
    there = np.flatnonzero(~np.isnan(said.lat))
    kinds = _closing_kind(said, epoch, there)
    best, digits = np.full(count, -1), np.full(count, -1)
    for kind in kinds:
        rows = there[said.kind[there] == kind]
        best[epoch[rows]] = rows
        digits[epoch[rows]] = said.decimals[rows]
    corrected = np.isin(quality, _CORRECTED)
    for kind in kinds:
        rows = there[said.kind[there] == kind]
        rows = rows[(said.decimals[rows] > digits[epoch[rows]]) & corrected[epoch[rows]]]
        best[epoch[rows]] = rows
        digits[epoch[rows]] = said.decimals[rows]
    return best


def _closing_kind(said: Said, epoch: Ints, there: Ints) -> list[int]:
    """The kinds that hold positions, the one that closes most of the first epochs last."""
    last = there[np.r_[np.diff(epoch[there]) != 0, True][: len(there)]][:_FIRST_EPOCHS]
    order = [nf.GLL, nf.GGA, nf.RMC]
    if len(last):
        closing = int(np.argmax(np.bincount(said.kind[last], minlength=3)[:3]))
        order.remove(closing)
        order.append(closing)
    return order


def _quality(said: Said, epoch: Ints, count: int) -> Codes:
    """GGA code of each epoch, from GGA or else from the mode letters; 0 where one denies a fix."""
    quality = np.full(count, NOT_STATED, np.int8)
    for letter, code in _QUALITY_OF_MODE.items():
        quality[epoch[said.mode == ord(letter)]] = code
    stated = said.quality >= 0
    quality[epoch[stated]] = said.quality[stated]
    quality[epoch[(said.status == nf.VOID)]] = 0
    return quality


def _dated(said: Said, epoch: Ints, count: int, clock: Ints) -> Ints:
    """UTC microseconds of each epoch; the nearest dated epoch lends its date."""
    day = np.full(count, UNKNOWN)
    rows = np.flatnonzero(said.day != UNKNOWN)
    day[epoch[rows]] = said.day[rows]
    known = np.flatnonzero(day != UNKNOWN)
    if not len(known):
        return np.full(count, _times.NAT)
    index = np.arange(count)
    after = np.minimum(np.searchsorted(known, index), len(known) - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.abs(known[before] - index) <= np.abs(known[after] - index)
    lender = known[np.where(nearer, before, after)]
    lender = np.where(day != UNKNOWN, index, lender)
    apart = clock - clock[lender]
    half = _times.DAY_US // 2
    turn = np.where(apart > half, -1, np.where(apart < -half, 1, 0))
    return nf.moment_us(day[lender] + turn, clock)


def _latest(said: Said, epoch: Ints, count: int, name: str, kinds: tuple[int, ...]) -> Floats:
    values = getattr(said, name)
    out = np.full(count, np.nan)
    for kind in kinds:
        rows = np.flatnonzero((said.kind == kind) & ~np.isnan(values))
        out[epoch[rows]] = values[rows]
    return out


def _rows(said: Said, at: Ints, time_us: Ints, quality: Codes) -> Rows:
    n = len(at)
    return Rows(
        time_us=time_us,
        became=np.where(time_us == _times.NAT, _times.UNDATED, _times.GOOD).astype(np.int8),
        lat=said.lat[at],
        lon=said.lon[at],
        speed_m_s=np.full(n, np.nan),
        course_deg=np.full(n, np.nan),
        hdop=np.full(n, np.nan),
        quality=quality,
        segment=np.zeros(n, np.int32),
        where=said.place[at],
    )
