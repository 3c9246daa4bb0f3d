"""Passes: whether a stay holds two full operations, one over the other, and where the first ends.

Rolling in the morning and drilling in the afternoon without leaving the field is two pieces of
work. Ground covered again is otherwise read as travelling over finished work, so this has to be
asked before the states are told.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.work.claims import NEVER, first_claims, last_claims, raster, swath
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.states import heading_change, running

SHARE = 0.5
"""A second pass begins where more than half of the ground covered is covered again later.

Below that, ground covered twice is overlap, going over missed spots, or travel. Common practice,
no source: the share at which a person would say that the field was done again."""


def second_pass(path: Path, line: Line, width_m: float) -> int | None:
    """The second at which a second pass begins, or None: row of the path.

    Long straight runs alone are laid on the ground, as turns and ways to and from a trailer
    cover ground again in any work. For each moment, the ground covered both before and after it
    is added up; where the most, over all moments, is more than SHARE of all ground covered,
    the longest pause near that moment parts the passes.
    """
    bouts = _long_runs(path, width_m)
    if bouts.sum() < 120:
        return None
    lay = swath(raster(line.x, line.y, width_m), line.x, line.y, line.heading, path.piece, width_m)
    first, last = first_claims(lay, bouts), last_claims(lay, bouts)
    covered = np.flatnonzero(first != NEVER)
    begin = np.bincount(first[covered], minlength=len(path) + 1)
    end = np.bincount(last[covered], minlength=len(path) + 1)
    again = np.cumsum(begin)[: len(path)] - np.cumsum(end)[: len(path)]
    most = int(again.argmax())
    if again[most] < SHARE * len(covered):
        return None
    near = np.flatnonzero(again > 0.95 * again[most])
    return _parting(bouts, int(near[0]), int(near[-1]))


def _long_runs(path: Path, width_m: float) -> NDArray[np.bool_]:
    """Straight forward runs of several widths: (m,) mask."""
    run = running(path)
    way = np.bincount(run, weights=path.speed)
    long = way >= max(40.0, 4 * width_m)
    long[0] = False
    return np.asarray(long[run] & (heading_change(path.heading) < np.radians(20)), dtype=bool)


def _parting(bouts: NDArray[np.bool_], first: int, last: int) -> int:
    """Middle of the longest stretch without bouts between two rows; else the middle row."""
    rows = np.arange(first, last + 1)
    idle = ~bouts[rows]
    change = np.flatnonzero(np.diff(np.concatenate([[0], idle.astype(np.int8), [0]]))).reshape(
        -1, 2
    )
    if not len(change):
        return (first + last) // 2
    a, b = change[int(np.argmax(change[:, 1] - change[:, 0]))]
    return int(rows[0] + (a + b) // 2)
