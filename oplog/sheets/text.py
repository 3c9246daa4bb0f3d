"""Tables and sentences for a terminal: plain text, 80 columns unless told otherwise."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from datetime import date, datetime, tzinfo
from typing import Any

from oplog import units
from oplog.sheets.table import Column, Table

WIDTH = 80
_GAPS = (2, 1)
"""Columns are this far apart; the second where they do not fit otherwise."""
_WORTH_A_TABLE = 3
"""Fewer rows than this, of too many columns, come as blocks."""
_BREAKABLE = 12
"""Words longer than this may be broken to make a table fit."""
_DIGITS = {
    "ha": 2,
    "acre": 2,
    "km/h": 1,
    "mph": 1,
    "ha/h": 2,
    "acre/h": 2,
    "ha/h/m": 2,
    "acre/h/ft": 2,
    "%": 0,
    "km": 1,
    "mile": 1,
    "degree": 6,
}


def write(
    table: Table, *, width: int = WIDTH, zone: tzinfo | None = None, bold: bool = False
) -> str:
    """The table as text no wider than `width`.

    Too many columns for it come as several tables under each other, each with the columns that
    name a row; or, for a row or two, as one block a row.
    zone: where times are shown in; None leaves them in the zone they carry.
    bold: headings in bold, for a terminal that can.
    """
    cells = [
        [show(v, c.unit, zone) for v, c in zip(row, table.columns, strict=True)]
        for row in table.rows
    ]
    heads = [_head(c) for c in table.columns]
    rights = [_is_number(table, i) for i in range(len(table.columns))]
    lines = [_strong(clean(table.title), bold)] if table.title else []
    if not table.rows:
        return "\n".join([*lines, "  (nothing)"])
    parts = [list(range(len(heads)))]
    if not _fits(heads, cells, rights, parts[0], width):
        if len(cells) < _WORTH_A_TABLE:
            return "\n".join([*lines, *_blocks(heads, cells, width)])
        parts = _parts(heads, cells, rights, width)
    for number, part in enumerate(parts):
        lines += [""] if number else []
        lines += _table(heads, cells, rights, part, width, bold)
    return "\n".join(lines)


def show(value: Any, unit: str = "", zone: tzinfo | None = None) -> str:
    """One value as a person reads it: hours as h:mm, areas to 0.01 ha, nothing as a dash."""
    if value is None or (isinstance(value, float) and value != value):
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        local = value.astimezone(zone) if zone and value.tzinfo else value
        return local.strftime("%Y-%m-%d %H:%M")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, tuple | list):
        return ", ".join(show(v) for v in value)
    if unit == "h":
        return clock(float(value) * units.HOUR_S)
    if unit in ("m", "ft"):
        return f"{float(value):.2f}".rstrip("0").rstrip(".")
    if isinstance(value, int) and unit not in _DIGITS:
        return str(value)
    return f"{float(value):.{_DIGITS.get(unit, 2)}f}"


def clock(seconds: float) -> str:
    """A length of time as h:mm, rounded to the minute."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"


def clean(text: str) -> str:
    """Text of a file or a person without anything that would steer the terminal."""
    return "".join(" " if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp") else c for c in text)


def paragraph(text: str, *, first: str = "", rest: str = "", width: int = WIDTH) -> str:
    """Sentences wrapped to the width, with what stands before the first and further lines."""
    lines = wrap(clean(text), width - span_of(first), width - span_of(rest))
    ahead = [first, *[rest] * (len(lines) - 1)]
    return "\n".join(a + line for a, line in zip(ahead, lines, strict=True)).replace(HOLD, " ")


def wrap(text: str, width: int, later: int | None = None) -> list[str]:
    """Text in lines of a width, broken at spaces; a word that is wider than a line is cut.

    later: width of the lines after the first, where it differs.
    """
    lines, line, room = [], "", width
    for word in text.split(" "):
        joined = f"{line} {word}" if line else word
        while span_of(joined) > room:
            if not line:
                line, joined = _cut(joined, room)
            else:
                joined = word
            lines.append(line)
            line, room = "", later if later is not None else width
        line = joined
    return [*lines, line] if line or not lines else lines


def _cut(word: str, room: int) -> tuple[str, str]:
    """As much of a word as there is room for, one character at least, and the rest."""
    taken = 1
    while taken < len(word) and span_of(word[: taken + 1]) <= room:
        taken += 1
    return word[:taken], word[taken:]


HOLD = "\u00a0"
"""A space at which no line is broken; written out as a plain one."""


def span_of(text: str) -> int:
    """Columns that a text takes up in a terminal."""
    # Nothing before the first combining character is wide.
    if text.isascii() or max(text) < "\u0300":
        return len(text)
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide - sum(unicodedata.combining(c) > 0 for c in text)


def _head(column: Column) -> str:
    unit = column.unit if column.unit not in ("h", "degree") else ""
    return f"{column.heading} {unit}".strip()


def _is_number(table: Table, index: int) -> bool:
    if table.columns[index].unit:
        return True
    values = [row[index] for row in table.rows if row[index] is not None]
    return bool(values) and all(isinstance(v, int | float) for v in values)


def _table(
    heads: Sequence[str],
    cells: Sequence[Sequence[str]],
    rights: Sequence[bool],
    part: Sequence[int],
    width: int,
    bold: bool,
) -> list[str]:
    """Lines of some of the columns, which fit."""
    some = [[row[i] for i in part] for row in cells]
    right = [rights[i] for i in part]
    widths, gap = _fit([heads[i] for i in part], some, right, width) or ([], 0)
    lines = [_strong(line, bold) for line in _row([heads[i] for i in part], widths, gap, right)]
    for row in some:
        lines += _row(row, widths, gap, right)
    return lines


def _fits(
    heads: Sequence[str],
    cells: Sequence[Sequence[str]],
    rights: Sequence[bool],
    part: Sequence[int],
    width: int,
) -> bool:
    some = [[row[i] for i in part] for row in cells]
    return _fit([heads[i] for i in part], some, [rights[i] for i in part], width) is not None


def _parts(
    heads: Sequence[str], cells: Sequence[Sequence[str]], rights: Sequence[bool], width: int
) -> list[list[int]]:
    """Columns of each of several tables: first those that name a row, then what fits."""
    names = _naming(cells)
    parts: list[list[int]] = []
    for i in range(len(names), len(heads)):
        if parts and _fits(heads, cells, rights, [*parts[-1], i], width):
            parts[-1].append(i)
        else:
            parts.append([*names, i])
    return parts


def _naming(cells: Sequence[Sequence[str]]) -> list[int]:
    """The first columns that tell the rows apart, three at most."""
    for count in (1, 2):
        if len({tuple(row[:count]) for row in cells}) == len(cells):
            return list(range(count))
    return [0, 1, 2]


def _fit(
    heads: Sequence[str], cells: Sequence[Sequence[str]], rights: Sequence[bool], width: int
) -> tuple[list[int], int] | None:
    """Column widths that fit, and the gap between; None where nothing does.

    Headings wrap at words first, then the widest text gives way, down to its longest word.
    """
    if not heads:
        return [], 0
    body = [max([span_of(r[i]) for r in cells], default=0) for i in range(len(heads))]
    full = [max(b, span_of(h)) for b, h in zip(body, heads, strict=True)]
    if sum(full) + _GAPS[0] * (len(heads) - 1) <= width:
        return full, _GAPS[0]
    words = [_longest_word([h]) for h in heads]
    least = [
        max(w, b if right else min(_longest_word([r[i] for r in cells]), _BREAKABLE))
        for i, (w, b, right) in enumerate(zip(words, body, rights, strict=True))
    ]
    widest = [max(b, w) for b, w in zip(body, words, strict=True)]
    for gap in _GAPS:
        room = width - gap * (len(heads) - 1)
        if sum(least) <= room:
            return _shrunk(widest, least, room), gap
    return None


def _shrunk(widths: list[int], least: Sequence[int], room: int) -> list[int]:
    """Widths that add up to no more than the room, each no less than its least."""
    widths = list(widths)
    while sum(widths) > room:
        give = [i for i, w in enumerate(widths) if w > least[i]]
        widths[max(give, key=lambda i: widths[i])] -= 1
    return widths


def _longest_word(texts: Sequence[str]) -> int:
    return max((span_of(word) for text in texts for word in text.split()), default=0)


def _row(
    cells: Sequence[str], widths: Sequence[int], gap: int, rights: Sequence[bool]
) -> list[str]:
    wrapped = [_wrap(c, w) for c, w in zip(cells, widths, strict=True)]
    lines = []
    for i in range(max(len(w) for w in wrapped)):
        parts = [
            _pad(w[i] if i < len(w) else "", width, right)
            for w, width, right in zip(wrapped, widths, rights, strict=True)
        ]
        lines.append((" " * gap).join(parts).rstrip().replace(HOLD, " "))
    return lines


def _wrap(text: str, width: int) -> list[str]:
    return [text] if span_of(text) <= width else wrap(text, max(width, 1))


def _pad(text: str, width: int, right: bool) -> str:
    space = " " * max(width - span_of(text), 0)
    return space + text if right else text + space


def _blocks(heads: Sequence[str], cells: Sequence[Sequence[str]], width: int) -> list[str]:
    label = max(span_of(h) for h in heads)
    lines: list[str] = []
    for row in cells:
        lines += [""] if lines else []
        for head, cell in zip(heads, row, strict=True):
            before = f"  {_pad(head, label, False)}  "
            after = " " * len(before)
            lines.append(paragraph(cell, first=before, rest=after, width=width).rstrip())
    return lines


def _strong(text: str, bold: bool) -> str:
    return f"\033[1m{text}\033[0m" if bold and text else text
