"""Run a question over a farm in a database that lives in memory and reaches nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from oplog import units
from oplog.errors import OplogError, UnknownName
from oplog.fold import Farm
from oplog.query.question import Question, find
from oplog.query.tables import TABLES

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TIMESTAMP = "TIMESTAMP WITH TIME ZONE"

_MACROS = {
    "to_ha": ("m2", units.HECTARE_M2, 1.0),
    "to_h": ("s", units.HOUR_S, 1.0),
    "to_kmh": ("m_s", units.KMH_M_S, 1.0),
    "to_ha_h": ("m2_s", units.HECTARE_M2, units.HOUR_S),
    "per_minute": ("per_s", 1.0, units.MINUTE_S),
}
"""What the questions convert with: argument's unit, divisor and factor."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Rows of a question, in its order. units: parallel to columns, "" for text and counts.

    Values are text, numbers, dates, times (UTC) or None; not rounded.
    """

    name: str
    purpose: str
    columns: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


def ask(farm: Farm, name: str | Question, params: Mapping[str, Any] | None = None) -> Answer:
    """Answer a question by its name (or a Question of one's own) with its values by name.

    Raises: UnknownName for the question or a table it reads, OplogError for its values or an SQL
    text that does not run.
    """
    import duckdb

    question = find(name) if isinstance(name, str) else name
    values = question.values(params or {})
    connection = duckdb.connect(":memory:", config={"python_enable_replacements": False})
    try:
        _prepare(connection, farm, question, values)
        text = question.sql.strip().rstrip(";")
        connection.execute(f"CREATE TEMP TABLE answer AS\n{text}", values or None)
        columns, rows = _rows(connection)
    except duckdb.Error as error:
        raise OplogError(f"The question {question.name} does not run: {error}") from error
    finally:
        connection.close()
    unit_of = {c.name: c.unit for c in question.columns}
    return Answer(
        question.name, question.purpose, columns, tuple(unit_of.get(c, "") for c in columns), rows
    )


def records(answer: Answer) -> list[dict[str, Any]]:
    """The rows of an answer by the names of their columns."""
    return [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]


def _prepare(connection: Any, farm: Farm, question: Question, values: Mapping[str, Any]) -> None:
    """Base tables and macros in; then the door is locked."""
    connection.execute("SET TimeZone = 'UTC'")
    for name, (argument, divisor, factor) in _MACROS.items():
        connection.execute(
            f"CREATE MACRO {name}({argument}) AS {argument} * {factor!r}::DOUBLE"
            f" / {divisor!r}::DOUBLE"
        )
    for table in question.reads:
        if table not in TABLES:
            raise UnknownName("table", table, TABLES)
        _register(connection, farm, table, values)
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")


def _register(connection: Any, farm: Farm, table: str, values: Mapping[str, Any]) -> None:
    """One base table, by way of one list a column: quick, and without pandas."""
    schema, rows_of = TABLES[table]
    rows = list(rows_of(farm, values))
    lists = {f"c{i}": [row[i] for row in rows] for i in range(len(schema))}
    spread = ", ".join(
        f'unnest($c{i}::{kind}[]) AS "{column}"' for i, (column, kind) in enumerate(schema.items())
    )
    connection.execute(f"CREATE TABLE {table} AS SELECT {spread}", lists)


def _rows(connection: Any) -> tuple[tuple[str, ...], tuple[tuple[Any, ...], ...]]:
    """The answer's columns and rows.

    Times come as microseconds: reading them as such needs no package for time zones.
    """
    described = connection.execute("DESCRIBE answer").fetchall()
    columns = tuple(d[0] for d in described)
    times = [i for i, d in enumerate(described) if d[1] == _TIMESTAMP]
    shown = ", ".join(
        f'epoch_us("{c}") AS "{c}"' if i in times else f'"{c}"' for i, c in enumerate(columns)
    )
    rows = connection.execute(f"SELECT {shown} FROM answer").fetchall()
    if not times:
        return columns, tuple(rows)
    return columns, tuple(
        tuple(_moment(v) if i in times else v for i, v in enumerate(row)) for row in rows
    )


def _moment(microseconds: int | None) -> datetime | None:
    return None if microseconds is None else _EPOCH + timedelta(microseconds=microseconds)
