"""Events back from the bytes of an events file, column by column."""

from __future__ import annotations

import gc
import itertools
from collections.abc import Collection, Iterable, Iterator
from dataclasses import MISSING, fields
from datetime import UTC, datetime
from typing import Any

import numpy as np

from oplog.events import (
    TYPES,
    EntryWritten,
    Event,
    Found,
    Span,
    TrackImported,
    columns,
    event_form,
    event_id,
    struct,
)
from oplog.log import lazy, parts
from oplog.log._arrow import nulls, rows_of, whole_numbers
from oplog.records import dataclass

NO_COLUMNS: frozenset[str] = frozenset()

UNREADABLE = (
    OSError, ValueError, LookupError, TypeError, AttributeError, RuntimeError, MemoryError,
    OverflowError,
)  # fmt: skip
"""What reading bytes that are not an events file may raise: pyarrow's errors, and those of a
damaged footer that speaks of columns, types and sizes that make no sense."""

_MADE_OF = (Span, Found)

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@event_form
class LaterEvent(Event):
    """An event of a kind or version that this program does not know yet.

    What it supersedes is honoured; nothing else of it can be read.
    """

    type: str
    version: int


@dataclass(frozen=True)
class Index:
    """What events there are, without reading all of them.

    types: type of each event by its id. entries, imports: those events themselves. later: how
    many are of a version that this program does not know.
    """

    types: dict[str, str]
    entries: tuple[EntryWritten, ...] = ()
    imports: tuple[TrackImported, ...] = ()
    later: int = 0

    def of_type(self, event_type: type[Event]) -> set[str]:
        """Ids of the events of a type."""
        return {i for i, t in self.types.items() if t == event_type.TYPE}


def decode(data: bytes, without: Collection[str] = NO_COLUMNS) -> list[Event]:
    """The events of a file, in the order of its rows.

    without: columns not to be read; the events hold their default for them.
    Raises: one of UNREADABLE for bytes that are not such a file.
    """
    file = _opened(data)
    names = [n for n in file.schema_arrow.names if n not in without]
    if len(data) < parts.LARGE:  # read at one go, of which nothing is left for later
        table = file.read(columns=names, use_threads=False)
        return events_of(table, parts.source(file, names, set(values(table["type"])), len(data)))
    types = set(values(file.read(columns=["type"], use_threads=False)["type"]))
    rest = parts.source(file, names, types, len(data))
    now = [n for n in names if rest is None or n not in rest.later]
    return events_of(file.read(columns=now, use_threads=False), rest)


def decode_some(
    data: bytes, ids: Collection[str], without: Collection[str] = NO_COLUMNS
) -> list[Event]:
    """Those events of a file that have one of some ids. Raises: as `decode`."""
    file, wanted = _opened(data), set(ids)
    here = values(file.read(columns=["event_id"], use_threads=False)["event_id"])
    rows = [row for row, known_id in enumerate(here) if known_id in wanted]
    return events_of(rows_of(_table(file, without), rows)) if rows else []


def table_of(data: bytes, without: Collection[str] = NO_COLUMNS) -> Any:
    """The table in the bytes of an events file. Raises: as `decode`."""
    return _table(_opened(data), without)


def _table(file: Any, without: Collection[str]) -> Any:
    names = [n for n in file.schema_arrow.names if n not in without]
    return file.read(columns=names, use_threads=False)


def index(data: bytes) -> Index:
    """What events a file holds. Raises: as `decode`."""
    file = _opened(data)
    names = [n for n in file.schema_arrow.names if n in indexed()]
    return index_in(file.read(columns=names, use_threads=False))


def index_in(table: Any) -> Index:
    """What events the table of an events file holds."""
    table = table.select([n for n in table.column_names if n in indexed()])
    ids, types, versions = (values(table[n]) for n in ("event_id", "type", "version"))
    known = {t: c.VERSION for t, c in TYPES.items()}
    later = sum(v > known.get(t, -1) for t, v in zip(types, versions, strict=True))
    listed = [i for i, t in enumerate(types) if t in (EntryWritten.TYPE, TrackImported.TYPE)]
    found = events_of(rows_of(table, listed)) if listed else []
    return Index(
        dict(zip(ids, types, strict=True)),
        tuple(e for e in found if isinstance(e, EntryWritten)),
        tuple(e for e in found if isinstance(e, TrackImported)),
        later,
    )


def indexed() -> set[str]:
    """The columns that an index is made of."""
    wanted = {"event_id", "type", "version", *columns(EntryWritten), *columns(TrackImported)}
    return wanted - {"found"}


def index_of(events: Iterable[Event]) -> Index:
    """The index of events that were read."""
    held = list(events)
    return Index(
        {e.event_id: e.type if isinstance(e, LaterEvent) else e.TYPE for e in held},
        tuple(e for e in held if isinstance(e, EntryWritten)),
        tuple(e for e in held if isinstance(e, TrackImported)),
        sum(isinstance(e, LaterEvent) for e in held),
    )


def together(parts: Iterable[Index]) -> Index:
    """One index of several; what is in more than one counts once."""
    types: dict[str, str] = {}
    entries: dict[str, EntryWritten] = {}
    imports: dict[str, TrackImported] = {}
    later = 0
    for part in parts:
        types |= part.types
        entries |= {e.event_id: e for e in part.entries}
        imports |= {e.event_id: e for e in part.imports}
        later += part.later
    return Index(types, tuple(entries.values()), tuple(imports.values()), later)


def salvage(data: bytes) -> list[Event]:
    """What can still be read of a damaged file; see `is_whole` for which events to believe.

    Each column of each row group is read by itself and left out where it cannot be read.
    Raises: one of UNREADABLE where nothing can be read at all.
    """
    tables = list(_row_groups(data))
    if not tables:
        raise ValueError("no row group from which an event can be read")
    return [event for table in tables for event in events_of(table)]


def is_whole(event: Event) -> bool:
    """Whether an event is what its id says. Of a later version's that cannot be told: False."""
    try:
        return not isinstance(event, LaterEvent) and event_id(event) == event.event_id
    except (TypeError, ValueError, AttributeError, OverflowError):
        return False


def events_of(table: Any, rest: parts.Source | None = None) -> list[Event]:
    """The events of a table that has the columns of an events file.

    rest: the columns that are to be read when an event is asked for them.
    """
    # Nothing made here is ever part of a cycle, and looking for cycles would take half the time.
    collecting = gc.isenabled()
    gc.disable()
    try:
        return _events_of(table, rest)
    finally:
        if collecting:
            gc.enable()


def _events_of(table: Any, rest: parts.Source | None) -> list[Event]:
    types, versions = values(table["type"]), values(table["version"])
    rows: dict[tuple[str, int], list[int]] = {}
    for row, kind in enumerate(zip(types, versions, strict=True)):
        rows.setdefault(kind, []).append(row)
    found: list[Any] = [None] * len(types)
    for kind, where in rows.items():
        part, known = _part(table, where, kind[0]), TYPES.get(kind[0])
        if rest and known in lazy.AT_ONCE and kind[1] <= known.VERSION:
            made = lazy.events(
                parts.Part(part, rest, where, known), known, values(part["event_id"])
            )
        else:
            made = _events(part, *kind)
        for row, event in zip(where, made, strict=True):
            found[row] = event
    return found


def values(column: Any) -> list[Any]:
    """A column as Python values: lists as tuples, times with their zone, None where null."""
    import pyarrow as pa
    import pyarrow.types as t

    array = column
    if isinstance(column, pa.ChunkedArray):
        array = pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], column.type)
    kind = array.type
    if array.null_count == len(array):
        return [None] * len(array)
    if t.is_list(kind) or t.is_map(kind):
        return _lists(array)
    if t.is_struct(kind):
        return list(zip(*(values(array.field(i)) for i in range(kind.num_fields)), strict=True))
    if t.is_string(kind) or t.is_binary(kind):
        return list(array.to_numpy(zero_copy_only=False).tolist())
    return _with_nulls(_plain(array), array)


def _opened(data: bytes) -> Any:
    import pyarrow as pa
    import pyarrow.parquet as pq

    return pq.ParquetFile(pa.BufferReader(data), page_checksum_verification=True)


def _row_groups(data: bytes) -> Iterator[Any]:
    import pyarrow as pa

    file = _opened(data)
    for group in range(file.num_row_groups):
        held: dict[str, Any] = {}
        for name in file.schema_arrow.names:
            try:
                column = file.read_row_group(group, [name], use_threads=False)[name]
            except UNREADABLE:
                continue
            if _is_of_its_kind(name, column.type):
                held[name] = column
        if {"event_id", "type", "version"} <= held.keys():
            yield pa.table(held)


def _is_of_its_kind(name: str, kind: Any) -> bool:
    """Whether a column is a list, a map or neither, as its name asks for: a damaged footer may
    make one of the other."""
    import pyarrow.types as t

    hints = {h for known in TYPES.values() if (h := columns(known).get(name)) is not None}
    for hint in hints:
        origin, inner = getattr(hint, "__origin__", None), getattr(hint, "__args__", (None,))[0]
        if t.is_list(kind) != (origin is tuple) or t.is_map(kind) != (origin is dict):
            return False
        if origin is tuple and t.is_struct(kind.value_type) != (inner in _MADE_OF):
            return False
        if origin is None and t.is_struct(kind):
            return False
    return True


def _events(table: Any, type_string: str, version: int) -> list[Event]:
    event_type = TYPES.get(type_string)
    ids = values(table["event_id"])
    if event_type is None or version > event_type.VERSION:
        return _later(table, ids, type_string, version)
    hints = columns(event_type)
    defaults = _defaults(event_type)
    held = set(table.column_names)
    here = [n for n in hints if n in held]
    cells = [cells_of(table[n], hints[n], defaults.get(n)) for n in here]
    # What has a default is an attribute of the class already.
    absent = dict.fromkeys(n for n in hints if n not in held and n not in defaults)
    return [
        _made(event_type, i, absent, zip(here, row, strict=True))
        for i, row in zip(ids, zip(*cells, strict=True), strict=True)
    ]


def _part(table: Any, rows: list[int], type_string: str) -> Any:
    """Some rows, with the columns of their type; without copying where they stand together."""
    wanted = {"event_id", "supersedes"}
    if type_string in TYPES:
        wanted |= columns(TYPES[type_string]).keys()
    return rows_of(table.select([n for n in table.column_names if n in wanted]), rows)


def _later(table: Any, ids: list[str], type_string: str, version: int) -> list[Event]:
    known = _defaults(Event) | {"type": type_string, "version": version}
    replaced = values(table["supersedes"]) if "supersedes" in table.column_names else ids
    return [
        _made(LaterEvent, i, known, [("supersedes", r if isinstance(r, tuple) else ())])
        for i, r in zip(ids, replaced, strict=True)
    ]


def _defaults(event_type: type[Event]) -> dict[str, Any]:
    return {f.name: f.default for f in fields(event_type) if f.default is not MISSING}


def _made(event_type: type[Event], known_id: str, absent: dict[str, Any], cells: Any) -> Event:
    # Past the constructor of a frozen class, which would take most of the time of reading.
    event = object.__new__(event_type)
    held = event.__dict__
    held.update(absent)
    held.update(cells)
    held["event_id"] = known_id
    return event


def cells_of(column: Any, hint: Any, default: Any) -> list[Any]:
    """A column of a table as values of its declared type."""
    found = values(column)
    if getattr(hint, "__origin__", None) is dict:
        found = [{} if v is None else dict(v) for v in found]
    elif getattr(hint, "__args__", (None,))[0] in _MADE_OF:
        found = _made_of(found, hint.__args__[0], column.type.value_type)
    if default is not None:
        found = [default if v is None else v for v in found]
    return found


def _made_of(found: list[Any], made: Any, kind: Any) -> list[Any]:
    names = [name for name, _ in struct(made)]
    in_order = [f.name for f in kind] == names
    if made is Span and in_order:
        return [v and tuple(map(Span._make, v)) for v in found]
    order = [kind.get_field_index(n) for n in names]
    return [v and tuple(made(*(row[i] for i in order)) for row in v) for v in found]


def _plain(array: Any) -> list[Any]:
    """Numbers, dates and times; whatever stands where there is a null."""
    import pyarrow.types as t

    kind = array.type
    if t.is_boolean(kind):
        return list(array.to_numpy(zero_copy_only=False).tolist())
    cells = np.where(nulls(array), 0, whole_numbers(array))
    if t.is_date32(kind):
        return list(cells.astype("datetime64[D]").astype(object).tolist())
    if t.is_timestamp(kind):
        return [_EPOCH + since for since in cells.astype("timedelta64[us]").astype(object)]
    return list(cells.tolist())


def _with_nulls(found: list[Any], array: Any) -> list[Any]:
    for row in np.flatnonzero(nulls(array)).tolist():
        found[row] = None
    return found


def _lists(array: Any) -> list[Any]:
    import pyarrow.types as t

    offsets = array.offsets.to_numpy()
    first, last = int(offsets[0]), int(offsets[-1])
    if t.is_map(array.type):
        keys, held = (p.slice(first, last - first) for p in (array.keys, array.items))
        items = list(zip(values(keys), values(held), strict=True))
    else:
        items = values(array.values.slice(first, last - first))
    ends = (offsets - first).tolist()
    return _with_nulls([tuple(items[a:b]) for a, b in itertools.pairwise(ends)], array)
