"""Date-times as text into microseconds, many at a time."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Mask = NDArray[np.bool_]

GOOD, MISSING, LOCAL, BAD, LEAP, UNDATED = range(6)
"""What became of a text: a UTC time, no text, a time without zone, no time, second 60, no date."""

NAT = np.iinfo(np.int64).min
DAY_US = 86_400_000_000

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_STAMP = re.compile(
    r"\s*(\d{4})(?:[-/.](\d\d?)[-/.](\d\d?)|(\d\d)(\d\d))"
    r"(?:[Tt ]\s*(\d\d?):(\d\d?)(?::(\d\d?)(?:[.,](\d+))?)?)?"
    r"\s*(Z|z|UTC|GMT|[+-]00:?00Z|(?:UTC|GMT)?[+-]\d\d(?::?\d\d)?)?"
    r"(?:(?<=[Z\d])\[[\w/+-]{3,40}\])?\s*",
    re.ASCII,
)
_LONGEST = 100
"""Of a text that can be a time: what is tried on longer ones would take very long."""
_OF_YEAR = re.compile(r"\s*(\d{4})-?(\d{3})(?=[Tt ]|$)", re.ASCII)
_OF_WEEK = re.compile(r"\s*(\d{4})-?W(\d\d)-?(\d)(?=[Tt ]|$)", re.ASCII)
"""The day of the year, and of the week, as ISO 8601 has them."""
_PACKED_CLOCK = re.compile(r"(?<=[Tt ])(\d\d)(\d\d)(\d\d)(?!\d)", re.ASCII)


def parse(texts: list[str]) -> tuple[Ints, NDArray[np.int8]]:
    """Microseconds since 1970 (NAT where unknown) and what became of each text."""
    if not texts:
        return np.empty(0, np.int64), np.empty(0, np.int8)
    width = min(max(map(len, texts)) + 1, 40)
    try:
        packed = np.array([t.encode("ascii", "replace") for t in texts], dtype=f"S{width}")
        packed = packed.view(np.uint8).reshape(len(texts), width)
    except ValueError:
        packed = np.zeros((len(texts), width), np.uint8)
    return parse_bytes(packed, texts)


def parse_bytes(packed: Bytes, texts: list[str] | None = None) -> tuple[Ints, NDArray[np.int8]]:
    """The same from left-aligned rows of bytes, padded with zeros.

    The usual shape (2024-05-01T06:30:00.10Z or +02:00, with or without fraction and zone) is
    read for all rows together; other rows one by one.
    """
    micros, status, odd = _usual_shape(packed)
    for row in np.flatnonzero(odd):
        text = texts[row] if texts is not None else bytes(packed[row]).decode("latin-1")
        micros[row], status[row] = parse_one(text.rstrip("\0"))
    return micros, status


def parse_one(text: str) -> tuple[int, int]:
    """One date-time: ISO 8601 in its common spellings, another spelling, or nothing."""
    if not text.strip():
        return NAT, MISSING
    if len(text) > _LONGEST:
        return NAT, BAD
    text = _of_calendar(text)
    found = _STAMP.fullmatch(text) or _STAMP.fullmatch(_PACKED_CLOCK.sub(r"\1:\2:\3", text))
    if not found:
        from oplog.readers._spellings import respelled

        found = _STAMP.fullmatch(respelled(text))
    if not found:
        return NAT, BAD
    whole, *date, hours, minutes, seconds, fraction, zone = found.groups(default="")
    parts = [whole, date[0] or date[2], date[1] or date[3], hours, minutes, seconds]
    year, month, day, hour, minute, second = (int(p or 0) for p in parts)
    leap = second == 60
    micro = 999_999 if leap else int((fraction + "000000")[:6])
    midnight = hour == 24 and minute == second == micro == 0
    try:
        moment = datetime(
            year, month, day, 0 if midnight else hour, minute, 59 if leap else second, micro, UTC
        )
    except ValueError:
        return NAT, BAD
    if not 1900 <= year <= 2200:
        return NAT, BAD
    since = moment - _EPOCH + timedelta(days=midnight)
    micros = since // timedelta(microseconds=1) - _offset_us(zone)
    return micros, LEAP if leap and zone else GOOD if zone else LOCAL


def _of_calendar(text: str) -> str:
    """With a day of the year or of a week as month and day; as it stands if there is no such."""
    try:
        if found := _OF_YEAR.match(text):
            day = datetime.strptime(found[1] + found[2], "%Y%j")
        elif found := _OF_WEEK.match(text):
            day = datetime.fromisocalendar(*map(int, found.groups()))
        else:
            return text
    except ValueError:
        return text
    return f"{day:%Y-%m-%d}{text[found.end() :]}"


def _offset_us(zone: str) -> int:
    """Offset of +01:00, +0100, +01, GMT+0100 or Z. [us]"""
    zone = zone.lstrip("UTCGM")
    if zone[:1] not in ("+", "-"):
        return 0
    digits = zone[1:].replace(":", "").ljust(4, "0")
    seconds = int(digits[:2]) * 3600 + int(digits[2:4]) * 60
    return (seconds if zone[0] == "+" else -seconds) * 1_000_000


def civil(
    year: Ints, month: Ints, day: Ints, hour: Ints, minute: Ints, second: Ints, micro: Ints
) -> tuple[Ints, NDArray[np.int8]]:
    """Microseconds since 1970 of civil times, and GOOD, LEAP or BAD for each.

    24:00:00 is the beginning of the next day. Second 60 is put at the end of its minute.
    """
    midnight = (hour == 24) & (minute == 0) & (second == 0) & (micro == 0)
    leap = second == 60
    bad = (
        ((hour > 23) & ~midnight)
        | (hour < 0)
        | (minute < 0)
        | (minute > 59)
        | (second < 0)
        | (second > 60)
        | ~valid_date(year, month, day)
    )
    seconds = days_of(year, month, day) * 86_400 + hour * 3600 + minute * 60
    micros = seconds * 1_000_000 + np.where(leap, 59_999_999, second * 1_000_000 + micro)
    micros = np.where(bad, NAT, micros)
    status = np.where(bad, BAD, np.where(leap, LEAP, GOOD)).astype(np.int8)
    return micros, status


def valid_date(year: Ints, month: Ints, day: Ints) -> Mask:
    """Whether there is such a day, in a year that a receiver can mean (1900 to 2200)."""
    leap_year = ((year % 4 == 0) & (year % 100 != 0)) | (year % 400 == 0)
    lengths = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    inside = (month >= 1) & (month <= 12)
    length = lengths[np.where(inside, month, 0)] + (leap_year & (month == 2))
    valid: Mask = inside & (day >= 1) & (day <= length) & (year >= 1900) & (year <= 2200)
    return valid


def days_of(year: Ints, month: Ints, day: Ints) -> Ints:
    """Days since 1970-01-01 of Gregorian dates (days-from-civil, H. Hinnant)."""
    y = year - (month <= 2)
    era = y // 400
    year_of_era = y - era * 400
    day_of_year = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    leap_days = year_of_era // 4 - year_of_era // 100
    days: Ints = era * 146_097 + year_of_era * 365 + leap_days + day_of_year - 719_468
    return days


def to_utc(local_us: Ints, zone: str) -> Ints:
    """Local civil times, in the order of the file, as UTC microseconds.

    An hour that the clock repeats in autumn is first taken as summer time, and as winter time
    after the times step back within it. A time that the clock leaps over in spring is taken
    with the offset before the leap.
    """
    known = local_us != NAT
    quarter = np.where(known, local_us, 0) // 900_000_000
    bins, inverse = np.unique(quarter, return_inverse=True)
    first, second = _offsets_us(bins, ZoneInfo(zone))
    twice = first[inverse] > second[inverse]
    stepped = np.r_[False, (np.diff(local_us) < 0) & twice[1:] & twice[:-1]] & known
    later = _since(stepped, np.r_[False, np.diff(twice.astype(np.int8)) != 0])
    offset = np.where(twice & later, second[inverse], first[inverse])
    return np.where(known, local_us - offset, NAT)


def _since(happened: Mask, reset: Mask) -> Mask:
    """True from each happening up to the next reset."""
    index = np.arange(len(happened))
    last = np.maximum.accumulate(np.where(happened, index, -1))
    wiped = np.maximum.accumulate(np.where(reset, index, -1))
    return (last >= 0) & (last >= wiped)


def _offsets_us(quarters: Ints, zone: ZoneInfo) -> tuple[Ints, Ints]:
    first: list[int] = []
    second: list[int] = []
    for quarter in quarters.tolist():
        local = datetime.fromtimestamp(quarter * 900, UTC).replace(tzinfo=zone)
        for fold, into in ((0, first), (1, second)):
            offset = local.replace(fold=fold).utcoffset()
            into.append(int(offset.total_seconds()) if offset else 0)
    return np.array(first, np.int64) * 1_000_000, np.array(second, np.int64) * 1_000_000


def _usual_shape(packed: Bytes) -> tuple[Ints, NDArray[np.int8], Mask]:
    """Read the rows of the usual shape; the third array marks the others."""
    n, width = packed.shape
    micros, status = np.full(n, NAT, np.int64), np.full(n, MISSING, np.int8)
    if width < 20:
        return micros, status, (packed != 0).any(axis=1)
    columns = np.ascontiguousarray(packed.T)
    digits = columns - 48  # wraps: anything that is not a digit becomes more than 9
    usual = np.ones(n, bool)
    for at in (0, 1, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15, 17, 18):
        usual &= digits[at] < 10
    for at, mark in ((4, "-"), (7, "-"), (10, "T"), (13, ":"), (16, ":")):
        usual &= columns[at] == ord(mark)
    fraction, offset, zoned, tail_is_usual = _tail(columns, digits)
    usual &= tail_is_usual
    year = _pair(digits, 0) * 100 + _pair(digits, 2)
    month, day, hour, minute, second = (_pair(digits, at) for at in (5, 8, 11, 14, 17))
    found, became = civil(year, month, day, hour, minute, second, fraction)
    became = np.where((became != BAD) & ~zoned, LOCAL, became)
    micros = np.where(usual & (became != BAD), found - offset, NAT)
    status = np.where(usual, became, MISSING).astype(np.int8)
    return micros, status, ~usual & (packed != 0).any(axis=1)


def _pair(digits: Bytes, at: int) -> Ints:
    number: Ints = digits[at].astype(np.int64) * 10 + digits[at + 1]
    return number


def _tail(columns: Bytes, digits: Bytes) -> tuple[Ints, Ints, Mask, Mask]:
    """What follows the seconds: fraction and offset in microseconds, whether there is a zone.

    The last mask tells whether nothing else is there.
    """
    width, n = columns.shape
    fraction = np.zeros(n, np.int64)
    scale = 100_000
    in_fraction = columns[19] == ord(".")
    end = np.where(in_fraction, 20, 19)
    for at in range(20, width):
        in_fraction = in_fraction & (digits[at] < 10)
        if not in_fraction.any():
            break
        fraction += np.where(in_fraction, digits[at].astype(np.int64), 0) * scale
        scale //= 10
        end[in_fraction] = at + 1
    offset, zone_width = _zones(columns, digits, end)
    left = (columns != 0).sum(axis=0)
    return fraction, offset, zone_width > 0, left == end + zone_width


def _zones(columns: Bytes, digits: Bytes, end: Ints) -> tuple[Ints, Ints]:
    """Offset in microseconds, and width, of Z or +01:00 at `end`; width 0 for anything else."""
    width, n = columns.shape
    rows = np.arange(n)
    mark = np.where(end < width, columns[np.minimum(end, width - 1), rows], 0)
    plain = mark == ord("Z")
    signed = (mark == ord("+")) | (mark == ord("-"))
    offset = np.zeros(n, np.int64)
    if signed.any():
        signed &= end + 5 < width
        at = [np.minimum(end + k, width - 1) for k in range(1, 6)]
        signed &= columns[at[2], rows] == ord(":")
        for k, unit in ((0, 36_000), (1, 3600), (3, 600), (4, 60)):
            digit = digits[at[k], rows]
            signed &= digit < 10
            offset += digit.astype(np.int64) * unit
        offset = np.where(mark == ord("-"), -offset, offset) * 1_000_000
    return np.where(signed, offset, 0), np.where(plain, 1, np.where(signed, 6, 0))


def as_times(micros: Ints) -> Any:
    """Microseconds since 1970 as datetime64[us], NAT as NaT."""
    return micros.view("datetime64[us]")
