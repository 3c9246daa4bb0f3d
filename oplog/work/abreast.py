"""Abreast: how many ways lie side by side, which tells a field from a road.

At stations along the straight running a line is cast to either side, as `spacing` does. On a
road it meets the other lane, and the same two lanes again on every later trip; in a field it
meets bout after bout.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats
from oplog.work.motion import Path

PARALLEL_RAD = np.radians(15.0)
STATION_M = 10.0
LEG_M = 6.0
SOON_S = 8.0
"""A way met within so many seconds is the same bend, not a neighbour."""

Flags = NDArray[np.bool_]


def lane_m(path: Path) -> float:
    """Ways nearer than this count as one, more where positions wander. [m]"""
    return max(2.5, 2.0 * path.drift_m)


@dataclass(frozen=True, eq=False)
class Abreast:
    """lanes: (m,) ways side by side at each second of a run, its own counted; 0 outside runs.
    next_m: (m,) distance to the nearest of the others; NaN where there is none. [m]
    """

    lanes: NDArray[np.int32]
    next_m: Floats


def abreast(path: Path, run: NDArray[np.intp], reach_m: float) -> Abreast:
    """How many ways lie side by side, second by second.

    run: (m,) number of the straight run that each second belongs to, 0 for none. reach_m: how far
    to either side is looked; ways beyond a gap of half of that do not count.
    """
    found = Abreast(np.zeros(len(path), dtype=np.int32), np.full(len(path), np.nan))
    way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(path.x), np.diff(path.y)))])
    leg = _marks(way, run, LEG_M)
    at = _marks(way, run, STATION_M)
    if len(at) < 3 or len(leg) < 3:
        return found
    crossings = _crossings(path, run, leg, at, reach_m)
    count, near = _lanes(crossings, len(at), lane_m(path), reach_m / 2)
    rows = np.flatnonzero(run > 0)
    # The first row of a run is a station, so the station before a row is of its own run.
    k = np.searchsorted(at, rows, side="right") - 1
    found.lanes[rows], found.next_m[rows] = count[k], near[k]
    return found


def _marks(way: Floats, run: NDArray[np.intp], every_m: float) -> NDArray[np.intp]:
    """First row of each stretch of so many metres, and the ends of runs."""
    stretch = np.floor(way / every_m)
    fresh = (np.diff(stretch, prepend=-1) > 0) | (np.diff(run, prepend=-1) != 0)
    last = np.append(np.diff(run) != 0, True)
    return np.flatnonzero((fresh | last) & (run > 0))


def _crossings(
    path: Path, run: NDArray[np.intp], leg: NDArray[np.intp], at: NDArray[np.intp], reach_m: float
) -> tuple[NDArray[np.intp], Floats]:
    """Where the lines cast at stations meet other ways: number of station, metres to the left."""
    from shapely import STRtree, linestrings

    a, b = leg[:-1], leg[1:]
    same = (run[a] == run[b]) & (path.piece[a] == path.piece[b])
    a, b = a[same], b[same]
    start, end = np.column_stack([path.x[a], path.y[a]]), np.column_stack([path.x[b], path.y[b]])
    tree = STRtree(linestrings(np.stack([start, end], 1)))
    h = path.heading[at]
    normal = np.column_stack([-np.sin(h), np.cos(h)])
    here = np.column_stack([path.x[at], path.y[at]])
    rays: Any = linestrings(np.stack([here - reach_m * normal, here + reach_m * normal], 1))
    k, j = tree.query(rays, predicate="intersects")
    turn = np.abs((path.heading[a[j]] - h[k] + np.pi) % (2 * np.pi) - np.pi)
    level = (turn < PARALLEL_RAD) | (turn > np.pi - PARALLEL_RAD)
    seconds = path.seconds[at[k]]
    apart = np.maximum(path.seconds[a[j]] - seconds, seconds - path.seconds[b[j]])
    k, j = k[level & (apart > SOON_S)], j[level & (apart > SOON_S)]
    return k, _offset(here[k], normal[k], start[j], end[j])


def _offset(here: Floats, normal: Floats, start: Floats, end: Floats) -> Floats:
    """How far along its normal each station's line meets a leg. [m]"""
    leg, away = end - start, start - here
    cross = normal[:, 0] * leg[:, 1] - normal[:, 1] * leg[:, 0]
    cross = np.where(np.abs(cross) < 1e-9, 1e-9, cross)
    return np.asarray((away[:, 0] * leg[:, 1] - away[:, 1] * leg[:, 0]) / cross)


def _lanes(
    crossings: tuple[NDArray[np.intp], Floats], stations: int, lane: float, longest_m: float
) -> tuple[NDArray[np.int32], Floats]:
    """Lanes side by side at each station, its own counted, up to the first wide gap on either
    side; and the distance to the nearest. [m]"""
    k, offset = crossings
    count = np.ones(stations, dtype=np.int32)
    near = np.full(stations, np.inf)
    other = np.abs(offset) > lane / 2
    np.minimum.at(near, k[other], np.abs(offset[other]))
    for side in (1.0, -1.0):
        chosen = side * offset > lane / 2
        station, bin_ = k[chosen], np.floor(side * offset[chosen] / lane + 0.5).astype(np.intp)
        pair = np.unique(np.column_stack([station, bin_]), axis=0)
        fresh = np.diff(pair[:, 0], prepend=-1) != 0
        step = np.where(fresh, pair[:, 1], np.diff(pair[:, 1], prepend=0)) * lane
        broken = np.cumsum(step > longest_m)
        first = np.maximum.accumulate(np.where(fresh, np.arange(len(pair)), 0))
        # Nothing beyond the first gap counts.
        before: NDArray[np.intp] = broken[first] - (step[first] > longest_m)
        within: Flags = np.asarray(broken == before)
        count += np.bincount(pair[within, 0], minlength=stations).astype(np.int32)
    return count, np.where(np.isinf(near), np.nan, near)
