"""What the sentences say: RMC, GGA, GLL, GNS, VTG and ZDA as columns.

Those of the makers' own are in _nmea_makers.py.

Source: NMEA 0183 as described in "NMEA Revealed" (E. S. Raymond).
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.readers import _nmea_scan as scan
from oplog.readers._digits import decimals
from oplog.readers._nmea_scan import Floats, Ints, Sentences
from oplog.readers._times import BAD, DAY_US, GOOD, LEAP, MISSING, days_of, valid_date
from oplog.records import dataclass
from oplog.units import KNOT_M_S, from_kmh

RMC, GGA, GLL, VTG, ZDA, GNS, MAKER = range(7)
NAMES = (b"RMC", b"GGA", b"GLL", b"VTG", b"ZDA", b"GNS")
_MOST_SYSTEMS = 8
_QUALITY_OF_LETTER = tuple(zip("NSMEADPFR", (0, 8, 7, 6, 1, 2, 3, 5, 4), strict=True))
"""From the worst to the best."""
UNKNOWN = np.iinfo(np.int64).min
NOT_SAID, VOID, VALID = -1, 0, 1


@dataclass
class Said:
    """One row a sentence, in the order of the file. All columns have shape (n,).

    kind: RMC, GGA, ...; talker: its two letters as a number; place: byte in the file.
    clock_us: time of day, day: days since 1970, UNKNOWN where not said.
    became: what became of the time of day (see _times.GOOD).
    decimals: digits after the point of the minutes of latitude.
    status: VOID, VALID or NOT_SAID; quality: GGA code or -1; mode: FAA letter or 0.
    broken: 1 where a position is there but cannot be one.
    """

    kind: NDArray[np.int8]
    talker: NDArray[np.int16]
    place: Ints
    clock_us: Ints
    became: NDArray[np.int8]
    day: Ints
    lat: Floats
    lon: Floats
    decimals: NDArray[np.int8]
    speed_m_s: Floats
    course_deg: Floats
    hdop: Floats
    status: NDArray[np.int8]
    quality: NDArray[np.int8]
    mode: NDArray[np.uint8]
    broken: NDArray[np.int8]

    def take(self, rows: Any) -> Said:
        """The rows that a mask, slice or index array selects."""
        return Said(*(getattr(self, f.name)[rows] for f in fields(self)))

    def anything(self) -> NDArray[np.bool_]:
        """Mask of the rows that say anything at all; a log can be full of names alone."""
        said: NDArray[np.bool_] = (
            (self.became != MISSING) | (self.day != UNKNOWN) | (self.broken != 0)
        )
        said |= (self.status != NOT_SAID) | (self.quality != NOT_SAID) | (self.mode != 0)
        for column in (self.lat, self.speed_m_s, self.course_deg, self.hdop):
            said |= ~np.isnan(column)
        return said

    def __len__(self) -> int:
        return len(self.kind)


def join(parts: list[Said]) -> Said:
    """Rows one behind the other."""
    return Said(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Said)))


def blank(kind: int, s: Sentences, offset: int) -> Said:
    """Columns of which nothing is filled in but kind, talker and place."""
    n = len(s)
    return Said(
        kind=np.full(n, kind, np.int8),
        talker=(s.block[s.start].astype(np.int16) << 8) | s.block[s.start + 1],
        place=s.start - 1 + offset,
        clock_us=np.full(n, UNKNOWN),
        became=np.full(n, MISSING, np.int8),
        day=np.full(n, UNKNOWN),
        lat=np.full(n, np.nan),
        lon=np.full(n, np.nan),
        decimals=np.zeros(n, np.int8),
        speed_m_s=np.full(n, np.nan),
        course_deg=np.full(n, np.nan),
        hdop=np.full(n, np.nan),
        status=np.full(n, NOT_SAID, np.int8),
        quality=np.full(n, NOT_SAID, np.int8),
        mode=np.zeros(n, np.uint8),
        broken=np.zeros(n, np.int8),
    )


def said(kind: int, s: Sentences, offset: int) -> Said:
    """The columns of sentences that are all of one kind. offset: place of their block."""
    out = blank(kind, s, offset)
    if len(s):
        (_rmc, _gga, _gll, _vtg, _zda, _gns)[kind](out, s)
    return out


def _rmc(out: Said, s: Sentences) -> None:
    set_clock(out, s, 1)
    out.status = status(s, 2)
    set_position(out, s, 3)
    out.speed_m_s = decimal(s, 7) * KNOT_M_S
    out.course_deg = decimal(s, 8)
    out.day = date(s, 9)
    out.mode = letter(s, 12)


def _gga(out: Said, s: Sentences) -> None:
    set_clock(out, s, 1)
    set_position(out, s, 2)
    quality = letter(s, 6)
    out.quality = np.where((quality >= 48) & (quality <= 57), quality - 48.0, -1).astype(np.int8)
    out.hdop = decimal(s, 8)


def _gns(out: Said, s: Sentences) -> None:
    """Field 6 has a letter for each system of satellites: the best of them counts."""
    set_clock(out, s, 1)
    set_position(out, s, 2)
    begin, end = s.field(6)
    for letter, quality in _QUALITY_OF_LETTER:
        for k in range(_MOST_SYSTEMS):
            byte = s.block[np.minimum(begin + k, len(s.block) - 1)]
            out.quality[(begin + k < end) & (byte == ord(letter))] = quality
    out.hdop = decimal(s, 8)


def _gll(out: Said, s: Sentences) -> None:
    set_position(out, s, 1)
    set_clock(out, s, 5)
    out.status = status(s, 6)
    out.mode = letter(s, 7)


def _vtg(out: Said, s: Sentences) -> None:
    """Two layouts: in the newer one letters follow the numbers (field 2 is T)."""
    lettered = letter(s, 2) == ord("T")
    knots = np.where(lettered, decimal(s, 5), decimal(s, 3))
    kmh = np.where(lettered, decimal(s, 7), decimal(s, 4))
    out.speed_m_s = np.where(np.isnan(knots), from_kmh(kmh), knots * KNOT_M_S)
    out.course_deg = decimal(s, 1)


def _zda(out: Said, s: Sentences) -> None:
    set_clock(out, s, 1)
    parts = [scan.numbers(s.block, *s.field(k)) for k in (2, 3, 4)]
    (day, _, day_good), (month, _, month_good), (year, _, year_good) = parts
    good = day_good & month_good & year_good & valid_date(year, month, day)
    out.day = np.where(good, days_of(np.where(good, year, 2000), month, day), UNKNOWN)


def set_clock(out: Said, s: Sentences, number: int) -> None:
    """hhmmss.sss as microseconds of the day, and what became of it.

    24:00:00 is the end of the day that the sentence names; second 60 the last moment before the
    minute.
    """
    begin, end = s.field(number)
    digits, places, good = scan.numbers(s.block, begin, end)
    good &= places <= 9
    scale = 10 ** np.where(good, places, 0)
    whole, fraction = digits // scale, digits % scale
    hour, minute, second = whole // 10_000, whole // 100 % 100, whole % 100
    good &= (end - begin >= 6) & (minute < 60) & (second <= 60) & (hour <= 24)
    if good.any() and int(hour[good].max()) == 24:
        good &= (hour < 24) | (digits == 240_000 * scale)
    micro = np.where(second == 60, 999_999, fraction * 1_000_000 // scale)
    seconds = hour * 3600 + minute * 60 + np.minimum(second, 59)
    out.clock_us = np.where(good, seconds * 1_000_000 + micro, UNKNOWN)
    out.became[end > begin] = BAD
    out.became[good] = GOOD
    out.became[good & (second == 60)] = LEAP


def date(s: Sentences, number: int, month_first: bool = False) -> Ints:
    """ddmmyy (or mmddyy) as days since 1970; years from 70 on belong to the last century
    (a clock that was not set may begin in 1970).

    Some write the whole year.
    """
    begin, end = s.field(number)
    digits, places, good = scan.numbers(s.block, begin, end)
    whole = end - begin == 8
    days_months, year = np.divmod(digits, np.where(whole, 10_000, 100))
    day, month = days_months // 100, days_months % 100
    if month_first:
        day, month = month, day
    year = year + np.where(whole, 0, np.where(year < 70, 2000, 1900))
    good &= (places == 0) & (whole | (end - begin == 6)) & valid_date(year, month, day)
    return np.where(good, days_of(year, month, day), UNKNOWN)


def set_position(out: Said, s: Sentences, number: int) -> None:
    """Latitude, hemisphere, longitude, hemisphere, from field `number` on."""
    lat, places, lat_good, lat_there = _degrees(s, number, 90)
    lon, _, lon_good, lon_there = _degrees(s, number + 2, 180)
    north, east = letter(s, number + 1), letter(s, number + 3)
    good = lat_good & lon_good
    good &= (north == ord("N")) | (north == ord("S"))
    good &= (east == ord("E")) | (east == ord("W"))
    out.lat = np.where(good, np.where(north == ord("S"), -lat, lat), np.nan)
    out.lon = np.where(good, np.where(east == ord("W"), -lon, lon), np.nan)
    out.decimals = places.astype(np.int8)
    out.broken = ((lat_there | lon_there) & ~good).astype(np.int8)


def _degrees(
    s: Sentences, number: int, most: int
) -> tuple[Floats, Ints, NDArray[np.bool_], NDArray[np.bool_]]:
    """(d)ddmm.mmmm in degrees, decimals of the minutes, whether it can be, whether it is there."""
    begin, end = s.field(number)
    digits, places, good = scan.numbers(s.block, begin, end)
    scale = 10**places
    degrees = digits // (100 * scale)
    minutes = (digits - degrees * 100 * scale) / scale
    value = degrees + minutes / 60
    if most == 90:
        # Two digits are degrees, with their decimals behind the point.
        good &= (end - begin > 2 + places + (places > 0)) | (digits == 0)
    return value, places, good & (minutes < 60) & (value <= most), end > begin


def status(s: Sentences, number: int) -> NDArray[np.int8]:
    """VALID, VOID or NOT_SAID, by the letter of a field."""
    letters = letter(s, number)
    valid = (letters == ord("A")) | (letters == ord("D"))
    void = letters == ord("V")
    return np.where(valid, VALID, np.where(void, VOID, NOT_SAID)).astype(np.int8)


def decimal(s: Sentences, number: int) -> Floats:
    """A field as a number, NaN where it is none."""
    return decimals(s.block, *s.field(number))


def letter(s: Sentences, number: int) -> NDArray[np.uint8]:
    """A field of one letter, 0 where it is none."""
    return scan.letter(s.block, *s.field(number))


def moment_us(day: Ints, clock_us: Ints) -> Ints:
    """Microseconds since 1970 of a day and a time of day."""
    return day * DAY_US + clock_us
