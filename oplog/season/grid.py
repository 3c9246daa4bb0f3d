"""Straight bouts laid on a grid: their common direction, and their offsets in whole bouts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from oplog import geodesy
from oplog.errors import OplogError
from oplog.events import WorkMeasured
from oplog.records import dataclass
from oplog.work.clean import drift_m

Floats = NDArray[np.float64]

PARALLEL_DEG = 4.0
"""Pieces of bouts within this of the common direction go with it."""
STRAIGHT_SHARE = 0.9
"""A bout is straight when so much of its length goes with the common direction."""
ENOUGH_SHARE = 0.5
"""With less of the length of all bouts straight and parallel there is no grid to speak of."""


@dataclass(frozen=True, eq=False)
class Lane:
    """A straight bout in the turned plane: across at v, from u0 to u1. order: in time."""

    v: float
    u0: float
    u1: float
    order: int


@dataclass(frozen=True, eq=False)
class Grid:
    """Lanes on a grid: v = first + step x number. scatter_m: of the bouts about it."""

    first: float
    step: float
    count: int
    scatter_m: float


def bouts_of(visits: Sequence[WorkMeasured], plane: geodesy.Plane) -> list[Floats]:
    """All bouts of visits in a plane, in order of time: (n, 2) metres each."""
    found = []
    for v in visits:
        for line in shapely.get_parts(plane.project(shapely.from_wkb(v.bouts))):
            if line.length > 0:
                found.append(shapely.get_coordinates(line))
    return found


def direction(bouts: Sequence[Floats]) -> float:
    """The direction that most of the length goes in, as an angle from east. [rad]"""
    steps = np.concatenate([np.diff(plain(b), axis=0) for b in bouts])
    length = np.hypot(*steps.T)
    angle = np.arctan2(steps[:, 1], steps[:, 0]) % np.pi
    bins = np.bincount((np.degrees(angle)).astype(int) % 180, weights=length, minlength=180)
    smooth = bins + np.roll(bins, 1) + np.roll(bins, -1)
    middle = np.radians(float(np.argmax(smooth)) + 0.5)
    off = (angle - middle + np.pi / 2) % np.pi - np.pi / 2
    near = np.abs(off) < np.radians(PARALLEL_DEG)
    return float(middle + np.average(off[near], weights=length[near]))


def plain(bout: Floats) -> Floats:
    """A bout without the small steps of its noise."""
    return np.asarray(shapely.get_coordinates(shapely.simplify(shapely.LineString(bout), 0.5)))


def turned(xy: Floats, angle: float) -> Floats:
    """Along and across: (n, 2) east, north -> (n, 2) u, v."""
    c, s = np.cos(angle), np.sin(angle)
    return np.column_stack([xy[:, 0] * c + xy[:, 1] * s, -xy[:, 0] * s + xy[:, 1] * c])


def back(shape: Any, plane: geodesy.Plane, angle: float) -> Any:
    """A shape of the turned plane in lon/lat."""
    return plane.unproject(shapely.transform(shape, lambda c: turned(c, -angle)))


def lane_of(bout: Floats, angle: float, order: int) -> Lane | None:
    """A bout as a lane; None where it does not go straight in the common direction."""
    steps = np.diff(turned(plain(bout), angle), axis=0)
    length = np.hypot(*steps.T)
    along = np.abs(steps[:, 1]) <= np.tan(np.radians(PARALLEL_DEG)) * np.abs(steps[:, 0])
    if length[along].sum() < STRAIGHT_SHARE * length.sum():
        return None
    uv = turned(bout, angle)
    weight = np.hypot(*np.diff(uv, axis=0).T)
    v = float(np.average((uv[:-1, 1] + uv[1:, 1]) / 2, weights=weight))
    return Lane(v, float(uv[:, 0].min()), float(uv[:, 0].max()), order)


def straight_lanes(
    visits: Sequence[WorkMeasured], plane: geodesy.Plane, name: str
) -> tuple[list[Lane], float, float]:
    """Straight bouts, the share of all length that they are, and the common direction."""
    bouts = bouts_of(visits, plane)
    angle = direction(bouts)
    lanes = [lane_of(b, angle, i) for i, b in enumerate(bouts)]
    straight = [n for n in lanes if n is not None]
    all_m = sum(shapely.LineString(b).length for b in bouts)
    share = sum(n.u1 - n.u0 for n in straight) / all_m
    if share < ENOUGH_SHARE or len(straight) < 2:
        raise OplogError(
            f"{name}: its bouts do not run straight beside each other, so tramlines cannot be "
            "counted out from them."
        )
    return straight, share, angle


def grouped(lanes: Sequence[Lane], near_m: float) -> list[list[Lane]]:
    """Lanes that lie in one place across, in order across. [m]"""
    groups: list[list[Lane]] = []
    for lane in sorted(lanes, key=lambda n: n.v):
        if groups and lane.v - np.mean([n.v for n in groups[-1]]) <= near_m:
            groups[-1].append(lane)
        else:
            groups.append([lane])
    return groups


def grid_of(lanes: Sequence[Lane], step_m: float) -> Grid:
    """Fit the lanes' offsets to whole numbers of bouts."""
    groups = grouped(lanes, step_m / 2)
    v = np.array([np.average([n.v for n in g], weights=[n.u1 - n.u0 for n in g]) for g in groups])
    numbers = np.concatenate([[0], np.cumsum(np.maximum(np.round(np.diff(v) / step_m), 1))])
    if len(v) < 3:
        return Grid(float(v[0]), step_m, int(numbers[-1]) + 1, 0.0)
    step, first = np.polyfit(numbers, v, 1)
    scatter = float(np.std(v - (first + step * numbers)))
    return Grid(float(first), float(step), int(numbers[-1]) + 1, scatter)


def drift_of(visits: Sequence[WorkMeasured]) -> float:
    """How far the tracks of visits may lie off for minutes on end, one standard deviation. [m]"""
    return drift_m(float(np.median([3.0 if v.noise_m is None else v.noise_m for v in visits])))
