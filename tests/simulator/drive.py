"""What the driver does, as pieces of path: bouts, turns, travel, stops and road."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from tests.simulator.curves import (
    STEP_M,
    Pose,
    arcs,
    cut,
    dense,
    dubins,
    fillet,
    length,
    pose_at,
)
from tests.simulator.machines import Machine
from tests.simulator.turns import best_turn, cheapest, straight, way

Floats = NDArray[np.float64]


@dataclass
class Piece:
    """One stretch of path of the axle, driven in one gear, and the stop at its end.

    kind: bout, turn, travel or road. gear: 1 forward, -1 reverse.
    down: arcs along xy between which the working line is over the ideal bout; None for none.
    dwell_s, dwell_kind: the stop at its end (stand, fill, brief); dwell_down: implement left down.
    machine, place: index of the rig in use and of the visit (-1: on the road).
    held: the implement stays down into the next piece.
    """

    xy: Floats
    kind: str
    v: float
    gear: int = 1
    vary: float = 0.0
    down: tuple[float, float] | None = None
    dwell_s: float = 0.0
    dwell_kind: str = "stand"
    dwell_down: bool = False
    machine: int = 0
    place: int = -1
    bout: int = 0
    held: bool = False


@dataclass
class Stay:
    """One stay in a field, as driven."""

    field: int
    machine: int


@dataclass
class Drive:
    """The day so far. Grows piece by piece; see the functions of this module."""

    rng: np.random.Generator
    machines: list[Machine]
    pose: Pose
    fields: list[Polygon] = field(default_factory=list)
    pieces: list[Piece] = field(default_factory=list)
    stays: list[Stay] = field(default_factory=list)
    machine: int = 0
    place: int = -1
    bouts: int = 0
    since_fill_m2: float = 0.0
    fill_at: tuple[float, float] | None = None
    reverses: bool = True

    @property
    def m(self) -> Machine:
        return self.machines[self.machine]

    @property
    def ground(self) -> Polygon:
        return self.fields[self.stays[self.place].field]


def _add(d: Drive, xy: Floats, kind: str, v: float, gear: int = 1, **more: Any) -> None:
    if len(xy) < 2 or length(xy) < 1e-6:
        return
    d.pieces.append(Piece(xy, kind, v, gear, machine=d.machine, place=d.place, **more))
    end = xy[-1] - xy[-2]
    heading = math.atan2(end[1], end[0]) + (0 if gear > 0 else math.pi)
    d.pose = Pose(float(xy[-1, 0]), float(xy[-1, 1]), heading)


def stop(d: Drive, seconds: float, kind: str = "stand", down: bool = False) -> None:
    """Stand still. kind: stand, fill, brief (a moment within another state), off (logger off)."""
    last = d.pieces[-1]
    last.dwell_s, last.dwell_kind, last.dwell_down = last.dwell_s + seconds, kind, down


def enter(d: Drive, number: int, machine: int | None = None) -> None:
    """Begin a stay in a field."""
    if machine is not None:
        d.machine = machine
    d.stays.append(Stay(number, d.machine))
    d.place = len(d.stays) - 1
    d.since_fill_m2 = 0.0


def leave(d: Drive) -> None:
    d.place = -1


def road(d: Drive, *points: tuple[float, float], v: float | None = None) -> None:
    """Drive a rounded line of points on the road."""
    line = fillet(np.array([(d.pose.x, d.pose.y), *points]), 12.0)
    _add(d, dense(line), "road", v or d.m.road_m_s, vary=0.05)


def ahead(d: Drive, distance_m: float, kind: str, v: float) -> None:
    """Drive straight on."""
    _add(d, straight(d.pose, distance_m), kind, v)


def back(d: Drive, distance_m: float, v: float = 1.2) -> None:
    """Reverse straight, on the road."""
    _add(d, straight(d.pose, -distance_m), "road", v, -1)


def back_up(d: Drive, distance_m: float) -> None:
    """Reverse straight in the field, the implement up."""
    _add(d, straight(d.pose, -distance_m), "turn", 0.5 * d.m.turn_m_s, -1)


@lru_cache(maxsize=64)
def _within(ground: Polygon) -> Polygon:
    """The field without the metre along its edge."""
    return ground.buffer(-1.0)


def turn_to(d: Drive, b: Pose, kind: str = "turn", v: float | None = None) -> None:
    """Turn with the implement up to a pose nearby."""
    zone = _within(d.ground)
    found = best_turn(d.pose, b, d.m.radius_m, zone, d.reverses and not d.m.trailed_turns)
    if found.out_m > 12 and d.m.trailed_turns and d.reverses:
        found = best_turn(d.pose, b, d.m.radius_m, zone, True)
    speed = v or d.m.turn_m_s
    for i, (gear, xy) in enumerate(found.parts):
        _add(d, xy, kind, speed if gear > 0 else 0.55 * speed, gear)
        if i < len(found.parts) - 1:
            stop(d, float(d.rng.uniform(0.6, 1.8)), "brief")


def travel_to(d: Drive, b: Pose, v: float | None = None, along: Floats | None = None) -> None:
    """Travel in the field with the implement up; straight over the work or along the headland."""
    r = d.m.radius_m
    edge = max(3.0, min(d.m.width_m * 0.6, 12.0))
    line = way(d.ground, (d.pose.x, d.pose.y), (b.x, b.y), edge) if along is None else along
    line = line[np.concatenate([[True], np.hypot(*np.diff(line, axis=0).T) > 0.5])]
    if len(line) < 2:
        line = np.array([[d.pose.x, d.pose.y], [b.x, b.y]])
    total = length(line)
    speed = v or d.m.travel_m_s
    if total < 6 * r:
        turn_to(d, b, "travel", min(speed, d.m.turn_m_s * 1.2))
        return
    smooth = fillet(line, 1.6 * r)
    s = arcs(smooth)[-1]
    clear = min(2.5 * r, 0.35 * s)
    first = pose_at(smooth, clear)
    zone = _within(d.ground)
    for xy in cheapest(zone, dubins(d.pose, first, r)).parts:
        _add(d, xy[1], "travel", speed, vary=0.04)
    _add(d, dense(cut(smooth, clear, s - clear)), "travel", speed, vary=0.04)
    for xy in cheapest(zone, dubins(d.pose, b, r)).parts:
        _add(d, xy[1], "travel", speed, vary=0.04)


@dataclass(frozen=True, eq=False)
class Bout:
    """One bout to work: the line of the working line's middle, and where along it to work.

    slow: speed against the usual one. backed: the implement is backed up to its start.
    """

    line: Floats
    start_m: float
    end_m: float
    slow: float = 1.0
    backed: bool = False

    def reversed(self) -> Bout:
        total = float(arcs(self.line)[-1])
        return Bout(
            self.line[::-1], total - self.end_m, total - self.start_m, self.slow, self.backed
        )

    @property
    def size_m(self) -> float:
        return self.end_m - self.start_m


def run_in_m(m: Machine) -> float:
    """How far before the work the machine must run straight."""
    return 1.5 + 1.6 * m.drag_m


def bout_start(d: Drive, b: Bout) -> Pose:
    """Where the axle must be, and how it must look, to begin a bout."""
    lead = 0.0 if b.backed else run_in_m(d.m)
    return pose_at(b.line, b.start_m - d.m.line_from_axle_m - lead)


def approach(d: Drive, b: Bout) -> None:
    """Get to the start of a bout: a turn when it is near, else travel."""
    start = bout_start(d, b)
    far = math.hypot(start.x - d.pose.x, start.y - d.pose.y)
    if far > max(60.0, 3.2 * d.m.width_m):
        travel_to(d, start)
    else:
        turn_to(d, start)


def work(d: Drive, b: Bout, stops: list[tuple[float, float, bool]] | None = None) -> None:
    """Work one bout from where its approach ended.

    stops: (share of the bout, seconds, implement left down) for stops on the way.
    """
    m = d.m
    offset = m.line_from_axle_m
    lead = 0.0 if b.backed else run_in_m(m)
    first, last = b.start_m - offset - lead, b.end_m - offset + (0.6 if m.line_m < 0 else 0.3)
    xy = _wandered(d, dense(cut(b.line, first, last)), m.wander_m)
    s = float(arcs(xy)[-1])
    down = (lead, max(lead + 0.5, s - (last - (b.end_m - offset))))
    d.bouts += 1
    edges = [0.0, *[down[0] + share * (down[1] - down[0]) for share, _, _ in stops or []], s]
    slow_by = float(d.rng.normal(1.0, m.vary / 2))
    for i, (lo, hi) in enumerate(pairwise(edges)):
        part = cut(xy, lo, hi) if len(edges) > 2 else xy
        held = i < len(edges) - 2 and bool(stops and stops[i][2])
        inside = (max(down[0] - lo, 0.0), min(down[1] - lo, hi - lo))
        _add(
            d, part, "bout", m.work_m_s * b.slow * slow_by, vary=m.vary, bout=d.bouts,
            down=inside if inside[1] > inside[0] else None, held=held,
        )  # fmt: skip
        if stops and i < len(stops):
            stop(d, stops[i][1], "stand", stops[i][2])
    d.since_fill_m2 += b.size_m * m.width_m


def _wandered(d: Drive, xy: Floats, sd_m: float) -> Floats:
    """Steering that is not quite straight: a slow sideways swing that is nought at both ends."""
    if sd_m <= 0 or len(xy) < 80:
        return xy
    s = arcs(xy)
    n = max(4, int(s[-1] / 18.0))
    knots = d.rng.normal(0, sd_m, n + 1)
    swing = np.interp(s, np.linspace(0, s[-1], n + 1), knots)
    window = np.hanning(max(3, int(14.0 / STEP_M)))
    swing = np.convolve(swing, window / window.sum(), mode="same")
    taper = np.clip(np.minimum(s, s[-1] - s) / 15.0, 0, 1)
    direction = np.gradient(xy, axis=0)
    direction /= np.hypot(*direction.T)[:, None]
    normal = np.column_stack([-direction[:, 1], direction[:, 0]])
    return np.asarray(xy + normal * (swing * taper)[:, None])


def fill(d: Drive, seconds: float | None = None, kind: str = "fill") -> None:
    """Go to the place of filling or emptying, stand there, shuffle a little."""
    if d.fill_at is not None:
        x, y = d.fill_at
        x += float(d.rng.normal(0, 1.5))
        y += float(d.rng.normal(0, 1.5))
        heading = math.atan2(y - d.pose.y, x - d.pose.x)
        travel_to(d, Pose(x, y, heading))
    span = d.m.fill_s
    stop(d, float(d.rng.uniform(*span)) if seconds is None else seconds, kind)
    d.since_fill_m2 = 0.0
