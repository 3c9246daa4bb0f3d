"""Ends of bouts, set to the second where the line comes onto new ground and leaves it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import heading_change, true_runs

Flags = NDArray[np.bool_]
LIFTED_LATE_S = 0.3
"""An implement is lifted when it is through, and takes its time to come up (common practice)."""


def trim(
    path: Path, line: Line, work: Flags, new: Floats, usual: float, inmost: Flags, width_m: float,
    far: int = 10,
) -> Flags:  # fmt: skip
    """Move the ends of each run to where the line comes onto new ground and leaves it: (m,) mask.

    The sequence model finds the runs. Within some seconds of their ends the line decides, to the
    second: where it crosses from old ground to new or back; failing that, where it runs straight,
    looked for as far as `far` seconds inward. inmost: (m,) where there is room for a headland.
    """
    able = ~path.reverse & (path.speed > 0.25 * usual)
    turn = heading_change(line.heading, 1)
    # Noise bends a heading over two seconds by its size over the way gone.
    bent = np.radians(5) + 2 * path.noise_m / max(2 * usual, 0.5)
    level = able & (new >= 0.2)
    # A trailed implement swings straight some seconds after the machine: at the start the
    # machine's own heading tells, at the end the implement's.
    lined_up = level & (heading_change(path.heading, 1) < bent)
    drawn_straight = level & (turn < bent)
    out = work.copy()
    runs = true_runs(work, path.piece)
    square = able & (turn < np.radians(30))
    begins = [_end_of_run(a, 1, new, square, lined_up, far) for a, _ in runs]
    ends = [_end_of_run(b, -1, new, square, drawn_straight, far)[0] for _, b in runs]
    inner = [e for e in ends if inmost[min(e + 1, len(inmost) - 1)]]
    for (a, b), (begin, crossed), end in zip(runs, begins, ends, strict=True):
        if not crossed:
            begin = _at_neighbours_end(begin, line, inner, width_m, far)
        if end > begin:
            out[min(a, begin) : max(b, end) + 1] = False
            out[begin : end + 1] = True
    return np.asarray(out, dtype=bool)


def _at_neighbours_end(begin: int, line: Line, ends: list[int], width_m: float, far: int) -> int:
    """The row at which a bout that begins on untouched ground is level with where others ended.

    A machine runs straight for a while before it lowers, but turns soon after it lifts: where
    the headland is worked another day, the ends of the bouts beside show where its edge is.
    """
    x, y, heading = line.x, line.y, line.heading
    along = np.array([np.cos(heading[begin]), np.sin(heading[begin])])
    last = np.array([e for e in ends if e != begin and np.cos(heading[e] - heading[begin]) < -0.94])
    if not len(last):
        return begin
    out = np.minimum(last + 1, len(x) - 1)
    offset = np.column_stack([x[out] - x[begin], y[out] - y[begin]])
    inward, aside = offset @ along, np.abs(offset @ np.array([-along[1], along[0]]))
    beside = (np.abs(inward) < 2 * width_m + 10.0) & (aside < 5 * width_m)
    if not beside.any():
        return begin
    edge = float(inward[beside][np.argmin(aside[beside])])
    rows = np.arange(begin, min(begin + far + 1, len(x)))
    gone = np.column_stack([x[rows] - x[begin], y[rows] - y[begin]]) @ along
    level = np.flatnonzero(gone >= edge)
    return int(rows[level[0]]) if len(level) else begin


def _end_of_run(
    at: int, inward: int, new: Floats, able: Flags, straight: Flags, far: int, reach: int = 5
) -> tuple[int, bool]:
    """Where a run really ends, looked for within `reach` seconds; inward: +1 start, -1 end.

    With it, whether it was seen to come onto new ground there or to leave it.
    """
    rows = at + inward * np.arange(-reach, reach + 1)
    rows = rows[(rows >= 0) & (rows < len(new))]
    on = new[rows] >= (0.35 if inward > 0 else 0.2)
    crossing = np.flatnonzero(on[1:] & ~on[:-1] & able[rows[1:]]) + 1
    if len(crossing):
        k = int(crossing[np.argmin(np.abs(rows[crossing] - at))])
        return int(rows[0]) + inward * _first_corner(
            new[rows], k, 0.0 if inward > 0 else LIFTED_LATE_S
        ), True
    further = at + inward * np.arange(reach + 1, far + 1)
    rows = np.concatenate([rows, further[(further >= 0) & (further < len(new))]])
    steady = np.flatnonzero(straight[rows])
    return (int(rows[steady[0]]) if len(steady) else at), False


def _first_corner(new: Floats, k: int, late_s: float) -> int:
    """The row at which the first corner of the line comes onto new ground, near crossing k.

    A line that crosses aslant is lowered when its first corner is over new ground, and lifted
    when its last is over old. The share of new ground rises over as long as the line takes to
    cross, and over the second that each row stands for.
    """

    def reached(level: float) -> float:
        above = np.flatnonzero(new[k - 1 :] >= level)
        if not len(above):
            return np.nan
        j = k - 1 + int(above[0])
        if j == k - 1:
            return float(j)
        return float(j - (new[j] - level) / (new[j] - new[j - 1]))

    low, mid, high = reached(0.3), reached(0.5), reached(0.7)
    if np.isnan(high):
        return k
    slant = max((high - low) / 0.4 - 1.0, 0.0)
    return int(np.clip(np.ceil(mid - slant / 2 - late_s), max(k - 3, 0), min(k + 1, len(new) - 1)))
