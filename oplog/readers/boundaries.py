"""Boundary files: polygons with names, made into fields' ground.

GeoJSON needs nothing more; shapefiles (zipped), GeoPackages, KML and FlatGeobuf, in any
coordinate system, are read where the extra `boundaries` is installed. What is wrong in a ring is
mended where its meaning is plain, and otherwise left out; either way it is told, by field and ring.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from oplog import geodesy
from oplog.errors import Problem
from oplog.readers import _containers, _rings
from oplog.readers._shapes import Layer, Shape, Unusable, bundles, layers
from oplog.readers._tally import Tally
from oplog.records import dataclass

if TYPE_CHECKING:
    from shapely.geometry import MultiPolygon, Polygon

_NAMES = (
    *("name", "fieldname", "field", "title", "label", "parcel", "paddock"),
    *("feld", "feldname", "schlag", "schlagname", "bezeichnung", "nom", "parcelle", "nombre"),
    *("nome", "naam", "perceel", "navn", "mark", "namn", "skifte", "nimi", "lohko", "nazwa"),
)
"""Spellings of the property that holds a field's name, likeliest first (see `_spelling`)."""
_FARMS = ("farm", "farmname", "holding", "block", "betrieb", "hof", "exploitation", "finca", "gard")


@dataclass(frozen=True, eq=False)
class Drawing:
    """One field as drawn in a file.

    geometry: lon/lat WGS 84, valid, exterior rings anticlockwise.
    farm: the farm or block of land that the file puts it in, if it says so.
    named_by: where the name came from, for telling ("property 'Name'").
    """

    name: str
    geometry: Polygon | MultiPolygon
    properties: dict[str, Any]
    farm: str | None = None
    named_by: str = ""


def read_boundaries(
    data: bytes, *, name: str, name_property: str | None = None
) -> tuple[list[Drawing], list[Problem]]:
    """Read fields from the bytes of a boundary file, compressed or not.

    name: what the file is called, for telling, and for a single field without a name.
    name_property: the property that holds the names (compared without regard to case, spaces and
        underscores); found by its usual spellings where None.
    Returns: the fields in the order of the file and what was found wrong, never raising for bad
    data. Without any drawing the problems say why.
    """
    tally = Tally(name)
    drawings: list[Drawing] = []
    found: list[Problem] = []
    held = 0
    for source, inside in bundles(list(_containers.members(data, name, tally))):
        try:
            for layer in layers(inside, source):
                held += len(layer.shapes)
                drawings += _drawn(layer, name_property, found)
        except Unusable as reason:
            found.append(Problem(source, reason.line, str(reason), done="nothing to read"))
    problems = tally.problems() + found
    if not held and not any(p.done == "nothing to read" for p in problems):
        problems.append(Problem(name, None, "holds no polygon", done="nothing to read"))
    return drawings, problems


def _drawn(layer: Layer, name_property: str | None, problems: list[Problem]) -> list[Drawing]:
    """The fields of one layer; what was found goes to `problems`."""
    source = layer.source
    problems += [
        Problem(source, None, kind, count, "left out")
        for kind, count in sorted(layer.others.items())
    ]
    if layer.damage:
        line, reason = layer.damage
        many = len(layer.shapes) != 1
        done = f"{len(layer.shapes)} whole shape{'s were' if many else ' was'} read"
        problems.append(Problem(source, line, reason, done=done))
    if not layer.shapes:
        return []
    project = _projection(layer, problems)
    names, named_by = _named(layer, name_property)
    drawings = []
    for (name, farm), shapes in _gathered(names, layer.shapes, source, problems):
        ground, findings = _rings.ground([p for s in shapes for p in s.parts], project)
        problems += [
            Problem(source, None, f"field {name!r}, {f.ring} {f.what}", done=f.done)
            for f in findings
        ]
        if ground is not None:
            drawings.append(Drawing(name, ground, shapes[0].properties, farm, named_by))
    _tell_accuracy(layer, problems)
    return drawings


def _projection(layer: Layer, problems: list[Problem]) -> _rings.Projection | None:
    """From the layer's coordinates to lon/lat. Raises: Unusable where there is no telling."""
    if layer.system is not None:
        try:
            return geodesy.System(layer.system).lonlat
        except ValueError as reason:
            raise Unusable(f"{reason}: export it as longitude and latitude (WGS 84)") from None
    by_shape = [corners for s in layer.shapes if (corners := list(_corners(s)))]
    every = [c for corners in by_shape for c in corners]
    if every and all(abs(x) > 360.0 or abs(y) > 360.0 for x, y in every):
        where = (
            "of a shapefile, its .prj file says which: give that in the zip too, or "
            if layer.source.lower().endswith(".shp")
            else ""
        )
        raise Unusable(
            "has coordinates that look like metres on a map grid, but does not say which: "
            f"{where}export it as longitude and latitude (WGS 84)"
        )
    none_fits = all(any(abs(y) > 90.0 for _, y in corners) for corners in by_shape)
    if every and none_fits and all(abs(x) <= 90.0 and abs(y) <= 180.0 for x, y in every):
        message = "latitude is written before longitude"
        done = "swapped: look whether the fields lie where they should"
        problems.append(Problem(layer.source, None, message, done=done))
        return lambda x, y: (y, x)
    return None


def _corners(shape: Shape) -> Iterator[tuple[float, float]]:
    """Every position of a shape that is a pair of numbers."""
    rings = (ring for part in shape.parts for ring in part if isinstance(ring, list | tuple))
    for position in (p for ring in rings for p in ring):
        match position:
            case [int() | float() as x, int() | float() as y, *_]:
                yield x, y


def _tell_accuracy(layer: Layer, problems: list[Problem]) -> None:
    """A change of datum that PROJ has no grid for can move fields by metres: that is told."""
    if layer.system is None:
        return
    accuracy_m = geodesy.System(layer.system).accuracy_m()
    if accuracy_m is None or accuracy_m > 1.0:
        by = "by an unknown distance" if accuracy_m is None else f"by up to {accuracy_m:.0f} m"
        problems.append(
            Problem(
                layer.source,
                None,
                f"positions may be off {by} after turning them into longitude and latitude",
                done="kept; an export as WGS 84 avoids it",
            )
        )


def _named(layer: Layer, name_property: str | None) -> tuple[list[str], str]:
    """A name for every shape, and where the names came from. Raises: Unusable."""
    shapes = layer.shapes
    key = _name_key(layer, name_property)
    texts = [_text(s.properties.get(key)) if key else s.feature_id or "" for s in shapes]
    named_by = f"property {key!r}" if key else "the features' ids"
    stem = PurePosixPath(layer.source.rpartition(":")[2]).name.partition(".")[0] or "field"
    if not any(texts):
        named_by = "the name of the file"
    numbered = iter(range(1, len(shapes) + 1))
    alone = len(shapes) == 1
    return [t or (stem if alone else f"{stem} {next(numbered)}") for t in texts], named_by


def _name_key(layer: Layer, name_property: str | None) -> str | None:
    """The property that holds the names: as told, or spelt as usual, or the only text."""
    keys = list(dict.fromkeys(k for s in layer.shapes for k in s.properties))
    filled = [k for k in keys if any(_text(s.properties.get(k)) for s in layer.shapes)]
    if name_property is not None:
        for key in keys:
            if _spelling(key) == _spelling(name_property):
                return key
        known = f"it has {', '.join(map(repr, keys))}" if keys else "it has none"
        raise Unusable(f"has no property {name_property!r}: {known}")
    if usual := _usual(filled, _NAMES):
        return usual
    texts = [
        k
        for k in filled
        if _spelling(k) not in _FARMS
        and all(isinstance(s.properties.get(k), str | None) for s in layer.shapes)
    ]
    return texts[0] if len(texts) == 1 else None


def _usual(keys: list[str], spellings: tuple[str, ...]) -> str | None:
    for spelling in spellings:
        for key in keys:
            if _spelling(key) == spelling:
                return key
    return None


def _spelling(key: str) -> str:
    return "".join(c for c in key.casefold() if c.isalnum())


def _text(value: Any) -> str:
    """A property as a name: one line, without blanks at the ends; "" for nothing usable."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return ""
    return " ".join("".join(c if c.isprintable() else " " for c in str(value)).split())


def _gathered(
    names: list[str], shapes: list[Shape], source: str, problems: list[Problem]
) -> list[tuple[tuple[str, str | None], list[Shape]]]:
    """Shapes by field: those of one name and farm are one field; one name in two farms is two."""
    keys = list(dict.fromkeys(k for s in shapes for k in s.properties))
    farm_key = _usual(keys, _FARMS)
    farms = [_text(s.properties.get(farm_key)) or None if farm_key else None for s in shapes]
    fields: dict[tuple[str, str], tuple[str, str | None, list[Shape]]] = {}
    for name, farm, shape in zip(names, farms, shapes, strict=True):
        key = (name.casefold(), (farm or "").casefold())
        fields.setdefault(key, (name, farm, []))[2].append(shape)
    twice = Counter(name for name, _ in fields)
    gathered = []
    for (folded, _), (name, farm, own) in fields.items():
        if len(own) > 1:
            problems.append(
                Problem(source, None, f"{len(own)} shapes are called {name!r}", done="one field")
            )
        if twice[folded] > 1 and farm:
            problems.append(
                Problem(source, None, f"{name!r} is in two farms", done=f"called '{name} ({farm})'")
            )
            name = f"{name} ({farm})"
        gathered.append(((name, farm), own))
    return gathered
