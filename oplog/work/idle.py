"""What a machine does in a field while not working: turning, filling, standing, travelling."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.motion import Path

WORKING, TURNING, FILLING, STANDING, TRAVELLING, UNRECORDED = range(6)
NAMES = ("working", "turning", "filling", "standing", "travelling", "unrecorded")

Codes = NDArray[np.int8]
Flags = NDArray[np.bool_]


def classify(path: Path, work: Flags, holds: bool, width_m: float, break_s: float) -> Codes:
    """A state for each second of the path: (m,) codes into NAMES.

    holds: the implement is filled or emptied in the field, so that stops may be for filling.
    """
    codes = np.full(len(path), TRAVELLING, dtype=np.int8)
    codes[work] = WORKING
    still = standing(path)
    codes[still & ~work] = STANDING
    _mark_turns(codes, path, work, width_m)
    if holds:
        _mark_filling(codes, path, break_s)
    return codes


def standing(path: Path) -> Flags:
    """Seconds in which the machine does not get anywhere: (m,) mask.

    Noise makes a standing receiver wander: the way made good over ten seconds counts, against
    what the noise explains.
    """
    least_m = max(1.5, 4.0 * path.noise_m)
    rows = np.arange(len(path))
    a = np.clip(rows - 5, 0, len(path) - 1)
    b = np.clip(rows + 5, 0, len(path) - 1)
    made_good = np.hypot(path.x[b] - path.x[a], path.y[b] - path.y[a])
    slow = path.speed < max(0.25, path.noise_m / 4)
    return np.asarray((made_good < least_m) & (path.speed < 0.5) | slow, dtype=bool)


def runs(codes: NDArray[Any], pieces: NDArray[np.int32]) -> list[tuple[int, int]]:
    """First and last row of each run of one state within one piece."""
    change = (np.diff(codes) != 0) | (np.diff(pieces) != 0)
    cut = np.flatnonzero(change) + 1
    starts = np.concatenate([[0], cut])
    ends = np.concatenate([cut, [len(codes)]]) - 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _mark_turns(codes: Codes, path: Path, work: Flags, width_m: float) -> None:
    """Moving between the end of one bout and the start of the next, close by: turning."""
    reach_m = 60.0 + 6.0 * width_m
    for first, last in runs(np.where(work, 1, 0).astype(np.int8), path.piece):
        between = first > 0 and last < len(path) - 1 and not work[first]
        if not between or not (work[first - 1] and work[last + 1]):
            continue
        moving = codes[first : last + 1] == TRAVELLING
        way = float(path.speed[first : last + 1][moving].sum())
        if way <= reach_m * 1.5 and int(moving.sum()) <= 120:
            codes[first : last + 1][moving] = TURNING


def _mark_filling(codes: Codes, path: Path, break_s: float) -> None:
    """Stops of a minute or more that are not breaks, at places used more than once: filling."""
    stops = [
        (a, b)
        for a, b in runs(codes, path.piece)
        if codes[a] == STANDING and 45 <= b - a + 1 < break_s
    ]
    places = np.array([[path.x[a : b + 1].mean(), path.y[a : b + 1].mean()] for a, b in stops])
    for k, (a, b) in enumerate(stops):
        near = np.hypot(*(places - places[k]).T) < 40.0
        if near.sum() >= 2 or b - a + 1 >= 120:
            codes[a : b + 1] = FILLING


def way_m(path: Path, rows: Flags) -> Floats:
    """Length of each second's step to the next, for the rows asked for: (m,) [m]"""
    step = np.hypot(np.diff(path.x, append=path.x[-1:]), np.diff(path.y, append=path.y[-1:]))
    step[np.diff(path.piece, append=-1) != 0] = 0.0
    return np.asarray(np.where(rows, step, 0.0))
