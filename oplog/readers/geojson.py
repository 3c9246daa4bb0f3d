"""GeoJSON with times: lines with a time for each position, or points with one each.

Times of a line are looked for under coordTimes, times or timestamps, in the feature's properties
or its coordinateProperties; times of a point under time, timestamp, datetime and the like.

Source: RFC 7946 for the geometry; it says nothing of times, the names are custom.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np

from oplog.errors import Problem
from oplog.readers import _tally as say
from oplog.readers import _times
from oplog.readers._json_parts import LINE_TIMES, documents, plain, text_of
from oplog.readers._numbers import number
from oplog.readers._pairs import ends
from oplog.readers._rows import Rows, finish, unstated
from oplog.readers._tally import Tally
from oplog.track import Track, empty

_POINT_TIMES = (
    *("time", "timestamp", "datetime", "utc", "when", "timeutc", "utctime", "gpstime", "fixtime"),
    *("recordedat", "timestamputc", "timestampms", "unixtime", "epoch", "ts", "date"),
)
_OTHER_KINDS = ("LineString", "MultiLineString", "Polygon", "MultiPolygon", "MultiPoint")
UNPAIRED = "times and places of a line do not pair up: there are more times"
METRES = "positions are metres on a map grid, not degrees: export it as WGS 84"
_BESIDE = (*LINE_TIMES, "coordinateproperties")
"""What some write beside the properties, or into the geometry."""
_LEAST_METRES = 1000.0
_WORDS = (b'"coordinates"', b'"Feature"', b'"FeatureCollection"')
_DEEPEST = 64
_CLOCK = re.compile(r"\s*\d\d?:\d\d")
_COUNT = re.compile(r"[12]\d{9}(\d{3})?(\.\d+)?")


def sniff(data: bytes) -> bool:
    """A JSON object with coordinates, or a feature: its times may come long before them."""
    head = _one_byte(data[:262_144]).lstrip(b"\xef\xbb\xbf\x1e \t\r\n")
    return head[:1] in (b"{", b"[") and any(word in head for word in _WORDS)


def read(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    """Each line or chain of points is a segment. Never raises for bad data."""
    tally = Tally(name)
    try:
        held = documents(text_of(data), tally)
    except RecursionError:
        tally.add("JSON nested deeper than any track", done="refused")
        return empty(), tally.problems()
    if not held:
        return empty(), tally.problems()
    positions: list[tuple[Any, Any, int]] = []
    areas = placeless = 0
    for segment, (geometry, properties) in enumerate(_features(held)):
        kind = geometry.get("type")
        areas += kind in ("Polygon", "MultiPolygon")
        found = _positions(geometry, properties, segment)
        timed = _time_of(properties) is not None
        placeless += timed and not found and kind not in _OTHER_KINDS
        positions += found
        tally.add(UNPAIRED, None, _more_times(geometry, properties), "the first with the first")
    tally.add(say.NO_POSITION, count=placeless)
    if not positions:
        drawn = "GeoJSON with boundaries, but no track: oplog land add FILE reads boundaries"
        tally.add(drawn if areas else "GeoJSON without a track", done="nothing read")
        return empty(), tally.problems()
    rows = _rows(positions)
    if _are_metres(rows):
        tally.add(METRES, done="nothing read")
        return empty(), tally.problems()
    return finish(rows, tally, zone, "GeoJSON"), tally.problems()


def _are_metres(rows: Rows) -> bool:
    """Whether most places are numbers far too large for degrees."""
    grid = np.maximum(np.abs(rows.lat), np.abs(rows.lon)) > _LEAST_METRES
    return bool(2 * grid.sum() > len(rows))


def _one_byte(data: bytes) -> bytes:
    """The same in one byte a letter, for looking at only."""
    return data.replace(b"\0", b"").lstrip(b"\xff\xfe") if b"\0" in data[:4] else data


def _features(value: Any, depth: int = 0) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Geometries with the properties that belong to them."""
    if depth > _DEEPEST:
        return
    if isinstance(value, list):
        for item in value:
            yield from _features(item, depth + 1)
    elif isinstance(value, dict):
        if isinstance(value.get("features"), list):
            yield from _features(value["features"], depth + 1)
        elif "geometry" in value or value.get("type") == "Feature":
            properties = value.get("properties")
            properties = properties if isinstance(properties, dict) else {}
            beside = {k: v for k, v in value.items() if plain(k) in _BESIDE}
            for geometry in _geometries(value.get("geometry")):
                yield geometry, {**_of_geometry(geometry), **beside, **properties}
        elif "coordinates" in value:
            yield value, _of_geometry(value)
        else:
            for inner in value.values():  # wrapped in an answer of a server
                yield from _features(inner, depth + 1) if isinstance(inner, dict | list) else ()


def _geometries(geometry: Any) -> list[dict[str, Any]]:
    """The geometry, or those of a collection."""
    if not isinstance(geometry, dict):
        return [{}]
    inner = geometry.get("geometries")
    return [g for g in inner if isinstance(g, dict)] if isinstance(inner, list) else [geometry]


def _of_geometry(geometry: dict[str, Any]) -> dict[str, Any]:
    """Times that a geometry holds itself."""
    return {k: v for k, v in geometry.items() if plain(k) in _BESIDE}


def _positions(
    geometry: dict[str, Any], properties: dict[str, Any], feature: int
) -> list[tuple[Any, Any, int]]:
    """Positions of one feature with time and segment (points share segment 0)."""
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if not isinstance(coordinates, list):
        return []
    if kind == "Point":
        return [(coordinates, _time_of(properties), 0)]
    times = _times_of(properties)
    if kind in ("LineString", "MultiPoint"):
        return _line(coordinates, times, 1000 * feature + 1)
    if kind == "MultiLineString":
        found = []
        for k, (line, of_line) in enumerate(_by_line(coordinates, times)):
            found += _line(line, of_line, 1000 * feature + 1 + k % 999)
        return found
    return []


def _time_of(properties: dict[str, Any]) -> Any:
    """The time of a point, which may have its date beside it."""
    found = _first_of(properties, _POINT_TIMES)
    if isinstance(found, str) and _CLOCK.match(found):
        date = _first_of(properties, ("date", "day", "datum"))
        return found if date is None else f"{date} {found}"
    return found


def _times_of(properties: dict[str, Any]) -> Any:
    """The times of a line: a list, of lists where it has several parts."""
    each = _first_of(properties, ("coordinateproperties",))
    times = _first_of(each, LINE_TIMES) if isinstance(each, dict) else _of_each(each)
    if times is None:
        times = _first_of(properties, LINE_TIMES)
    if isinstance(times, str) and times.lstrip().startswith("["):  # a list, written as text
        times = next(iter(documents(times, Tally(""))), None)
    return times


def _of_each(properties: Any) -> Any:
    """Times from a list with properties for each place."""
    if not isinstance(properties, list):
        return None
    found = [_of_each(p) if isinstance(p, list) else _first_of(p, _POINT_TIMES) for p in properties]
    return found if any(f is not None for f in found) else None


def _more_times(geometry: dict[str, Any], properties: dict[str, Any]) -> int:
    """How many more times than places a line has, or all lines together."""
    kind, places = geometry.get("type"), geometry.get("coordinates")
    times = _first_of(properties.get("coordinateProperties", properties), LINE_TIMES)
    if kind not in ("LineString", "MultiLineString") or not isinstance(places, list):
        return 0

    def count(items: Any) -> int:
        return sum(len(i) if isinstance(i, list) else 1 for i in items)

    stamps = count(times) if isinstance(times, list) else 0
    return max(0, stamps - (len(places) if kind == "LineString" else count(places)))


def _by_line(lines: list[Any], times: Any) -> Iterator[tuple[Any, Any]]:
    """Lines with their times, which are in lists of the same shape or all in one."""
    stamps = times if isinstance(times, list) else []
    flat = not any(isinstance(s, list) for s in stamps)
    at = 0
    for k, line in enumerate(lines):
        count = len(line) if isinstance(line, list) else 0
        yield line, stamps[at : at + count] if flat else stamps[k] if k < len(stamps) else None
        at += count


def _line(line: Any, times: Any, segment: int) -> list[tuple[Any, Any, int]]:
    """Positions with their times: the n-th with the n-th; where their numbers differ and some
    cannot be read, those before and behind that."""
    if not isinstance(line, list):
        return []
    stamps: list[Any] = times if isinstance(times, list) else []
    if not stamps:
        return [(position, _fourth(position), segment) for position in line]
    if len(stamps) != len(line):
        lost = [k for k, s in enumerate(stamps) if _time(s)[1] == _times.BAD]
        usual = len(line[0]) if line and isinstance(line[0], list) else 0
        gone = [k for k, p in enumerate(line) if np.isnan(_lonlat(p)).any() or len(p) != usual]
        if lost or gone:
            front, back = ends(
                len(stamps), len(line), [(k, k + 1) for k in lost], [(k, k + 1) for k in gone]
            )
            between = [None] * (len(line) - front - back)
            stamps = [*stamps[:front], *between, *stamps[len(stamps) - back :]]
    return [
        (position, stamps[k] if k < len(stamps) else None, segment)
        for k, position in enumerate(line)
    ]


def _fourth(position: Any) -> Any:
    """A fourth number of a position, behind its height, where it can be a time since 1970."""
    if isinstance(position, list) and len(position) == 4 and type(position[3]) in (int, float):
        return position[3] if _COUNT.fullmatch(str(position[3])) else None
    return None


def _first_of(properties: Any, names: tuple[str, ...]) -> Any:
    """The likeliest of the properties of such names, case and punctuation aside."""
    if not isinstance(properties, dict):
        return None
    known = {plain(str(key)): value for key, value in properties.items() if value is not None}
    return next((known[n] for n in names if n in known), None)


def _rows(positions: list[tuple[Any, Any, int]]) -> Rows:
    n = len(positions)
    # Lists of pairs would take ten times the memory of the arrays.
    lonlat = np.fromiter((v for p, _, _ in positions for v in _lonlat(p)), np.float64, 2 * n)
    times = np.fromiter((v for _, stamp, _ in positions for v in _time(stamp)), np.int64, 2 * n)
    columns = unstated(n)
    columns["segment"] = np.fromiter((s % 2**31 for _, _, s in positions), np.int32, n)
    return Rows(
        times[::2].copy(),
        times[1::2].astype(np.int8),
        lonlat[1::2].copy(),
        lonlat[::2].copy(),
        **columns,
        where=np.full(n, -1),
    )


def _lonlat(position: Any) -> tuple[float, float]:
    if not isinstance(position, list) or len(position) < 2:
        return np.nan, np.nan
    lon, lat = (_degrees(value) for value in position[:2])
    return lon, lat


def _degrees(value: Any) -> float:
    """A number, also where it is written as text."""
    if isinstance(value, str):
        return number(value)
    return float(value) if type(value) in (int, float) else np.nan


def _time(stamp: Any) -> tuple[int, int]:
    """ISO 8601, or seconds or milliseconds since 1970."""
    if isinstance(stamp, str):
        if not _COUNT.fullmatch(stamp):
            return _times.parse_one(stamp)
        stamp = float(stamp)
    if type(stamp) in (int, float) and 0 < stamp < 1e14:
        return round(stamp * (1e3 if stamp > 1e11 else 1e6)), _times.GOOD
    return _times.NAT, _times.MISSING if stamp is None else _times.BAD
