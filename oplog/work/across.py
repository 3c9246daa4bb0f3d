"""Across: runs whose ground others work in another direction, as happens to ways, not to bouts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.claims import Swath, ground_of, turned
from oplog.work.motion import Path
from oplog.work.runs import midst

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
MOST = 0.55
"""Share of a run's ground that others work across it from which on it is no bout."""
ASKEW = np.radians(6)
OTHERS_S, ENDS_S = 20, 3
"""Work this much sooner or later is another's; and how much of its ends may lie on a headland."""


def worked_across(
    path: Path, run: Rows, asked: Flags, lay: Swath, heading: Floats, work: Flags
) -> Flags:
    """Runs on most of whose ground others work across them, in the midst of their bouts: (k,) mask.

    Nobody works a bout and then all of its ground again across it: what is done twice over is
    judged by itself. run: (m,) number of each second's run; asked: (m,) seconds of the runs that
    it is asked of. lay: of the line, whose heading is (m,). [rad]
    """
    count = int(run.max(initial=0)) + 1
    chosen = asked & (run > 0)
    if not chosen.any():
        return np.zeros(count, dtype=bool)
    steps = lay.of_steps(chosen)
    others = ground_of(lay, midst(_unbroken(run, work, count), path.piece, ENDS_S))
    turn = turned(lay, others, heading, steps, OTHERS_S)
    number = lay.of_steps(run)[steps]
    over = np.bincount(number, (turn > ASKEW).any(axis=0).mean(axis=1), minlength=count)
    return np.asarray(over > MOST * np.maximum(np.bincount(number, minlength=count), 1))


def _unbroken(run: Rows, work: Flags, count: int) -> Flags:
    """Runs from the first to the last of their seconds at work, if most of these are: (m,) mask.

    Where a way is taken for work, the bouts that cross it are broken.
    """
    rows = np.arange(len(run))
    first, last = np.full(count, len(run)), np.full(count, -1)
    np.minimum.at(first, run[work], rows[work])
    np.maximum.at(last, run[work], rows[work])
    within = (run > 0) & (rows >= first[run]) & (rows <= last[run])
    worked = np.bincount(run[within], work[within], minlength=count)
    return np.asarray(within & (worked > 0.5 * np.bincount(run[within], minlength=count))[run])
