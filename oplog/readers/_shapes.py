"""Polygons with properties, out of the bytes of one boundary file.

GeoJSON is read here (RFC 7946, and the 2008 form whose `crs` member names another coordinate
system). Shapefiles, GeoPackages, KML and FlatGeobuf are left to `_gdal.py`.
"""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import field
from pathlib import PurePosixPath
from typing import Any

from oplog.records import dataclass

_BUNDLED = b"PK"
"""Archives are opened before: what begins like one here is a shapefile put together anew."""
_SHP_HEAD_BYTES = 100


@dataclass(frozen=True, slots=True)
class Shape:
    """One feature: its properties, its polygons (each a list of rings, outer first), its id."""

    properties: dict[str, Any]
    parts: list[list[Any]]
    feature_id: str | None = None


@dataclass(slots=True)
class Layer:
    """The polygons of one file or layer, and the name of their coordinate system (None: lon/lat).

    others: how many geometries of other kinds there were, by kind.
    damage: line and reason where the file is damaged and only sound features were read.
    """

    source: str
    shapes: list[Shape] = field(default_factory=list)
    system: str | None = None
    others: Counter[str] = field(default_factory=Counter)
    damage: tuple[int, str] | None = None


class Unusable(Exception):
    """A file that gives no boundaries; the message says what it is and what to do."""

    def __init__(self, message: str, line: int | None = None) -> None:
        super().__init__(message)
        self.line = line


def layers(data: bytes, source: str) -> list[Layer]:
    """The layers of one file or shapefile (see `bundles`). Raises: Unusable."""
    head = data[:4096].lstrip(b"\xef\xbb\xbf\xff\xfe\0 \t\r\n").lower()
    if not head:
        raise Unusable("the file is empty")
    if head.startswith((b"{", b"[")):
        return [_geojson(data, source)]
    if data.startswith((b"SQLite format 3\0", b"fgb\x03", _BUNDLED)) or b"<kml" in head:
        from oplog.readers import _gdal

        return _gdal.layers(data, source)
    raise Unusable(_what_it_is(data, head))


def bundles(members: list[tuple[str, bytes]]) -> Iterator[tuple[str, bytes]]:
    """Members of an archive that can hold boundaries; the files of a shapefile as one zip."""
    shapefiles: dict[str, dict[str, bytes]] = {}
    for source, data in members:
        suffix = PurePosixPath(source).suffix.lower()
        if suffix in (".shp", ".shx", ".dbf", ".prj", ".cpg"):
            shapefiles.setdefault(source[: -len(suffix)].casefold(), {})[suffix] = data
        elif len(members) == 1 or suffix in (".geojson", ".json", ".kml", ".gpkg", ".fgb"):
            yield source, data
    for stem, files in sorted(shapefiles.items()):
        if ".shp" in files and ".shx" not in files and len(files) > 1:
            files[".shx"] = _index_of(files[".shp"])
        yield f"{stem}.shp", _zipped(files) if len(files) > 1 else next(iter(files.values()))


def _index_of(shapes: bytes) -> bytes:
    """The .shx file of a shapefile, where it was forgotten: place and length of each record.

    Source: ESRI Shapefile Technical Description (1998).
    """
    at, records = _SHP_HEAD_BYTES, b""
    while at + 8 <= len(shapes):
        (words,) = struct.unpack_from(">i", shapes, at + 4)
        if words < 0:
            break
        records += struct.pack(">ii", at // 2, words)
        at += 8 + 2 * words
    length = struct.pack(">i", (_SHP_HEAD_BYTES + len(records)) // 2)
    return shapes[:24] + length + shapes[28:_SHP_HEAD_BYTES] + records


def _zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for suffix, data in sorted(files.items()):
            archive.writestr(f"boundaries{suffix}", data)
    return out.getvalue()


def _geojson(data: bytes, source: str) -> Layer:
    text = _text(data)
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        return _salvaged(text, source, error)
    except RecursionError:
        raise Unusable("is JSON nested too deeply to be a boundary") from None
    if not isinstance(document, dict) or "type" not in document:
        raise Unusable("is JSON, but not GeoJSON")
    layer = Layer(source, system=_named_system(document.get("crs")))
    if document["type"] == "FeatureCollection":
        features = document.get("features")
        for feature in features if isinstance(features, list) else []:
            take_feature(feature, layer)
    elif document["type"] == "Feature":
        take_feature(document, layer)
    else:
        take_feature({"geometry": document}, layer)
    return layer


def _text(data: bytes) -> str:
    encoding = json.detect_encoding(data)
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _salvaged(text: str, source: str, error: json.JSONDecodeError) -> Layer:
    """The features of a damaged or cut-off file that are whole. Raises: Unusable for none."""
    layer = Layer(source, damage=(error.lineno, f"is not sound JSON ({error.msg})"))
    if crs := re.search(r'"crs"\s*:\s*', text):
        layer.system = _named_system(_decoded(text, crs.end()))
    for start in re.finditer(r'\{\s*"type"\s*:\s*"Feature"\s*[,}]', text):
        if (feature := _decoded(text, start.start())) is not None:
            take_feature(feature, layer)
    if not layer.shapes:
        raise Unusable(f"is not sound JSON ({error.msg})", error.lineno)
    return layer


def _decoded(text: str, start: int) -> Any:
    """The JSON value that begins at a place in a text; None where it is not whole."""
    try:
        return json.JSONDecoder().raw_decode(text, start)[0]
    except (json.JSONDecodeError, RecursionError):
        return None


def take_feature(feature: Any, layer: Layer) -> None:
    """Add the polygons of a GeoJSON feature to a layer, and count what it is otherwise."""
    if not isinstance(feature, dict):
        layer.others["something that is no GeoJSON feature"] += 1
        return
    parts: list[list[Any]] = []
    _take_geometry(feature.get("geometry"), parts, layer.others)
    if parts:
        properties = feature.get("properties")
        identity = feature.get("id")
        layer.shapes.append(
            Shape(
                dict(properties) if isinstance(properties, dict) else {},
                parts,
                str(identity) if isinstance(identity, str | int) else None,
            )
        )


def _take_geometry(geometry: Any, parts: list[list[Any]], others: Counter[str]) -> None:
    """Polygons of a geometry go to `parts`; other kinds are counted."""
    if not isinstance(geometry, dict):
        others["a feature without a geometry"] += 1
        return
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if kind == "GeometryCollection":
        for member in geometry.get("geometries") or []:
            _take_geometry(member, parts, others)
    elif kind == "Polygon" and isinstance(coordinates, list | tuple):
        parts.append(list(coordinates))
    elif kind == "MultiPolygon" and isinstance(coordinates, list | tuple):
        parts.extend(list(c) if isinstance(c, list | tuple) else [] for c in coordinates)
    else:
        others[_KINDS.get(str(kind), "a geometry of no known kind")] += 1


_KINDS = {
    "Point": "a point, not a boundary",
    "MultiPoint": "points, not a boundary",
    "LineString": "a line, not a boundary",
    "MultiLineString": "lines, not a boundary",
    "Polygon": "a polygon without coordinates",
    "MultiPolygon": "a polygon without coordinates",
}


def _named_system(crs: Any) -> str | None:
    """The coordinate system that a GeoJSON of the 2008 form names. Raises: Unusable."""
    if crs is None:
        return None
    properties = crs.get("properties") if isinstance(crs, dict) else None
    if isinstance(properties, dict):
        if crs.get("type") == "name" and isinstance(properties.get("name"), str):
            return str(properties["name"])
        if crs.get("type") == "EPSG" and isinstance(properties.get("code"), int | str):
            return f"EPSG:{properties['code']}"
    raise Unusable(
        "names its coordinate system in a way that cannot be followed (crs member); "
        "export it as longitude and latitude (WGS 84)"
    )


def _what_it_is(data: bytes, head: bytes) -> str:
    if data.startswith(b"\0\0\x27\x0a"):
        return "is one file of a shapefile: give the zip file with all of them (.shp .dbf .prj)"
    for mark, what in (
        (b"<gpx", "is a track (GPX), not boundaries: draw the field, or use `oplog import`"),
        (b"$gp", "is a track (NMEA), not boundaries: draw the field, or use `oplog import`"),
        (b"$gn", "is a track (NMEA), not boundaries: draw the field, or use `oplog import`"),
        (b"<!doctype html", "is a web page, not boundaries: download the file itself"),
        (b"<html", "is a web page, not boundaries: download the file itself"),
    ):
        if mark in head[:1024]:
            return what
    return "is not a boundary file known here (GeoJSON, shapefile in a zip, GeoPackage or KML)"
