"""Layers and lines for other programs' maps and for phones: GeoJSON, GeoPackage, GPX."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import shapely

from oplog.query.layers import Layer
from oplog.season.lines import Lines

PLACES = 7
"""Decimals of a degree: a centimetre."""

FINDING = "An aid to finding, not for steering."


def geojson(layer: Layer) -> str:
    """A layer as a GeoJSON FeatureCollection (RFC 7946): lon/lat, outer rings anticlockwise."""
    features = [
        _feature(dict(zip(layer.columns, row, strict=True)), shape)
        for row, shape in zip(layer.rows, layer.geometries, strict=True)
    ]
    return _collection(features, layer.name, layer.caution, layer.beside)


def lines_geojson(found: Lines, beside: Mapping[str, Any]) -> str:
    """Lines to follow as GeoJSON. beside: what stands beside them, by name."""
    features = [
        _feature(
            {
                "name": n.name, "where": n.where, "field": found.field, "kind": found.kind,
                "error_m": round(found.error_m, 2), "note": FINDING,
            },
            n.geometry,
        )
        for n in found.lines
    ]  # fmt: skip
    return _collection(features, f"{found.kind} of {found.field}", FINDING, beside)


def lines_gpx(found: Lines, beside: Mapping[str, Any]) -> str:
    """Lines to follow as GPX 1.1 tracks, which phones show as lines. beside: as in GeoJSON."""
    about = f"{FINDING} To be off by up to {found.error_m:.2f} m, 19 times in 20."
    tracks = [(n.name, n.where, [n.geometry]) for n in found.lines]
    return _gpx(f"{found.kind} of {found.field}", _with(about, beside), tracks)


def layer_gpx(layer: Layer) -> str:
    """A layer as GPX 1.1: bouts as tracks; ground as the outlines of its pieces."""
    tracks = []
    for row, shape in zip(layer.rows, layer.geometries, strict=True):
        values = dict(zip(layer.columns, row, strict=True))
        name = " ".join(
            str(values[c]) for c in ("field", "operation", "bout") if values.get(c) is not None
        )
        about = ", ".join(f"{k} {_plain(v)}" for k, v in values.items() if v is not None)
        tracks.append((name, about, _outlines(shape)))
    return _gpx(layer.name, _with(layer.caution, layer.beside), tracks)


def _with(about: str, beside: Mapping[str, Any]) -> str:
    """A description, and after it in words what stands beside the figures."""
    told = [about, *(f"Unsettled: {u['what']}" for u in beside.get("unsettled", ()))]
    if seal := beside.get("seal"):
        told.append(f"Seal: {seal}")
    return " ".join(filter(None, told))


def geopackage(layer: Layer, path: str) -> None:
    """Write a layer as a GeoPackage. Raises: ImportError without the extra `boundaries`."""
    import numpy as np
    import pyogrio

    kinds = {"str": object, "float": np.float64, "int": object, "date": object,
             "datetime": object}  # fmt: skip
    data = [
        np.array([_plain(row[i]) for row in layer.rows], dtype=kinds[kind])
        for i, kind in enumerate(layer.kinds)
    ]
    shapes = [_multi(g) for g in layer.geometries]
    pyogrio.raw.write(
        path, shapely.to_wkb(np.array(shapes)), data, list(layer.columns), layer=layer.name,
        driver="GPKG", geometry_type=shapes[0].geom_type, crs="EPSG:4326",
        layer_metadata={k: _text(v) for k, v in layer.beside.items()} or None,
    )  # fmt: skip


def _text(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _collection(
    features: Sequence[dict[str, Any]], name: str, caution: str,
    beside: Mapping[str, Any] | None = None,
) -> str:  # fmt: skip
    body: dict[str, Any] = {"type": "FeatureCollection", "name": name, "features": features}
    body |= beside or {}
    if caution:
        body["caution"] = caution
    return json.dumps(body, ensure_ascii=False, allow_nan=False) + "\n"


def _feature(values: dict[str, Any], shape: Any) -> dict[str, Any]:
    geometry = json.loads(shapely.to_geojson(shapely.orient_polygons(_rounded(shape))))
    return {
        "type": "Feature",
        "properties": {k: _plain(v) for k, v in values.items()},
        "geometry": geometry,
    }


def _rounded(shape: Any) -> Any:
    """A shape to the decimals that are written; as it is where that would undo it."""
    try:
        rounded = shapely.set_precision(shape, 10.0**-PLACES)
    except shapely.errors.GEOSException:
        return shape
    return shape if rounded.is_empty else rounded


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    return round(value, 5) if isinstance(value, float) else value


def _multi(shape: Any) -> Any:
    """One type for all rows of a layer, as a GeoPackage wants it."""
    if shape.geom_type == "Polygon":
        return shapely.MultiPolygon([shape])
    return shape


def _outlines(shape: Any) -> list[Any]:
    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            found += [part.exterior, *part.interiors]
        elif part.geom_type == "LineString":
            found.append(part)
    return found


def _gpx(name: str, about: str, tracks: Sequence[tuple[str, str, Sequence[Any]]]) -> str:
    import gpxpy.gpx as made

    document = made.GPX()
    document.creator, document.name, document.description = "oplog", name, about or None
    for title, text, shapes in tracks:
        track = made.GPXTrack(name=title, description=text or None)
        for shape in shapes:
            points = [
                made.GPXTrackPoint(round(c[1], PLACES), round((c[0] + 180) % 360 - 180, PLACES))
                for c in shapely.get_coordinates(shape)
            ]
            track.segments.append(made.GPXTrackSegment(points))
        document.tracks.append(track)
    return str(document.to_xml(version="1.1")) + "\n"
