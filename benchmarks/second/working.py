"""How a driver works a field: headland, bouts, laps round and round, and errands."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from shapely import LineString, Polygon

from benchmarks.second import bouts as lay
from benchmarks.second.jobs import Job
from benchmarks.second.outlines import parts_of
from benchmarks.second.runs import Work, extended, fill, pause
from benchmarks.second.steering import Array, evenly
from benchmarks.second.turning import roomy


def work_field(work: Work) -> None:
    """All of a job, in the order that its driver has chosen."""
    d, job, field = work.drive, work.job, work.field
    d.room = roomy(field, job.over_edge_m)
    if job.scout:
        _scout(work)
    if job.margin_m:
        field = max(parts_of(field.buffer(-job.margin_m)), key=lambda p: p.area)
    if job.pattern in ("spiral", "inside_out"):
        _spiral(work, field)
        return
    m = d.machine
    step = m.width_m - job.overlap_m
    laps = 0 if job.headland == "none" else job.laps or _laps_needed(work)
    inside = field.buffer(-laps * step, join_style="mitre") if laps else field
    while laps > 1 and (inside.is_empty or inside.area < 0.15 * field.area):
        laps -= 1
        inside = field.buffer(-laps * step, join_style="mitre")
    round_m = 1.25 * m.turn_radius_m if job.corner == "round" else 0.0
    edge = lay.rings(field, m.width_m / 2, step, laps, round_m)
    if job.headland == "first":
        _laps(work, edge)
    _bouts(work, inside)
    if job.headland == "last":
        _laps(work, edge[::-1])
    _touch_up(work)


def _touch_up(work: Work) -> None:
    """Short runs any way, mostly over what is worked already."""
    rng, lead = work.drive.rng, abs(work.drive.machine.behind_axle_m) + 6.0
    inner = work.field.buffer(-22.0)
    x0, y0, x1, y1 = inner.bounds if not inner.is_empty else (0.0, 0.0, 0.0, 0.0)
    for _ in range(work.job.touch_ups if x1 > x0 else 0):
        at = np.array([rng.uniform(x0, x1), rng.uniform(y0, y1)])
        angle, half = rng.uniform(0, 2 * np.pi), rng.uniform(5, 20)
        way = half * np.array([math.cos(angle), math.sin(angle)])
        if work.field.buffer(-4.0).contains(LineString([at - way, at + way])):
            work.run(extended(evenly(np.array([at - way, at + way]))[0], lead), lead)


def _scout(work: Work) -> None:
    """Once round along the edge with nothing in the ground."""
    d = work.drive
    r = d.machine.turn_radius_m
    ring = lay.rings(work.field, 1.5 * r, 1.0, 1, 1.3 * r)[0]
    lap = lay.started_at(ring, d.pose[:2], False, 2.5 * r)
    h = math.atan2(*(lap[4] - lap[0])[::-1])
    d.turn_to((float(lap[0, 0]), float(lap[0, 1]), h), "travelling")
    d.along(lap, 1.15 * d.machine.speed_m_s, "travelling")


def errand(work: Work) -> None:
    """Carting bales, or looking at a crop: along rows from place to place, no work done."""
    d, rng = work.drive, work.drive.rng
    d.room = roomy(work.field, 2.0)
    inside = work.field.buffer(-12.0)
    direction = lay.longest_side(work.field)
    lines = lay.lines_across(rng, inside, direction, rng.uniform(18, 30), 0.0, 2.0)
    for k, line in enumerate(lines):
        for a, b in lay.pieces_within(inside, line, 6.0, False, 20.0):
            row = line[int(a / 2) : int(b / 2) + 1][:: 1 if k % 2 else -1]
            for stop in row[:: max(3, int(rng.uniform(10, 30)))]:
                way = math.atan2(stop[1] - d.pose[1], stop[0] - d.pose[0])
                d.go((*(stop + rng.normal(0, 2.0, 2)).tolist(), way), work.field, "travelling")
                d.stop(rng.uniform(8, 70))


def _laps_needed(work: Work) -> int:
    m, job = work.drive.machine, work.job
    narrow = job.pattern == "side" and m.width_m < 2 * m.turn_radius_m
    need = m.turn_radius_m + max(m.behind_axle_m, 0.0) + 2.0
    if narrow and m.tongue_m:
        need = 2.4 * m.turn_radius_m + max(m.behind_axle_m, 0.0)
    return int(np.clip(math.ceil((need - job.over_edge_m) / m.width_m), 1, 7))


def _spiral(work: Work, field: Polygon) -> None:
    """Round and round, the implement down all the time; what is left in the middle in bouts."""
    m, job = work.drive.machine, work.job
    slide = 12 + 4 * m.width_m
    most = job.laps or 60
    near = work.drive.pose[:2]
    path, left = lay.spiral(field, near, m.width_m, job.overlap_m, m.turn_radius_m, slide, most)
    out = job.pattern == "inside_out"
    if out:
        path = path[::-1]
        _bouts(work, left)
    path = evenly(path)[0]
    path = path[: max(int(len(path) * job.share[1]), 40)]
    lead = abs(m.behind_axle_m) + 6.0
    pieces = 1 + int(0.4 * len(path) // job.load_m) if job.load_m else 1
    if job.lunch or job.breakdown:
        pieces = max(pieces, 2)
    for k, part in enumerate(np.array_split(path, pieces)):
        if k and job.load_m:
            fill(work)
        elif k:
            pause(work)
        work.run(extended(part, lead), lead)
    if not out and job.share[1] == 1.0:
        _bouts(work, left)
    if job.diagonals:
        _diagonals(work, left)


def _diagonals(work: Work, left: Polygon) -> None:
    """From the middle out to each corner, where every lap left a crescent."""
    lead = abs(work.drive.machine.behind_axle_m) + 6.0
    middle = np.array((left if not left.is_empty else work.field).centroid.coords[0])
    rim = np.array(work.field.simplify(4.0).exterior.coords)[:-1]
    side = np.diff(np.concatenate([rim, rim[:1]]), axis=0)
    h = np.arctan2(side[:, 1], side[:, 0])
    turn = (h - np.roll(h, 1) + np.pi) % (2 * np.pi) - np.pi
    for corner in rim[turn > 0.8]:
        way = corner - middle
        far = float(np.hypot(*way))
        if far > 25:
            a, b = middle + way * 0.35, middle + way * (1 - 5.0 / far)
            work.run(extended(evenly(np.array([a, b]))[0], lead), lead)


def _laps(work: Work, edge: list[Array]) -> None:
    d, m, job, rng = work.drive, work.drive.machine, work.job, work.drive.rng
    lead = abs(m.behind_axle_m) + 6.0
    backwards = rng.random() < 0.5
    done = 0.0
    for ring in edge:
        lap = lay.started_at(ring, d.pose[:2], backwards, 2.0 * m.turn_radius_m + lead)
        if job.corner == "round":
            work.run(extended(np.concatenate([lap, lap[:8]]), lead), lead)
        else:
            for side in lay.sides(lap, 0.6):
                if np.hypot(*np.diff(side, axis=0).T).sum() > 4:
                    _one_side(work, side, lead)
        done += 0.4 * len(lap)
        if job.load_m and done > job.load_m:
            fill(work)
            done = 0.0


def _one_side(work: Work, side: Array, lead: float) -> None:
    """One side of a lap: back into the corner first where the driver shunts."""
    d, m = work.drive, work.drive.machine
    half = m.width_m / 2
    short = max(0.0, m.front_m + m.behind_axle_m - half - work.job.over_edge_m)
    line = extended(evenly(extended(evenly(side)[0], half))[0], lead)
    if work.job.corner == "shunt" and m.tongue_m == 0 and len(d.legs) > 3:
        start = line[int((lead + m.behind_axle_m + 1.0) / 0.4)]
        ahead = line[int((lead + m.behind_axle_m + 1.0) / 0.4) + 1]
        h = math.atan2(*(ahead - start)[::-1])
        forth = 0.9 * m.turn_radius_m
        goal = (float(start[0]) + forth * math.cos(h), float(start[1]) + forth * math.sin(h), h)
        if math.dist(d.pose[:2], goal[:2]) < 5 * m.turn_radius_m:
            d.back_up(0.9 * m.turn_radius_m)
            d.turn_to(goal)
            d.back_up(forth + 1.0)
    work.run(line, lead, (0.0, short))


def _bouts(work: Work, inside: Polygon) -> None:
    d, job, m, rng = work.drive, work.job, work.drive.machine, work.drive.rng
    lead = abs(m.behind_axle_m) + 8.0
    if job.stands_crop and job.headland != "none":
        d.room = roomy(work.field.difference(inside.buffer(-3.0)), job.over_edge_m)
    same = np.random.default_rng(work.seed)  # another visit finds the same bouts
    todo: list[list[lay.Bout]] = []
    for part in sorted(parts_of(inside), key=lambda p: -p.area):
        if part.area < 3 * m.width_m:
            continue
        direction = lay.longest_side(work.field) + (math.pi / 2 if job.across else 0.0)
        lines = lay.lines_across(
            same, part, direction, m.width_m, job.overlap_m, job.uneven_m, job.bow_m
        )
        todo += lay.cells(part, lines, m.width_m, job.finish, lead)
    begin = d.pose[:2] if job.share == (0.0, 1.0) else work.gate[:2]
    plan = list(_in_order(todo, begin, job))
    first, last = (round(f * len(plan)) for f in job.share)
    used, stop_at = 0.0, len(plan) * rng.uniform(0.33, 0.67)
    for count, (place, bout) in enumerate(plan):
        if not first <= count < last or (job.every_other and (place // 2) % 2):
            continue
        d.side = -1 if place % 2 else 1
        length = 0.4 * len(bout.points)
        if job.load_m and used and used + length > job.load_m:
            fill(work)
            used = 0.0
        elif rng.random() < job.wait_share:
            d.stop(rng.uniform(40, 400))
        work.run(bout.points, lead)
        used += length
        if count < stop_at <= count + 1:
            pause(work)


def _in_order(
    todo: list[list[lay.Bout]], begin: tuple[float, float], job: Job
) -> Iterator[tuple[int, lay.Bout]]:
    """Bouts as they are driven, each with its place among those of its part of the field."""
    at, left = begin, list(todo)

    def gap(bout: lay.Bout) -> float:
        return min(math.dist(at, bout.points[0]), math.dist(at, bout.points[-1]))

    while left:
        left.sort(key=lambda c: min(gap(c[0]), gap(c[-1])))
        cell = left.pop(0)
        cell = cell[::-1] if gap(cell[-1]) < gap(cell[0]) else cell
        flip = math.dist(at, cell[0].points[-1]) < math.dist(at, cell[0].points[0])
        for place, k in enumerate(lay.order(len(cell), job.pattern, job.step)):
            bout = cell[k].turned() if flip != (place % 2 == 1) else cell[k]
            at = (float(bout.points[-1, 0]), float(bout.points[-1, 1]))
            yield place, bout
