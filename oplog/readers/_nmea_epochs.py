"""From sentences to fixes: what carries one time of day is one epoch, and gets a date."""

from __future__ import annotations

from itertools import pairwise

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
SECOND_PLACE = "a second place for the same moment"
MISDATED = "a date that those right before and behind it contradict"
BROKEN = "a position that cannot be one (hemisphere or degrees missing, or minutes of 60 and more)"

_QUALITY_OF_MODE = {"A": 1, "D": 2, "P": 3, "R": 4, "F": 5, "E": 6, "M": 7, "S": 8, "N": 0}
_NOT_MEASURED = (6, 7, 8)
_CORRECTED = (2, 3, 4, 5)
_FIRST_EPOCHS = 10
_ROUNDING_US = 10_000
_LATE_US = 60_000_000
_LATE_EPOCHS = 3
_FEWEST_DECIMALS = 4
"""Of a minute: 0.2 m. Any receiver is better than what fewer can say."""
_ELSEWHERE_DEG = 5e-4
"""About 50 m: further apart than the solutions of one receiver for its systems of satellites."""

Codes = NDArray[np.int8]


def merge(said: Said, tally: Tally) -> Rows:
    """One row an epoch that has a fix, in the order of the file."""
    tally.add_rows(BROKEN, said.broken, said.place, "dropped")
    said = _of_a_time(said, tally)
    timed = said.clock_us != UNKNOWN
    first = int(np.argmax(timed)) if timed.any() else len(said)
    early = ~np.isnan(said.lat[:first])
    tally.add_rows(say.NO_TIME, early, said.place[:first], "set aside")
    said, timed = said.take(slice(first, None)), timed[first:]
    if not len(said):
        return _rows(said, np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.int8))
    epoch = _epochs(said, timed)
    if (np.diff(epoch) < 0).any():
        order = np.argsort(epoch, kind="stable")
        said, epoch = said.take(order), epoch[order]
    count = int(epoch[-1]) + 1
    quality = _quality(said, epoch, count)
    kinds = _closing_kind(said, epoch)
    at = _best_positions(said, epoch, kinds, quality)
    has = at >= 0
    begin = np.searchsorted(epoch, np.arange(count))
    place = said.place[begin]
    tally.add_rows(say.NO_FIX, (quality == 0), place)
    tally.add_rows(say.NOT_MEASURED, has & np.isin(quality, _NOT_MEASURED), place)
    fixed = has & (quality != 0) & ~np.isin(quality, _NOT_MEASURED)
    own = said.clock_us[at]
    clock = np.where(has & (own != UNKNOWN), own, said.clock_us[begin])
    time_us, misdated = _dated(said, epoch, clock, quality)
    tally.add_rows(MISDATED, misdated & fixed, place, "dated as those")
    dated = time_us != _times.NAT
    tally.add_rows(UNDATED, fixed & ~dated, place, "places kept without times")
    also = _second_places(said, epoch, kinds, at)
    also = also[fixed[epoch[also]]]
    tally.add_rows(SECOND_PLACE, np.ones(len(also)), said.place[also], "kept behind the first")
    at, of = np.r_[at[fixed], also], np.r_[np.flatnonzero(fixed), epoch[also]]
    order = np.argsort(of, kind="stable")
    at, of = at[order], of[order]
    rows = _rows(said, at, time_us[of], quality[of])
    rows.became[(said.became[at] == _times.LEAP) & (rows.became == _times.GOOD)] = _times.LEAP
    for name, sources in (
        ("speed_m_s", (nf.MAKER, nf.VTG, nf.RMC)),
        ("course_deg", (nf.MAKER, nf.VTG, nf.RMC)),
        ("hdop", (nf.MAKER, nf.GNS, nf.GGA)),
    ):
        setattr(rows, name, _latest(said, epoch, count, name, sources)[of])
    return rows


def _of_a_time(said: Said, tally: Tally) -> Said:
    """Without sentences whose time of day cannot be, nor places of kinds that always state one
    where they do not: each would pass for one of the epoch before.
    """
    bad = said.became == _times.BAD
    tally.add_rows(say.NOT_A_TIME, bad, said.place)
    timeless = (said.became == _times.MISSING) & ~np.isnan(said.lat) & (said.kind != nf.GLL)
    tally.add_rows(say.NO_TIME, timeless, said.place, "set aside")
    return said.take(~(bad | timeless)) if bad.any() or timeless.any() else said


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


def _best_positions(said: Said, epoch: Ints, kinds: list[int], quality: Codes) -> Ints:
    """Row of each epoch's position, -1 for none.

    Sentences of one epoch can differ by as much as the receiver extrapolates between them, so
    one kind is used throughout: the one that closes the first epochs, when all is worked out.
    Others fill in where it is missing. Where corrections make the fix finer than that kind
    writes it down, or it rounds to metres, the finest written is used.
    """
    there = np.flatnonzero(~np.isnan(said.lat))
    best, digits = np.full((2, len(quality)), -1)
    for kind in kinds:
        rows = there[said.kind[there] == kind]
        best[epoch[rows]] = rows
        digits[epoch[rows]] = said.decimals[rows]
    finer = np.isin(quality, _CORRECTED) | (digits < _FEWEST_DECIMALS)
    for kind in kinds:
        rows = there[said.kind[there] == kind]
        rows = rows[(said.decimals[rows] > digits[epoch[rows]]) & finer[epoch[rows]]]
        best[epoch[rows]] = rows
        digits[epoch[rows]] = said.decimals[rows]
    return best


def _second_places(said: Said, epoch: Ints, kinds: list[int], at: Ints) -> Ints:
    """Rows that put a receiver elsewhere at the very moment of its epoch's fix.

    A receiver that goes on after the sentence which closes its epochs, or says that sentence
    twice, gives another fix, of later within what its clock shows. Of another talker's sentences
    that holds only where no two solutions of one receiver can be as far apart.
    """
    rows = np.flatnonzero(~np.isnan(said.lat))
    main = at[epoch[rows]]
    again = (rows > main) | (said.kind[rows] == kinds[-1])
    closed = (said.kind[main] == kinds[-1]) & (said.clock_us[rows] == said.clock_us[main])
    rows, main = rows[(rows != main) & again & closed], main[(rows != main) & again & closed]
    digits = np.stack([said.decimals[rows], said.decimals[main]]).astype(np.float64)
    last_digit = np.where(digits[0] == digits[1], 0.0, 10.0 ** -digits.min(axis=0) / 60)
    own = said.talker[rows] == said.talker[main]
    north = np.abs(said.lat[rows] - said.lat[main])
    east = np.abs(said.lon[rows] - said.lon[main])
    east = np.minimum(east, 360 - east) * np.where(own, 1, np.cos(np.radians(said.lat[rows])))
    far = np.maximum(north, east) > np.where(own, last_digit + 1e-9, _ELSEWHERE_DEG)
    elsewhere: Ints = rows[far]
    return elsewhere


def _closing_kind(said: Said, epoch: Ints) -> list[int]:
    """The kinds that hold positions, the one that closes most of the first epochs last."""
    there = np.flatnonzero(~np.isnan(said.lat))
    last = there[np.r_[np.diff(epoch[there]) != 0, True][: len(there)]][:_FIRST_EPOCHS]
    order = [nf.MAKER, nf.GLL, nf.GNS, nf.GGA, nf.RMC]
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
    for kind in (nf.MAKER, nf.GNS, nf.GGA):
        rows = stated & (said.kind == kind)
        quality[epoch[rows]] = said.quality[rows]
    quality[epoch[(said.status == nf.VOID)]] = 0
    return quality


def _dated(said: Said, epoch: Ints, clock: Ints, quality: Codes) -> tuple[Ints, Mask]:
    """UTC microseconds of each epoch; the nearest dated epoch lends its date, across midnights.
    The mask tells those whose own date cannot be.

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
        return np.full(len(clock), _times.NAT), np.zeros(len(clock), bool)
    midnights = _midnights(clock)
    misdated = _misdated(known, day, midnights, clock)
    if misdated.any():
        dated &= ~misdated
        known = known[~misdated[known]]
    after = np.minimum(np.searchsorted(known, index), len(known) - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.abs(known[before] - index) <= np.abs(known[after] - index)
    lender = np.where(dated, index, known[np.where(nearer, before, after)])
    return nf.moment_us(day[lender] + midnights - midnights[lender], clock), misdated


def _misdated(known: Ints, day: Ints, midnights: Ints, clock: Ints) -> Mask:
    """Epochs dated a day off from those within a minute before and behind them, which agree: at
    midnight some receivers write the date of the day before for a second or more.

    known: the dated epochs that can lend their date.
    """
    wrong = np.zeros(len(day), bool)
    first = day[known] - midnights[known]  # the day on which the file began, by each of them
    begin = np.flatnonzero(np.diff(first)) + 1
    for start, stop in pairwise(begin.tolist()):
        before, run, behind = known[start - 1], known[start:stop], known[stop]
        off = first[start] - first[start - 1]
        if abs(off) != 1 or first[stop] != first[start - 1]:
            continue
        around = np.array([before, run[0], run[-1], behind])
        moments = nf.moment_us(first[stop] + midnights[around], clock[around])
        if ((np.diff(moments) >= 0) & (np.diff(moments) <= _LATE_US)).all():
            wrong[run] = True
    return wrong


def _midnights(clock: Ints) -> Ints:
    """How many midnights each epoch lies behind the first: where the clock falls by over half a
    day one has passed. Counted from one to the next, as one date may have to do for days."""
    half = _times.DAY_US // 2
    step = np.diff(clock)
    passed = (step < -half).astype(np.int64) - (step > half)
    count: Ints = np.r_[0, np.cumsum(passed)]
    return count


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
