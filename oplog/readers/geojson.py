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
from oplog.readers._json_parts import documents, text_of
from oplog.readers._rows import Rows, finish, unstated
from oplog.readers._tally import Tally
from oplog.track import Track, empty

_LINE_TIMES = ("coordtimes", "times", "timestamps", "time", "coordinatetimes")
_POINT_TIMES = (
    *("time", "timestamp", "datetime", "utc", "when", "timeutc", "utctime", "gpstime", "fixtime"),
    *("recordedat", "timestamputc", "timestampms", "unixtime", "epoch", "ts", "date"),
)
UNPAIRED = "times and places of a line do not pair up: there are more times"
METRES = "positions are metres on a map grid, not degrees: export it as WGS 84"
_LEAST_METRES = 1000.0
_WORDS = (b'"coordinates"', b'"Feature"', b'"FeatureCollection"')
_DEEPEST = 64
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
        timed = _first_of(properties, _POINT_TIMES) is not None
        placeless += timed and not found and kind in (None, "Point")
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
        elif "geometry" in value:
            geometry, properties = value["geometry"], value.get("properties")
            yield (
                geometry if isinstance(geometry, dict) else {},
                properties if isinstance(properties, dict) else {},
            )
        elif "coordinates" in value:
            yield value, {}


def _positions(
    geometry: dict[str, Any], properties: dict[str, Any], feature: int
) -> list[tuple[Any, Any, int]]:
    """Positions of one feature with time and segment (points share segment 0)."""
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if not isinstance(coordinates, list):
        return []
    if kind == "Point":
        return [(coordinates, _first_of(properties, _POINT_TIMES), 0)]
    times = _first_of(properties.get("coordinateProperties", properties), _LINE_TIMES)
    if kind in ("LineString", "MultiPoint"):
        return _line(coordinates, times, 1000 * feature + 1)
    if kind == "MultiLineString":
        found = []
        for k, (line, of_line) in enumerate(_by_line(coordinates, times)):
            found += _line(line, of_line, 1000 * feature + 1 + k % 999)
        return found
    return []


def _more_times(geometry: dict[str, Any], properties: dict[str, Any]) -> int:
    """How many more times than places a line has, or all lines together."""
    kind, places = geometry.get("type"), geometry.get("coordinates")
    times = _first_of(properties.get("coordinateProperties", properties), _LINE_TIMES)
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
    if not isinstance(line, list):
        return []
    stamps = times if isinstance(times, list) else []
    return [
        (position, stamps[k] if k < len(stamps) else None if stamps else _fourth(position), segment)
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
    plain = {
        re.sub(r"[\W_]", "", str(key).casefold()): value
        for key, value in properties.items()
        if value is not None
    }
    return next((plain[n] for n in names if n in plain), None)


def _rows(positions: list[tuple[Any, Any, int]]) -> Rows:
    n = len(positions)
    lonlat = np.array([_lonlat(position) for position, _, _ in positions])
    times = [_time(stamp) for _, stamp, _ in positions]
    columns = unstated(n)
    columns["segment"] = np.array([s % 2**31 for _, _, s in positions], np.int32)
    return Rows(
        np.array([t for t, _ in times], np.int64),
        np.array([b for _, b in times], np.int8),
        lonlat[:, 1],
        lonlat[:, 0],
        **columns,
        where=np.full(n, -1),
    )


def _lonlat(position: Any) -> tuple[float, float]:
    if isinstance(position, list) and len(position) >= 2:
        lon, lat = position[:2]
        if type(lon) in (int, float) and type(lat) in (int, float):
            try:
                return float(lon), float(lat)
            except OverflowError:
                pass
    return np.nan, np.nan


def _time(stamp: Any) -> tuple[int, int]:
    """ISO 8601, or seconds or milliseconds since 1970."""
    if isinstance(stamp, str):
        if not _COUNT.fullmatch(stamp):
            return _times.parse_one(stamp)
        stamp = float(stamp)
    if type(stamp) in (int, float) and 0 < stamp < 1e14:
        return round(stamp * (1e3 if stamp > 1e11 else 1e6)), _times.GOOD
    return _times.NAT, _times.MISSING if stamp is None else _times.BAD
