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
_SHORT = re.compile(r"\s*(?:\d\d([/.-]?)\d\d\1\d\d(?:[T ,].*)?|\d{12})", re.DOTALL)
_SERIAL = re.compile(r"(\d{5})(?:[.,](\d+))?(?:(?:[.,]0+)? 0?[.,](\d+))?")
_FIRST_SERIAL, _LAST_SERIAL, _SERIAL_OF_1970 = 36_526, 62_000, 25_569
_LONGEST_STEP_DAYS = 0.02


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
