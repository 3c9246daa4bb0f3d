"""Events as DuckDB reads them from the files of a log: without NumPy and Arrow, which take longer
to load than all else that a question of a small log needs.

Of the types of which there are many, only what the fold looks at is read (see oplog.log.lazy). A
column of theirs that somebody asks for all the same is read as ever, from the log.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import MISSING, fields
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from typing import Any, get_args, get_origin

from oplog.events import TYPES, Event, columns, from_row, restored, struct
from oplog.log import lazy
from oplog.log.shelf import Shelf
from oplog.records import dataclass

_SQL = {
    str: "VARCHAR",
    int: "BIGINT",
    float: "DOUBLE",
    bool: "BOOLEAN",
    bytes: "BLOB",
    date: "DATE",
    datetime: "TIMESTAMP",
}
"""Types as values are handed over. Times come in UTC, without their zone: to read that would need
another package."""


class Unusual(Exception):
    """What only the ordinary reading of a log can make sense of, or tell of."""


@dataclass(frozen=True)
class Written:
    """The files of a log. base: an unlocked database. held: the columns that any of them has."""

    base: Any
    shelf: Shelf
    held: frozenset[str]

    def events(self) -> list[Event]:
        """Every event. Raises: Unusual."""
        few = [t for t in TYPES.values() if t not in lazy.AT_ONCE]
        hints = {n: h for t in few for n, h in columns(t).items()}
        many = ", ".join(f"'{t.TYPE}'" for t in lazy.AT_ONCE)
        found = [_event(row) for row in self._rows(hints, f"type NOT IN ({many})")]
        for event_type in lazy.AT_ONCE:
            found += self._of(event_type)
        if len({e.event_id for e in found}) < len(found):
            raise Unusual("an event is there twice")
        return found

    def own(self, event_type: type[Event], names: Sequence[str]) -> str:
        """A SELECT of event_id and columns of a type in `lazy.AT_ONCE`. It takes `files`."""
        shown = ", ".join(f'"{n}"' if n in self.held else f'NULL AS "{n}"' for n in names)
        return f"SELECT {shown} FROM {_FILES} WHERE type = '{event_type.TYPE}'"

    def files(self) -> dict[str, Any]:
        """What a SELECT over the files is given."""
        return {"files": self.shelf.paths()}

    def _of(self, event_type: type[Event]) -> list[Event]:
        """Events of a type of which there are many."""
        held = [n for n in lazy.AT_ONCE[event_type] if n in self.held]
        hints = {n: h for n, h in columns(event_type).items() if n in held}
        rows = list(self._rows(hints, f"type = '{event_type.TYPE}'"))
        if any(row["version"] > event_type.VERSION for row in rows):
            raise Unusual("a newer version")
        default = {f.name: f.default for f in fields(event_type) if f.default is not MISSING}
        cells = {n: [_cell(r[n], h, default.get(n)) for r in rows] for n, h in hints.items()}
        ids = [row["event_id"] for row in rows]
        return lazy.events(_Rows(self.shelf.log, ids, cells), event_type, ids)

    def _rows(self, hints: Mapping[str, Any], which: str) -> Iterator[dict[str, Any]]:
        """Rows as Python values by their columns, those of the envelope's head included."""
        kinds = {"event_id": str, "type": str, "version": int, **hints}
        names = [n for n in kinds if n in self.held]
        shown = ", ".join(f'"{n}"::{_sql(kinds[n])} AS "{n}"' for n in names)
        asked = f"SELECT {shown} FROM {_FILES} WHERE {which}"
        for row in self.base.execute(asked, self.files()).fetchall():
            yield dict(zip(names, row, strict=True))


_FILES = "read_parquet($files, union_by_name = true)"


def written(base: Any, shelf: Shelf) -> Written:
    """The files of a log, as an unlocked database reads them. Raises: duckdb.Error."""
    # Shapes as the bytes that they are.
    base.execute("SET enable_geoparquet_conversion = false")
    # The files are gone through several times, and never change.
    base.execute("SET parquet_metadata_cache = true")
    asked = f"DESCRIBE FROM {_FILES}"
    described = base.execute(asked, {"files": shelf.paths()}).fetchall()
    return Written(base, shelf, frozenset(d[0] for d in described))


class _Rows:
    """Rows of one type, of which some columns were read (see oplog.log.lazy.Rows)."""

    def __init__(self, log: Path, ids: Sequence[str], cells: Mapping[str, list[Any]]) -> None:
        self.log, self.ids, self._cells = log, ids, cells
        self.held = cells.keys()

    def cells(self, name: str) -> list[Any]:
        """A column that was read."""
        return self._cells[name]

    def cell(self, name: str, row: int) -> Any:
        """What a row holds in any other."""
        return getattr(self._whole[self.ids[row]], name)

    @cached_property
    def _whole(self) -> dict[str, Event]:
        from oplog.log import open_log

        return {e.event_id: e for e in open_log(self.log).events()}


def _event(row: dict[str, Any]) -> Event:
    try:
        event = from_row(row)
    except (KeyError, ValueError) as error:
        raise Unusual("a later event") from error
    event.__dict__["event_id"] = row["event_id"]
    return event


def _cell(value: Any, hint: Any, default: Any) -> Any:
    return default if value is None else restored(value, hint)


def _sql(hint: Any) -> str:
    """The type in the database that values of a column are handed over as."""
    if hint in _SQL:
        return _SQL[hint]
    if get_origin(hint) is dict:
        return f"MAP({', '.join(map(_sql, get_args(hint)))})"
    if get_origin(hint) is tuple:
        return f"{_sql(get_args(hint)[0])}[]"
    return f"STRUCT({', '.join(f'{n} {_sql(h)}' for n, h in struct(hint))})"
