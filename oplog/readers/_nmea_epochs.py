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
_ROUNDING_US = 10_000
_LATE_US = 60_000_000
_LATE_EPOCHS = 3

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
    if (np.diff(epoch) < 0).any():
        order = np.argsort(epoch, kind="stable")
        said, epoch = said.take(order), epoch[order]
    count = int(epoch[-1]) + 1
    quality = _quality(said, epoch, count)
    at = _best_positions(said, epoch, count, quality)
    has = at >= 0
    begin = np.searchsorted(epoch, np.arange(count))
    place = said.place[begin]
    tally.add_rows(say.NO_FIX, (quality == 0), place)
    tally.add_rows(say.NOT_MEASURED, has & np.isin(quality, _NOT_MEASURED), place)
    fixed = has & (quality != 0) & ~np.isin(quality, _NOT_MEASURED)
    own = said.clock_us[at]
    clock = np.where(has & (own != UNKNOWN), own, said.clock_us[begin])
    time_us = _dated(said, epoch, clock, quality)
    dated = time_us != _times.NAT
    tally.add_rows(UNDATED, fixed & ~dated, place, "places kept without times")
    rows = _rows(said, at[fixed], time_us[fixed], quality[fixed])
    for name, kinds in (
        ("speed_m_s", (nf.VTG, nf.RMC)),
        ("course_deg", (nf.VTG, nf.RMC)),
        ("hdop", (nf.GNS, nf.GGA)),
    ):
        setattr(rows, name, _latest(said, epoch, count, name, kinds)[fixed])
    return rows


def _epochs(said: Said, timed: Mask) -> Ints:
    """Number of the epoch of each row; rows without a time belong to the one before them.

    Sentences that round one instant to tenths, hundredths or thousandths differ by less than
    10 ms. A sentence that comes late, after the next epoch has begun, still belongs to its own.
    """
    rows = np.flatnonzero(timed)
    clock = said.clock_us[rows]
    apart = np.diff(clock)
    other_kind = said.kind[rows[1:]] != said.kind[rows[:-1]]
    new = np.r_[True, np.abs(apart) >= np.where(other_kind, _ROUNDING_US, 1)]
    number = np.cumsum(new) - 1
    steps = apart[new[1:]]
    if ((steps < 0) & (steps > -_LATE_US)).any():
        placed = np.zeros(int(number[-1]) + 1, bool)
        placed[number[~np.isnan(said.lat[rows])]] = True
        number = _late_ones_home(clock[np.flatnonzero(new)], placed)[number]
    epoch = np.zeros(len(said), np.int64)
    epoch[rows] = number
    return epoch[np.maximum.accumulate(np.where(timed, np.arange(len(said)), 0))]


def _late_ones_home(clock: Ints, placed: Mask) -> Ints:
    """New numbers for epochs, where those of one clock time that are a few apart become one.

    They are numbered in the order of their first positions. clock, placed: one an epoch; placed
    tells whether it has a position.
    """
    index = np.arange(len(clock))
    order = np.lexsort((index, clock))
    new = np.r_[True, (np.diff(clock[order]) >= _ROUNDING_US) | (np.diff(order) > _LATE_EPOCHS)]
    group = np.empty(len(clock), np.int64)
    group[order] = np.cumsum(new) - 1
    first = np.full(int(group.max()) + 1, 2 * len(clock))
    np.minimum.at(first, group, np.where(placed, index, index + len(clock)))
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first, kind="stable")] = np.arange(len(first))
    return rank[group]


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
    order = [nf.GLL, nf.GNS, nf.GGA, nf.RMC]
    if len(last):
        closing = int(np.argmax(np.bincount(said.kind[last])))
        order.remove(closing)
        order.append(closing)
    return order


def _quality(said: Said, epoch: Ints, count: int) -> Codes:
    """GGA code of each epoch, from GGA or else from the mode letters; 0 where one denies a fix."""
    quality = np.full(count, NOT_STATED, np.int8)
    for letter, code in _QUALITY_OF_MODE.items():
        quality[epoch[said.mode == ord(letter)]] = code
    stated = said.quality >= 0
    for kind in (nf.GNS, nf.GGA):
        rows = stated & (said.kind == kind)
        quality[epoch[rows]] = said.quality[rows]
    quality[epoch[(said.status == nf.VOID)]] = 0
    return quality


def _dated(said: Said, epoch: Ints, clock: Ints, quality: Codes) -> Ints:
    """UTC microseconds of each epoch; the nearest dated epoch lends its date.

    A receiver that has not found itself yet may write the date of its factory: epochs without a
    fix lend theirs only where no others are dated.
    """
    index = np.arange(len(clock))
    day = np.full(len(clock), UNKNOWN)
    rows = np.flatnonzero(said.day != UNKNOWN)
    day[epoch[rows]] = said.day[rows]
    dated = day != UNKNOWN
    known = np.flatnonzero(dated & (quality != 0))
    if not len(known):
        known = np.flatnonzero(dated)
    if not len(known):
        return np.full(len(clock), _times.NAT)
    after = np.minimum(np.searchsorted(known, index), len(known) - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.abs(known[before] - index) <= np.abs(known[after] - index)
    lender = np.where(dated, index, known[np.where(nearer, before, after)])
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
