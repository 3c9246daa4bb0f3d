"""Ways round: turns with a change of gear, ways within a field, and where turns may reach."""

from __future__ import annotations

import math

import numpy as np
from shapely import LineString, MultiPolygon, Point, Polygon, prepare
from shapely.ops import substring

from benchmarks.second.outlines import parts_of
from benchmarks.second.steering import TAU, Array, Pose, arc, shortest_turn


def manoeuvres(
    start: Pose, goal: Pose, r: float, trailed: bool, spare_m: float
) -> list[list[tuple[Array, int]]]:
    """Ways round with a change of gear, each as (points, gear) one after the other."""
    out: list[list[tuple[Array, int]]] = []
    for metres in (5.0, 11.0):
        back, end = arc(start, metres, 0.0, -1)
        out.append([(back, -1), (shortest_turn(end, goal, r), 1)])
    if trailed:
        return out
    for bend in (1 / r, -1 / r):
        for angle in (0.5, 1.0):
            back, end = arc(start, angle * r, bend, -1)
            out.append([(back, -1), (shortest_turn(end, goal, r), 1)])
    return out + _fishtails(start, goal, r, spare_m)


def _fishtails(start: Pose, goal: Pose, r: float, spare_m: float) -> list[list[tuple[Array, int]]]:
    """Quarter turn, back, quarter turn; only for a goal beside us, the other way round."""
    x, y, h = start
    c, s = math.cos(h), math.sin(h)
    ahead = c * (goal[0] - x) + s * (goal[1] - y)
    left = -s * (goal[0] - x) + c * (goal[1] - y)
    if abs((goal[2] - h) % TAU - math.pi) > 0.7 or abs(left) > 1.9 * r or abs(ahead) > 4 * r:
        return []
    out = []
    for more in (0.5, 2.0, 5.0):
        on, pose = arc(start, max(ahead, 0.0) + more, 0.0)
        quarter, pose = arc(pose, r * math.pi / 2, math.copysign(1 / r, left))
        back, pose = arc(pose, 2 * r - abs(left) + spare_m, 0.0, -1)
        first = np.concatenate([on, quarter[1:]])
        out.append([(first, 1), (back, -1), (shortest_turn(pose, goal, r), 1)])
    return out


def thinned(way: list[tuple[float, float]], least_m: float) -> list[tuple[float, float]]:
    """Waypoints far enough apart, and from both ends, to be driven over without a loop."""
    out = [way[0]]
    for p in way[1:-1]:
        if math.dist(p, out[-1]) > least_m and math.dist(p, way[-1]) > least_m:
            out.append(p)
    return [*out, way[-1]]


def headings(way: list[tuple[float, float]]) -> list[Pose]:
    """Poses at the inner waypoints, each heading midway between the way to it and from it."""
    out = []
    for a, p, b in zip(way, way[1:], way[2:], strict=False):
        out.append((p[0], p[1], math.atan2(b[1] - a[1], b[0] - a[0])))
    return out


def way_within(
    ground: Polygon, a: tuple[float, float], b: tuple[float, float], off_m: float
) -> list[tuple[float, float]]:
    """Waypoints from a to b: straight, or along the headland where that would leave the field."""
    if ground.buffer(-1.0).contains(LineString([a, b])) or math.dist(a, b) < 1.0:
        return [a, b]
    shape = ground.buffer(-off_m)
    if shape.is_empty:
        return [a, b]
    rim = max(parts_of(shape), key=lambda p: p.area).exterior.simplify(1.0)
    line = LineString(rim.coords)
    s, t = line.project(Point(a)), line.project(Point(b))
    low, high = min(s, t), max(s, t)
    inner = list(substring(line, low, high).coords)
    outer = list(substring(line, high, line.length).coords) + list(substring(line, 0, low).coords)
    if high - low > line.length / 2:
        way = outer if s > t else outer[::-1]
    else:
        way = inner if s < t else inner[::-1]
    return [a, *way, b]


def roomy(ground: Polygon | MultiPolygon, over_m: float) -> Polygon:
    """Where turns may reach: the ground and a little over its outer edge, never into a hole."""
    part = max(parts_of(ground), key=lambda p: p.area)
    shape = Polygon(part.buffer(over_m).exterior, [r.coords for r in part.interiors])
    prepare(shape)
    return shape
