"""Times as people, programs and languages spell them, as ISO 8601."""

from __future__ import annotations

import re

_HALF_DAY = re.compile(
    r"(.*?)(\d\d?)((?::\d\d){1,2}(?:[.,]\d+)?)\s*([ap])\.?\s?m\.?(.*)", re.I | re.S
)
_PACKED = re.compile(
    r"\s*(\d{8})(?:[T _-]?(\d{2})(\d{2})(\d{2})([.,]\d+)?)?\s*(Z|[+-].*)?\s*", re.I
)
_CLOCK = re.compile(r"(\D*\d{4}-\d\d-\d\d)[T ](\d{2})(\d{2})(\d{2})([.,]\d+)?\s*(\D.*)?", re.DOTALL)
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
    r"(\d{4}-\d\d-\d\d)\.?[T\s_-]+(\d\d?)(?:([.:-])(\d\d)\3(\d\d)|\s?h\s?(\d\d)(?:\s?m\w*\s?(\d\d)\s?s?)?)"
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
