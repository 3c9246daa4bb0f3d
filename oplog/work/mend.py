"""Mend: work that goes on in the midst of a bout, though the evidence fails there.

Along the bout beside it, where the record wanders onto worked ground, or straight on and slowly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.claims import Ground, Swath, turned
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import true_runs

Flags = NDArray[np.bool_]
LONGEST_S = 20
KEEPS = 0.75
"""Share of the working speed below which something else may have been done."""
STRAIGHT = np.radians(60)
ALONG = np.radians(20)
MOST = 0.7
"""Share of the worked ground under the line that must be of bouts alongside."""
BOUT_S = 8
"""How long there must be work before a slow stretch and after it."""
SLOWEST, NEW = 0.2, 0.3
"""How slow such a stretch is at the most, of the working speed, and how much of it is new at the
least."""
STRAIGHT_ON = 0.95
"""How far it leads, of the way that is driven: where a phone crawls, its heading shows no line."""
OTHERS_S = 20
"""Ground worked this much sooner or later is another bout's."""


def mended(path: Path, line: Line, lay: Swath, ground: Ground, work: Flags, usual: float) -> Flags:
    """Work with short breaks closed in which the machine ran on beside an earlier bout: (m,) mask.

    Nobody lifts in mid-run because his bout laps over the one beside it. Ground that was worked
    across the way is another matter: the lap round a pond, say. lay: of the line on a raster;
    ground: that the work covers. usual: working speed. [m/s]
    """
    out = work.copy()
    for a, b in true_runs(~work, path.piece):
        between = a > 0 and b < len(work) - 1 and work[a - 1] and work[b + 1]
        if not between or b - a >= LONGEST_S or path.piece[a - 1] != path.piece[b + 1]:
            continue
        here = slice(a, b + 1)
        ran_on = path.speed[here].min() > KEEPS * usual and not path.reverse[here].any()
        if ran_on and np.ptp(line.heading[here]) < STRAIGHT and _alongside(line, lay, ground, a, b):
            out[here] = True
    return out


def slowed(path: Path, line: Line, new: Floats, work: Flags, usual: float) -> Flags:
    """Work with breaks closed in which the machine ran straight on, more slowly than it works, over
    ground that nobody else works: (m,) mask.

    Whoever lifts in the midst of a bout to drive on along it is in no less of a hurry than before;
    where he slows, the ground is heavy, the crop thick or the bank steep. new: (m,) share of new
    ground. usual: working speed. [m/s]
    """
    out = work.copy()
    for a, b in true_runs(~work, path.piece):
        before, after = a - BOUT_S, b + BOUT_S
        if before < 0 or after >= len(work) or path.piece[before] != path.piece[after]:
            continue
        bout = work[before:a].all() and work[b + 1 : after + 1].all()
        speed = path.speed[a : b + 1]
        slow = speed.min() > SLOWEST * usual and speed.mean() < usual
        if not (bout and slow) or path.reverse[a : b + 1].any():
            continue
        gone_m = path.speed[before + 1 : after + 1].sum()
        leads_m = np.hypot(line.x[after] - line.x[before], line.y[after] - line.y[before])
        if new[a : b + 1].mean() > NEW and leads_m > STRAIGHT_ON * gone_m:
            out[a : b + 1] = True
    return out


def _alongside(line: Line, lay: Swath, ground: Ground, first: int, last: int) -> bool:
    """Whether most of what is worked under the line, from one row to another, is alongside."""
    steps = slice(*np.searchsorted(lay.way.owner, [first, last + 1]).tolist())
    turn = turned(lay, ground, line.heading, steps, OTHERS_S)
    worked = ~np.isnan(turn).all(axis=0)
    along = (turn < ALONG).any(axis=0)
    return bool(worked.mean() >= 0.3 and along.sum() > MOST * worked.sum())
