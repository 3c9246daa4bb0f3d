"""Tables whose header names time, latitude and longitude: the plainest loggers write these.

Names are matched without case and punctuation; a unit in a speed's name is understood, and m/s
where there is none. Columns are parted by semicolons, tabs, commas, strokes or spaces; decimal
commas are read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from oplog.errors import Problem
from oplog.readers import _csv_names, _csv_rows, _csv_stamps, _csv_times, _speeds, _times
from oplog.readers._csv_names import Columns
from oplog.readers._csv_rows import Numbered
from oplog.readers._csv_text import text_of, without_cut_line
from oplog.readers._numbers import number
from oplog.readers._rows import Rows, finish, join, unstated
from oplog.readers._tally import Tally
from oplog.track import Floats, Track, empty

_ROWS_AT_ONCE = 50_000
_HEAD_BYTES = 65_536
_HEAD_LINES = 60
_FIRST_ROWS = 20
_MOST_MACHINES = 50
_ROUND_TEXT = " \t\r\n='\""
_QUANTITY = re.compile(r"([-+]?\d+(?:[.,]\d+)?)\s*[^\W\d][\w/ ]*")
_MINUTES = (re.compile(r"[-+]?\d{4}\.\d+[NS]?"), re.compile(r"[-+]?\d{5}\.\d+[EW]?"))
_DIGIT = re.compile(r"\d")
_LAST_TWO = re.compile(r"(\d\d\.)")
"""Degrees and minutes in one number, as NMEA 0183 has them: 5218.1234 and 00009.0000."""
_SEXAGESIMAL = re.compile(
    r"""(?P<sign>[-+]?)(?P<deg>\d{1,3})[°d:\s]\s*(?P<min>\d{1,2}(?:[.,]\d+)?)['′m:\s]?\s*"""
    r"""(?:(?P<sec>\d{1,2}(?:[.,]\d+)?)\s*(?:"|″|''|s)?)?\s*"""
)


def sniff(data: bytes) -> bool:
    """Whether a line near the beginning names a latitude and a longitude."""
    return _header(text_of(data[:_HEAD_BYTES], Tally())) is not None


def behind_header(data: bytes) -> int:
    """Where the lines below the header begin, in bytes in UTF-8 or one byte a letter."""
    text = text_of(data[:_HEAD_BYTES], Tally())
    header = _header(text)
    at = 0
    for _ in range(0 if header is None else text.count("\n", 0, header[0]) + 1):
        at = data.find(b"\n", at) + 1
    return at


def read(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    """One fix a line. Never raises for bad data."""
    tally = Tally(name)
    text = text_of(data, tally)
    header = _header(text[:_HEAD_BYTES])
    if header is None:
        return empty(), [Problem(name, None, "no header names a position", done="nothing to read")]
    start, parter, columns = header
    text = without_cut_line(text, tally)
    begin = text.find("\n", start) + 1 or len(text)
    first_line = text.count("\n", 0, begin) + 1

    def table(tally: Tally) -> Iterator[Numbered]:
        return _csv_rows.rows(text, begin, parter, first_line, columns.width, tally)

    order = _csv_times.DAY_FIRST
    first = [row for row, _ in zip(table(Tally()), range(_FIRST_ROWS), strict=False)]
    if _csv_stamps.has_times(columns) and _csv_times.has_strokes(_stamps_of(first, columns)):
        every = (s for row in table(Tally()) for s in _stamps_of([row], columns))
        order = _csv_times.order_of(every)
    parts, machines = [], set[str]()
    for batch in _batches(_without_names(table(tally), first_line, columns)):
        if parter == ",":
            batch = _as_wide(batch, columns, tally)
        if batch:
            parts.append(_rows(batch, columns, order, tally))
            machines |= _machines(batch, columns)
    if not parts:
        if not tally.found:
            tally.add("a table with a header, but no lines below it", done="nothing to read")
        return empty(), tally.problems()
    if 1 < len(machines) <= _MOST_MACHINES:
        listed = ", ".join(sorted(machines)[:6])
        what = f"a table of {len(machines)} machines in one file ({listed})"
        return empty(), [Problem(name, first_line, what, done="export each by itself")]
    device = "CSV " + " ".join(sorted(columns.at))
    track = _speeds.in_m_s(finish(join(parts), tally, zone, device), tally)
    return track, tally.problems()


def _header(text: str) -> tuple[int, str, Columns] | None:
    return _csv_names.header(text.replace("\r", "\n") if "\n" not in text else text, _HEAD_LINES)


def _batches(rows: Iterator[Numbered]) -> Iterator[list[Numbered]]:
    batch: list[Numbered] = []
    for row in rows:
        batch.append(row)
        if len(batch) >= _ROWS_AT_ONCE:
            yield batch
            batch = []
    if batch:
        yield batch


def _without_names(
    rows: Iterator[Numbered], first_line: int, columns: Columns
) -> Iterator[Numbered]:
    """The rows without those that hold names in place of a place: units below the header, or the
    header again where tables were put one behind the other."""
    lat, lon = columns.at["lat"], columns.at["lon"]
    for line, row in rows:
        # a place begins with no letter but that of a hemisphere
        if line == first_line or (lat < len(row) and row[lat][:1].isalpha()):
            places = [row[k].strip(_ROUND_TEXT).casefold() for k in (lat, lon) if k < len(row)]
            wordy = len(places) == 2 and all(p and not _DIGIT.search(p) for p in places)
            if (line == first_line and wordy) or places == [columns.names[lat], columns.names[lon]]:
                continue
        yield line, row


def _as_wide(batch: list[Numbered], columns: Columns, tally: Tally) -> list[Numbered]:
    """The rows without those that have more cells than the header, where that is the rule and
    places are whole numbers: a decimal comma has cut them in two, and what is left of them can
    still be a place."""
    width, at = columns.width, (columns.at["lat"], columns.at["lon"])
    wider = [
        any(cell.strip() for cell in row[width:])
        and not all(re.search(r"\d[.,]\d", row[k]) for k in at)
        for _, row in batch
    ]
    if 2 * sum(wider) <= len(batch):
        return batch
    what = "more cells than the header has names (decimal commas in a table parted by commas?)"
    lines = np.array([line for line, _ in batch], np.int64)
    tally.add_rows(what, wider, lines, "set aside; export it with semicolons or decimal points")
    return [row for row, wide in zip(batch, wider, strict=True) if not wide]


def _cells(batch: list[Numbered], columns: Columns, column: str) -> list[str]:
    """The cells of a column, without what spreadsheets put round text ('x and ="x")."""
    index = columns.at[column]
    return [row[index].strip(_ROUND_TEXT) if index < len(row) else "" for _, row in batch]


def _stamps_of(batch: list[Numbered], columns: Columns) -> list[str]:
    return _csv_stamps.stamps(columns, lambda column: _cells(batch, columns, column))


def _machines(batch: list[Numbered], columns: Columns) -> set[str]:
    return set(_cells(batch, columns, "machine")) - {""} if "machine" in columns else set()


def _rows(batch: list[Numbered], columns: Columns, order: str, tally: Tally) -> Rows:
    n = len(batch)
    values = unstated(n)
    for column, unit in (("speed_m_s", columns.speed_unit_m_s), ("course_deg", 1.0), ("hdop", 1.0)):
        if column in columns:
            read_as = [_quantity(c) for c in _cells(batch, columns, column)]
            values[column] = np.array(read_as) * unit
    lines = np.array([line for line, _ in batch], np.int64)
    time_us, became = np.full(n, _times.NAT), np.full(n, _times.MISSING, np.int8)
    if _csv_stamps.has_times(columns):
        stamps = _stamps_of(batch, columns)
        time_us, became = _csv_times.parse(stamps, lines, order, columns.utc, tally)
        time_us = _csv_stamps.milliseconds(columns, lambda c: _cells(batch, columns, c), time_us)
    lat, lon = _places(batch, columns)
    return Rows(time_us, became, lat, lon, **values, where=lines)


def _places(batch: list[Numbered], columns: Columns) -> tuple[Floats, Floats]:
    """Latitudes and longitudes."""
    cells_of = []
    for column, letters in (("lat", "north"), ("lon", "east")):
        cells = _cells(batch, columns, column)
        if letters in columns:
            sides = _cells(batch, columns, letters)
            cells = [c + s[:1].upper() for c, s in zip(cells, sides, strict=True)]
        cells_of.append(cells)
    if all(p.fullmatch(c) for p, cells in zip(_MINUTES, cells_of, strict=True) for c in cells if c):
        cells_of = [[_LAST_TWO.sub(r" \1", c) for c in cells] for cells in cells_of]
    lat, lon = (np.array([_degrees(c) for c in cells]) for cells in cells_of)
    return lat, lon


def _quantity(cell: str) -> float:
    """A number, with its unit or without."""
    value = number(_plain(cell))
    if value != value and (found := _QUANTITY.fullmatch(cell)):
        value = number(_plain(found[1]))
    return value


def _plain(cell: str) -> str:
    return cell.replace(",", ".") if cell.count(",") == 1 else cell


def _degrees(cell: str) -> float:
    """Degrees with a sign, or with N, S, E or W before or behind; minutes and seconds too."""
    value = number(_plain(cell))
    if value == value:
        return value
    letter = re.fullmatch(r"([NSEWnsew]?)\s*([^NSEWnsew]*?)\s*([NSEWnsew]?)", cell)
    if not letter:
        return np.nan
    value = number(_plain(letter[2].strip(" °")))
    if value != value and (parts := _SEXAGESIMAL.fullmatch(letter[2])):
        minutes, seconds = (number(_plain(parts[g] or "0")) for g in ("min", "sec"))
        if minutes < 60 and seconds < 60:
            value = float(parts["deg"]) + (minutes + seconds / 60) / 60
            value = -value if parts["sign"] == "-" else value
    return -value if (letter[1] + letter[3]).upper() in ("S", "W") else value
