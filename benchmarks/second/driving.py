"""From intentions to true motion: legs one after the other, driven, with the implement behind."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from shapely import LineString, Polygon

from benchmarks.second.steering import (
    SPACING_M,
    STEP_S,
    Array,
    Pose,
    Vehicle,
    arc,
    drawn,
    evenly,
    pursue,
    shortest_turn,
)
from benchmarks.second.turning import headings, manoeuvres, thinned, way_within

OUTSIDE = -1


@dataclass(frozen=True)
class Machine:
    """A tractor or self-propelled machine with its implement; lengths from the axle in metres."""

    width_m: float
    speed_m_s: float
    vehicle: Vehicle
    back_m: float  # from the axle back to the working line, or to the hitch of what is trailed
    tongue_m: float = 0.0  # from the hitch to the working line; 0: mounted
    right_m: float = 0.0  # the implement's middle is so far right of the tractor's
    antenna_ahead_m: float = 0.6
    antenna_right_m: float = 0.0
    front_m: float = 3.5
    turn_m_s: float = 1.9
    road_m_s: float = 8.0
    turns_over: bool = False  # a reversible plough is right of the tractor out, left of it home
    uneven_pace: float = 0.035  # share by which crop, soil and driver change the speed
    holds: bool = False
    header: bool = False

    @property
    def behind_axle_m(self) -> float:
        return self.back_m + self.tongue_m

    @property
    def turn_radius_m(self) -> float:
        """What is planned with: a driver leaves some lock in hand."""
        return 1.15 * self.vehicle.radius_m


@dataclass(frozen=True, eq=False)
class Leg:
    """A stretch in one gear. `down` is where along it (m) the implement is in work."""

    points: Array
    gear: int
    speed_m_s: float
    label: str
    where: int
    operation: int
    down: tuple[float, float] | None = None
    side: int = 1
    stop_s: float = 0.0
    stop_label: str = "standing"
    dark: bool = False  # the logger is off during the stop
    night_s: float = 0.0  # time that passes unseen after the stop


@dataclass(eq=False)
class Drive:
    """What has been planned so far. `pose` is where the plan stands now."""

    machine: Machine
    rng: Generator
    pose: Pose
    legs: list[Leg] = field(default_factory=list)
    where: int = OUTSIDE
    operation: int = 0
    side: int = 1
    room: Polygon | None = None  # where a turn may reach; None: anywhere

    def along(
        self,
        points: Array,
        speed_m_s: float,
        label: str,
        down: tuple[float, float] | None = None,
        gear: int = 1,
    ) -> None:
        """Drive along points to their end, forwards or (gear -1) backwards."""
        points, length = evenly(points)
        if length < 0.3:
            return
        self.legs.append(
            Leg(points, gear, speed_m_s, label, self.where, self.operation, down, self.side)
        )
        d = (points[-1] - points[-2]) * gear
        self.pose = (float(points[-1, 0]), float(points[-1, 1]), math.atan2(d[1], d[0]))

    def stop(self, seconds: float, label: str = "standing", dark: bool = False) -> None:
        """Stand where the plan stands."""
        last = self.legs[-1]
        self.legs[-1] = Leg(
            **{**last.__dict__, "stop_s": last.stop_s + seconds, "stop_label": label, "dark": dark}
        )

    def night(self, seconds: float) -> None:
        """Key off where the plan stands, until the next day."""
        self.stop(120.0)
        self.legs[-1] = Leg(**{**self.legs[-1].__dict__, "night_s": seconds})
        self.operation += 1

    def back_up(self, metres: float, label: str = "turning") -> None:
        points, _ = arc(self.pose, metres, 0.0, -1)
        self.along(points, 0.55 * self.machine.turn_m_s, label, gear=-1)

    def turn_to(self, goal: Pose, label: str = "turning") -> None:
        """Turn round to a pose: straightaway where there is room, else as costs least trouble."""
        m, r = self.machine, self.machine.turn_radius_m
        speed = m.turn_m_s if label == "turning" else min(1.8 * m.turn_m_s, 4.5)
        speed *= self.rng.uniform(0.85, 1.15)
        direct = shortest_turn(self.pose, goal, r)
        length = SPACING_M * len(direct)
        fits = self.room is None or self.room.contains(LineString(direct))
        manoeuvre = [(direct, 1)]
        if not fits or length > math.dist(self.pose[:2], goal[:2]) + 4.5 * r:
            others = manoeuvres(self.pose, goal, r, m.tongue_m > 0, self.rng.uniform(0.3, 1.5))
            manoeuvre = min([manoeuvre, *others], key=self._trouble)
        for points, gear in manoeuvre:
            self.along(points, speed if gear > 0 else 0.55 * m.turn_m_s, label, gear=gear)

    def _trouble(self, manoeuvre: list[tuple[Array, int]]) -> float:
        """What a driver avoids: metres (backwards more so), changes of gear, leaving the ground."""
        out = 6.0 * len(manoeuvre)
        for points, gear in manoeuvre:
            out += SPACING_M * len(points) * (1 if gear > 0 else 2)
            if self.room is not None:
                out += 12.0 * LineString(points).difference(self.room).length
        return out

    def go(self, goal: Pose, ground: Polygon, label: str | None = None) -> None:
        """Get to a pose within a field: a turn where it is near, else a way round what is shut."""
        r = self.machine.turn_radius_m
        far = math.hypot(goal[0] - self.pose[0], goal[1] - self.pose[1])
        near = far < max(8 * r, 2.2 * self.machine.width_m)
        name = label or ("turning" if near else "travelling")
        if not near:
            way = way_within(ground, self.pose[:2], goal[:2], 2 * r)
            for pose in headings(thinned(way, 3.5 * r)):
                self.turn_to(pose, name)
        self.turn_to(goal, name)

    def road_to(self, goal: Pose, pace: float = 1.0) -> None:
        """Drive outside the fields to a pose, at a share of the speed on roads."""
        speed = pace * self.machine.road_m_s * self.rng.uniform(0.85, 1.1)
        far = math.dist(self.pose[:2], goal[:2])
        if far > 150 and pace == 1.0:
            bend = self.rng.normal(0, 0.04 * min(far, 250.0))
            mid = ((self.pose[0] + goal[0]) / 2, (self.pose[1] + goal[1]) / 2 + bend)
            way = math.atan2(goal[1] - self.pose[1], goal[0] - self.pose[0])
            path = shortest_turn(self.pose, (*mid, way), 1.3 * self.machine.turn_radius_m)
            self.along(path, speed, "travelling")
        self.along(shortest_turn(self.pose, goal, self.machine.turn_radius_m), speed, "travelling")


@dataclass(frozen=True, eq=False)
class Motion:
    """The true day in steps of `STEP_S` seconds; `at_s` from its start."""

    at_s: Array
    antenna: Array  # (n, 2) m
    middle: Array  # (n, 2) m, of the working line
    facing: Array  # (n,) rad, of the implement
    speed_m_s: Array
    label: NDArray[np.str_]
    where: NDArray[np.int64]
    operation: NDArray[np.int64]
    dark: NDArray[np.bool_]
    width_m: Array  # of the implement

    def aside(self, by_m: Array) -> Motion:
        """The same, but off by (n, 2) metres: steered by a receiver that errs so."""
        return replace(self, antenna=self.antenna + by_m, middle=self.middle + by_m)

    def later(self, by_s: float) -> Motion:
        """The same at another time of the day, as operations of their own."""
        return replace(self, at_s=self.at_s + by_s, operation=self.operation + 100)

    def then(self, after: Motion) -> Motion:
        """This and what comes after it, as one."""
        both = ((getattr(self, f.name), getattr(after, f.name)) for f in fields(self))
        return Motion(*(np.concatenate(pair) for pair in both))

    def doubled(self) -> Motion:
        """The same in steps half as long, for loggers quicker than the simulation."""
        n = len(self.at_s)
        k = np.arange(2 * n - 1) / 2

        def between(values: Array) -> Array:
            return np.interp(k, np.arange(n), values)

        def pairs(values: Array) -> Array:
            return np.column_stack([between(values[:, 0]), between(values[:, 1])])

        return Motion(
            between(self.at_s),
            pairs(self.antenna),
            pairs(self.middle),
            between(np.unwrap(self.facing)),
            between(self.speed_m_s),
            np.repeat(self.label, 2)[:-1],
            np.repeat(self.where, 2)[:-1],
            np.repeat(self.operation, 2)[:-1],
            np.repeat(self.dark, 2)[:-1],
            np.repeat(self.width_m, 2)[:-1],
        )

    @property
    def down(self) -> NDArray[np.bool_]:
        return np.asarray(self.label == "working")


def _chains(legs: list[Leg]) -> list[list[int]]:
    """Runs of legs in one gear without a stop in between."""
    out: list[list[int]] = []
    for k, leg in enumerate(legs):
        if out and legs[k - 1].gear == leg.gear and not legs[k - 1].stop_s:
            out[-1].append(k)
        else:
            out.append([k])
    return out


def driven(drive: Drive) -> Motion:
    """Drive all legs of a plan."""
    m, rng, legs = drive.machine, drive.rng, drive.legs
    pose: Pose | None = None
    parts: list[tuple[NDArray[Any], ...]] = []
    for chain in _chains(legs):
        points = [legs[k].points for k in chain]
        ends = np.cumsum([np.hypot(*np.diff(p, axis=0).T).sum() for p in points])
        line, length = evenly(np.concatenate(points))
        at = np.linspace(0, length, len(line))
        owner = np.minimum(np.searchsorted(ends * length / ends[-1], at), len(chain) - 1)
        wanted = np.array([legs[k].speed_m_s for k in chain])[owner]
        first = legs[chain[0]]
        if pose is None:
            d = (line[1] - line[0]) * first.gear
            pose = (float(line[0, 0]), float(line[0, 1]), math.atan2(d[1], d[0]))
        pace = np.clip(1 + m.uneven_pace * _slow(rng, 300, 25.0), 0.5, 1.3)
        trace = pursue(pose, line, wanted, first.gear, m.vehicle, pace)
        which = np.minimum(
            np.searchsorted(ends * length / ends[-1], trace.along, "right"), len(chain) - 1
        )
        start = np.concatenate([[0], ends[:-1]])
        own = trace.along * ends[-1] / length - start[which]
        index = np.array(chain)[which]
        stand = np.zeros(len(index), bool)
        stop_n = round(legs[chain[-1]].stop_s / STEP_S)
        cols = [trace.x, trace.y, trace.heading, trace.speed, own, index, stand]
        if stop_n:
            cols = [np.concatenate([c, np.repeat(c[-1:], stop_n)]) for c in cols]
            cols[3][-stop_n:], cols[6][-stop_n:] = 0.0, True
        pose = (float(trace.x[-1]), float(trace.y[-1]), float(trace.heading[-1]))
        parts.append(tuple(cols))
    x, y, h, v, own, index, stand = (np.concatenate(c) for c in zip(*parts, strict=True))
    return _with_implement(m, legs, x, y, h, v, own, index, stand)


def _with_implement(
    m: Machine,
    legs: list[Leg],
    x: Array,
    y: Array,
    h: Array,
    v: Array,
    own: Array,
    index: NDArray[np.int64],
    stand: NDArray[np.bool_],
) -> Motion:
    cos, sin = np.cos(h), np.sin(h)
    side = np.array([leg.side for leg in legs])[index] if m.turns_over else 1
    right = m.right_m * side
    lines_x, lines_y = x - m.back_m * cos, y - m.back_m * sin
    facing = h
    if m.tongue_m:
        facing = drawn(lines_x, lines_y, float(h[0]), m.tongue_m, h)
        lines_x = lines_x - m.tongue_m * np.cos(facing)
        lines_y = lines_y - m.tongue_m * np.sin(facing)
    middle = np.column_stack([lines_x + right * np.sin(facing), lines_y - right * np.cos(facing)])
    antenna = np.column_stack(
        [
            x + m.antenna_ahead_m * cos + m.antenna_right_m * sin,
            y + m.antenna_ahead_m * sin - m.antenna_right_m * cos,
        ]
    )
    low = np.array([leg.down[0] if leg.down else np.inf for leg in legs])[index]
    high = np.array([leg.down[1] if leg.down else -np.inf for leg in legs])[index]
    label = np.array([leg.label for leg in legs])[index].astype("U10")
    label[(own >= low) & (own <= high)] = "working"
    label[stand] = np.array([leg.stop_label for leg in legs])[index][stand]
    nights = np.array([0.0, *(leg.night_s for leg in legs)])[index]
    dark = stand & np.array([leg.dark for leg in legs])[index]
    return Motion(
        np.arange(len(x)) * STEP_S + np.where(np.diff(index, prepend=index[0]), nights, 0).cumsum(),
        antenna,
        middle,
        facing,
        v,
        label,
        np.array([leg.where for leg in legs])[index],
        np.array([leg.operation for leg in legs])[index],
        dark,
        np.full(len(x), m.width_m),
    )


def _slow(rng: Generator, n: int, span: float) -> Array:
    """Noise of unit size that changes over `span` steps."""
    keep = math.exp(-1.0 / span)
    kick = rng.normal(0, math.sqrt(1 - keep * keep), n)
    out, value = [], float(rng.normal())
    for k in kick.tolist():
        value = keep * value + k
        out.append(value)
    return np.array(out)
