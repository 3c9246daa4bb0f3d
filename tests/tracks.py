"""Small tracks and fields with figures that can be worked out in the head."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from oplog.geodesy import Plane

PLACE = Plane(0.15, 52.30)
"""Where the fields of the tests lie."""

START = datetime(2024, 3, 25, 8, 0, tzinfo=UTC)


def square(x0_m: float, y0_m: float, width_m: float, height_m: float) -> list[list[float]]:
    """A ring in lon/lat, anticlockwise, from metres east and north of PLACE."""
    corners = [
        (x0_m, y0_m),
        (x0_m + width_m, y0_m),
        (x0_m + width_m, y0_m + height_m),
        (x0_m, y0_m + height_m),
        (x0_m, y0_m),
    ]
    lon, lat = PLACE.lonlat([c[0] for c in corners], [c[1] for c in corners])
    return [[round(float(a), 9), round(float(b), 9)] for a, b in zip(lon, lat, strict=True)]


def geojson(rings: dict[str, list[list[float]]], **properties: str) -> bytes:
    """A boundary file with one field per name."""
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": {"name": name, **properties},
                    "geometry": {"type": "Polygon", "coordinates": [ring]},
                }
                for name, ring in rings.items()
            ],
        }
    ).encode()


def bouts(
    x0_m: float, y0_m: float, width_m: float, height_m: float, bout_m: float
) -> list[tuple[float, float]]:
    """Corners of a way up and down a rectangle, `bout_m` apart, half a bout from its sides."""
    corners: list[tuple[float, float]] = []
    x, up = x0_m + bout_m / 2, True
    while x < x0_m + width_m:
        ends = [(x, y0_m), (x, y0_m + height_m)]
        corners += ends if up else ends[::-1]
        x, up = x + bout_m, not up
    return corners


def walk(
    corners: Iterable[tuple[float, float]], speed_m_s: float, start: datetime = START
) -> list[tuple[datetime, float, float]]:
    """One fix a second along a way: (time, x, y)."""
    fixes: list[tuple[datetime, float, float]] = []
    ends = list(corners)
    at_s = 0.0
    for (x0, y0), (x1, y1) in pairwise(ends):
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        steps = max(round(length / speed_m_s), 1)
        for i in range(steps):
            part = i / steps
            fixes.append(
                (start + timedelta(seconds=at_s), x0 + part * (x1 - x0), y0 + part * (y1 - y0))
            )
            at_s += 1.0
    return fixes


def gpx(fixes: Iterable[tuple[datetime, float, float]], creator: str = "field logger") -> bytes:
    """Fixes as a GPX 1.1 file."""
    fixes = list(fixes)
    lons, lats = PLACE.lonlat([f[1] for f in fixes], [f[2] for f in fixes])
    rows = [
        f'<trkpt lat="{lat:.8f}" lon="{lon:.8f}"><time>{moment.isoformat()[:19]}Z</time></trkpt>'
        for (moment, _, _), lon, lat in zip(fixes, lons.tolist(), lats.tolist(), strict=True)
    ]
    return (
        f'<?xml version="1.0"?><gpx version="1.1" creator="{creator}" '
        'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        + "\n".join(rows)
        + "</trkseg></trk></gpx>"
    ).encode()
