"""Events back from the bytes of an events file, column by column."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import MISSING, dataclass, fields
from datetime import UTC
from functools import cache
from typing import Any

from oplog.events import TYPES, Event, Found, Span, columns

NO_COLUMNS: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class LaterEvent(Event):
    """An event of a kind or version that this program does not know yet.

    What it supersedes is honoured; nothing else of it can be read.
    """

    type: str
    version: int


def decode(data: bytes, without: Collection[str] = NO_COLUMNS) -> list[Event]:
    """The events of a file, in the order of its rows.

    without: columns not to be read; the events hold their default for them.
    Raises: pyarrow's errors (ValueError, OSError, KeyError ...) for bytes that are not such a file.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    file = pq.ParquetFile(pa.BufferReader(data), page_checksum_verification=True)
    names = [n for n in file.schema_arrow.names if n not in without]
    return from_table(file.read(columns=names, use_threads=False))


def from_table(table: Any) -> list[Event]:
    """The events of a table that has the columns of an events file."""
    kinds = list(zip(_values(table["type"]), _values(table["version"]), strict=True))
    found: list[Event | None] = [None] * len(kinds)
    for kind in sorted(set(kinds)):
        rows = [i for i, k in enumerate(kinds) if k == kind]
        part = table if len(rows) == len(kinds) else table.take(rows)
        for row, event in zip(rows, _events(part, *kind), strict=True):
            found[row] = event
    return [e for e in found if e is not None]


def _events(table: Any, type_string: str, version: int) -> list[Event]:
    event_type = TYPES.get(type_string)
    ids = _values(table["event_id"])
    if event_type is None or version > event_type.VERSION:
        replaced = _values(table["supersedes"]) if "supersedes" in table.column_names else ids
        return [
            _made(
                LaterEvent,
                i,
                dict(_DEFAULTS, supersedes=s or (), type=type_string, version=version),
            )
            for i, s in zip(ids, replaced, strict=True)
        ]
    hints = columns(event_type)
    defaults = _defaults(event_type)
    here = [n for n in hints if n in table.column_names]
    cells = [_column(table[n], hints[n], defaults.get(n)) for n in here]
    absent = {n: defaults.get(n) for n in hints if n not in here}
    return [
        _made(event_type, i, absent | dict(zip(here, row, strict=True)))
        for i, row in zip(ids, zip(*cells, strict=True), strict=True)
    ]


_DEFAULTS = {f.name: f.default for f in fields(Event)}


@cache
def _defaults(event_type: type[Event]) -> dict[str, Any]:
    return {f.name: f.default for f in fields(event_type) if f.default is not MISSING}


def _made(event_type: type[Event], event_id: str, values: dict[str, Any]) -> Event:
    # Past the constructor of a frozen class, which would take most of the time of reading.
    event = object.__new__(event_type)
    event.__dict__.update(values)
    event.__dict__["event_id"] = event_id
    return event


def _column(column: Any, hint: Any, default: Any) -> list[Any]:
    values = _values(column)
    if hint is dict or getattr(hint, "__origin__", None) is dict:
        values = [None if v is None else dict(v) for v in values]
    elif getattr(hint, "__args__", (None,))[0] in (Span, Found):
        values = [None if v is None else _structs(v, hint.__args__[0]) for v in values]
    if default is not None:
        values = [default if v is None else v for v in values]
    return values


def _structs(rows: Sequence[dict[str, Any]], made: Any) -> tuple[Any, ...]:
    return tuple(made(**row) for row in rows)


def _values(column: Any) -> list[Any]:
    """A column as Python values: lists as tuples, times with their zone, None where null."""
    import pyarrow as pa
    import pyarrow.types as t

    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if isinstance(array, pa.ChunkedArray):
        array = pa.concat_arrays(array.chunks) if array.num_chunks else pa.array([], array.type)
    kind = array.type
    if t.is_list(kind) or t.is_map(kind):
        return _lists(array)
    if t.is_struct(kind):
        names = [f.name for f in kind]
        parts = [_values(array.field(i)) for i in range(len(names))]
        return [dict(zip(names, row, strict=True)) for row in zip(*parts, strict=True)]
    if t.is_timestamp(kind):
        naive = (
            array.cast(pa.int64()).to_numpy(zero_copy_only=False) if not array.null_count else None
        )
        if naive is None:
            return [None if v is None else v.astimezone(UTC) for v in array.to_pylist()]
        moments = naive.astype("datetime64[us]").astype(object)
        return [m.replace(tzinfo=UTC) for m in moments]
    if t.is_date32(kind) or array.null_count:
        return list(array.to_pylist())
    return list(array.to_numpy(zero_copy_only=False).tolist())


def _lists(array: Any) -> list[Any]:
    import pyarrow.types as t

    offsets = array.offsets.to_numpy().tolist()
    if t.is_map(array.type):
        items = list(zip(_values(array.keys), _values(array.items), strict=True))
    else:
        items = _values(array.values)
    valid = array.is_valid().to_pylist() if array.null_count else None
    # keys, items and values ignore the array's own offset; its offsets count from there.
    cut = [tuple(items[a:b]) for a, b in zip(offsets[:-1], offsets[1:], strict=True)]
    return cut if valid is None else [c if v else None for c, v in zip(cut, valid, strict=True)]
