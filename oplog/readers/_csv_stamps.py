"""Date and time of each row of a table as one text, from however many columns they take."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from oplog.readers import _times
from oplog.readers._csv_names import Columns
from oplog.readers._numbers import number

DATE_PARTS = ("year", "month", "day")
CLOCK_PARTS = ("hour", "minute", "second")

Cells = Callable[[str], list[str]]


def has_times(columns: Columns) -> bool:
    """Whether any columns hold a time."""
    return "time" in columns or all(part in columns for part in DATE_PARTS + CLOCK_PARTS)


def stamps(columns: Columns, cells: Cells) -> list[str]:
    """Date and time of each row. cells: gives the cells of a column, a text a row."""
    clocks = cells("time") if "time" in columns else _parts(cells, CLOCK_PARTS, ":")
    if "date" in columns:
        dates = cells("date")
    elif all(part in columns for part in DATE_PARTS):
        dates = [_whole_year(d) for d in _parts(cells, DATE_PARTS, "-")]
    else:
        return clocks
    # a column called time may hold the date as well
    return [
        c if len(re.sub(r"\D", "", c)) >= 12 and ":" in c else f"{d} {c}".strip()
        for d, c in zip(dates, clocks, strict=True)
    ]


def milliseconds(columns: Columns, cells: Cells, time_us: _times.Ints) -> _times.Ints:
    """Times with the thousandths of a column of their own, where it holds no more than those."""
    if "millisecond" not in columns:
        return time_us
    found = np.array([number(cell) for cell in cells("millisecond")])
    found = np.where(np.isnan(found), 0, found)
    known = time_us != _times.NAT
    if not ((found >= 0) & (found < 1000)).all() or (time_us[known] % 1_000_000).any():
        return time_us
    return np.where(known, time_us + np.rint(found * 1000).astype(np.int64), time_us)


def _parts(cells: Cells, names: tuple[str, ...], between: str) -> list[str]:
    return [
        between.join(parts) if all(parts) else ""
        for parts in zip(*(cells(n) for n in names), strict=True)
    ]


def _whole_year(date: str) -> str:
    """A year in a column of its own may have two digits."""
    return f"20{date}" if re.match(r"\d\d-", date) else date
