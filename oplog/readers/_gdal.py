"""Shapefiles, GeoPackages, KML and FlatGeobuf, through pyogrio where it is installed."""

from __future__ import annotations

import re
from typing import Any

from oplog.readers._shapes import Layer, Unusable, take_feature

HOW_TO_INSTALL = "pip install pyogrio"
"""What the extra `boundaries` holds."""
_DAMAGED = "is cut off or damaged"
_TAG = re.compile(rb"<(/?)([A-Za-z_][\w:.-]*)[^<>]*?(/?)>")
_NO_TAGS = re.compile(rb"<!--.*?-->|<!\[CDATA\[.*?\]\]>", re.DOTALL)
_LAST = re.compile(rb".*</(?:[\w.-]+:)?Placemark\s*>", re.DOTALL)


def layers(data: bytes, source: str) -> list[Layer]:
    """The layers of one file that GDAL knows. Raises: Unusable."""
    try:
        return _read(data, source)
    except _Damaged:
        pass
    whole = _closed_kml(data)
    if whole is None:
        raise Unusable(f"{_DAMAGED}, so that nothing of it can be read")
    line = data.count(b"\n", 0, len(whole[0])) + 1
    try:
        found = _read(b"".join(whole), source)
    except _Damaged:
        raise Unusable(f"{_DAMAGED}, so that nothing of it can be read", line) from None
    for layer in found:
        layer.damage = (line, _DAMAGED)
    return found


class _Damaged(Exception):
    """What the library cannot read; why, it says in words that help nobody."""


def _read(data: bytes, source: str) -> list[Layer]:
    try:
        import pyogrio
    except ImportError:
        raise Unusable(
            "is a kind of boundary file that needs the extra 'boundaries': install it with "
            f"{HOW_TO_INSTALL}, or export the boundaries as GeoJSON"
        ) from None
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            # By number: a layer without a name is called something else each time it is opened.
            kinds = [kind for _, kind in pyogrio.list_layers(data)]
            return [_layer(data, k, source) for k, kind in enumerate(kinds) if kind is not None]
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
            raise _Damaged from error


def _layer(data: bytes, number: int, source: str) -> Layer:
    from pyogrio import raw
    from shapely import from_wkb
    from shapely.geometry import mapping

    meta, _, geometries, columns = raw.read(data, layer=number, force_2d=True)
    layer = Layer(source, system=meta["crs"])
    for row, geometry in enumerate(geometries):
        properties = {
            str(column): _plain(values[row])
            for column, values in zip(meta["fields"], columns, strict=True)
        }
        shape = from_wkb(geometry, on_invalid="ignore") if geometry is not None else None
        feature = {"properties": properties, "geometry": mapping(shape) if shape else None}
        take_feature(feature, layer)
    return layer


def _plain(value: Any) -> Any:
    """A Python value for one of NumPy's; None for a missing number."""
    if isinstance(value, str):
        return _as_meant(value)
    value = value.item() if hasattr(value, "item") else value
    return None if isinstance(value, float) and value != value else value


def _as_meant(text: str) -> str:
    """Text that is UTF-8 and was taken for Western European, as the library takes that of a
    shapefile that does not say. Words of such letters are hardly ever UTF-8 by chance."""
    for code in () if text.isascii() else ("latin-1", "cp1252"):
        try:
            return text.encode(code).decode("utf-8")
        except UnicodeError:
            continue
    return text


def _closed_kml(data: bytes) -> tuple[bytes, bytes] | None:
    """A KML document up to the last whole placemark, and what closes it; None if there is none."""
    found = _LAST.match(data) if b"<kml" in data[:4096] else None
    if found is None:
        return None
    opened: list[bytes] = []
    for tag in _TAG.finditer(_NO_TAGS.sub(b"", found[0])):
        if tag[1] and opened and opened[-1] == tag[2]:
            opened.pop()
        elif not tag[1] and not tag[3]:
            opened.append(tag[2])
    return found[0], b"".join(b"</" + name + b">" for name in reversed(opened))
