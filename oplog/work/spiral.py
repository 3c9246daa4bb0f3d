"""Spirals: fields that are worked round and round to one hand, bends and all.

The rounds grow shorter towards the middle until every end comes about by half a circle, which at
the end of a bout would be a turn. But who works round and round does not lift for its bends.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.motion import Path
from oplog.work.runs import by_run, firsts

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
ROUNDS = 4.5
"""Who goes round oftener with the implement in the ground works his field round and round."""
BEND_S, MOST, WINDING = 30, np.radians(220), np.radians(30)
"""How long a bend of such work lasts at most, how far it turns, and how far it winds beside that:
who moves over to the next round, or comes back to where he left off, winds."""
CORNER = np.radians(120)
"""Rounds are told by bends no sharper: bouts that are turned between bend by half a circle."""
SLOWS = 0.4
"""Down to what share of the working speed a machine slows in it."""


def spiral_bends(path: Path, run: Rows, work: Flags, fit: Floats, usual: float) -> Flags:
    """Bends between two runs of work round and round, to the hand that it goes: (m,) mask.

    run: (m,) number of each second's run; fit: (m,) how far it fits its neighbours, 0-1. usual:
    working speed. [m/s]
    """
    found = np.zeros(len(run), dtype=bool)
    ends, bent = _bends(path, run, usual)
    works = by_run(run, work.astype(np.float64)) > 0.5
    a, b = ends.T
    corners = (np.abs(bent) < CORNER) & works[run[a]] & works[run[b]]
    goes = float(bent[corners].sum()) / (2 * np.pi)
    if abs(goes) < ROUNDS:
        return found
    same = (bent * goes > 0) & (np.minimum(fit[a], fit[b]) >= 0.5)
    for first, last in ends[same].tolist():
        found[first : last + 1] = True
    return found


def _bends(path: Path, run: Rows, usual: float) -> tuple[NDArray[np.intp], Floats]:
    """Bends that may be worked in, as the last row of a run and the first of the next, (k, 2), and
    how far each turns, to the left where more than nothing, (k,) [rad]"""
    begin, count = firsts(run)[1:], np.bincount(run)[1:]
    a, b = (begin + count - 1)[:-1], begin[1:]
    backed = np.concatenate([[0], np.cumsum(path.reverse)])
    wound = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(path.heading)))])
    bent = path.heading[b] - path.heading[a]
    good = (b - a > 1) & (b - a <= BEND_S) & (path.piece[a] == path.piece[b])
    good &= (backed[a] == backed[b]) & (np.abs(bent) < MOST)
    good &= wound[b] - wound[a] < np.abs(bent) + WINDING
    k = np.flatnonzero(good)
    slowest = np.array([path.speed[i : j + 1].min() for i, j in zip(a[k], b[k], strict=True)])
    k = k[slowest >= SLOWS * usual] if len(k) else k
    return np.column_stack([a[k], b[k]]), bent[k]
