"""Run a question over a farm in a database that lives in memory and reaches nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Protocol
from weakref import WeakKeyDictionary

from oplog import units
from oplog.errors import OplogError, UnknownName
from oplog.events import Event
from oplog.fold import Farm
from oplog.query import refusal
from oplog.query.of_log import OF_LOG, event_rows, fix_arrays
from oplog.query.question import Question, find
from oplog.query.tables import TABLES, Columns
from oplog.track import Track

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

MEMORY = "4GB"
"""What a question may have. What does not go in is refused: nothing of it goes to the disk."""


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


class Source(Protocol):
    """What a log gives beside its farm; see oplog.log.Log."""

    def events(self) -> list[Event]:
        """Every event."""

    def fixes(self, digest: str) -> Track:
        """The fixes of a digest."""


def ask(
    farm: Farm,
    name: str | Question,
    params: Mapping[str, Any] | None = None,
    *,
    source: Source | None = None,
) -> Answer:
    """Answer a question by its name (or a Question of one's own) with its values by name.

    source: the farm's log, for questions that read `events` or `fixes`. Tables once built are
    kept for as long as the farm is. Raises: UnknownName for the question or a table it reads,
    OplogError for its values or an SQL text that does not run.
    """
    import duckdb

    question = find(name) if isinstance(name, str) else name
    values = question.values(params or {})
    connection = _base(farm)
    try:
        text = _one_select(connection, question)
        _prepare(connection, farm, question, values, source)
        columns, rows = _run(connection, text, values)
    except duckdb.TransactionException as error:
        raise OplogError(refusal.NO_SELECT.format(question.name)) from error
    except duckdb.PermissionException as error:
        raise OplogError(refusal.outside(question.name, error)) from error
    except duckdb.Error as error:
        raise OplogError(refusal.does_not_run(question.name, error)) from error
    finally:
        _clear(connection, question)
    unit_of = {c.name: c.unit for c in question.columns}
    return Answer(
        question.name, question.purpose, columns, tuple(unit_of.get(c, "") for c in columns), rows
    )


def _one_select(connection: Any, question: Question) -> str:
    """The text of a question without a closing semicolon.

    Raises: OplogError where it is anything but one SELECT: nothing is run of it then.
    """
    import duckdb

    found = connection.extract_statements(question.sql)
    if [s.type for s in found] != [duckdb.StatementType.SELECT]:
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


def records(answer: Answer) -> list[dict[str, Any]]:
    """The rows of an answer by the names of their columns."""
    return [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]


_BASES: WeakKeyDictionary[Farm, Any] = WeakKeyDictionary()
"""A database for each farm that was asked something; disposable."""


def _base(farm: Farm) -> Any:
    """The farm's database: macros in, doors locked; tables come as they are read."""
    import duckdb

    if farm not in _BASES:
        config: dict[str, Any] = {"python_enable_replacements": False, "memory_limit": MEMORY,
                  "temp_directory": "", "max_temp_directory_size": "0KB"}  # fmt: skip
        base = duckdb.connect(":memory:", config=config)
        base.execute("SET TimeZone = 'UTC'")
        for name, (argument, divisor, factor) in _MACROS.items():
            base.execute(
                f"CREATE MACRO {name}({argument}) AS {argument} * {factor!r}::DOUBLE"
                f" / {divisor!r}::DOUBLE"
            )
        base.execute("SET enable_external_access = false")
        base.execute("SET lock_configuration = true")
        _BASES[farm] = base
    return _BASES[farm]


def _prepare(
    connection: Any,
    farm: Farm,
    question: Question,
    values: Mapping[str, Any],
    source: Source | None = None,
) -> None:
    """The tables that a question reads, under their names, and no others."""
    for table in question.reads:
        if table not in TABLES and table not in OF_LOG:
            raise UnknownName("table", table, [*TABLES, *OF_LOG])
        kept = _kept_name(table, values)
        built = connection.execute(
            "SELECT count(*) FROM duckdb_tables() WHERE table_name = ?", [kept]
        ).fetchall()
        if not built[0][0]:
            _register(connection, farm, table, kept, values, source)
        connection.execute(f'CREATE OR REPLACE TEMP VIEW {table} AS FROM "{kept}"')


def _clear(connection: Any, question: Question) -> None:
    """Take away what only this question was to see."""
    for table in question.reads:
        connection.execute(f'DROP VIEW IF EXISTS temp."{table}"')


def _kept_name(table: str, values: Mapping[str, Any]) -> str:
    """Ground is worked out only for the harvest year that is asked for, if one is."""
    year = values.get("harvest_year") if table == "ground" else None
    return f"kept_{table}" + (f"_{int(year)}" if year is not None else "")


def _register(
    connection: Any,
    farm: Farm,
    table: str,
    kept: str,
    values: Mapping[str, Any],
    source: Source | None,
) -> None:
    """One base table, by way of one list a column: quick, and without pandas. Of what there is a
    lot of, by way of arrays."""
    if table == "fixes":
        _register_fixes(connection, farm, kept, source)
        return
    if table in OF_LOG:
        schema, rows = OF_LOG[table], list(event_rows(source.events() if source else ()))
    else:
        schema, rows_of = TABLES[table]
        if isinstance(rows_of, Columns):
            _register_columns(connection, farm, schema, rows_of, kept)
            return
        rows = list(rows_of(farm, values))
    lists = {f"c{i}": [row[i] for row in rows] for i in range(len(schema))}
    spread = ", ".join(
        f'unnest($c{i}::{kind}[]) AS "{column}"' for i, (column, kind) in enumerate(schema.items())
    )
    connection.execute(f'CREATE TABLE "{kept}" AS SELECT {spread}', lists)


def _register_columns(
    connection: Any, farm: Farm, schema: Mapping[str, str], table: Columns, kept: str
) -> None:
    """A table of many events: their own columns as they lie in the log, joined with the others."""
    from oplog.log import tables

    events, beside = table.events(farm), table.beside(farm)
    own = [n for n in schema if n not in beside and n not in table.reckoned]
    at = tables.POSITION
    connection.register("own", tables.of_events(events, table.event_type, own))
    numbers: dict[str, tuple[type, Sequence[Any]]] = {at: (int, range(len(events)))}
    connection.register("beside", tables.of_lists(numbers | beside))
    spread = ", ".join(
        f'({table.reckoned.get(c, chr(34) + c + chr(34))})::{kind} AS "{c}"'
        for c, kind in schema.items()
    )
    connection.execute(
        f'CREATE TABLE "{kept}" AS SELECT {spread} FROM own JOIN beside USING ({at}) ORDER BY {at}'
    )
    connection.unregister("own")
    connection.unregister("beside")


def _register_fixes(connection: Any, farm: Farm, kept: str, source: Source | None) -> None:
    """Millions of rows: by way of arrays, a track at a time."""
    spread = ", ".join(f'"{c}" {kind}' for c, kind in OF_LOG["fixes"].items())
    connection.execute(f'CREATE TABLE "{kept}" ({spread})')
    for imported in farm.tracks if source else ():
        assert source is not None
        connection.register("one_track", fix_arrays(imported, source.fixes(imported.fixes)))
        connection.execute(f'INSERT INTO "{kept}" FROM one_track')
        connection.unregister("one_track")


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
