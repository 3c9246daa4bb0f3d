"""Events as columns: the Arrow schema of every event type, and the bytes of an events file.

A file holds the columns of the event types in it and no others, always with the declared type,
so that files of different content can be read as one table (`union_by_name` in DuckDB). Columns
that hold geometries are WKB, lon/lat WGS 84, described by GeoParquet 1.1 metadata.
"""

from __future__ import annotations

import json
import typing
from collections.abc import Sequence
from dataclasses import fields
from datetime import date, datetime
from functools import cache
from typing import Any

from oplog.events import TYPES, Event, Found, Span, columns, without_none

GEOMETRIES = ("geometry", "missed", "overlap", "bouts")
"""Columns that hold WKB geometries, the primary one first."""

FILE_FORMAT = "1"
"""Version of the layout of an events file, kept in its metadata under `oplog`."""

_SPREAD_OUT = {"event_id", "visit", "nonce", "note", "file_digest", "fixes", "previous"}
_KEYS = ("event_id", "type", "version")


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


def schema_of(types: Sequence[str]) -> Any:
    """The declared schema of a file that holds these event types, GeoParquet metadata included."""
    import pyarrow as pa

    hints: dict[str, Any] = {"event_id": str, "type": str, "version": int}
    for type_string in sorted(types):
        hints |= columns(TYPES[type_string])
    schema = pa.schema([pa.field(name, arrow_type(hint)) for name, hint in hints.items()])
    metadata = {"oplog": FILE_FORMAT}
    if present := [name for name in GEOMETRIES if name in hints]:
        metadata["geo"] = json.dumps(_geo(present))
    return schema.with_metadata(metadata)


def encode(events: Sequence[Event]) -> bytes:
    """The bytes of an events file. The order of the rows is the order given."""
    import pyarrow as pa

    schema = schema_of(sorted({e.TYPE for e in events}))
    held = {e.TYPE: set(columns(type(e))) for e in events}
    arrays = [
        pa.array([_cell(e, f.name, held[e.TYPE]) for e in events], type=f.type) for f in schema
    ]
    return to_parquet(pa.table(arrays, schema=schema))


def to_parquet(table: Any) -> bytes:
    """A table of events as Parquet: zstd, checksums on every page."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    sink = pa.BufferOutputStream()
    pq.write_table(
        table,
        sink,
        compression="zstd",
        compression_level=6,
        use_dictionary=[f.name for f in table.schema if _repeats(f)],
        write_statistics=["type", "day", "started_at"],
        write_page_checksum=True,
        store_schema=False,
        row_group_size=20_000,
    )
    return bytes(sink.getvalue())


def _cell(event: Event, name: str, held: set[str]) -> Any:
    if name in held:
        value = getattr(event, name)
        if isinstance(value, dict):
            return sorted(value.items())
        if isinstance(value, tuple) and value and isinstance(value[0], Span | Found):
            return [{f.name: getattr(v, f.name) for f in fields(v)} for v in value]
        return value
    if name == "type":
        return event.TYPE
    return (
        getattr(event, name.upper() if name == "version" else name, None) if name in _KEYS else None
    )


def _repeats(field: Any) -> bool:
    import pyarrow.types as t

    return bool(t.is_string(field.type)) and field.name not in _SPREAD_OUT


def _geo(names: list[str]) -> dict[str, Any]:
    # No `crs` means OGC:CRS84; an empty list of types means "not stated".
    column = {"encoding": "WKB", "geometry_types": []}
    return {
        "version": "1.1.0",
        "primary_column": names[0],
        "columns": {name: column for name in names},
    }
