"""Comma- or semicolon-separated tables whose header names time, latitude and longitude.

The plainest loggers write these. Names are matched without case and punctuation; a unit in a
speed's name is understood, and m/s where there is none. Decimal commas are read where the columns
are parted by something else.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator

import numpy as np

from oplog.errors import Problem
from oplog.readers import _times
from oplog.readers._numbers import number
from oplog.readers._rows import Rows, finish, join, unstated
from oplog.readers._tally import Tally
from oplog.track import Track, empty
from oplog.units import KMH_M_S, KNOT_M_S, MPH_M_S

TWO_WAYS = "dates that can be read day first or month first"

_NAMES = {
    "time": "time timestamp datetime utc utctime timeutc gpstime dateandtime datetimeutc"
    " utcdatetime isotime gpsdatetime localtime datumzeit zeit zeitstempel zeitpunkt heure"
    " horodatage tijd fecha hora",
    "date": "date utcdate gpsdate dateutc localdate datum",
    "lat": "lat latitude latdeg latitudedeg latitudedegrees latdd gpslat gpslatitude breite"
    " breitengrad latitud wgs84lat poslat positionlat ycoord",
    "lon": "lon lng long longitude londeg longitudedeg longitudedegrees londd gpslon gpslong gpslng"
    " gpslongitude laenge länge längengrad laengengrad longitud wgs84lon poslon poslong positionlon"
    " positionlong xcoord",
    "course_deg": "course heading bearing cog coursedeg headingdeg track trackangle kurs richtung"
    " direction azimuth",
    "hdop": "hdop",
}
_COLUMN_OF = {name: column for column, names in _NAMES.items() for name in names.split()}
_SPEED = re.compile(r"(?:gps|ground)?(?:speed|velocity|geschwindigkeit|vitesse|sog)(?:overground)?")
_UNITS = {
    "": 1.0,
    "ms": 1.0,
    "mps": 1.0,
    "kmh": KMH_M_S,
    "kph": KMH_M_S,
    "kmph": KMH_M_S,
    "mph": MPH_M_S,
    "kn": KNOT_M_S,
    "kt": KNOT_M_S,
    "kts": KNOT_M_S,
    "knot": KNOT_M_S,
    "knots": KNOT_M_S,
}
_SLASHED = re.compile(r"\s*(\d\d?)([/.-])(\d\d?)\2(\d{4})(.*)", re.DOTALL)
_ROWS_AT_ONCE = 50_000
_HEAD_BYTES = 65_536
_HEAD_LINES = 20
_MOST_WORDS = 5


def sniff(data: bytes) -> bool:
    """Whether a line near the beginning names a latitude and a longitude."""
    return _header(_text(data[:_HEAD_BYTES], Tally())) is not None


def read(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    """One fix a line. Never raises for bad data."""
    tally = Tally(name)
    text = _text(data, tally)
    header = _header(text[:_HEAD_BYTES])
    if header is None:
        return empty(), [Problem(name, None, "no header names a position", done="nothing to read")]
    start, parter, columns = header
    lines_before = text.count("\n", 0, start) + 1
    body = io.StringIO(text[start:], newline="")
    next(body, None)
    parts = [
        _rows(batch, columns, parter, tally)
        for batch in _batches(body, parter, lines_before, tally)
    ]
    if not parts:
        tally.add("a table with a header, but no lines below it", done="nothing to read")
        return empty(), tally.problems()
    device = "CSV " + " ".join(sorted(columns))
    return finish(join(parts), tally, zone, device), tally.problems()


def _text(data: bytes, tally: Tally) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", "replace")
    if "\0" in text:
        first = text.index("\0")
        tally.add(
            "zero bytes in the text",
            text.count("\n", 0, first) + 1,
            text.count("\0"),
            "read round them",
        )
        text = text.replace("\0", "")
    return text


def _header(text: str) -> tuple[int, str, dict[str, tuple[int, float]]] | None:
    """Where the header line begins, what parts the columns, and which column holds what.

    Each column comes with the factor that turns it into SI.
    """
    at = 0
    lines = text.split("\n")[:_HEAD_LINES]
    for k, line in enumerate(lines):
        for parter in ";\t,":
            names = line.lstrip("# \ufeff").split(parter)
            columns = _columns(names)
            if "lat" in columns and "lon" in columns and _heads(names, lines[k + 1 :], parter):
                return at, parter, columns
        at += len(line) + 1
    return None


def _heads(names: list[str], below: list[str], parter: str) -> bool:
    """Whether names head a table: short, and the line below has about as many columns."""
    following = next((line for line in below if line.strip()), "")
    as_many = not following or 2 * (following.count(parter) + 1) > len(names)
    return as_many and all(len(name.split()) <= _MOST_WORDS for name in names)


def _columns(names: list[str]) -> dict[str, tuple[int, float]]:
    found: dict[str, tuple[int, float]] = {}
    for index, name in enumerate(names):
        plain = re.sub(r"[\W_]", "", name.casefold())
        column = _COLUMN_OF.get(plain)
        if column:
            found.setdefault(column, (index, 1.0))
            continue
        speed = _SPEED.match(plain)
        if speed and plain[speed.end() :] in _UNITS:
            found.setdefault("speed_m_s", (index, _UNITS[plain[speed.end() :]]))
    if "time" not in found and "date" in found:
        found["time"] = found.pop("date")
    return found


def _batches(
    body: io.StringIO, parter: str, lines_before: int, tally: Tally
) -> Iterator[list[tuple[int, list[str]]]]:
    """Lines with their numbers, in batches, so that a long file is not held twice."""
    batch: list[tuple[int, list[str]]] = []
    reader = csv.reader(body, delimiter=parter)
    while True:
        try:
            row = next(reader)
        except StopIteration:
            break
        except csv.Error:
            tally.add("a line that is no table row", lines_before + reader.line_num, 1, "set aside")
            continue
        if any(cell.strip() for cell in row):
            batch.append((lines_before + reader.line_num, row))
        if len(batch) >= _ROWS_AT_ONCE:
            yield batch
            batch = []
    if batch:
        yield batch


def _rows(
    batch: list[tuple[int, list[str]]],
    columns: dict[str, tuple[int, float]],
    parter: str,
    tally: Tally,
) -> Rows:
    n = len(batch)

    def cells(column: str) -> list[str]:
        index = columns[column][0]
        return [row[index].strip() if index < len(row) else "" for _, row in batch]

    comma = parter != ","
    values = unstated(n)
    for column in ("speed_m_s", "course_deg", "hdop"):
        if column in columns:
            read_as = [number(_plain(c, comma)) for c in cells(column)]
            values[column] = np.array(read_as) * columns[column][1]
    lines = np.array([line for line, _ in batch], np.int64)
    time_us, became = np.full(n, _times.NAT), np.full(n, _times.MISSING, np.int8)
    if "time" in columns:
        stamps = cells("time")
        if "date" in columns:
            stamps = [f"{d} {t}".strip() for d, t in zip(cells("date"), stamps, strict=True)]
        time_us, became = _stamps(stamps, lines, tally)
    return Rows(
        time_us,
        became,
        np.array([_degrees(c, comma) for c in cells("lat")]),
        np.array([_degrees(c, comma) for c in cells("lon")]),
        **values,
        where=lines,
    )


def _plain(cell: str, comma: bool) -> str:
    return cell.replace(",", ".") if comma and cell.count(",") == 1 else cell


def _degrees(cell: str, comma: bool) -> float:
    """Decimal degrees with a sign, or with N, S, E or W before or behind."""
    letter = re.fullmatch(r"([NSEWnsew]?)([^NSEWnsew]*?)°?\s*([NSEWnsew]?)", cell)
    if not letter:
        return np.nan
    value = number(_plain(letter[2].strip(" °"), comma))
    return -value if (letter[1] + letter[3]).upper() in ("S", "W") else value


def _stamps(stamps: list[str], lines: np.ndarray, tally: Tally) -> tuple[_times.Ints, np.ndarray]:
    """Times of a column: ISO 8601, day and month first, or seconds since 1970."""
    if all(re.fullmatch(r"\d{9,19}(\.\d+)?", s) for s in stamps if s) and any(stamps):
        return _unix(stamps)
    slashed = [_SLASHED.fullmatch(s) for s in stamps]
    if any(slashed):
        stamps = _year_first(stamps, slashed, lines, tally)
    return _times.parse(stamps)


def _unix(stamps: list[str]) -> tuple[_times.Ints, np.ndarray]:
    """Seconds, milliseconds, microseconds or nanoseconds since 1970, by their size."""
    micros = []
    for stamp in stamps:
        whole, _, fraction = stamp.partition(".")
        scale = next((s for size, s in ((11, 0), (14, 3), (17, 6)) if len(whole) <= size), 9)
        digits = (
            (whole + fraction.ljust(6, "0"))[: len(whole) - scale + 6] if scale <= 6 else whole[:-3]
        )
        micros.append(int(digits) if stamp else _times.NAT)
    time_us = np.array(micros, np.int64)
    became = np.where(time_us == _times.NAT, _times.MISSING, _times.GOOD).astype(np.int8)
    return time_us, became


def _year_first(
    stamps: list[str], slashed: list[re.Match[str] | None], lines: np.ndarray, tally: Tally
) -> list[str]:
    """Dates with the year last, turned about; with points between they are day first.

    With strokes it takes a number above 12 to tell; where there is none, they are left unread.
    """
    found = [m for m in slashed if m]
    pointed = any(m[2] == "." for m in found)
    day_first = pointed or any(int(m[1]) > 12 for m in found)
    month_first = any(int(m[3]) > 12 for m in found)
    if day_first == month_first:
        tally.add_rows(TWO_WAYS, [m is not None for m in slashed], lines, "times left out")
        return ["" if m else s for m, s in zip(slashed, stamps, strict=True)]
    turned = []
    for match, stamp in zip(slashed, stamps, strict=True):
        if match:
            day, month = (match[1], match[3]) if day_first else (match[3], match[1])
            stamp = f"{match[4]}-{month:0>2}-{day:0>2}{match[5]}"
        turned.append(stamp)
    return turned
