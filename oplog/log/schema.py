"""Events as columns: the Arrow schema of every event type, and the bytes of an events file.

A file holds the columns of the event types in it and no others, always with the declared type,
so that files of different content can be read as one table (`union_by_name` in DuckDB). Columns
that hold geometries are WKB, lon/lat WGS 84, described by GeoParquet 1.1 metadata.
"""

from __future__ import annotations

import json
import typing
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from functools import cache
from typing import Any

import numpy as np

from oplog.events import TYPES, Event, Found, Span, columns, stored, struct

GEOMETRIES = ("geometry", "missed", "overlap", "bouts", "unseen")
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
        return pa.struct([(name, arrow_type(inner)) for name, inner in struct(hint)])
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
        _array([_cell(e, f.name, hints[e.TYPE].get(f.name)) for e in events], f.type)
        for f in schema
    ]
    return pa.table(arrays, schema=schema)


def encode(events: Sequence[Event]) -> bytes:
    """The bytes of an events file. The order of the rows is the order given."""
    return to_parquet(table(events))


def to_parquet(rows: Any) -> bytes:
    """A table of events as Parquet: zstd, a checksum on every page, GeoParquet metadata.

    Shapes take nearly all the room, and are no smaller at higher levels.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    sink = pa.BufferOutputStream()
    writer = pq.ParquetWriter(
        sink,
        rows.schema,
        compression="zstd",
        compression_level=3,
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
    return sorted(value.items()) if isinstance(value, dict) else value


def _array(cells: list[Any], kind: Any) -> Any:
    import pyarrow as pa
    import pyarrow.types as t

    if not (t.is_list(kind) and t.is_struct(kind.value_type)):
        return pa.array(cells, type=kind)
    rows = [row for cell in cells if cell for row in cell]
    parts = [pa.array([getattr(r, f.name) for r in rows], type=f.type) for f in kind.value_type]
    offsets = np.cumsum([0, *(len(cell or ()) for cell in cells)])
    # A null offset is a null list. To give a mask instead would load Arrow's compute functions.
    absent = np.array([*(cell is None for cell in cells), False])
    return pa.ListArray.from_arrays(
        pa.array(offsets, pa.int32(), mask=absent),
        pa.StructArray.from_arrays(parts, fields=list(kind.value_type)),
        type=kind,
    )


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
