"""Questions answered by DuckDB alone from the files of a log, as is the first after a new entry.

DuckDB reads what the fold needs (written.py), and joins the files' own columns with what the fold
says of them. Neither NumPy nor Arrow is loaded, which for all but a large log is most of the time;
of a large one they are quicker. What is not as usual is left to the ordinary way (asking.py).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from oplog.fold import Farm, fold
from oplog.log import lazy
from oplog.log.chain import seal
from oplog.log.shelf import Shelf
from oplog.query import database, kept
from oplog.query.asking import spread
from oplog.query.database import Answer
from oplog.query.question import Question
from oplog.query.tables import SQL, TABLES, Columns
from oplog.query.written import Unusual, Written, written

LARGEST_BYTES = 4 << 20
"""Files of events that are larger together are read with Arrow."""

BUILT = frozenset(TABLES) - {"ground", "input_visits"}
"""Base tables that need hardly more of the events than the fold looks at."""


def answer(
    shelf: Shelf, question: Question, params: Mapping[str, Any]
) -> tuple[Answer, Farm] | None:
    """The answer to a question over a whole farm, and the farm; None where it is to be had in the
    ordinary way only. What was worked out is kept. Raises: OplogError as `ask` does."""
    values = question.values(params)
    if not (question.reads and BUILT.issuperset(question.reads) and _is_small(shelf)):
        return None
    base = database.unlocked()
    try:
        files = written(base, shelf)
        farm = fold(files.events())
        for table in question.reads:
            put_in(base, files, farm, table, values)
    except (database.engine().Error, Unusual):
        return None
    _keep(base, shelf, farm, question, params)
    database.lock(base)
    return database.answered(base, question, values, lambda table: None), farm


def put_in(base: Any, files: Written, farm: Farm, table: str, values: Mapping[str, Any]) -> None:
    """One of the tables in `BUILT` into an unlocked database."""
    schema, rows_of = TABLES[table]
    name = database.kept_name(table, values)
    if not isinstance(rows_of, Columns):
        rows = list(rows_of(farm, values))
        spread(base, name, schema, [[row[i] for row in rows] for i in range(len(schema))])
    elif rows_of.event_type in lazy.AT_ONCE:
        _join(base, files, farm, schema, rows_of, name)
    else:
        spread(base, name, schema, [[getattr(e, n) for e in rows_of.events(farm)] for n in schema])


_AT = "position"


def _join(
    base: Any, files: Written, farm: Farm, schema: Mapping[str, str], table: Columns, name: str
) -> None:
    """A table of many events: their own columns as they lie in the files, with the others."""
    events, beside = table.events(farm), table.beside(farm)
    kinds = {
        "event_id": "VARCHAR",
        _AT: "BIGINT",
        **{n: SQL[k.__name__] for n, (k, _) in beside.items()},
    }
    lists: list[Sequence[Any]] = [[e.event_id for e in events], range(len(events))]
    spread(base, "beside", kinds, [*lists, *(cells for _, cells in beside.values())])
    own = files.own(table.event_type, table.own(schema, beside))
    base.execute(
        f'CREATE TABLE "{name}" AS SELECT {table.reckon(schema)} FROM ({own})'
        f" JOIN beside USING (event_id) ORDER BY {_AT}",
        files.files(),
    )
    base.execute("DROP TABLE beside")


def _keep(
    base: Any, shelf: Shelf, farm: Farm, question: Question, params: Mapping[str, Any]
) -> None:
    """Keep what was built, while files can still be written."""

    def encoded(name: str) -> bytes:
        file = shelf.aside()
        try:
            return database.encoded(base, name, file)
        finally:
            file.unlink(missing_ok=True)

    with suppress(OSError, database.engine().Error):
        kept.keep(shelf, farm, question, params, seal(farm.entries), encoded)


def _is_small(shelf: Shelf) -> bool:
    try:
        return sum(Path(p).stat().st_size for p in shelf.paths()) <= LARGEST_BYTES
    except OSError:
        return False
