"""Tables as data for other programs: CSV and JSON. Times in UTC, names with their units."""

from __future__ import annotations

import csv
import io
import json
import math
import unicodedata
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from oplog.sheets.table import Table

_PLACES = {"degree": 7}
_STARTS_A_FORMULA = "=+-@\t\r|%"


def to_csv(table: Table, *, raw: bool = False) -> str:
    """Comma-separated values with a line of names first.

    raw: text as it is. Otherwise text that a spreadsheet would run as a formula gets an
    apostrophe in front, which a spreadsheet takes for "this is text"; numbers are never touched.
    """
    lines = [_line([c.name for c in table.columns])]
    for row in table.rows:
        cells = [_plain(v, c.unit) for v, c in zip(row, table.columns, strict=True)]
        lines.append(_line([_cell(v, raw) for v in cells]))
    return "".join(lines)


def to_json(table: Table, beside: Mapping[str, Any] | None = None) -> str:
    """An object with `rows`, a list with one object per row, and what stands beside them."""
    names = [c.name for c in table.columns]
    rows = [
        {n: _plain(v, c.unit) for n, v, c in zip(names, row, table.columns, strict=True)}
        for row in table.rows
    ]
    whole = {"rows": rows, **(beside or {})}
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def is_formula(text: str) -> bool:
    """Whether a spreadsheet would run a text cell rather than show it. A number it would not."""
    start = unicodedata.normalize("NFKC", text).lstrip(" \u00a0\ufeff\n")
    if not start or start[0] not in _STARTS_A_FORMULA:
        return False
    try:
        float(start)
    except ValueError:
        return True
    return False


def _line(cells: list[Any]) -> str:
    """One line. Written as with CRLF, so that both halves of it are quoted where text has them."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(cells)
    return out.getvalue()[:-2] + "\n"


def _cell(value: Any, raw: bool) -> Any:
    if isinstance(value, list):
        value = "; ".join(str(v) for v in value)
    if isinstance(value, str) and not raw and is_formula(value):
        return "'" + value
    return "" if value is None else value


def _plain(value: Any, unit: str) -> Any:
    """A value that CSV and JSON can hold; numbers to a tenth of a square metre or a second."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, datetime):
        return (
            value.astimezone(UTC).isoformat().replace("+00:00", "Z") if value.tzinfo else str(value)
        )
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | list):
        return [_plain(v, unit) for v in value]
    number = float(value)
    return round(number, _PLACES.get(unit, 5)) if math.isfinite(number) else None
