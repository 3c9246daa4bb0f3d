"""How a field is worked: headland laps, straight or curved bouts, round and round, tramlines."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

from tests.simulator.curves import arcs, pose_at
from tests.simulator.drive import (
    Bout,
    Drive,
    approach,
    back_up,
    bout_start,
    fill,
    run_in_m,
    stop,
    work,
)
from tests.simulator.lines import (
    Style,
    chains,
    curved_lines,
    guide_of,
    inset,
    laps,
    longest_edge,
    ordered,
    polygons,
    ring_bouts,
    straight_lines,
)

Floats = NDArray[np.float64]


def run(d: Drive, bouts: list[Bout], s: Style, both_ways: bool = True) -> None:
    """Work a list of bouts in order, from the nearer end each time, filling where needed."""
    for b in bouts:
        if d.m.fill_area_m2 is not None and d.since_fill_m2 > d.m.fill_area_m2:
            if s.unload_moving:
                b, d.since_fill_m2 = replace(b, slow=0.8), 0.0
            elif s.unload_stand:
                at, d.fill_at = d.fill_at, None
                fill(d)
                d.fill_at = at
            else:
                fill(d)
        if both_ways:
            here = np.array(d.pose[:2])
            ends = [np.array(bout_start(d, x)[:2]) for x in (b, b.reversed())]
            if np.hypot(*(ends[1] - here)) < np.hypot(*(ends[0] - here)):
                b = b.reversed()
        approach(d, b)
        stops = None
        if d.rng.uniform() < s.stop_chance and b.size_m > 60:
            stops = [(float(d.rng.uniform(0.2, 0.8)), float(d.rng.uniform(12, 150)), True)]
        if s.blockages and d.rng.uniform() < s.blockages and b.size_m > 50:
            b = _blocked(d, b)
            stops = None
        work(d, b, stops)
        if d.rng.uniform() < s.stop_chance:
            stop(d, float(d.rng.uniform(8, 60)), "stand")


def _blocked(d: Drive, b: Bout) -> Bout:
    """Work up to a blockage, back off it with the implement up; what is left of the bout."""
    at = b.start_m + float(d.rng.uniform(0.25, 0.75)) * b.size_m
    work(d, replace(b, end_m=at))
    back_up(d, float(d.rng.uniform(4.0, 9.0)) + run_in_m(d.m))
    stop(d, float(d.rng.uniform(4.0, 120.0)), "stand")
    return replace(b, start_m=at - 1.0, backed=False)


def _started_near(lap: list[Bout], d: Drive) -> list[Bout]:
    """A lap of several bouts begun with the bout whose start is nearest."""
    if len(lap) == 1:
        b = lap[0]
        size = b.end_m - 0.4
        s = arcs(b.line)
        ahead = d.pose.moved(2.5 * d.m.width_m + 10 if d.pieces[-1].kind == "bout" else 0.0)
        k = int(np.argmin(np.hypot(*(b.line[:-1] - np.array(ahead[:2])).T)))
        if np.allclose(b.line[0], b.line[-1], atol=0.5) and 0 < k < len(s) - 2:
            return [Bout(np.vstack([b.line[k:-1], b.line[: k + 1]]), 0.0, size + 0.4)]
        return lap
    far = [math.hypot(bout_start(d, b).x - d.pose.x, bout_start(d, b).y - d.pose.y) for b in lap]
    k = int(np.argmin(far))
    return lap[k:] + lap[:k]


def headland(d: Drive, ground: Polygon, s: Style, inner_first: bool = False) -> None:
    """Work the headland laps."""
    rounds = laps(ground, d.m, s, bool(d.rng.integers(0, 2)))
    total = sum(len(x) for x in rounds)
    left = math.ceil(total * s.lap_share)
    for lap in rounds[::-1] if inner_first else rounds:
        if lap:
            todo = _started_near(lap, d)[:left]
            run(d, todo, s, both_ways=False)
            left -= len(todo)


def body(d: Drive, ground: Polygon, s: Style) -> None:
    """Work the ground inside the headland in straight or curved bouts."""
    m = d.m
    depth = s.margin_m + (m.width_m + (s.laps - 1) * m.spacing_m if s.laps else 0.0)
    angle = longest_edge(ground) if s.angle is None else s.angle
    blocks: list[list[Bout]] = []
    for part in inset(ground, max(depth - m.overlap_m, 0.0)) if depth > 0 else [ground]:
        if s.along == "curved":
            rows = curved_lines(part, m, s, guide_of(ground))
        else:
            rows = straight_lines(part, m, s, angle)
        blocks += chains(rows)
    todo: list[Bout] = []
    for block in blocks if s.fixed_order else _nearest_first(blocks, d):
        todo += ordered(block, s.pattern)
    n = len(todo)
    run(d, todo[math.ceil(n * s.start_share) : math.ceil(n * s.share)], s)


def _nearest_first(blocks: list[list[Bout]], d: Drive) -> list[list[Bout]]:
    """Blocks in an order that a driver would take; each begun at its nearer side."""
    here = np.array(d.pose[:2])
    left, out = [b for b in blocks if b], []
    while left:

        def far(block: list[Bout], here: Floats = here) -> float:
            ends = [block[0], block[-1]]
            return min(
                float(np.hypot(*(np.array(pose_at(b.line, s)[:2]) - here)))
                for b in ends for s in (b.start_m, b.end_m)
            )  # fmt: skip

        block = min(left, key=far)
        left.remove(block)
        if far(block[-1:]) < far(block[:1]):
            block = block[::-1]
        out.append(block)
        here = np.array(pose_at(block[-1].line, block[-1].end_m)[:2])
    return out


def spiral(d: Drive, ground: Polygon, s: Style) -> None:
    """Round and round, inwards, until nothing is left."""
    m = d.m
    clockwise = bool(d.rng.integers(0, 2))
    k = 0
    while parts := inset(ground, s.margin_m + m.width_m / 2 + k * m.spacing_m):
        todo: list[Bout] = []
        for part in parts:
            xy = shapely.get_coordinates(part.exterior.simplify(0.2))
            if LineString(xy).length < 6 * m.radius_m or part.area < m.width_m * 20:
                box = part.minimum_rotated_rectangle
                edge = longest_edge(box)
                thin = polygons(part.buffer(m.width_m / 2))
                todo += [b for row in straight_lines(thin[0], m, s, edge) for b in row]
                continue
            if part.exterior.is_ccw == clockwise:
                xy = xy[::-1]
            todo += ring_bouts(xy, m, s, k, True)
        k += 1
        if s.share < 1 and k > s.share * (ground.area**0.5 / 2 / m.spacing_m):
            return
        if todo:
            run(d, _started_near(todo, d), s, both_ways=False)


def work_field(d: Drive, s: Style) -> None:
    """Work the field that the machine stands in."""
    ground = d.ground
    if s.along == "spiral":
        spiral(d, ground, s)
        return
    if s.first and s.laps:
        headland(d, ground, s)
    body(d, ground, s)
    if not s.first and s.laps:
        headland(d, ground, s, inner_first=True)
