"""Turns between two poses, and ways through a field that stay in it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon

from tests.simulator.curves import STEP_M, Floats, Pose, dubins, length


@dataclass
class Turn:
    """A turn as its parts (gear, path), what it costs, and how far it leads beyond the zone."""

    parts: list[tuple[int, Floats]]
    cost: float
    out_m: float


REVERSING = 1.6
"""What a metre backwards costs in metres forwards."""
CHANGE_OF_GEAR_M = 7.0
"""What a change of gear costs in metres forwards."""


def priced(zone: Polygon, parts: list[tuple[int, Floats]], least: float = math.inf) -> Turn:
    """A turn priced by length, reversing, changes of gear and ground beyond the zone.

    least: a price that another turn has; where this one costs as much, the rest of the ground
    beyond the zone is not looked at.
    """
    sized = [(gear, xy, size) for gear, xy in parts if (size := length(xy)) > 0.01]
    parts = [(gear, xy) for gear, xy, _ in sized]
    cost = sum(size * (1.0 if gear > 0 else REVERSING) for gear, _, size in sized)
    cost += CHANGE_OF_GEAR_M * (len(parts) - 1)
    out = 0.0
    for _, xy in parts:
        if cost + 7.0 * out >= least:
            break
        line = shapely.linestrings(np.vstack([xy[:: max(1, len(xy) // 24)], xy[-1]]))
        out += 0.0 if zone.contains(line) else line.difference(zone).length
    return Turn(parts, cost + 7.0 * out, out)


def straight(p: Pose, d_m: float) -> Floats:
    """Straight ahead, or straight back where negative."""
    q = p.moved(d_m)
    n = max(2, math.ceil(abs(d_m) / STEP_M) + 1)
    return np.column_stack([np.linspace(p.x, q.x, n), np.linspace(p.y, q.y, n)])


def _arc(p: Pose, side: int, angle: float, radius: float, gear: int) -> tuple[Floats, Pose]:
    """An arc whose body heading turns by side * angle, in either gear."""
    c = p.moved(0, side * gear * radius)
    start = math.atan2(p.y - c.y, p.x - c.x)
    t = start + side * np.linspace(0, angle, max(3, math.ceil(angle * radius / STEP_M)))
    xy = np.column_stack([c.x + radius * np.cos(t), c.y + radius * np.sin(t)])
    return xy, Pose(float(xy[-1, 0]), float(xy[-1, 1]), p.heading + side * angle)


def best_turn(a: Pose, b: Pose, radius: float, zone: Polygon, reverses: bool) -> Turn:
    """The cheapest turn between two poses: loops and U-turns, or with reversing."""
    shapely.prepare(zone)
    best = cheapest(zone, dubins(a, b, radius, 3))
    if not reverses or (best.out_m < 0.5 and best.cost < 7.5 * radius):
        return best

    def least() -> float:
        return best.cost

    for parts in _with_reversing(a, b, radius, least):
        turn = priced(zone, parts, best.cost)
        if turn.cost < best.cost:
            best = turn
    return best


def _with_reversing(
    a: Pose, b: Pose, radius: float, least: Callable[[], float]
) -> Iterator[list[tuple[int, Floats]]]:
    """Turns with one part or two in reverse.

    least: what the cheapest turn so far costs. Curves that are dearer by their length alone are
    not drawn, as most are.
    """
    for e in (4.0, 9.0, 14.0):
        beyond = b.moved(e)
        for xy in dubins(a, beyond, radius, 2, least() - CHANGE_OF_GEAR_M - REVERSING * e):
            yield [(1, xy), (-1, straight(beyond, -e))]
    for ahead in (0.0, 4.0):
        for e in (2.0, 7.0):
            start, end = a.moved(ahead), b.moved(-e)
            changes = 2 if ahead else 1
            longest_m = (least() - changes * CHANGE_OF_GEAR_M - ahead - e) / REVERSING
            for xy in dubins(start.turned(math.pi), end.turned(math.pi), radius, 2, longest_m):
                yield [(1, straight(a, ahead)), (-1, xy), (1, straight(end, e))]
    yield from _in_three(a, b, radius, least)


def _in_three(
    a: Pose, b: Pose, radius: float, least: Callable[[], float]
) -> Iterator[list[tuple[int, Floats]]]:
    """Ahead round a bend, back round the next one, and on."""
    turn = (b.heading - a.heading + math.pi) % (2 * math.pi) - math.pi
    for side in (1, -1) if abs(turn) > 2.8 else (1 if turn > 0 else -1,):
        for alpha in (0.6, 1.2, 1.8):
            one, p = _arc(a, side, alpha, radius, 1)
            for beta in (0.4, 0.9, 1.4):
                two, q = _arc(p, side, beta, radius, -1)
                driven_m = 0.99 * radius * (alpha + REVERSING * beta)
                longest_m = least() - 2 * CHANGE_OF_GEAR_M - driven_m
                for three in dubins(q, b, radius, 1, longest_m):
                    yield [(1, one), (-1, two), (1, three)]


def way(ground: Polygon, a: tuple[float, float], b: tuple[float, float], edge_m: float) -> Floats:
    """A line from a to b that stays in the field: straight, or along the headland."""
    inner = ground.buffer(-min(2.0, edge_m / 2))
    straight = LineString([a, b])
    if ground.buffer(0.5).contains(straight) or straight.difference(inner).length < 3:
        return np.array([a, b])
    ring_ground = ground.buffer(-edge_m, join_style="mitre")
    if ring_ground.geom_type != "Polygon":
        ring_ground = max(ring_ground.geoms, key=lambda g: g.area)
    best: Floats | None = None
    for r in [ring_ground.exterior, *ring_ground.interiors]:
        s0, s1 = r.project(Point(a)), r.project(Point(b))
        for forward in (True, False):
            span = (s1 - s0) % r.length if forward else -((s0 - s1) % r.length)
            corners = shapely.get_coordinates(r)[:-1]
            along = np.array([r.project(Point(c)) for c in corners])
            offset = (along - s0) % r.length if forward else (s0 - along) % r.length
            inside = np.argsort(offset)
            inside = inside[(offset[inside] > 0) & (offset[inside] < abs(span))]
            p, q = r.interpolate(s0), r.interpolate(s1)
            line = np.array([a, (p.x, p.y), *corners[inside].tolist(), (q.x, q.y), b])
            if best is None or _cost(ground, line) < _cost(ground, best):
                best = line
    assert best is not None
    return best


def _cost(ground: Polygon, line: Floats) -> float:
    path = LineString(line)
    return path.length + 10.0 * path.difference(ground).length


def cheapest(zone: Polygon, curves: list[Floats]) -> Turn:
    """The cheapest of some curves driven forward; of those that cost the same the first."""
    best = priced(zone, [(1, curves[0])])
    for xy in curves[1:]:
        turn = priced(zone, [(1, xy)], best.cost)
        if turn.cost < best.cost:
            best = turn
    return best
