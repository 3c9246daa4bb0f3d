"""How a driver works a field: headland, bouts, refills, mishaps."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from benchmarks.second import bouts as lay
from benchmarks.second.driving import Drive
from benchmarks.second.jobs import Job
from benchmarks.second.outlines import parts_of
from benchmarks.second.steering import Array, Pose, evenly
from benchmarks.second.turning import roomy, way_within


@dataclass(frozen=True, eq=False)
class Work:
    """A job in a field, as it is being done."""

    drive: Drive
    job: Job
    field: Polygon
    gate: Pose  # just within the gate, heading inwards
    obstacles: list[tuple[float, float]]

    def run(self, line: Array, lead_m: float, ends: tuple[float, float] = (0.0, 0.0)) -> None:
        """Go to a line and work it; `lead_m` of it at both ends lie beyond the work.

        `ends` is how much of the work is left out at either end (a rear implement in a corner).
        """
        d, job, rng, m = self.drive, self.job, self.drive.rng, self.drive.machine
        line = evenly(line)[0]
        length = float(np.hypot(*np.diff(line, axis=0).T).sum())
        for o in self.obstacles:
            line = lay.swerved(line, o, m.width_m / 2 + 1.0)
        right = m.right_m * (d.side if m.turns_over else 1)
        offset = right + lay.weave(rng, len(line), 0.4, job.weave_m)
        step = np.gradient(line, axis=0)
        normal = np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None]
        path, _ = evenly(line + normal * offset[:, None])
        start = lead_m + ends[0] + m.behind_axle_m + rng.normal(*job.lower_m)
        stop = length - lead_m - ends[1] + m.behind_axle_m + rng.normal(*job.lift_m)
        low = max(0.0, lead_m + ends[0] + m.behind_axle_m - rng.uniform(1.5, 4.0))
        high = min(length, stop + rng.uniform(0.5, 2.5))
        a, b = int(low / 0.4), min(len(path), int(high / 0.4) + 2)
        path = path[a:b]
        if len(path) < 8:
            return
        start, stop = start - a * 0.4, stop - a * 0.4
        h = math.atan2(*(path[3] - path[0])[::-1])
        x, y = float(path[0, 0]), float(path[0, 1])
        if job.backs_in and m.tongue_m == 0:
            forth = rng.uniform(4, 7)
            d.go((x + forth * math.cos(h), y + forth * math.sin(h), h), self.field)
            d.back_up(forth)
        else:
            d.go((x, y, h), self.field)
        self._worked(path, start, stop)

    def _worked(self, path: Array, start: float, stop: float) -> None:
        """Drive a bout's path with what interrupts it on the way."""
        d, rng, m = self.drive, self.drive.rng, self.drive.machine
        speed = m.speed_m_s * (1 + rng.normal(0, 0.02) - self.job.uphill * d.side)
        at, low = 0.0, start
        for place, seconds, back, label in sorted(self._mishaps(start, stop)):
            if place - at < 6 or stop - place < 25:
                continue
            piece = path[int(at / 0.4) : int(place / 0.4) + 1]
            d.along(piece, speed, "turning", (low - at, math.inf))
            if not seconds:
                at = low = place - back
                d.along(path[int(place / 0.4) : int(at / 0.4) + 1], speed, "travelling")
                continue
            d.stop(seconds, label)
            if back:
                d.back_up(back)
            at = place - back
            low = at + rng.uniform(0.1, 0.9) * back
        d.along(path[int(at / 0.4) :], speed, "turning", (low - at, stop - at))

    def _mishaps(self, start: float, stop: float) -> Iterator[tuple[float, float, float, str]]:
        job, rng = self.job, self.drive.rng
        length = max(stop - start, 0.0)
        for _ in range(rng.poisson(job.blocked_per_km * length / 1000)):
            yield rng.uniform(start, stop), rng.uniform(25, 150), rng.uniform(3, 8), "standing"
        for _ in range(rng.poisson(job.idle_down_per_km * length / 1000)):
            yield rng.uniform(start, stop), rng.uniform(8, 60), 0.0, "standing"
        for _ in range(rng.poisson(job.raised_per_km * length / 1000)):
            yield rng.uniform(start, stop), 0.0, -rng.uniform(6, 18), "travelling"
        if job.tie_every_m:
            for place in np.arange(
                start + rng.uniform(0.1, 1) * job.tie_every_m, stop, job.tie_every_m
            ):
                yield place * rng.uniform(0.97, 1.03), rng.uniform(*job.tie_s), 0.0, "standing"


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
            _fill(work)
        elif k:
            _pause(work)
        work.run(_extended(part, lead), lead)
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
            work.run(_extended(evenly(np.array([a, b]))[0], lead), lead)


def _extended(path: Array, by_m: float) -> Array:
    """A line with straight run-in and run-out."""
    a, b = path[0] - path[4], path[-1] - path[-5]
    s = np.arange(0.4, by_m + 0.4, 0.4)
    head = path[0] + np.outer(s[::-1], a / np.hypot(*a))
    return np.concatenate([head, path, path[-1] + np.outer(s, b / np.hypot(*b))])


def _laps(work: Work, edge: list[Array]) -> None:
    d, m, job, rng = work.drive, work.drive.machine, work.job, work.drive.rng
    lead = abs(m.behind_axle_m) + 6.0
    backwards = rng.random() < 0.5
    done = 0.0
    for ring in edge:
        lap = lay.started_at(ring, d.pose[:2], backwards, 2.0 * m.turn_radius_m + lead)
        if job.corner == "round":
            work.run(_extended(np.concatenate([lap, lap[:8]]), lead), lead)
        else:
            for side in lay.sides(lap, 0.6):
                if np.hypot(*np.diff(side, axis=0).T).sum() > 4:
                    _one_side(work, side, lead)
        done += 0.4 * len(lap)
        if job.load_m and done > job.load_m:
            _fill(work)
            done = 0.0


def _one_side(work: Work, side: Array, lead: float) -> None:
    """One side of a lap: back into the corner first where the driver shunts."""
    d, m = work.drive, work.drive.machine
    half = m.width_m / 2
    short = max(0.0, m.front_m + m.behind_axle_m - half - work.job.over_edge_m)
    line = _extended(evenly(_extended(evenly(side)[0], half))[0], lead)
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
    todo: list[list[lay.Bout]] = []
    for part in sorted(parts_of(inside), key=lambda p: -p.area):
        if part.area < 3 * m.width_m:
            continue
        direction = lay.longest_side(work.field) + (math.pi / 2 if job.across else 0.0)
        lines = lay.lines_across(
            rng, part, direction, m.width_m, job.overlap_m, job.uneven_m, job.bow_m
        )
        todo += lay.cells(part, lines, m.width_m, job.finish, lead)
    total = sum(len(c) for c in todo)
    first, last = (round(f * total) for f in job.share)
    count, used, stop_at = 0, 0.0, rng.integers(max(1, total // 3), max(2, 2 * total // 3))
    while todo:
        todo.sort(key=lambda c: min(_gap(d.pose, b) for b in (c[0], c[-1])))
        cell = todo.pop(0)
        if _gap(d.pose, cell[-1]) < _gap(d.pose, cell[0]):
            cell = cell[::-1]
        flip = math.dist(d.pose[:2], cell[0].points[-1]) < math.dist(d.pose[:2], cell[0].points[0])
        for place, k in enumerate(lay.order(len(cell), job.pattern, job.step)):
            mine = not job.every_other or (place // 2) % 2 == 0
            if first <= count < last and mine:
                d.side = -1 if (place % 2 == 1) else 1
                bout = cell[k].turned() if flip != (place % 2 == 1) else cell[k]
                length = 0.4 * len(bout.points)
                if job.load_m and used + length > job.load_m and used:
                    _fill(work)
                    used = 0.0
                elif rng.random() < job.wait_share:
                    d.stop(rng.uniform(40, 400))
                work.run(bout.points, lead)
                used += length
                if count == stop_at:
                    _pause(work)
            count += 1


def _gap(pose: Pose, bout: lay.Bout) -> float:
    return min(math.dist(pose[:2], bout.points[0]), math.dist(pose[:2], bout.points[-1]))


def _pause(work: Work) -> None:
    """Lunch where the machine stands, or with the key off."""
    d, job = work.drive, work.job
    if job.lunch:
        d.stop(d.rng.uniform(1300, 3300), "standing", job.lunch == "dark")
    if job.breakdown:
        _leave_and_return(work, d.rng.uniform(1500, 4000), "standing")


def _fill(work: Work) -> None:
    """Get a load (or rid of one) at the gate, where the machine is, or in the yard."""
    d, job, rng = work.drive, work.job, work.drive.rng
    seconds = rng.uniform(*job.load_s)
    if job.load_at == "here":
        d.stop(seconds, "filling")
    elif job.load_at == "yard":
        _leave_and_return(work, seconds, "filling")
    else:
        x, y, _ = work.gate
        spot = x + rng.normal(0, 3.0), y + rng.uniform(2, 8)
        way = way_within(work.field, d.pose[:2], spot, 2 * d.machine.turn_radius_m)
        h = math.atan2(spot[1] - way[-2][1], spot[0] - way[-2][0]) + rng.normal(0, 0.15)
        d.go((*spot, h), work.field, "travelling")
        d.stop(seconds, "filling")


def _leave_and_return(work: Work, seconds: float, label: str) -> None:
    d, rng = work.drive, work.drive.rng
    x, y, h = work.gate
    where, far = d.where, rng.uniform(120, 500)
    d.go((x, y, h + math.pi), work.field, "travelling")
    d.where, d.room, room = -1, None, d.room
    d.road_to((x - 22, rng.uniform(-2, 2), math.pi), 0.35)
    d.road_to((x - far, rng.uniform(-6, 6), math.pi))
    d.stop(seconds, label)
    d.road_to((x - far + 12, -14.0, 0.0), 0.3)
    d.road_to((x - 22, rng.uniform(-2, 2), 0.0))
    d.road_to((x, y, h), 0.35)
    d.where, d.room = where, room
