"""Tables whose header names time, latitude and longitude: the plainest loggers write these.

Names are matched without case and punctuation. They can say how far from UTC times are; a unit of
speed is understood in its name or the cell, and is m/s where there is none. One cell may hold both
of a place. Columns are parted by semicolons, tabs, commas, strokes or spaces; decimal
commas are read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from oplog.errors import Problem
from oplog.readers import (
    _csv_names,
    _csv_places,
    _csv_rows,
    _csv_stamps,
    _csv_times,
    _speeds,
    _times,
)
from oplog.readers._csv_names import Columns
from oplog.readers._csv_rows import Numbered
from oplog.readers._csv_text import text_of, without_cut_line
from oplog.readers._numbers import number
from oplog.readers._rows import Rows, finish, join, unstated
from oplog.readers._tally import Tally
from oplog.track import Floats, Track, empty

Part = tuple[Numbered, Columns]
"""A row and the columns that it is of."""

_ROWS_AT_ONCE = 50_000
_HEAD_BYTES = 65_536
_HEAD_LINES = 60
_FIRST_ROWS = 20
_MOST_MACHINES = 50
_ROUND_TEXT = " \t\r\n='\""
_QUANTITY = re.compile(r"([-+]?\d+(?:[.,]\d+)?)\s*([^\W\d][\w/ ]*)")
_LONGEST_QUANTITY = 40
_NOT_OF_DEVICE = {"valid", "status", "place"}
"""Columns read since devices are known by their columns."""
_NO_FIX = frozenset(["v", "void", "nofix", "none", "invalid", "false", "f", "no", "n"])
"""What tables say of a position that the receiver only remembers."""
_DIGIT = re.compile(r"\d")


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

    def table(tally: Tally) -> Iterator[Part]:
        rows = _csv_rows.rows(text, begin, parter, first_line, columns.width, tally)
        return _without_names(rows, first_line, columns)

    order = _csv_times.DAY_FIRST
    first = [part for part, _ in zip(table(Tally()), range(_FIRST_ROWS), strict=False)]
    if _csv_times.has_strokes(s for part in first for s in _stamps_of(part)):
        order = _csv_times.order_of(s for part in table(Tally()) for s in _stamps_of(part))
    parts, machines = [], set[str]()
    for batch, of_batch in _batches(table(tally)):
        if parter == ",":
            batch = _as_wide(batch, of_batch, tally)
        if batch:
            _say_glued(batch, of_batch, tally)
            parts.append(_rows(batch, of_batch, order, tally))
            machines |= _machines(batch, of_batch)
    if not parts:
        if not tally.found:
            tally.add("a table with a header, but no lines below it", done="nothing to read")
        return empty(), tally.problems()
    if 1 < len(machines) <= _MOST_MACHINES:
        listed = ", ".join(sorted(machines)[:6])
        what = f"a table of {len(machines)} machines in one file ({listed})"
        return empty(), [Problem(name, first_line, what, done="export each by itself")]
    device = "CSV " + " ".join(sorted(columns.at.keys() - _NOT_OF_DEVICE))
    track = _speeds.in_m_s(finish(join(parts), tally, zone, device), tally)
    return track, tally.problems()


def _header(text: str) -> tuple[int, str, Columns] | None:
    return _csv_names.header(text.replace("\r", "\n") if "\n" not in text else text, _HEAD_LINES)


def _batches(parts: Iterator[Part]) -> Iterator[tuple[list[Numbered], Columns]]:
    """Rows of the same columns, many at a time."""
    batch: list[Numbered] = []
    columns = Columns()
    for row, of_row in parts:
        if batch and (len(batch) >= _ROWS_AT_ONCE or of_row is not columns):
            yield batch, columns
            batch = []
        batch.append(row)
        columns = of_row
    if batch:
        yield batch, columns


def _without_names(rows: Iterator[Numbered], first_line: int, columns: Columns) -> Iterator[Part]:
    """The rows, each with its columns, without those that hold names in place of a place: units
    below the header, or a header again where tables were put one behind the other. One that names
    other columns, or in another order, holds for the rows below it."""
    places = columns.places
    for line, row in rows:
        # a place begins with no letter but that of a hemisphere
        if line == first_line or len(row) <= max(places) or row[places[0]][:1].isalpha():
            cells = [row[k].strip(_ROUND_TEXT).casefold() for k in places if k < len(row)]
            if cells == [columns.names[k] for k in places]:
                continue
            wordy = all(c and not _DIGIT.search(c) for c in cells)
            if wordy and line != first_line:
                named = _csv_names.columns([name.strip(_ROUND_TEXT) for name in row])
                if "lat" in named:
                    columns, places = named, named.places
                    continue
            elif wordy and len(cells) == len(places):
                continue
        yield (line, row), columns


def _as_wide(batch: list[Numbered], columns: Columns, tally: Tally) -> list[Numbered]:
    """The rows without those that have more cells than the header, where that is the rule and
    places are whole numbers: a decimal comma has cut them in two, and what is left of them can
    still be a place."""
    width, at = columns.width, columns.places
    if len(at) == 1:
        return batch
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


def _say_glued(batch: list[Numbered], columns: Columns, tally: Tally) -> None:
    """Tell of rows with another behind them whose line end was lost; notes are shorter."""
    least = max(2 * columns.width - 1, columns.width + 2)
    glued = [len(row) >= least and any(c.strip() for c in row[columns.width :]) for _, row in batch]
    if any(glued):
        lines = np.array([line for line, _ in batch], np.int64)
        what = "another row in the same line, as its line end was lost"
        tally.add_rows(what, glued, lines, "the first is read")


def _cells(batch: list[Numbered], columns: Columns, column: str) -> list[str]:
    """The cells of a column, without what spreadsheets put round text ('x and ="x")."""
    index = columns.at[column]
    return [row[index].strip(_ROUND_TEXT) if index < len(row) else "" for _, row in batch]


def _stamps_of(part: Part) -> list[str]:
    row, columns = part
    return _stamps([row], columns) if _csv_stamps.has_times(columns) else []


def _stamps(batch: list[Numbered], columns: Columns) -> list[str]:
    return _csv_stamps.stamps(columns, lambda column: _cells(batch, columns, column))


def _machines(batch: list[Numbered], columns: Columns) -> set[str]:
    return set(_cells(batch, columns, "machine")) - {""} if "machine" in columns else set()


def _rows(batch: list[Numbered], columns: Columns, order: str, tally: Tally) -> Rows:
    n = len(batch)
    values = unstated(n)
    if "speed_m_s" in columns:
        unit_m_s = columns.speed_unit_m_s
        speeds = [_speed_m_s(c, unit_m_s) for c in _cells(batch, columns, "speed_m_s")]
        values["speed_m_s"] = np.array(speeds)
    for column in ("course_deg", "hdop"):
        if column in columns:
            values[column] = np.array([_quantity(c)[0] for c in _cells(batch, columns, column)])
    if "valid" in columns:
        values["quality"][_are_void(_cells(batch, columns, "valid"))] = 0
    if "status" in columns:
        letters = [c.strip().upper() for c in _cells(batch, columns, "status")]
        if set(letters) <= {"A", "V", ""}:  # as RMC has it; other columns of the name say more
            values["quality"][[letter == "V" for letter in letters]] = 0
    lines = np.array([line for line, _ in batch], np.int64)
    time_us, became = np.full(n, _times.NAT), np.full(n, _times.MISSING, np.int8)
    if _csv_stamps.has_times(columns):
        stamps = _stamps(batch, columns)
        time_us, became = _csv_times.parse(stamps, lines, order, columns.offset_us, tally)
        time_us = _csv_stamps.milliseconds(columns, lambda c: _cells(batch, columns, c), time_us)
    lat, lon = _places(batch, columns)
    return Rows(time_us, became, lat, lon, **values, where=lines)


def _places(batch: list[Numbered], columns: Columns) -> tuple[Floats, Floats]:
    """Latitudes and longitudes."""
    if "lat" not in columns:
        return _csv_places.of_one(_cells(batch, columns, "place"), columns.names[columns.places[0]])
    lats, lons = (
        [
            _csv_places.with_side(c, s)
            for c, s in zip(cells, _cells(batch, columns, side), strict=True)
        ]
        if side in columns
        else cells
        for cells, side in (
            (_cells(batch, columns, "lat"), "north"),
            (_cells(batch, columns, "lon"), "east"),
        )
    )
    return _csv_places.of_two(lats, lons)


def _are_void(cells: list[str]) -> list[bool]:
    """Which rows say that there was no fix. A zero says so where others have other digits, or
    words; where they have larger numbers these count something."""
    words = [re.sub(r"[\W_]", "", c.casefold()) for c in cells]
    zero = any(w != "0" for w in words) and not any(w.isdigit() and len(w) > 1 for w in words)
    return [w in _NO_FIX or (zero and w == "0") for w in words]


def _quantity(cell: str) -> tuple[float, str]:
    """A number and its unit, empty where it has none."""
    value = number(_csv_places.plain(cell))
    if value == value or len(cell) > _LONGEST_QUANTITY:
        return value, ""
    found = _QUANTITY.fullmatch(cell)
    return (number(_csv_places.plain(found[1])), found[2]) if found else (np.nan, "")


def _speed_m_s(cell: str, unit_m_s: float) -> float:
    """A speed, whose unit in the cell counts for more than that of the column."""
    value, unit = _quantity(cell)
    return value * (_csv_names.unit_m_s(unit) or unit_m_s)
