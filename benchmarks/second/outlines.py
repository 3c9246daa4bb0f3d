"""Outlines of fields, in metres, each with its gate side towards the south (a road at y = 0)."""

from __future__ import annotations

import math

import numpy as np
from numpy.random import Generator
from shapely import Polygon, affinity, make_valid
from shapely.geometry import LineString
from shapely.geometry.polygon import orient
from shapely.ops import split


def _sized(polygon: Polygon, area_ha: float) -> Polygon:
    factor = math.sqrt(area_ha * 1e4 / polygon.area)
    shape = affinity.scale(polygon, factor, factor, origin=(0, 0))
    x0, y0, x1, _ = shape.bounds
    return orient(affinity.translate(shape, -(x0 + x1) / 2, -y0))


def rectangle(rng: Generator, area_ha: float) -> Polygon:
    ratio = rng.uniform(1.1, 3.0)
    shape = np.array([[0, 0], [ratio, 0], [ratio, 1], [0, 1]], float)
    return _sized(Polygon(shape + rng.normal(0, 0.035, shape.shape)), area_ha)


def strip(rng: Generator, area_ha: float) -> Polygon:
    shape = np.array([[0, 0], [1, 0.03], [1.05, rng.uniform(5, 8)], [0.1, 6.5]])
    return _sized(Polygon(shape + rng.normal(0, 0.03, shape.shape)), area_ha)


def wedge(rng: Generator, area_ha: float) -> Polygon:
    tip = rng.uniform(0.05, 0.25)
    return _sized(Polygon([(0, 0), (2.2, rng.uniform(-0.1, 0.02)), (2.1, tip), (0, 1)]), area_ha)


def triangle(rng: Generator, area_ha: float) -> Polygon:
    return _sized(Polygon([(0, 0), (1.6, 0), (rng.uniform(0.1, 1.5), 1.0)]), area_ha)


def ell(rng: Generator, area_ha: float) -> Polygon:
    a, b = rng.uniform(0.45, 0.65), rng.uniform(0.4, 0.6)
    shape = Polygon([(0, 0), (1.6, 0), (1.6, b), (1.6 * a, b + 0.02), (1.6 * a, 1), (0, 1)])
    return _sized(shape, area_ha)


def horseshoe(rng: Generator, area_ha: float) -> Polygon:
    a, b, c = rng.uniform(0.3, 0.38), rng.uniform(0.62, 0.7), rng.uniform(0.4, 0.5)
    rim = [(0, 0), (2, 0), (2, 1), (2 * b, 1), (2 * b, c), (2 * a, c + 0.03), (2 * a, 1), (0, 1)]
    return _sized(Polygon(rim), area_ha)


def irregular(rng: Generator, area_ha: float) -> Polygon:
    """Between old hedges: some sides straight, some bowed, 8 to 30 corners."""
    n = int(rng.integers(8, 22))
    angle = np.sort((np.arange(n) + rng.uniform(-0.32, 0.32, n)) * 2 * np.pi / n)
    wave = 0.12 * np.cos(2 * angle + rng.uniform(0, 6)) + 0.07 * np.cos(
        3 * angle + rng.uniform(0, 6)
    )
    radius = 1 + wave + rng.normal(0, 0.035, n)
    stretch = rng.uniform(1.2, 1.9)
    rim = np.column_stack([stretch * radius * np.cos(angle), radius * np.sin(angle)])
    return _sized(_whole(Polygon(rim)), area_ha)


def brook(rng: Generator, area_ha: float) -> Polygon:
    """Straight on three sides, along a winding brook on the fourth."""
    x = np.linspace(2.0, 0.0, int(rng.integers(14, 24)))
    y = 1 + 0.09 * np.sin(x * rng.uniform(3, 5) + rng.uniform(0, 6)) + rng.normal(0, 0.012, len(x))
    return _sized(_whole(Polygon([(0, 0), (2.0, 0.05), *zip(x, y, strict=True)])), area_ha)


def round_corner(rng: Generator, area_ha: float) -> Polygon:
    """A field with one corner rounded off by a bend of the road."""
    t = np.linspace(0, np.pi / 2, 9)
    bend = np.column_stack([1.0 + 0.6 * np.sin(t), 0.4 + 0.6 * np.cos(t)])
    return _sized(Polygon([(0, 0), (1.6, 0), *bend[::-1].tolist(), (0.05, 1)]), area_ha)


def pond(rng: Generator, area_ha: float) -> Polygon:
    shape = rectangle(rng, area_ha) if rng.random() < 0.5 else irregular(rng, area_ha)
    middle = shape.centroid
    angle = np.sort(rng.uniform(0, 2 * np.pi, 11))
    radius = math.sqrt(area_ha * 1e4) * rng.uniform(0.07, 0.11) * rng.uniform(0.8, 1.2, 11)
    x = middle.x + rng.uniform(-0.1, 0.1) * math.sqrt(shape.area) + radius * np.cos(angle)
    y = middle.y + 1.2 * radius * np.sin(angle)
    hole = Polygon(np.column_stack([x, y])).convex_hull
    return orient(max(parts_of(shape.difference(hole)), key=lambda p: p.area))


SHAPES = {
    f.__name__: f
    for f in (
        rectangle,
        strip,
        wedge,
        triangle,
        ell,
        horseshoe,
        irregular,
        brook,
        round_corner,
        pond,
    )
}


def _whole(polygon: Polygon) -> Polygon:
    if polygon.is_valid:
        return polygon
    parts = [p for p in getattr(make_valid(polygon), "geoms", []) if p.geom_type == "Polygon"]
    return max(parts, key=lambda p: p.area)


def neighbours(rng: Generator, area_ha: float, count: int) -> list[Polygon]:
    """One piece of land cut by hedges into fields side by side, which share their edges."""
    x = np.linspace(0, 1.25 * count, 3 * count + 1)
    top = 1 + rng.normal(0, 0.03, len(x))
    whole = _sized(
        Polygon([(0, 0), *zip(x, 0 * x, strict=True), *zip(x[::-1], top, strict=True)]),
        area_ha * count,
    )
    x0, y0, x1, y1 = whole.bounds
    parts = [whole]
    for k in range(1, count):
        at = x0 + (x1 - x0) * k / count
        lean = rng.normal(0, 0.05) * (x1 - x0) / count
        blade = LineString([(at - lean, y0 - 9), (at + lean, y1 + 9)])
        parts = [q for p in parts for q in split(p, blade).geoms]
    return sorted((orient(p) for p in parts), key=lambda p: p.centroid.x)


def as_drawn(rng: Generator, true: Polygon, error_m: float, inwards_m: float = 0.0) -> Polygon:
    """The outline as a user draws it: each corner off, some left out, the whole shifted a bit."""
    if inwards_m:
        true = max(parts_of(true.buffer(-inwards_m, join_style="mitre")), key=lambda p: p.area)
    if not error_m:
        return true
    rim = np.array(true.simplify(0.5 * error_m).exterior.coords)[:-1]
    off = rng.normal(0, 0.5 * error_m, rim.shape) + rng.normal(0, 0.5 * error_m, 2)
    holes = [np.array(r.coords)[:-1] + rng.normal(0, 0.4 * error_m, 2) for r in true.interiors]
    return orient(_whole(Polygon(rim + off, holes)))


def parts_of(shape: object) -> list[Polygon]:
    return [p for p in getattr(shape, "geoms", [shape]) if p.geom_type == "Polygon"]
