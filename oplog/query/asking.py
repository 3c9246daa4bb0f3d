"""Run a question over a farm: its tables are worked out as they are asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol
from weakref import WeakKeyDictionary

from oplog.errors import UnknownName
from oplog.events import Event
from oplog.fold import Farm
from oplog.query import database
from oplog.query.database import Answer
from oplog.query.of_log import OF_LOG, event_rows, fix_arrays
from oplog.query.question import Question, find
from oplog.query.tables import TABLES, Columns

if TYPE_CHECKING:
    from oplog.track import Track


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
    question = find(name) if isinstance(name, str) else name
    values = question.values(params or {})
    base = base_of(farm)

    def prepare(table: str) -> None:
        put_in(base, farm, table, values, source)

    return database.answered(base, question, values, prepare)


_BASES: WeakKeyDictionary[Farm, Any] = WeakKeyDictionary()
"""A database for each farm that was asked something; disposable."""


def base_of(farm: Farm) -> Any:
    """The farm's database; tables come as they are read."""
    import duckdb  # noqa: F401  all of it: tables are handed over as arrays

    if farm not in _BASES:
        _BASES[farm] = database.opened()
    return _BASES[farm]


def encoded(farm: Farm, kept: str) -> bytes:
    """A table of a farm's database as Parquet, by the name that it has there."""
    from oplog.log import tables

    return tables.encoded(base_of(farm).table(kept).to_arrow_table())


def put_in(
    connection: Any,
    farm: Farm,
    table: str,
    values: Mapping[str, Any],
    source: Source | None = None,
) -> None:
    """A base table into a farm's database, if it is not there. Raises: UnknownName."""
    if table not in TABLES and table not in OF_LOG:
        raise UnknownName("table", table, [*TABLES, *OF_LOG])
    kept = database.kept_name(table, values)
    built = connection.execute(
        "SELECT count(*) FROM duckdb_tables() WHERE table_name = ?", [kept]
    ).fetchall()
    if not built[0][0]:
        _register(connection, farm, table, kept, values, source)


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
    spread(connection, kept, schema, [[row[i] for row in rows] for i in range(len(schema))])


def spread(
    connection: Any, name: str, schema: Mapping[str, str], lists: Sequence[Sequence[Any]]
) -> None:
    """A table out of lists of Python values, one a column."""
    given = {f"c{i}": list(cells) for i, cells in enumerate(lists)}
    columns = ", ".join(
        f'unnest($c{i}::{kind}[]) AS "{column}"' for i, (column, kind) in enumerate(schema.items())
    )
    connection.execute(f'CREATE TABLE "{name}" AS SELECT {columns}', given)


def _register_columns(
    connection: Any, farm: Farm, schema: Mapping[str, str], table: Columns, kept: str
) -> None:
    """A table of many events: their own columns as they lie in the log, joined with the others."""
    from oplog.log import tables

    events, beside = table.events(farm), table.beside(farm)
    at = tables.POSITION
    own = tables.of_events(events, table.event_type, table.own(schema, beside))
    connection.register("own", own)
    numbers: dict[str, tuple[type, Sequence[Any]]] = {at: (int, range(len(events)))}
    connection.register("beside", tables.of_lists(numbers | beside))
    columns = table.reckon(schema)
    connection.execute(
        f'CREATE TABLE "{kept}" AS SELECT {columns} FROM own JOIN beside USING ({at}) ORDER BY {at}'
    )
    connection.unregister("own")
    connection.unregister("beside")


def _register_fixes(connection: Any, farm: Farm, kept: str, source: Source | None) -> None:
    """Millions of rows: by way of arrays, a track at a time."""
    columns = ", ".join(f'"{c}" {kind}' for c, kind in OF_LOG["fixes"].items())
    connection.execute(f'CREATE TABLE "{kept}" ({columns})')
    for imported in farm.tracks if source else ():
        assert source is not None
        connection.register("one_track", fix_arrays(imported, source.fixes(imported.fixes)))
        connection.execute(f'INSERT INTO "{kept}" FROM one_track')
        connection.unregister("one_track")
