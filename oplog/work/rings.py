"""Rings: laps round a pond, a pole or whatever else lies in a field and is no part of it.

Such a lap is one long bend, and the way to it and the way back from it may look like two bouts with
a turn between them. But who goes all the way round what he could pass on one side does so to work.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import true_runs

Flags = NDArray[np.bool_]
NEAR_WIDTHS = 3.0
"""How many widths from the edge of a hole one still goes round it."""
SLACK = 0.4
"""By how many widths a lap is nearer to what it goes round, or farther off, at most."""
STANDS_M_S = 0.3
"""A machine that goes more slowly stands."""
ALL_ROUND, BACK = np.radians(330), np.radians(15)
"""How far round is all the way, for a lap may be broken off short of where it began; and how far
one may be driven back on it, where one backs or trembles."""
RUNS_ON, ALIKE = np.radians(20), 0.05
"""How far a lap runs on over where it began, at most; two ways over the same ground are alike in
pace that differ by no more, as a log ratio."""


def round_holes(path: Path, line: Line, ground: Any | None, width_m: float) -> Flags:
    """Seconds of laps all the way round a hole of the field, as far as they go round: (m,) mask.

    line: its working line; ground: the field in the plane, None for no field.
    """
    found = np.zeros(len(path), dtype=bool)
    slack_m = SLACK * width_m + path.drift_m
    on = ~path.reverse & (path.speed > STANDS_M_S)
    for hole in _holes(ground):
        off_m = _off(line, hole, NEAR_WIDTHS * width_m)
        for a, b in true_runs(np.isfinite(off_m), path.piece):
            # A lap may be broken off for a while, to fill, and gone on with from there.
            here = a + np.flatnonzero(on[a : b + 1])
            if not len(here):
                continue
            at = _bearing(line.x[here], line.y[here], hole)
            found[here] |= _laps(at, off_m[here], path.speed[here], slack_m)
    return found


def round_ends(ring: Flags, path: Path) -> list[int]:
    """Rows at which laps round holes begin and end: ways lead there as they do to a gate."""
    return [row for lap in true_runs(ring, path.piece) for row in lap]


def _holes(ground: Any | None) -> list[Any]:
    from shapely import get_parts, polygons

    if ground is None:
        return []
    return [polygons(ring) for part in get_parts(ground) for ring in part.interiors]


def _off(line: Line, hole: Any, reach_m: float) -> Floats:
    """Distance from a hole, infinite where it is out of reach: (m,) [m]"""
    from shapely import distance, points

    west, south, east, north = hole.bounds
    near = (line.x > west - reach_m) & (line.x < east + reach_m)
    near &= (line.y > south - reach_m) & (line.y < north + reach_m)
    off_m = np.full(len(near), np.inf)
    off_m[near] = distance(points(line.x[near], line.y[near]), hole)
    return np.where(off_m < reach_m, off_m, np.inf)


def _bearing(x: Floats, y: Floats, hole: Any) -> Floats:
    """In which direction from the middle of a hole places lie, one after the other: (n,) [rad]"""
    middle = hole.representative_point()
    return np.unwrap(np.arctan2(y - middle.y, x - middle.x))


def _laps(at: Floats, off_m: Floats, speed: Floats, slack_m: float) -> Flags:
    """Which of some seconds near a hole, without a break, are of laps round it: (n,) mask.

    at: bearings [rad]; off_m: how far off [m]; speed: [m/s], (n,) each. A lap lasts while the
    machine is as far off as all the lap is, once round.
    """
    found = np.zeros(len(at), dtype=bool)
    for first, last in pairwise(_turns_back(at)):
        on = np.zeros(len(at), dtype=bool)
        here = slice(first, last + 1)
        on[here] = np.abs(off_m[here] - np.median(off_m[here])) < slack_m
        for a, b in true_runs(on, np.zeros(len(on), dtype=np.int32)):
            gone = np.abs(at[a : b + 1] - at[a])
            furthest = int(np.argmax(gone))
            if gone[furthest] >= ALL_ROUND:
                begin, end = _once_round(gone[: furthest + 1], speed[a : b + 1])
                found[a + begin : a + end + 1] = True
    return found


def _once_round(gone: Floats, speed: Floats) -> tuple[int, int]:
    """First and last second of a lap, where one goes on beyond where it began, or came to it along.

    What is gone over twice was driven once at the pace of the lap and once as a way; where both
    are alike the second was the work, as one looks before one works. gone: (n,) how far [rad].
    """
    beyond = gone[-1] - 2 * np.pi
    end = int(np.argmax(gone >= min(2 * np.pi, gone[-1])))
    if beyond < RUNS_ON:
        return 0, end
    begin = int(np.argmax(gone >= beyond))
    if begin >= end:
        return begin, len(gone) - 1
    log = np.log(np.maximum(speed, 0.1))
    pace = log[begin:end].mean()
    before, after = abs(log[:begin].mean() - pace), abs(log[end : len(gone)].mean() - pace)
    return (0, end) if before < after - ALIKE else (begin, len(gone) - 1)


def _turns_back(at: Floats) -> list[int]:
    """Where one turns back on one's way round, and the first and last place."""
    places, extreme, hand = [0], 0, 0.0
    for k, angle in enumerate(at.tolist()):
        gone = angle - at[extreme]
        if hand == 0.0:
            hand = float(np.sign(gone)) if abs(gone) > BACK else 0.0
        elif gone * hand < -BACK:
            places.append(extreme)
            extreme, hand = k, -hand
        if gone * hand >= 0:
            extreme = k
    return [*places, len(at) - 1]
