"""Shapes of fields in local metres, standing on the line y = 0 and centred on x = 0."""

from __future__ import annotations

import numpy as np
from shapely import affinity
from shapely.geometry import Point, Polygon

Rng = np.random.Generator


def settle(polygon: Polygon) -> Polygon:
    """Moved so that its lowest point lies at y = 0 and its middle at x = 0."""
    west, south, east, _ = polygon.bounds
    return affinity.translate(polygon, -(west + east) / 2, -south)


def rectangle(rng: Rng, ha: float = 6.0, ratio: float | None = None) -> Polygon:
    ratio = ratio or float(rng.uniform(1.1, 2.6))
    h = (ha * 1e4 * ratio) ** 0.5
    w = ha * 1e4 / h
    box = Polygon([(0, 0), (w, 0), (w, h), (0, h)])
    return settle(affinity.rotate(box, float(rng.uniform(-20, 20))))


def wedge(rng: Rng, ha: float = 5.0) -> Polygon:
    k = float(rng.uniform(0.3, 0.55))
    shape = Polygon([(0, 0), (1, 0.08), (0.9, 1.5), (0.9 - k, 1.6)])
    return settle(_scaled(affinity.rotate(shape, float(rng.uniform(-25, 25))), ha))


def ell(rng: Rng, ha: float = 7.0) -> Polygon:
    a, b = float(rng.uniform(0.45, 0.6)), float(rng.uniform(0.45, 0.6))
    shape = Polygon([(0, 0), (1.2, 0), (1.2, b), (a, b * 1.03), (a * 1.02, 1.2), (0, 1.2)])
    return settle(_scaled(affinity.rotate(shape, float(rng.uniform(-15, 15))), ha))


def you(rng: Rng, ha: float = 9.0) -> Polygon:
    a = float(rng.uniform(0.3, 0.36))
    outer = [(0, 1.1), (0, 0), (1.3, 0), (1.3, 1.2)]
    inner = [(1.3 - a, 1.2), (1.28 - a, 0.5), (a, 0.48), (a, 1.15)]
    shape = Polygon(outer + inner)
    return settle(_scaled(affinity.rotate(shape, float(rng.uniform(-12, 12))), ha))


def pond(rng: Rng, ha: float = 8.0) -> Polygon:
    field = rectangle(rng, ha, float(rng.uniform(1.0, 1.5)))
    west, south, east, north = field.bounds
    x = (west + east) / 2 + float(rng.uniform(-30, 30))
    y = (south + north) / 2 + float(rng.uniform(-30, 30))
    water = affinity.scale(Point(x, y).buffer(1.0, 12), *rng.uniform(16, 28, 2))
    return Polygon(field.exterior.coords, [water.exterior.coords])


def irregular(rng: Rng, ha: float = 6.0) -> Polygon:
    n = int(rng.integers(5, 8))
    t = np.sort((np.arange(n) + rng.uniform(-0.28, 0.28, n)) * 2 * np.pi / n)
    r = rng.uniform(0.75, 1.15, n)
    shape = Polygon(np.column_stack([1.3 * r * np.cos(t), r * np.sin(t)]))
    return settle(_scaled(affinity.rotate(shape, float(rng.uniform(0, 180))), ha))


def corner(rng: Rng, ha: float = 2.0) -> Polygon:
    shape = Polygon([(0, 0), (1, 0.1), (1.15, 0.75), (0.45, 1.1), (-0.1, 0.6)])
    return settle(_scaled(affinity.rotate(shape, float(rng.uniform(0, 90))), ha))


def bowed(rng: Rng, ha: float = 7.0) -> Polygon:
    """A field between two curved edges."""
    h = (ha * 1e4 * 1.6) ** 0.5
    w = ha * 1e4 / h
    y = np.linspace(0, h, 60)
    bow = float(rng.uniform(12, 26)) * np.sin(np.pi * y / h) * float(rng.choice([-1, 1]))
    left = np.column_stack([bow, y])
    right = np.column_stack([w + bow, y])[::-1]
    return settle(Polygon(np.vstack([left, right])))


def _scaled(shape: Polygon, ha: float) -> Polygon:
    k = (ha * 1e4 / shape.area) ** 0.5
    return affinity.scale(shape, k, k)
