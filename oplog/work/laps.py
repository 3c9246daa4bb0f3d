"""Laps: ground that a machine worked its way round, as on a headland, encloses one field."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats

SMALLEST_M2 = 3000.0
SHORTEST_M = 200.0
"""Less ground, or a shorter way round it, is a turn or a corner."""

ROUND = 0.2
"""How compact the ground gone round is at the least, a circle being 1: up one bout and down the
next goes round next to nothing."""


def laps(lines: Sequence[Any], gaps_s: Sequence[float], width_m: float, turn_s: float) -> list[Any]:
    """Ground that was worked round, as polygons of the way round, largest first, each alone.

    lines: centre lines of bouts in order of time, in a plane; gaps_s: seconds between each and
    the next. A lap goes on over a turn, of up to turn_s, and over a longer break after which the
    next bout begins where the last one ended, as when a tank was emptied between.
    """
    begin, end = (np.array([line.coords[k] for line in lines]) for k in (0, -1))
    away_m = np.hypot(*(begin[1:] - end[:-1]).T)
    broken = (np.asarray(gaps_s) > turn_s) & (away_m > 3 * width_m)
    from shapely.geometry import Polygon

    found: list[Any] = []
    for x, y in _chains(lines, broken, max(5.0, width_m / 2)):
        for a, b in _loops(x, y, 2.0 * width_m):
            found.append(Polygon(np.column_stack([x[a : b + 1], y[a : b + 1]])).buffer(0))
    found.sort(key=lambda p: -p.area)
    alone: list[Any] = []
    for p in found:
        if not any(kept.intersection(p).area > 0.5 * p.area for kept in alone):
            alone.append(p)
    return alone


def _chains(
    lines: Sequence[Any], broken: NDArray[np.bool_], step_m: float
) -> list[tuple[Floats, Floats]]:
    """Bouts with no break between them as one way each, a point every so many metres."""
    from shapely import get_coordinates, line_interpolate_point

    spots = [
        get_coordinates(line_interpolate_point(line, np.arange(0.0, line.length + 0.1, step_m)))
        for line in lines
    ]
    cuts = [0, *(np.flatnonzero(broken) + 1).tolist(), len(spots)]
    chains = [np.concatenate(spots[a:b]) for a, b in pairwise(cuts) if b > a]
    return [(c[:, 0], c[:, 1]) for c in chains]


def _loops(x: Floats, y: Floats, near_m: float) -> list[tuple[int, int]]:
    """First and last point of each way round: it comes back to where it was, not against it."""
    from shapely import STRtree, points

    if len(x) < 8:
        return []
    way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    cross = np.concatenate([[0.0], np.cumsum(x[:-1] * y[1:] - x[1:] * y[:-1])])
    heading = np.arctan2(np.gradient(y), np.gradient(x))
    spots = points(np.column_stack([x, y]))
    a, b = STRtree(spots).query(spots, predicate="dwithin", distance=near_m)
    later = way[b] - way[a] > SHORTEST_M
    a, b = a[later], b[later]
    same = np.cos(heading[a] - heading[b]) > -0.5  # a lap may be closed at a corner
    a, b = a[same], b[same]
    area = np.abs(cross[b] - cross[a] + x[b] * y[a] - x[a] * y[b]) / 2
    length = way[b] - way[a]
    good = (area > SMALLEST_M2) & (4 * np.pi * area / length**2 > ROUND)
    return _first(a[good], b[good])


def _first(a: NDArray[np.intp], b: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Of the ways round that begin within one another, the first alone."""
    order = np.lexsort([a, b])
    found: list[tuple[int, int]] = []
    for i, j in zip(a[order].tolist(), b[order].tolist(), strict=True):
        if not found or i >= found[-1][1]:
            found.append((i, j))
    return found
