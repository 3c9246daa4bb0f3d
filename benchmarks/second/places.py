"""Fields along a road, in metres; and where that is on the globe."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.random import Generator
from pyproj import Transformer
from shapely import LineString, Polygon, affinity, transform

from benchmarks.second.outlines import SHAPES, neighbours
from benchmarks.second.steering import Array, Pose

SPOTS: dict[str, list[tuple[float, float]]] = {
    "north": [(52.6, -1.1), (55.9, 9.3), (48.7, 2.6), (41.9, -93.4), (50.3, 30.9), (45.1, 10.8)],
    "south": [(-34.6, -60.9), (-44.1, 171.4), (-36.1, 145.2), (-28.4, 27.9), (-25.6, -54.1)],
    "far_north": [(60.9, 23.4), (60.2, 11.3), (63.4, 22.8), (61.1, 17.1)],
    "equator": [(0.2, 35.1), (-0.4, 36.4)],
    "date_line": [(-16.82, 179.9965), (-16.82, -179.9965), (66.1, 179.993), (-16.4, 179.9955)],
}


@dataclass(frozen=True, eq=False)
class Plot:
    """A field on the ground (m) with a pose just within its gate."""

    shape: Polygon
    gate: Pose


def plot(rng: Generator, shape: Polygon) -> Plot:
    """A field whose gate is somewhere on the side towards the road."""
    x0, y0, x1, y1 = shape.bounds
    for _ in range(20):
        x = rng.uniform(0.25, 0.75) * (x1 - x0) + x0
        cut = shape.exterior.intersection(LineString([(x, y0 - 1), (x, y1 + 1)]))
        low = min(p.y for p in getattr(cut, "geoms", [cut]) if p.geom_type == "Point")
        if shape.contains(LineString([(x, low + 0.5), (x, low + 14)])):
            break
    return Plot(shape, (x, low + 6.0, math.pi / 2))


def along_a_road(
    rng: Generator, shapes: tuple[str, ...], area_ha: tuple[float, float], gap_m: float
) -> list[Plot]:
    """Fields on one side of a road, `gap_m` apart."""
    out, x = [], 0.0
    for name in shapes:
        shape = SHAPES[name](rng, rng.uniform(*area_ha))
        x0, _, x1, _ = shape.bounds
        out.append(plot(rng, affinity.translate(shape, x - x0, rng.uniform(14, 30))))
        x += x1 - x0 + gap_m * rng.uniform(0.6, 1.4)
    return out


def side_by_side(rng: Generator, count: int, area_ha: tuple[float, float]) -> list[Plot]:
    """Fields with an edge in common."""
    shapes = neighbours(rng, rng.uniform(*area_ha), count)
    up = rng.uniform(14, 30)
    return [plot(rng, affinity.translate(s, 0, up)) for s in shapes]


def one_behind_another(rng: Generator, area_ha: tuple[float, float]) -> list[Plot]:
    """Two fields; the further one is reached only through the nearer."""
    near = plot(rng, affinity.translate(SHAPES["rectangle"](rng, rng.uniform(*area_ha)), 0, 20))
    far = SHAPES["rectangle"](rng, rng.uniform(*area_ha))
    x = near.gate[0] + rng.uniform(-0.2, 0.2) * (near.shape.bounds[2] - near.shape.bounds[0])
    far = affinity.translate(far, x, near.shape.bounds[3] + rng.uniform(2, 8))
    return [near, plot(rng, far)]


def middle_of(plots: list[Plot]) -> tuple[float, float]:
    xs = [p.shape.centroid.x for p in plots]
    ys = [p.shape.centroid.y for p in plots]
    return float(np.mean(xs)), float(np.mean(ys))


@dataclass(frozen=True, eq=False)
class Globe:
    """From metres on the plan to degrees: turned about `middle`, then laid on the ellipsoid."""

    lat: float
    lon: float
    turn_rad: float
    middle: tuple[float, float]
    plane: Transformer

    def degrees(self, points: Array) -> Array:
        """(n, 2) metres to (n, 2) lon, lat."""
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        rel = (points - np.array(self.middle)) @ np.array([[c, s], [-s, c]])
        lon, lat = self.plane.transform(rel[:, 0], rel[:, 1])
        return np.column_stack([lon, lat])

    def shape(self, geometry: Any) -> Any:
        return transform(geometry, self.degrees)


def globe(rng: Generator, region: str, middle: tuple[float, float]) -> Globe:
    """Somewhere in a region (a key of `SPOTS`)."""
    spots = SPOTS[region]
    lat, lon = spots[int(rng.integers(len(spots)))]
    if region != "date_line":
        lat, lon = lat + rng.uniform(-0.5, 0.5), lon + rng.uniform(-0.5, 0.5)
    plane = Transformer.from_crs(
        f"+proj=aeqd +lat_0={lat} +lon_0={lon} +datum=WGS84", "EPSG:4326", always_xy=True
    )
    return Globe(lat, lon, rng.uniform(0, 2 * math.pi), middle, plane)
