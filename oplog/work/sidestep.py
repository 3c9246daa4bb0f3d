"""Sidesteps: where a lap of the headland has closed and the machine moves over to the next.

Straight ahead lies the ground that the lap began with, so that the implement is lifted, and
lowered again once the machine is in line a width further in. Who works a whole field round and
round slides over as he goes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.work.claims import Ground, Seconds, Swath
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.spiral import ROUNDS

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
LASTS_S = (6, 8, 10, 13, 16, 20, 25)
"""How long a sidestep may last; the shortest that leads over is taken."""
OVER = (0.6, 1.6)
"""How far over it leads, in widths."""
LEVEL, ASKEW = np.radians(6), np.radians(3)
"""How far from parallel the ways before and after it are at most, and how far from them the machine
heads on the way over, at least."""
SIDE = 1 / 3
"""Share of that from which on it has left the one lap, and down to which it is not in the other."""
CLOSED_S = 60
"""A lap takes longer than this."""
BEYOND = (2.0, 3.0)
"""Where straight ahead the ground is asked for, in widths."""
LAPS, UNEVEN = 4.5, 0.3
"""How far from the field's edge laps are, and by how much a step over may differ from the step away
from it, in widths."""
PACE = (0.93, 1.06)
"""Who keeps to the speed of the work as closely slides over as he works."""
SEEN = 1 / 8
"""By how much of a width positions may wander, that a step over is seen."""


def sidesteps(
    path: Path, line: Line, lay: Swath, covered: Ground, work: Flags, field: Any, usual: float,
    width_m: float,
) -> Flags:  # fmt: skip
    """Seconds in which a machine moves over from a lap that has closed to the next: (m,) mask.

    lay: of the line on a raster; covered: by the work, on it; field: its ground; usual: working
    speed [m/s].
    """
    found = np.zeros(len(path), dtype=bool)
    if path.drift_m > SEEN * width_m or _rounds(line, work, path.piece) > ROUNDS:
        return found
    edge = field.boundary
    for lasts_s in LASTS_S:
        begins = _led_over(path, line, work, width_m, lasts_s)
        begins = begins[_to_the_next_lap(line, edge, width_m, begins, begins + lasts_s)]
        begins = begins[_closed(line, lay, covered.first, width_m, begins)]
        for begin in begins.tolist():
            first, last = _askew(line, begin, begin + lasts_s)
            pace = path.speed[begin : begin + lasts_s + 1] / usual
            slides = pace.min() > PACE[0] and pace.max() < PACE[1]
            if not slides and not found[begin : begin + lasts_s + 1].any():
                found[first : last + 1] = True
    return found


def _rounds(line: Line, work: Flags, piece: NDArray[np.int32]) -> float:
    """How often the work goes round to one hand."""
    goes_on = work[1:] & work[:-1] & (np.diff(piece) == 0)
    return float(abs(np.diff(line.heading)[goes_on].sum()) / (2 * np.pi))


def _led_over(path: Path, line: Line, work: Flags, width_m: float, lasts_s: int) -> Rows:
    """Rows at which the line works, and after so long works on in parallel about a width aside."""
    a = np.arange(max(len(path) - lasts_s, 0))
    b = a + lasts_s
    along_m, aside_m = _gone(line, a, b)
    over = np.abs(aside_m) / width_m
    led = (over > OVER[0]) & (over < OVER[1]) & (along_m > width_m) & work[a] & work[b]
    led &= (np.abs(line.heading[b] - line.heading[a]) < LEVEL) & (path.piece[a] == path.piece[b])
    backed = np.concatenate([[0], np.cumsum(path.reverse)])
    led &= backed[b + 1] == backed[a]
    k = np.flatnonzero(led)
    mean = (line.heading[k] + line.heading[k + lasts_s]) / 2
    rows = k[:, None] + np.arange(lasts_s + 1)
    return np.asarray(k[(np.abs(line.heading[rows] - mean[:, None]) >= ASKEW).any(axis=1)])


def _gone(line: Line, a: Rows, b: Rows) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far on and how far aside the line is from rows a to rows b, by its mean heading: what a
    curved bout bends by is neither. (k,) [m]"""
    heading = (line.heading[a] + line.heading[b]) / 2
    dx, dy = line.x[b] - line.x[a], line.y[b] - line.y[a]
    cos, sin = np.cos(heading), np.sin(heading)
    return dx * cos + dy * sin, dy * cos - dx * sin


def _to_the_next_lap(line: Line, edge: Any, width_m: float, a: Rows, b: Rows) -> Flags:
    """Whether the step over from rows a to rows b is as far as the step away from the edge: (k,)"""
    from shapely import distance, points

    before, after = (distance(points(line.x[k], line.y[k]), edge) / width_m for k in (a, b))
    over = np.abs(_gone(line, a, b)[1]) / width_m
    even = np.abs(np.abs(after - before) - over) < UNEVEN
    return np.asarray(even & (np.minimum(before, after) < LAPS))


def _closed(line: Line, lay: Swath, first: Seconds, width_m: float, at: Rows) -> Flags:
    """Whether the ground straight ahead was worked well before: (k,). first: when, of each cell."""
    closed = np.ones(len(at), dtype=bool)
    for by in BEYOND:
        x = line.x[at] + by * width_m * np.cos(line.heading[at])
        y = line.y[at] + by * width_m * np.sin(line.heading[at])
        closed &= first[lay.raster.cell(x, y)] < at - CLOSED_S
    return closed


def _askew(line: Line, begin: int, end: int) -> tuple[int, int]:
    """First and last row between two in which the line heads out of the way that both head."""
    mean = (line.heading[begin] + line.heading[end]) / 2
    askew = np.abs(line.heading[begin : end + 1] - mean)
    rows = np.flatnonzero(askew > SIDE * askew.max())
    return begin + int(rows[0]), begin + int(rows[-1])
