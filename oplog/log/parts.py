"""Columns of an events file that are read when somebody asks for them (see lazy.py)."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import MISSING, fields
from datetime import date, datetime
from typing import Any

from oplog.events import TYPES, Event, columns
from oplog.log import schema
from oplog.log._arrow import rows_of
from oplog.log.lazy import AT_ONCE

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
