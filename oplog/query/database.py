"""The database that a question is asked in: it lives in memory and reaches nothing else.

Tables that are kept between commands are read in before its doors are locked; nothing that a
question says is run before that.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

from oplog import units
from oplog.errors import OplogError
from oplog.query import refusal
from oplog.query.question import Question
from oplog.records import dataclass

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

_NEEDED = ("connect", "StatementType", "Error", "PermissionException", "TransactionException")

MEMORY = "4GB"
"""What a question may have. What does not go in is refused: nothing of it goes to the disk."""


@dataclass(frozen=True)
class Answer:
    """Rows of a question, in its order. units: parallel to columns, "" for text and counts.

    Values are text, numbers, dates, times (UTC) or None; not rounded.
    """

    name: str
    purpose: str
    columns: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


def records(answer: Answer) -> list[dict[str, Any]]:
    """The rows of an answer by the names of their columns."""
    return [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]


def engine() -> Any:
    """DuckDB as far as a question needs it.

    The core of its package alone, where nothing else was loaded and it can be had so: the rest,
    which builds queries in Python, takes longer to load than most questions to answer.
    """
    if whole := sys.modules.get("duckdb"):
        return whole
    try:
        core = import_module("_duckdb")
    except ImportError:
        return import_module("duckdb")
    return core if all(hasattr(core, n) for n in _NEEDED) else import_module("duckdb")


def opened(tables: Mapping[str, str] = {}) -> Any:
    """A new database: macros in, doors locked. tables: Parquet files to be read into it by the
    names of their tables. Raises: duckdb.Error where one of them is none."""
    base = unlocked()
    for name, file in tables.items():
        base.execute(f'CREATE TABLE "{name}" AS FROM read_parquet($file)', {"file": file})
    lock(base)
    return base


def unlocked() -> Any:
    """A new database with its macros, which can read files until it is locked: nothing that a
    question says is run before that."""
    config: dict[str, Any] = {"python_enable_replacements": False, "memory_limit": MEMORY,
              "temp_directory": "", "max_temp_directory_size": "0KB"}  # fmt: skip
    base = engine().connect(":memory:", config=config)
    base.execute("SET TimeZone = 'UTC'")
    for name, (argument, divisor, factor) in _MACROS.items():
        base.execute(
            f"CREATE MACRO {name}({argument}) AS {argument} * {factor!r}::DOUBLE"
            f" / {divisor!r}::DOUBLE"
        )
    return base


def lock(base: Any) -> None:
    """Lock a database's doors, for good: no files, no network, no settings."""
    base.execute("SET enable_external_access = false")
    base.execute("SET lock_configuration = true")


def encoded(base: Any, table: str, aside: Path) -> bytes:
    """A table of an unlocked database as Parquet, by way of a file.

    Raises: duckdb.Error, OSError.
    """
    how = "FORMAT parquet, COMPRESSION zstd, COMPRESSION_LEVEL 1"
    base.execute(f'COPY "{table}" TO $file ({how})', {"file": str(aside)})
    return aside.read_bytes()


def kept_name(table: str, values: Mapping[str, Any]) -> str:
    """Under which name a base table is in the database. Ground is worked out only for the harvest
    year that is asked for, if one is."""
    year = values.get("harvest_year") if table == "ground" else None
    return f"kept_{table}" + (f"_{int(year)}" if year is not None else "")


def answered(
    connection: Any, question: Question, values: Mapping[str, Any], prepare: Callable[[str], None]
) -> Answer:
    """Run a question. prepare: sees to it that a base table that it reads is there.

    Raises: OplogError for an SQL text that does not run.
    """
    core = engine()
    try:
        text = _one_select(connection, question)
        show(connection, question, values, prepare)
        columns, rows = _run(connection, text, values)
    except core.TransactionException as error:
        raise OplogError(refusal.NO_SELECT.format(question.name)) from error
    except core.PermissionException as error:
        raise OplogError(refusal.outside(question.name, error)) from error
    except core.Error as error:
        raise OplogError(refusal.does_not_run(question.name, error)) from error
    finally:
        hide(connection, question)
    unit_of = {c.name: c.unit for c in question.columns}
    return Answer(
        question.name, question.purpose, columns, tuple(unit_of.get(c, "") for c in columns), rows
    )


def _one_select(connection: Any, question: Question) -> str:
    """The text of a question without a closing semicolon.

    Raises: OplogError where it is anything but one SELECT: nothing is run of it then.
    """
    found = connection.extract_statements(question.sql)
    if [s.type for s in found] != [engine().StatementType.SELECT]:
        raise OplogError(refusal.NO_SELECT.format(question.name))
    return question.sql.strip().rstrip(";")


def _run(
    connection: Any, text: str, values: Mapping[str, Any]
) -> tuple[tuple[str, ...], tuple[tuple[Any, ...], ...]]:
    """Columns and rows of a SELECT, in a transaction that can write nothing but its answer: what
    is parsed as a SELECT may still hold a DELETE or a COPY in its WITH."""
    connection.execute("BEGIN TRANSACTION READ ONLY")
    try:
        connection.execute(f"{refusal.AROUND}{text}", values or None)
        return _rows(connection)
    finally:
        connection.execute("ROLLBACK")


def show(
    connection: Any, question: Question, values: Mapping[str, Any], prepare: Callable[[str], None]
) -> None:
    """The tables that a question reads, under their names, and no others. prepare: as above."""
    for table in question.reads:
        prepare(table)
        kept = kept_name(table, values)
        connection.execute(f'CREATE OR REPLACE TEMP VIEW {table} AS FROM "{kept}"')


def hide(connection: Any, question: Question) -> None:
    """Take away what only this question was to see."""
    for table in question.reads:
        connection.execute(f'DROP VIEW IF EXISTS temp."{table}"')


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
