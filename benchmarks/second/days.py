"""A scenario's day: the plan, driven, measured, logged."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from benchmarks.second import places, receivers, truth
from benchmarks.second.driving import Drive, Machine, Motion, driven
from benchmarks.second.jobs import Job
from benchmarks.second.machines import machine
from benchmarks.second.outlines import as_drawn
from benchmarks.second.places import Globe, Plot
from benchmarks.second.receivers import Logger
from benchmarks.second.records import STATES, Day, Ground, Stay
from benchmarks.second.runs import Work
from benchmarks.second.steering import STEP_S
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


def build(scenario: Scenario, seed: int) -> Day:
    rng = np.random.default_rng([seed, zlib.crc32(scenario.name.encode())])
    plots = _plots(rng, scenario)
    m = machine(rng, scenario.kind, scenario.width_m, scenario.turns_over)
    motion = driven(_planned(rng, scenario, plots, m))
    slow = receivers.slow_error(rng, len(motion.at_s), scenario.logger.quality)
    if scenario.logger.steers:
        motion = motion.aside(-slow)
    shown = motion if scenario.logger.interval_s >= STEP_S else motion.doubled()
    slow = slow if len(slow) == len(shown.at_s) else np.repeat(slow, 2, axis=0)[:-1]
    trees = receivers.trees_about(rng, shown, scenario.logger.shaded)
    seen = receivers.observed(rng, shown, scenario.logger, slow, trees)
    keep = receivers.kept(rng, shown, seen, scenario.logger, trees)
    if scenario.logger.repeats:
        keep = np.sort(
            np.concatenate([keep, keep[rng.random(len(keep)) < scenario.logger.repeats]])
        )
    points = receivers.spoilt(rng, seen[keep], scenario.logger)
    ground = places.globe(rng, scenario.region, places.middle_of(plots))
    started = _start(rng, ground)
    at = receivers.stamps(rng, shown.at_s[keep], scenario.logger)
    degrees = receivers.rounded(ground.degrees(points), scenario.logger)
    drawn = [_drawn(rng, scenario, p.shape) for p in plots]
    first, last = shown.at_s[keep[0]], shown.at_s[keep[-1]]
    within = (motion.at_s >= first - 1e-9) & (motion.at_s < last - 1e-9)
    return Day(
        name=scenario.name,
        quality=scenario.logger.quality,
        interval_s=scenario.logger.interval_s,
        time=np.datetime64(started.replace(tzinfo=None), "us")
        + np.round(at * 1e6).astype("timedelta64[us]"),
        lat=degrees[:, 1].copy(),
        lon=degrees[:, 0].copy(),
        labels=_labels(shown, keep),
        fields=[
            Ground(f"field {k + 1}", d and ground.shape(d), ground.shape(p.shape))
            for k, (p, d) in enumerate(zip(plots, drawn, strict=True))
        ],
        stays=_stays(motion, within, m, plots, drawn, ground, started),
        rig=_rig(m, scenario.stated),
    )


def _plots(rng: Generator, s: Scenario) -> list[Plot]:
    if s.layout == "shared":
        return places.side_by_side(rng, len(s.shapes), s.area_ha)
    if s.layout == "behind":
        return places.one_behind_another(rng, s.area_ha)
    return places.along_a_road(rng, s.shapes, s.area_ha, s.gap_m)


def _drawn(rng: Generator, s: Scenario, true: Polygon) -> Polygon | None:
    return None if s.drawn_m < 0 else as_drawn(rng, true, s.drawn_m, s.inwards_m)


def _start(rng: Generator, ground: Globe) -> datetime:
    day = datetime(2023, 1, 1, tzinfo=UTC) + timedelta(days=int(rng.integers(0, 900)))
    local = rng.uniform(5.5, 15.0)
    return day + timedelta(seconds=round((local - ground.lon / 15) * 3600, 1))


def _planned(rng: Generator, s: Scenario, plots: list[Plot], m: Machine) -> Drive:
    first = plots[0].gate
    begin = (first[0] - rng.uniform(120, 400), rng.uniform(-4, 4), 0.0)
    drive = Drive(m, rng, begin if s.roads else (first[0], first[1] - 2, first[2]))
    at: int | None = None if s.roads else (s.visits[0].field if s.visits else 0)
    visits = s.visits or tuple(Visit(k) for k in range(len(plots)))
    if not s.roads:
        drive.where = at or 0
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


def _labels(motion: Motion, keep: NDArray[np.int64]) -> NDArray[np.str_]:
    """The state that most of each interval was spent in."""
    if len(keep) < 2:
        return np.array(["standing"] * len(keep))
    one = np.array([motion.label == state for state in STATES]).T
    total = np.concatenate([np.zeros((1, len(STATES)), int), np.cumsum(one, axis=0)])
    share = total[keep[1:]] - total[keep[:-1]]
    share = np.where(share.sum(axis=1, keepdims=True) > 0, share, one[keep[:-1]])
    names = np.array(STATES)[np.argmax(share, axis=1)]
    return np.concatenate([names, names[-1:]])


def _stays(
    motion: Motion,
    within: NDArray[np.bool_],
    m: Machine,
    plots: list[Plot],
    drawn: list[Polygon | None],
    ground: Globe,
    started: datetime,
) -> list[Stay]:
    out = []
    for field, a, b in truth.stays(motion, within):
        mask = np.zeros(len(motion.at_s), bool)
        mask[a:b] = motion.down[a:b]
        worked = truth.worked(motion, mask, m.width_m)
        inside = worked.intersection(drawn[field] or plots[field].shape)
        distance, gross = truth.gross_m2(motion, mask, m.width_m)
        shape: Polygon | MultiPolygon = ground.shape(worked)
        seconds = truth.seconds(motion.label[a:b])
        out.append(
            Stay(
                field=f"field {field + 1}",
                started=started + timedelta(seconds=float(motion.at_s[a])),
                ended=started + timedelta(seconds=float(motion.at_s[b - 1] + STEP_S)),
                worked=shape,
                worked_m2=inside.area,
                gross_m2=gross,
                seconds=seconds,
                working_speed_m_s=distance / max(seconds.get("working", 0.0), STEP_S),
            )
        )
    return out


def _rig(m: Machine, stated: str) -> dict[str, Any]:
    if stated == "nothing":
        return {}
    out: dict[str, Any] = {"width_m": m.width_m, "holds": m.holds, "header": m.header}
    if stated == "width":
        return {"width_m": m.width_m}
    if not m.turns_over:
        out["right_m"] = round(m.right_m - m.antenna_right_m, 2)
    if m.tongue_m:
        out["hitch_m"] = round(m.antenna_ahead_m + m.back_m, 2)
        out["drag_m"] = round(m.tongue_m, 2)
    else:
        out["behind_m"] = round(m.antenna_ahead_m + m.back_m, 2)
    return out
