"""Events as columns: the Arrow schema of every event type, and the bytes of an events file.

A file holds the columns of the event types in it and no others, always with the declared type,
so that files of different content can be read as one table (`union_by_name` in DuckDB). Columns
that hold geometries are WKB, lon/lat WGS 84, described by GeoParquet 1.1 metadata.
"""

from __future__ import annotations

import json
import typing
from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import date, datetime
from functools import cache
from typing import Any

from oplog.events import TYPES, Event, Found, Span, columns, stored, without_none

GEOMETRIES = ("geometry", "missed", "overlap", "bouts")
"""Columns that hold WKB geometries, the primary one first."""

FILE_FORMAT = "1"
"""Version of the layout of an events file, kept in its metadata under `oplog`."""

ROWS_TOGETHER = 2_000
"""Rows in a row group: what one rotten spot can cost."""

_SPREAD_OUT = {"event_id", "visit", "nonce", "note", "file_digest", "fixes", "previous"}


@cache
def arrow_type(hint: Any) -> Any:
    """The Arrow type of a Python type as used in events."""
    import pyarrow as pa

    simple = {
        str: pa.string(),
        int: pa.int64(),
        float: pa.float64(),
        bool: pa.bool_(),
        bytes: pa.binary(),
        date: pa.date32(),
        datetime: pa.timestamp("us", tz="UTC"),
    }
    if hint in simple:
        return simple[hint]
    if hint in (Span, Found):
        inner = typing.get_type_hints(hint)
        return pa.struct([(f.name, arrow_type(without_none(inner[f.name]))) for f in fields(hint)])
    arguments = typing.get_args(hint)
    if typing.get_origin(hint) is dict:
        return pa.map_(arrow_type(arguments[0]), arrow_type(arguments[1]))
    return pa.list_(arrow_type(arguments[0]))


def schema_of(types: Iterable[str]) -> Any:
    """The declared schema of a file that holds these event types."""
    import pyarrow as pa

    hints: dict[str, Any] = {"event_id": str, "type": str, "version": int}
    for type_string in sorted(types):
        hints |= columns(TYPES[type_string])
    return pa.schema([pa.field(name, arrow_type(hint)) for name, hint in hints.items()])


def table(events: Sequence[Event]) -> Any:
    """Events as an Arrow table, one row each in the order given, with the declared schema of the
    types among them."""
    import pyarrow as pa

    schema = schema_of({e.TYPE for e in events})
    hints = {e.TYPE: columns(type(e)) for e in events}
    arrays = [
        pa.array([_cell(e, f.name, hints[e.TYPE].get(f.name)) for e in events], type=f.type)
        for f in schema
    ]
    return pa.table(arrays, schema=schema)


def encode(events: Sequence[Event]) -> bytes:
    """The bytes of an events file. The order of the rows is the order given."""
    return to_parquet(table(events))


def to_parquet(rows: Any) -> bytes:
    """A table of events as Parquet: zstd, a checksum on every page, GeoParquet metadata."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    sink = pa.BufferOutputStream()
    writer = pq.ParquetWriter(
        sink,
        rows.schema,
        compression="zstd",
        compression_level=6,
        use_dictionary=[f.name for f in rows.schema if _repeats(f)],
        write_statistics=["type", "day", "started_at"],
        write_page_checksum=True,
        store_schema=False,
    )
    writer.write_table(rows, row_group_size=ROWS_TOGETHER)
    writer.add_key_value_metadata(_metadata(rows.schema.names))
    writer.close()
    return bytes(sink.getvalue())


def _cell(event: Event, name: str, hint: Any) -> Any:
    if hint is None:  # a column of the envelope's head, or of another type in the same file
        head = {"event_id": event.event_id, "type": event.TYPE, "version": event.VERSION}
        return head.get(name)
    value = stored(getattr(event, name), hint)
    if isinstance(value, dict):
        return sorted(value.items())
    if isinstance(value, tuple) and value and isinstance(value[0], Span | Found):
        names = [f.name for f in fields(value[0])]
        return [{n: getattr(v, n) for n in names} for v in value]
    return value


def _repeats(field: Any) -> bool:
    import pyarrow.types as t

    return bool(t.is_string(field.type)) and field.name not in _SPREAD_OUT


def _metadata(names: Sequence[str]) -> dict[str, str]:
    metadata = {"oplog": FILE_FORMAT}
    if present := [name for name in GEOMETRIES if name in names]:
        # No `crs` means OGC:CRS84; an empty list of types means "not stated".
        column = {"encoding": "WKB", "geometry_types": []}
        described = dict.fromkeys(present, column)
        geo = {"version": "1.1.0", "primary_column": present[0], "columns": described}
        metadata["geo"] = json.dumps(geo)
    return metadata
