"""Stays: when a machine was in which field, entry and exit found on the boundary line."""

from __future__ import annotations

from heapq import heapify, heappop, heappush
from itertools import compress
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.geodesy import Plane
from oplog.land import Field
from oplog.records import dataclass
from oplog.track import Floats
from oplog.work.clean import Cleaned

ELSEWHERE_S = 60.0
"""Longer in other fields is more than a dip into a neighbour."""


@dataclass(frozen=True)
class Leave:
    """How long and how far from a field a machine may be without having left it.

    Away for up to `absence_s` within `far_m`; or at the gate, within `near_m`, for up to
    `filling_s`: a trailer or bowser often stands on the road outside. [s, m]
    """

    absence_s: float
    far_m: float
    near_m: float
    filling_s: float


@dataclass(frozen=True, eq=False)
class Stay:
    """One stay in one field. Times in seconds since the first fix. [s]

    came_in, went_out: whether the track crosses the boundary there, or only begins or ends.
    """

    field: Field
    entered_s: float
    left_s: float
    came_in: bool
    went_out: bool


def stays(cleaned: Cleaned, fields: list[Field], leave: Leave) -> list[Stay]:
    """Stays of a day in time order, none overlapping.

    A fix that wanders over the line for no longer and no further than `leave` grants and
    comes back to the same field has not left it: noise and turns over the boundary must not chop
    a stay. Where two fields meet, short dips into the neighbour belong to the field around them.
    """
    inside = field_of(cleaned, fields)
    if not (inside >= 0).any():
        return []
    distance = _Distances(cleaned, fields)
    runs = _runs(inside)
    runs = _join(runs, cleaned.seconds, distance, leave)
    found = []
    for field, first, last in runs:
        entered = _crossing(cleaned, fields[field], first, first - 1)
        left = _crossing(cleaned, fields[field], last, last + 1)
        if left > entered:
            found.append(Stay(fields[field], entered, left, first > 0, last < len(cleaned) - 1))
    return found


def field_of(cleaned: Cleaned, fields: list[Field]) -> NDArray[np.int32]:
    """Which field each fix lies in: (n,) index into fields, -1 for none. Boxes come first."""
    from shapely import contains_xy, prepare

    inside = np.full(len(cleaned), -1, dtype=np.int32)
    for k, field in enumerate(fields):
        ground = _local(field, cleaned.plane)
        west, south, east, north = ground.bounds
        near = np.flatnonzero(
            (cleaned.x >= west) & (cleaned.x <= east) & (cleaned.y >= south) & (cleaned.y <= north)
        )
        if len(near):
            prepare(ground)
            hit = near[contains_xy(ground, cleaned.x[near], cleaned.y[near])]
            inside[hit[inside[hit] < 0]] = k
    return inside


def _local(field: Field, plane: Plane) -> Any:
    """The boundary, holes filled (a pond is no way out of a field), in the day's plane."""
    from shapely import union_all
    from shapely.geometry import MultiPolygon, Polygon

    if not isinstance(field.boundary, MultiPolygon):
        return plane.project(Polygon(field.boundary.exterior))
    return plane.project(union_all([Polygon(p.exterior) for p in field.boundary.geoms]))


Run = tuple[int, int, int]
"""Field, first fix, last fix."""


class _Distances:
    """Distance of fixes to a field's boundary, worked out once when asked for."""

    def __init__(self, cleaned: Cleaned, fields: list[Field]) -> None:
        self.cleaned, self.fields = cleaned, fields
        self._known: dict[Run, float] = {}
        self._grounds: dict[int, Any] = {}

    def furthest_m(self, field: int, first: int, last: int) -> float:
        """How far the fixes from one to another are from a field at the most. [m]"""
        if last < first:
            return 0.0
        if (field, first, last) not in self._known:
            self.learn([(field, first, last)])
        return self._known[field, first, last]

    def learn(self, asked: list[Run]) -> None:
        """Work out at one go how far from a field fixes are from one to another, for many such
        stretches, none of them empty."""
        from shapely import distance, points

        for field in dict.fromkeys(f for f, _, _ in asked):
            here = [run for run in asked if run[0] == field]
            rows = np.concatenate([np.arange(first, last + 1) for _, first, last in here])
            away = distance(self._ground(field), points(self.cleaned.x[rows], self.cleaned.y[rows]))
            begins = np.cumsum([0, *(last + 1 - first for _, first, last in here[:-1])])
            furthest = np.maximum.reduceat(away, begins).tolist()
            self._known.update(zip(here, furthest, strict=True))

    def _ground(self, field: int) -> Any:
        from shapely import prepare

        if field not in self._grounds:
            self._grounds[field] = _local(self.fields[field], self.cleaned.plane)
            prepare(self._grounds[field])
        return self._grounds[field]


def _runs(inside: NDArray[np.int32]) -> list[Run]:
    """(field, first fix, last fix) for each unbroken run inside a field."""
    cut = np.flatnonzero(np.diff(inside)) + 1
    starts = np.concatenate([[0], cut])
    ends = np.concatenate([cut, [len(inside)]]) - 1
    return [
        (int(inside[s]), int(s), int(e))
        for s, e in zip(starts, ends, strict=True)
        if inside[s] >= 0
    ]


def _join(runs: list[Run], seconds: Floats, distance: _Distances, leave: Leave) -> list[Run]:
    """Join runs in the same field across short absences, longest runs first.

    Whatever lies between two runs that are joined (dips into a neighbour) is swallowed. A run
    that cannot be joined to the next of its field never can: what else is joined only makes the
    next one further off, and what lies between longer.
    """
    runs, left = list(runs), [True] * len(runs)
    after = _next_in_field(runs)
    distance.learn(_absences(runs, after, seconds, leave))
    longest = [(first - last, k) for k, (_, first, last) in enumerate(runs)]
    heapify(longest)
    while longest:
        _, k = heappop(longest)
        partner = after[k] if left[k] else None
        while partner is not None and not left[partner]:
            partner = after[partner]
        if partner is None:
            continue
        between = list(compress(runs[k + 1 : partner], left[k + 1 : partner]))
        if _is_one_stay(runs[k], runs[partner], between, seconds, distance, leave):
            left[k + 1 : partner + 1] = [False] * (partner - k)
            field, first, _ = runs[k]
            runs[k] = field, first, runs[partner][2]
            after[k] = after[partner]
            heappush(longest, (first - runs[k][2], k))
    return list(compress(runs, left))


def _next_in_field(runs: list[Run]) -> list[int | None]:
    """For each run, which is the next in its field."""
    found: list[int | None] = []
    ahead: dict[int, int] = {}
    for k in reversed(range(len(runs))):
        found.append(ahead.get(runs[k][0]))
        ahead[runs[k][0]] = k
    return found[::-1]


def _absences(runs: list[Run], after: list[int | None], seconds: Floats, leave: Leave) -> list[Run]:
    """Stretches from one run in a field to the next that are short enough to be looked at."""
    most_s = max(leave.absence_s, leave.filling_s)
    pairs = [(runs[k], runs[j]) for k, j in enumerate(after) if j is not None]
    return [
        (field, last + 1, first - 1)
        for (field, _, last), (_, first, _) in pairs
        if first - last > 1 and seconds[first] - seconds[last] <= most_s
    ]


def _is_one_stay(
    run: Run, following: Run, between: list[Run], seconds: Floats, distance: _Distances,
    leave: Leave,
) -> bool:  # fmt: skip
    """Whether a machine has not left a field from one run in it to the next."""
    field, _, last = run
    first = following[1]
    away = seconds[first] - seconds[last]
    if away > max(leave.absence_s, leave.filling_s):
        return False
    if sum(seconds[e] - seconds[s] for _, s, e in between) > ELSEWHERE_S:
        return False
    limit_m = leave.far_m if away <= leave.absence_s else leave.near_m
    return distance.furthest_m(field, last + 1, first - 1) <= limit_m


def _crossing(cleaned: Cleaned, field: Field, inner: int, outer: int) -> float:
    """Time at which the straight line from the inner to the outer fix crosses the boundary."""
    from shapely import LineString

    if not 0 <= outer < len(cleaned):
        return float(cleaned.seconds[inner])
    gap = abs(cleaned.seconds[outer] - cleaned.seconds[inner])
    if gap > 60.0:
        return float(cleaned.seconds[inner])
    line = LineString([(cleaned.x[inner], cleaned.y[inner]), (cleaned.x[outer], cleaned.y[outer])])
    if line.length == 0:
        return float(cleaned.seconds[inner])
    within = line.intersection(_local(field, cleaned.plane)).length / line.length
    return float(
        cleaned.seconds[inner] + within * (cleaned.seconds[outer] - cleaned.seconds[inner])
    )
