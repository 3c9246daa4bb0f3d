"""Events of which only what the fold needs is read at once, and the rest when it is asked for.

A season has tens of thousands of measurements with fifty columns each, of which a question looks
at three and the fold at a dozen. Each such event knows the rows of the file it came from; a column
is read there, for all of them, the first time that anybody asks one of them for it. To everybody
else it is an event like any other: it equals, copies and pickles as one that was read as a whole.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import MISSING, fields
from datetime import date, datetime
from functools import cache
from typing import Any

from oplog.events import TYPES, DayMeasured, Event, WorkMeasured, columns
from oplog.log import schema
from oplog.log._arrow import rows_of

AT_ONCE: dict[type[Event], tuple[str, ...]] = {
    WorkMeasured: (
        "supersedes", "visit", "machine", "field", "day", "started_at", "ended_at", "tracks",
        "said", "implement", "operation", "job", "working_s",
    ),
    DayMeasured: ("supersedes", "machine", "day", "started_at", "ended_at", "tracks"),
}  # fmt: skip
"""Types of which there are many, and their columns that the fold looks at."""

ONE_BY_ONE = frozenset({"spans", "geometry", "missed", "overlap", "bouts", "unseen"})
"""Columns so large that only the rows asked for are read."""


MANY = 200
"""After so many rows of such a column, all of them are read."""

LARGE = 1 << 16
"""A file smaller than this is read whole: to read it by parts would take longer. [byte]"""

_SINGLE = (str, int, float, bool, date, datetime)


class Source:
    """A file, and the columns of it that are not read yet. file: a pyarrow ParquetFile."""

    def __init__(self, file: Any, later: Collection[str]) -> None:
        self.file, self.later = file, set(later)
        hints = {n: h for t in AT_ONCE for n, h in columns(t).items()}
        self._small = sorted(n for n in later if hints[n] in _SINGLE)
        self._read: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        """A column of all rows; those that hold one value each are read together."""
        if name not in self._read:
            names = self._small if name in self._small else [name]
            table = self.file.read(columns=names, use_threads=False)
            self._read |= {n: table[n] for n in names}
        return self._read[name]


def source(file: Any, names: Collection[str], types: Collection[str], size: int) -> Source | None:
    """What can be left to be read later of a file; None where nothing is to be gained, or a column
    is not what it should be.

    names: columns wanted. types: of the events in the file. size: of the file. [byte]
    """
    many = [t for t in AT_ONCE if t.TYPE in types]
    declared = {n: schema.arrow_type(h) for t in many for n, h in columns(t).items()}
    held = {f.name: f.type for f in file.schema_arrow}
    if not many or any(held[n] != declared[n] for n in held.keys() & declared.keys()):
        return None
    if size < LARGE:
        return Source(file, ())
    others = {
        n for t in set(types) & TYPES.keys() for n in columns(TYPES[t]) if TYPES[t] not in many
    }
    now = others | {n for t in many for n in AT_ONCE[t]}
    return Source(file, (declared.keys() & set(names)) - now)


class Part:
    """Rows of one type in one file.

    rows: a table of them, of the columns that are read. rest: where the others are. where: the
    numbers of the rows in the file. without: columns that are not to be read at all.
    """

    def __init__(
        self, rows: Any, rest: Source, where: Sequence[int], event_type: type[Event]
    ) -> None:
        self.rows, self.rest, self.where = rows, rest, where
        self.hints = columns(event_type)
        self.held = (set(rows.column_names) | rest.later) & self.hints.keys()
        self.defaults = {f.name: f.default for f in fields(event_type) if f.default is not MISSING}
        self._cells: dict[str, list[Any]] = {}
        self._asked: dict[str, int] = {}

    def column(self, name: str) -> Any:
        """A column as Arrow has it."""
        import pyarrow as pa

        if name in self.rest.later:
            return rows_of(pa.table({name: self.rest[name]}), self.where)[name]
        return self.rows[name]

    def cells(self, name: str) -> list[Any]:
        """A column as Python values."""
        if name not in self._cells:
            self._cells[name] = self._values(self.column(name), name)
        return self._cells[name]

    def cell(self, name: str, row: int) -> Any:
        """What a row holds in a column."""
        if name not in self.held:
            return self.defaults.get(name)
        self._asked[name] = asked = self._asked.get(name, 0) + 1
        if name not in ONE_BY_ONE or asked > MANY:
            return self.cells(name)[row]
        if name in self.rest.later:
            column = self.rest[name].slice(self.where[row], 1)
        else:
            column = self.rows[name].slice(row, 1)
        return self._values(column, name)[0]

    def _values(self, column: Any, name: str) -> list[Any]:
        from oplog.log.reading import cells_of

        return cells_of(column, self.hints[name], self.defaults.get(name))


class _Cell:
    """A column of an event that is read when it is first asked for."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __get__(self, event: Any, owner: Any = None) -> Any:
        if event is None:
            raise AttributeError(self.name)
        held = event.__dict__
        value = held[self.name] = held["_part"].cell(self.name, held["_row"])
        return value


@cache
def _lazy(type_string: str) -> type[Event]:
    """A type whose events are in every respect those of an event type, and read as needed."""
    event_type = TYPES[type_string]

    def reduce(self: Any) -> Any:
        return _whole, (
            event_type,
            {n: getattr(self, n) for n in columns(event_type)},
            self.event_id,
        )

    body: dict[str, Any] = {name: _Cell(name) for name in columns(event_type)}
    body |= {"__class__": property(lambda self: event_type), "__reduce__": reduce}
    return type(event_type.__name__, (event_type,), body)


def _whole(event_type: type[Event], cells: dict[str, Any], known_id: str) -> Event:
    event = event_type(**cells)
    event.__dict__["event_id"] = known_id
    return event


def events(part: Part, event_type: type[Event], ids: Sequence[str]) -> list[Event]:
    """The events of some rows, all of one of the types in `AT_ONCE`."""
    made = _lazy(event_type.TYPE)
    names = [n for n in AT_ONCE[event_type] if n in part.held]
    cells = zip(*(part.cells(n) for n in names), strict=True)
    new = object.__new__
    found: list[Event] = []
    for row, (known_id, values) in enumerate(zip(ids, cells, strict=True)):
        event = new(made)
        held = event.__dict__
        held.update(zip(names, values, strict=True))
        held["event_id"], held["_part"], held["_row"] = known_id, part, row
        found.append(event)
    return found
