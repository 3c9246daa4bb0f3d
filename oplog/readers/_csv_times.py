"""Times as tables spell them: ISO 8601, day or month first, digits alone, since 1970."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from oplog.readers import _times
from oplog.readers._tally import Tally

TWO_WAYS = "dates that can be read day first or month first"
SHORT_YEARS = "dates with a year of two digits, that can be read year first or day first"
DAY_FIRST, MONTH_FIRST, NOT_TOLD = "day", "month", "not told"

_SLASHED = re.compile(r"\s*(\d\d?)([/.-])(\d\d?)\2(\d{4})(.*)", re.DOTALL)
_HALF_DAY = re.compile(
    r"(.*?)(\d\d?)((?::\d\d){1,2}(?:[.,]\d+)?)\s*([ap])\.?\s?m\.?(.*)", re.I | re.S
)
_PACKED = re.compile(
    r"\s*(\d{8})(?:[T _-]?(\d{2})(\d{2})(\d{2})([.,]\d+)?)?\s*(Z|[+-].*)?\s*", re.I
)
_CLOCK = re.compile(r"(\D*\d{4}-\d\d-\d\d)[T ](\d{2})(\d{2})(\d{2})([.,]\d+)?\s*(\D.*)?", re.DOTALL)
_SHORT = re.compile(r"\s*(?:\d\d([/.-]?)\d\d\1\d\d(?:[T ,].*)?|\d{12})", re.DOTALL)
_WEEKDAY = re.compile(r"\s*[^\W\d]{2,9}\.?,?\s+(?=\d\d?[\s/.-]+[^\W\d]{3}|[^\W\d]{3,9}[\s.]+\d)")
_COLONED = re.compile(r"\s*(\d{4}):(\d\d):(\d\d)\b")
_NAMED = re.compile(r"\s*(\d\d?)[\s/.-]+([^\W\d]{3,12})[\s/.,-]+(\d{4})(.*)", re.DOTALL)
_YEAR_LAST = re.compile(
    r"\s*([^\W\d]{3,9})\s+(\d\d?)\s+(\d\d?:\d\d:\d\d)\s+(?:([A-Z]{3,5})\s+)?(\d{4})\s*"
)
"""As C, and with a zone Java, write a time."""
_WORDS = re.compile(
    r"(?:,|\s(?:um|at|om|à|a las|kl\.?|klo|alle|alle ore|ore|às|o|v))\s*(?=\d\d?[:.h]\d\d)"
    r"|(?<=\s)de\s+|\s+Uhr\s*$|\s*\([^)]*\)\s*$|^\s*[\[(]|[\])]\s*$",
    re.I,
)
"""What stands in a date and time beside the numbers and names."""
_YEAR_FIRST = re.compile(r"\s*(\d{4})(?:\.\s|年)\s*(\d\d?)(?:\.\s|月)\s*(\d\d?)[.日]?\s*")
_OTHER_CLOCK = re.compile(
    r"(\d{4}-\d\d-\d\d)[T\s_-]+(\d\d?)(?:([.:-])(\d\d)\3(\d\d)|\s?h\s?(\d\d)(?:\s?m\w*\s?(\d\d)\s?s?)?)"
    r"(?![\d:])(.*)",
    re.DOTALL,
)
"""A clock with points, hyphens or letters in it, or joined to its date otherwise."""
_COLON_BEFORE_THOUSANDTHS = re.compile(r"(:\d\d):(\d{3})(?!\d)")
_OFFSET_NAMED = re.compile(r"(.*[+-]\d\d:?\d\d)\s[A-Z]{3,5}", re.DOTALL)
_ZONE = re.compile(r"(.*\d)\s*(?!UTC|GMT)([A-Z]{3,5})", re.DOTALL)
_ZONES = {
    **dict.fromkeys(("WET",), "+00:00"),
    **dict.fromkeys(("WEST", "CET", "MEZ", "BST"), "+01:00"),
    **dict.fromkeys(("CEST", "MESZ", "EET"), "+02:00"),
    **dict.fromkeys(("EEST",), "+03:00"),
}
"""Short names of zones in Europe. Others have several meanings: times with them are local ones."""
_LONGEST = 100
_NAMED_FIRST = re.compile(r"\s*([^\W\d]{3,9})[\s.]+(\d\d?),?\s+(\d{4})(.*)", re.DOTALL)
_SERIAL = re.compile(r"(\d{5})(?:[.,](\d+))?(?:(?:[.,]0+)? 0?[.,](\d+))?")
_FIRST_SERIAL, _LAST_SERIAL, _SERIAL_OF_1970 = 36_526, 62_000, 25_569
_LONGEST_STEP_DAYS = 0.02
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan ene gen sty",
            "feb fév fev lut",
            "mar mär mrz mrt",
            "apr avr abr kwi",
            "may mai maj mag mei",
            "jun juin giu cze",
            "jul juil lug lip",
            "aug aoû ago sie",
            "sep set wrz",
            "oct okt ott out paź",
            "nov lis",
            "dec dez déc dic des gru",
        ),
        1,
    )
    for name in names.split()
}


def order_of(stamps: Iterable[str]) -> str:
    """Whether dates with the year last are day first or month first, over a whole file.

    With points between they are day first. With strokes it takes a number above 12 to tell.
    """
    day = month = False
    for stamp in stamps:
        match = _SLASHED.fullmatch(stamp)
        if match is None:
            continue
        day = day or match[2] == "." or int(match[1]) > 12
        month = month or int(match[3]) > 12
        if day and month:
            break
    return NOT_TOLD if day == month else DAY_FIRST if day else MONTH_FIRST


def has_strokes(stamps: Iterable[str]) -> bool:
    """Whether any date has its year last."""
    return any(_SLASHED.fullmatch(s) for s in stamps)


def parse(
    stamps: list[str], lines: np.ndarray, order: str, offset_us: int | None, tally: Tally
) -> tuple[_times.Ints, np.ndarray]:
    """Microseconds since 1970 and what became of each stamp (see _times).

    order: what order_of said. offset_us: how far from UTC the header says that times without a
    zone are; None if it does not.
    """
    if any(stamps) and all(_is_count(s) for s in stamps if s):
        return _unix(stamps)
    if (days := _serial_days(stamps)) is not None:
        became = np.where(days == _times.NAT, _times.MISSING, _times.LOCAL).astype(np.int8)
        return _from_offset(days, became, offset_us)
    slashed = [_SLASHED.fullmatch(s) for s in stamps]
    if any(slashed) and order == NOT_TOLD:
        tally.add_rows(TWO_WAYS, [m is not None for m in slashed], lines, "times left out")
        stamps = ["" if m else s for m, s in zip(slashed, stamps, strict=True)]
    elif any(slashed):
        stamps = [_year_first(m, order) if m else s for m, s in zip(slashed, stamps, strict=True)]
    micros, status = _times.parse(stamps)
    for row in np.flatnonzero(status == _times.BAD):
        micros[row], status[row] = _times.parse_one(respelled(stamps[row]))
    bad = np.flatnonzero(status == _times.BAD)
    short = np.isin(np.arange(len(stamps)), [k for k in bad if _SHORT.fullmatch(stamps[k])])
    tally.add_rows(SHORT_YEARS, short, lines, "times left out")
    status = np.where(short, _times.MISSING, status).astype(np.int8)
    return _from_offset(micros, status, offset_us)


def _from_offset(
    micros: _times.Ints, status: np.ndarray, offset_us: int | None
) -> tuple[_times.Ints, np.ndarray]:
    """Times without a zone as UTC, where it is known how far they are from it."""
    if offset_us is None:
        return micros, status
    local = status == _times.LOCAL
    return np.where(local, micros - offset_us, micros), np.where(local, _times.GOOD, status).astype(
        np.int8
    )


def _year_first(match: re.Match[str], order: str) -> str:
    day, month = (match[1], match[3]) if order == DAY_FIRST else (match[3], match[1])
    return f"{match[4]}-{month:0>2}-{day:0>2}{match[5]}"


def respelled(stamp: str) -> str:
    """Other spellings as ISO 8601: months by name, morning and afternoon, digits alone, colons."""
    if len(stamp) > _LONGEST:
        return ""
    stamp = _WORDS.sub(" ", _COLON_BEFORE_THOUSANDTHS.sub(r"\1.\2", stamp)).strip()
    stamp = _COLONED.sub(r"\1-\2-\3", _WEEKDAY.sub("", stamp, count=1), count=1)
    if last := _YEAR_LAST.fullmatch(stamp):
        stamp = f"{last[1]} {last[2]} {last[5]} {last[3]} {last[4] or ''}".strip()
    if first := _YEAR_FIRST.match(stamp):
        stamp = f"{first[1]}-{first[2]:0>2}-{first[3]:0>2} {stamp[first.end() :]}"
    for pattern, day, month in ((_NAMED, 1, 2), (_NAMED_FIRST, 2, 1)):
        if (named := pattern.fullmatch(stamp)) and (number := _month(named[month])):
            stamp = f"{named[3]}-{number:02d}-{named[day]:0>2} {named[4].lstrip(' ,')}".strip()
    if other := _OTHER_CLOCK.fullmatch(stamp):
        hour, minute, second = other[2], other[4] or other[6], other[5] or other[7] or "00"
        stamp = f"{other[1]}T{hour:0>2}:{minute}:{second}{other[8]}"
    if named_offset := _OFFSET_NAMED.fullmatch(stamp):
        stamp = named_offset[1]
    elif zone := _ZONE.fullmatch(stamp):
        stamp = zone[1] + _ZONES.get(zone[2], "")
    if half := _HALF_DAY.fullmatch(stamp):
        hour = int(half[2]) % 12 + 12 * (half[4] in "pP") if 1 <= int(half[2]) <= 12 else 99
        stamp = f"{half[1]}{hour:02d}{half[3]}{half[5]}"
    if re.fullmatch(r"\d{17}", stamp):  # thousandths behind the seconds
        stamp = f"{stamp[:14]}.{stamp[14:]}"
    if (packed := _PACKED.fullmatch(stamp)) and (date := _packed_date(packed[1])):
        stamp = date
        if packed[2]:
            stamp += f"T{packed[2]}:{packed[3]}:{packed[4]}{packed[5] or ''}{packed[6] or ''}"
    if clock := _CLOCK.fullmatch(stamp):
        rest = f"{clock[5] or ''}{clock[6] or ''}"
        stamp = f"{clock[1]}T{clock[2]}:{clock[3]}:{clock[4]}{rest}"
    return stamp


def _month(name: str) -> int | None:
    """The number of a month by its name, which three or four letters tell."""
    name = name.casefold()
    return _MONTHS.get(name[:4]) or _MONTHS.get(name[:3])


def _packed_date(digits: str) -> str:
    """Eight digits, year first or last: the century tells, as no month is 19 or 20."""
    if digits[:2] in ("19", "20") and digits[4:6] <= "12":
        return f"{digits[:4]}-{digits[4:6]}-{digits[6:]}"
    return f"{digits[4:]}-{digits[2:4]}-{digits[:2]}" if digits[4:6] in ("19", "20") else ""


def _is_count(stamp: str) -> bool:
    """Whether digits are a time since 1970, and no date and time one behind the other."""
    packed = len(stamp) in (14, 17) and stamp[:2] in ("19", "20") and stamp[4:6] <= "12"
    short = len(stamp) == 12 and stamp.isdigit()  # in ms a day before 2002; as a date, two ways
    return not packed and not short and bool(re.fullmatch(r"\d{9,19}([.,]\d+)?", stamp))


def _serial_days(stamps: list[str]) -> _times.Ints | None:
    """Days since the end of 1899, as spreadsheets write times where the cell is no date; or None.

    Seconds of the day have as many digits, but whole steps. Rounded to milliseconds.
    """
    found = [_SERIAL.fullmatch(s) for s in stamps]
    if not any(found) or not all(m or not s for m, s in zip(found, stamps, strict=True)):
        return None
    days = np.array(
        [float(f"{m[1]}.{(m[2] or m[3] or '0')}") if m else np.nan for m in found], np.float64
    )
    known = days[~np.isnan(days)]
    in_range = ((known >= _FIRST_SERIAL) & (known < _LAST_SERIAL)).all()
    if not in_range or (len(known) > 1 and np.median(np.abs(np.diff(known))) > _LONGEST_STEP_DAYS):
        return None
    millis = np.rint((np.nan_to_num(days) - _SERIAL_OF_1970) * 86_400_000).astype(np.int64)
    return np.where(np.isnan(days), _times.NAT, millis * 1000)


def _unix(stamps: list[str]) -> tuple[_times.Ints, np.ndarray]:
    """Seconds, milliseconds, microseconds or nanoseconds since 1970, by their size."""
    micros = []
    for stamp in stamps:
        whole, _, fraction = stamp.replace(",", ".").partition(".")
        scale = next((s for size, s in ((11, 0), (14, 3), (17, 6)) if len(whole) <= size), 9)
        digits = (
            (whole + fraction.ljust(6, "0"))[: len(whole) - scale + 6] if scale <= 6 else whole[:-3]
        )
        micros.append(int(digits) if stamp else _times.NAT)
    time_us = np.array(micros, np.int64)
    became = np.where(time_us == _times.NAT, _times.MISSING, _times.GOOD).astype(np.int8)
    return time_us, became
