"""One run with the implement down, and the stops that a day has."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from benchmarks.second import bouts as lay
from benchmarks.second.driving import Drive
from benchmarks.second.jobs import Job
from benchmarks.second.steering import Array, Pose, evenly
from benchmarks.second.turning import way_within


@dataclass(frozen=True, eq=False)
class Work:
    """A job in a field, as it is being done."""

    drive: Drive
    job: Job
    field: Polygon
    gate: Pose  # just within the gate, heading inwards
    obstacles: list[tuple[float, float]]
    seed: int = 0

    def run(self, line: Array, lead_m: float, ends: tuple[float, float] = (0.0, 0.0)) -> None:
        """Go to a line and work it; `lead_m` of it at both ends lie beyond the work.

        `ends` is how much of the work is left out at either end (a rear implement in a corner).
        """
        d, job, rng, m = self.drive, self.job, self.drive.rng, self.drive.machine
        line = evenly(line)[0]
        for o in self.obstacles:
            line = lay.swerved(line, o, m.width_m / 2 + 1.0)
        right = m.right_m * (d.side if m.turns_over else 1)
        offset = right + lay.weave(rng, len(line), 0.4, job.weave_m)
        step = np.gradient(line, axis=0)
        normal = np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None]
        # Beside the implement's line the way is longer or shorter; its ends are straight.
        path, length = evenly(line + normal * offset[:, None])
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


def extended(path: Array, by_m: float) -> Array:
    """A line with straight run-in and run-out."""
    a, b = path[0] - path[4], path[-1] - path[-5]
    s = np.arange(0.4, by_m + 0.4, 0.4)
    head = path[0] + np.outer(s[::-1], a / np.hypot(*a))
    return np.concatenate([head, path, path[-1] + np.outer(s, b / np.hypot(*b))])


def pause(work: Work) -> None:
    """Lunch where the machine stands, or with the key off."""
    d, job = work.drive, work.job
    if job.lunch:
        d.stop(d.rng.uniform(1300, 3300), "standing", job.lunch == "dark")
    if job.breakdown:
        _leave_and_return(work, d.rng.uniform(1500, 4000), "standing")


def fill(work: Work) -> None:
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
