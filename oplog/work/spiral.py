"""Spirals: fields that are worked round and round to one hand, bends and all.

The rounds grow shorter towards the middle until every end comes about by half a circle, which at
the end of a bout would be a turn. But nobody works round and round and lifts for its bends.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import Runs, firsts

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
ROUNDS = 4.5
"""Who goes round oftener with the implement in the ground works his field round and round."""
BEND_S, MOST, WINDING = 30, np.radians(220), np.radians(30)
"""How long a bend of such work lasts at most, how far it turns, and how far it winds beside that:
who moves over to the next round, or comes back to where he left off, winds."""
SLOWS = 0.4
"""Down to what share of the working speed a machine slows in it."""


def rounds(line: Line, work: Flags, piece: NDArray[np.int32]) -> float:
    """How often the work goes round, to the left where more than nothing."""
    goes_on = work[1:] & work[:-1] & (np.diff(piece) == 0)
    return float(np.diff(line.heading)[goes_on].sum() / (2 * np.pi))


def spiral_bends(
    path: Path, line: Line, run: Rows, runs: Runs, work: Flags, fit: Floats, usual: float
) -> Flags:
    """Bends between two runs of work round and round, to the hand that it goes: (m,) mask.

    run: (m,) number of each second's run; fit: (m,) how far it fits its neighbours, 0-1. usual:
    working speed. [m/s]
    """
    found = np.zeros(len(run), dtype=bool)
    goes = rounds(line, work, path.piece)
    if abs(goes) < ROUNDS:
        return found
    first = firsts(run)
    last = first + np.bincount(run) - 1
    backed = np.concatenate([[0], np.cumsum(path.reverse)])
    wound = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(path.heading)))])
    for before, after in pairwise(range(1, len(first))):
        a, b = int(last[before]), int(first[after])
        if not 1 < b - a <= BEND_S or path.piece[a] != path.piece[b] or backed[a] != backed[b]:
            continue
        bend = float(path.heading[b] - path.heading[a]) * np.sign(goes)
        if 0 < bend < MOST and wound[b] - wound[a] < bend + WINDING:
            slows = path.speed[a : b + 1].min() < SLOWS * usual
            found[a : b + 1] = not slows and min(fit[a], fit[b]) >= 0.5
    return found
