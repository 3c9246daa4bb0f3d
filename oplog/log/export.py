"""Tables for other programs as Parquet, with GeoParquet 1.1 metadata where they hold geometry."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

GEOMETRY = "geometry"


def parquet(
    names: Sequence[str],
    kinds: Sequence[str],
    rows: Sequence[Sequence[Any]],
    geometries: Sequence[Any] | None = None,
    *,
    beside: Mapping[str, Any] | None = None,
) -> bytes:
    """A table as the bytes of a Parquet file, its schema declared.

    kinds: of each column: str, float, int, bool, date, datetime (UTC) or list (of text).
    geometries: one shapely geometry a row, lon/lat WGS 84, written as WKB in a last column.
    beside: what stands beside the table, kept as JSON in the file's metadata under "oplog".
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    types = {
        "str": pa.string(), "float": pa.float64(), "int": pa.int64(), "bool": pa.bool_(),
        "date": pa.date32(), "datetime": pa.timestamp("us", tz="UTC"),
        "list": pa.list_(pa.string()),
    }  # fmt: skip
    fields = [pa.field(n, types[k]) for n, k in zip(names, kinds, strict=True)]
    arrays = [pa.array([r[i] for r in rows], type=f.type) for i, f in enumerate(fields)]
    metadata = {"oplog": json.dumps(beside, ensure_ascii=False)} if beside else {}
    if geometries is not None:
        import shapely

        fields.append(pa.field(GEOMETRY, pa.binary()))
        arrays.append(pa.array(shapely.to_wkb(list(geometries)), type=pa.binary()))
        metadata["geo"] = json.dumps(_geo(geometries))
    table = pa.table(arrays, schema=pa.schema(fields, metadata=metadata or None))
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd")
    return bytes(sink.getvalue())


def _geo(geometries: Sequence[Any]) -> dict[str, Any]:
    """GeoParquet 1.1 metadata; no crs named means lon/lat WGS 84 (OGC:CRS84)."""
    import shapely

    column = {
        "encoding": "WKB",
        "geometry_types": sorted({g.geom_type for g in geometries}),
        "bbox": [float(x) for x in shapely.total_bounds(list(geometries))],
    }
    return {"version": "1.1.0", "primary_column": GEOMETRY, "columns": {GEOMETRY: column}}
