"""What a header does that other implements do not: cut its way round corners, and go down early."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import heading_change, true_runs

Flags = NDArray[np.bool_]
HALTED_M_S = 0.2
LINED_UP = np.radians(20)
SET_OFF_S = 12
"""How long before the crop a header goes down at most, when the machine has backed to line up."""


def strokes(path: Path) -> Flags:
    """Forward strokes of a machine that goes to and fro in a corner: (m,) mask.

    A header has to cut its way round the corner of an opening cut: forward, back, forward a
    little further. Reversing twice or more within a short time and place is that, once is a turn.
    """
    back = [(a, b) for a, b in true_runs(path.reverse & (path.speed > 0.15), path.piece) if b > a]
    found = np.zeros(len(path), dtype=bool)
    for (a, b), (c, d) in pairwise(back):
        near = np.hypot(path.x[c] - path.x[b], path.y[c] - path.y[b]) < 30.0
        if near and c - b <= 40 and path.piece[a] == path.piece[d]:
            found[max(a - 12, 0) : d + 13] = True
    return found & ~path.reverse & (path.speed > 0.1)


def ahead(path: Path, line: Line, work: Flags, stated: bool) -> Flags:
    """Runs of a line carried in front, begun two seconds sooner and ended a second later.

    A header is lowered before the crop and raised when it is clear of it, so that nothing is
    left standing. Common practice; recorded harvests show some two seconds and one. Where it is
    not stated how far in front it is, the antenna stands for it, which is late enough. Where the
    machine has backed or stood to line up, it is lowered as it sets off.
    """
    able = ~path.reverse & (path.speed > 0.4) & (heading_change(line.heading) < np.radians(45))
    out = work.copy()
    for _ in range(2):
        out |= able & np.concatenate([out[1:], [False]])
    if stated:
        out |= able & np.concatenate([[False], work[:-1]])
    for a, _ in true_runs(out, path.piece):
        out[_set_off(path, a) : a] = True
    return out


def _set_off(path: Path, start: int) -> int:
    """The second in which the machine set off towards a start, if it did so shortly before."""
    first = max(start - SET_OFF_S, 0)
    halted = path.reverse[first:start] | (path.speed[first:start] < HALTED_M_S)
    halted &= path.piece[first:start] == path.piece[start]
    if not halted.any():
        return start
    at = first + int(np.flatnonzero(halted)[-1]) + 1
    askew = np.abs(path.heading[at:start] - path.heading[start]) > LINED_UP
    return at + int(np.flatnonzero(askew)[-1]) + 1 if askew.any() else at
