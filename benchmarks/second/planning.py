"""What a scenario is, and the plan of its day: roads, gates, fields in their order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.random import Generator
from shapely import Polygon

from benchmarks.second import places
from benchmarks.second.driving import Drive, Machine
from benchmarks.second.jobs import Job
from benchmarks.second.places import Plot
from benchmarks.second.receivers import Logger
from benchmarks.second.runs import Work
from benchmarks.second.working import errand, work_field


@dataclass(frozen=True)
class Visit:
    """One thing to do: work a field, with changes to the job."""

    field: int
    changes: tuple[tuple[str, Any], ...] = ()
    night_before: bool = False
    again: bool = False  # a further operation, without leaving
    errand: bool = False  # not to work: from place to place, with a stop at each


@dataclass(frozen=True)
class Scenario:
    name: str
    kind: str
    job: Job
    logger: Logger
    shapes: tuple[str, ...] = ("rectangle",)
    area_ha: tuple[float, float] = (2.0, 4.0)
    width_m: tuple[float, float] | None = None
    turns_over: bool = False
    layout: str = "road"  # road, shared, behind
    gap_m: float = 120.0
    visits: tuple[Visit, ...] = ()  # none: every field once
    drawn_m: float = 0.0  # error of the boundary as drawn; negative: none is drawn
    inwards_m: float = 0.0  # the boundary is drawn so far inside
    stated: str = "all"  # all, width, nothing
    region: str = "north"
    roads: bool = True  # the track comes by road and goes by road
    other: Scenario | None = None  # a second rig on the same fields: its kind, job and visits
    beside: bool = False  # the second rig is another machine, whose fixes come in between


def plots_of(rng: Generator, s: Scenario) -> list[Plot]:
    """The fields of a scenario."""
    if s.layout == "shared":
        return places.side_by_side(rng, len(s.shapes), s.area_ha)
    if s.layout == "behind":
        return places.one_behind_another(rng, s.area_ha)
    return places.along_a_road(rng, s.shapes, s.area_ha, s.gap_m)


def planned(rng: Generator, s: Scenario, plots: list[Plot], m: Machine) -> Drive:
    """The whole day of one rig, from the yard and back."""
    first = plots[0].gate
    begin = (first[0] - rng.uniform(120, 400), rng.uniform(-4, 4), 0.0)
    drive = Drive(m, rng, begin if s.roads else (first[0], first[1] - 2, first[2]))
    at: int | None = None if s.roads else (s.visits[0].field if s.visits else 0)
    visits = s.visits or tuple(Visit(k) for k in range(len(plots)))
    if not s.roads:
        drive.where = at or 0
    elif rng.random() < 0.5:
        drive.along(np.array([begin[:2], (begin[0] + 12.0, begin[1])]), 1.5, "travelling")
        drive.stop(rng.uniform(30, 500))
    seeds = [int(rng.integers(2**31)) for _ in plots]
    for visit in visits:
        spot = plots[visit.field]
        if at != visit.field:
            _out(drive, plots, at, 1.0 if at is not None and visit.field > at else -1.0)
            if s.layout == "behind" and visit.field == 1:
                _through(drive, plots, 0)
                drive.where, drive.side = 1, 1
            else:
                _in(drive, spot, visit.field)
        if visit.night_before:
            drive.night(rng.uniform(11, 15) * 3600)
        elif visit.again:
            drive.operation += 1
        at = visit.field
        if visit.errand:
            drive.where = -1
            errand(Work(drive, s.job, spot.shape, spot.gate, []))
            continue
        job = replace(s.job, **dict(visit.changes))
        work_field(
            Work(
                drive,
                job,
                spot.shape,
                spot.gate,
                _obstacles(rng, spot.shape, job),
                seeds[visit.field],
            )
        )
    if s.roads:
        if s.layout == "behind" and at == 1:
            _back_through(drive, plots)
        else:
            _out(drive, plots, at)
        drive.road_to((begin[0], begin[1], np.pi))
        drive.stop(rng.uniform(5, 60))
    return drive


def _obstacles(rng: Generator, shape: Polygon, job: Job) -> list[tuple[float, float]]:
    """Poles and trees, somewhere in the inner field."""
    inner = shape.buffer(-0.22 * shape.area**0.5)
    if inner.is_empty or not job.obstacles:
        return []
    x0, y0, x1, y1 = inner.bounds
    return [(float(rng.uniform(x0, x1)), float(rng.uniform(y0, y1))) for _ in range(job.obstacles)]


def _in(drive: Drive, spot: Plot, field: int) -> None:
    """Along the road (y = 0) to a gate, and in."""
    x, y, h = spot.gate
    side = 1.0 if drive.pose[0] < x else -1.0
    drive.room = None
    drive.road_to((x - side * 22, drive.rng.uniform(-2, 2), 0.0 if side > 0 else np.pi))
    drive.road_to((x, y - 3.0, h), 0.35)
    drive.where, drive.side = field, 1


def _out(drive: Drive, plots: list[Plot], at: int | None, side: float = -1.0) -> None:
    """Out at the gate of field `at` (None: is out already) and on to the road."""
    if at is None:
        return
    x, y, h = plots[at].gate
    drive.go((x, y, h + np.pi), plots[at].shape, "travelling")
    drive.where, drive.room = -1, None
    drive.road_to((x + side * 22, drive.rng.uniform(-2, 2), 0.0 if side > 0 else np.pi), 0.35)


def _through(drive: Drive, plots: list[Plot], field: int) -> None:
    """In at the gate, out at the far side, and on to what lies behind."""
    _in(drive, plots[field], field)
    drive.where = -1
    far = plots[field + 1].gate
    pace = drive.rng.uniform(2.0, 5.0) / drive.machine.road_m_s
    drive.road_to((far[0], far[1] - 22.0, np.pi / 2), pace)
    drive.road_to((far[0], far[1], np.pi / 2), pace)


def _back_through(drive: Drive, plots: list[Plot]) -> None:
    """From the further field through the nearer one to the road."""
    x, y, h = plots[1].gate
    drive.go((x, y, h + np.pi), plots[1].shape, "travelling")
    drive.where, drive.room = -1, None
    gate = plots[0].gate
    pace = drive.rng.uniform(2.0, 5.0) / drive.machine.road_m_s
    drive.road_to((x, y - 22.0, -np.pi / 2), pace)
    drive.road_to((gate[0], gate[1], -np.pi / 2), pace)
    drive.road_to((gate[0] - 22.0, 0.0, np.pi), 0.35)
