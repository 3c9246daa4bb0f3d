"""A table before it is written: columns with units, rows of values in those units."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from oplog import units as u
from oplog.records import dataclass

METRIC, US = "metric", "us"
SYSTEMS = (METRIC, US)
"""Systems of units that figures can be shown in."""

_IN_US: dict[str, tuple[str, str, str, Callable[[float], float]]] = {
    "ha": ("acre", "_ha", "_acre", lambda v: u.acres(v * u.HECTARE_M2)),
    "km/h": ("mph", "_kmh", "_mph", lambda v: u.mph(u.from_kmh(v))),
    "ha/h": ("acre/h", "_ha_h", "_acre_h", lambda v: u.acres(v * u.HECTARE_M2)),
    "m": ("ft", "_m", "_ft", u.feet),
    "km": ("mile", "_km", "_mile", lambda v: v * 1000.0 / u.MILE_M),
    "ha/h/m": (
        "acre/h/ft",
        "_ha_h_m",
        "_acre_h_ft",
        lambda v: u.acres(v * u.HECTARE_M2) * u.FOOT_M,
    ),
}


@dataclass(frozen=True)
class Column:
    """One column: its name in data, its heading on paper, and the unit its numbers are in.

    unit: "" for text and counts; "ha", "km/h", "h", "m", "km", "ha/h", "%", "degree".
    """

    name: str
    heading: str
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """Rows of one subject. Values are text, numbers in the column's unit, dates, times or None."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Any, ...], ...]


def in_units(table: Table, system: str) -> Table:
    """The same table in another system of units; names and headings follow the unit."""
    if system == METRIC:
        return table
    columns = tuple(_column_in_us(c) for c in table.columns)
    turn = [_IN_US[c.unit][3] if c.unit in _IN_US else None for c in table.columns]
    rows = tuple(
        tuple(f(v) if f and isinstance(v, int | float) else v for f, v in zip(turn, r, strict=True))
        for r in table.rows
    )
    return replace(table, columns=columns, rows=rows)


def from_answer(title: str, columns: Sequence[str], rows: Any, unit_of: Sequence[str]) -> Table:
    """The table of a query's answer, headings taken from its column names."""
    cols = tuple(
        Column(name, _heading(name, unit), unit)
        for name, unit in zip(columns, unit_of, strict=True)
    )
    return Table(title, cols, tuple(tuple(r) for r in rows))


def _column_in_us(column: Column) -> Column:
    if column.unit not in _IN_US:
        return column
    unit, old, new, _ = _IN_US[column.unit]
    name = column.name
    if old in name:
        head, _, tail = name.rpartition(old)
        name = f"{head}{new}{tail}"
    return Column(name, column.heading, unit)


def _heading(name: str, unit: str) -> str:
    suffix = {"ha": "_ha", "km/h": "_kmh", "ha/h": "_ha_h", "h": "_h", "m": "_m", "%": "_percent",
              "ha/h/m": "_ha_h_m"}  # fmt: skip
    if unit == "%" and name == "percent":
        return ""
    return name.removesuffix(suffix.get(unit, "")).replace("_", " ")
