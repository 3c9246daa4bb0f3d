"""Aside: an implement carried well to one side, known by the ground that its bouts cover.

Where bouts are driven up and down one beside the other, every second distance between them shows
it (`spacing.py`). Where they are driven in lands, neighbours run the same way, and only those few
that meet against each other lie at odd distances. Laid out at the right side, all of them together
cover more ground than laid out at any other; an implement behind its tractor covers most as it is.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.line import Line

CELLS = 8
"""Cells of the ground to a width."""
STEP, FURTHEST, QUARTER = 1 / 16, 15, 4
"""How closely an implement is looked for, in widths; how far to either side, and a quarter of the
width, in steps."""
GAIN = 0.04
"""Share of what was driven that is covered the more, at the least. With an offset 0.05 to 0.26
are gained; without one, where all falls off to both sides, less than 0.02 (simulators)."""
FALLS = 0.003
"""So much less is covered a quarter of the width to either side: else it is an edge that grows
the further out all is laid."""
WANDERS = 1 / 15
"""Share of the width from which on distances are odd because positions wander."""
FURTHEST_M = 3.5
"""No implement is carried further aside; moved by a whole width bouts lie side by side again."""
LONG = 6
"""Bouts of fewer widths are ways and corners."""


def antenna_right_m(
    line: Line, bout: NDArray[np.int32], ground: Any, width_m: float, drift_m: float
) -> float | None:
    """How far the antenna is right of the implement's middle; None where nothing shows it. [m]

    line: as if it were in the middle; bout: (m,) number of each second's bout, 0 outside; ground:
    the field in the plane. drift_m: how far positions wander.
    """
    from shapely import contains_xy, prepare

    if drift_m > WANDERS * width_m:
        return None
    prepare(ground)
    x, y, heading = _steps(line, np.where(contains_xy(ground, line.x, line.y), bout, 0), width_m)
    if len(x) < 4 * LONG * CELLS:
        return None
    aside = np.arange(-FURTHEST - QUARTER, FURTHEST + QUARTER + 1)
    covered = np.array([_covered(x, y, heading, k * STEP, width_m) for k in aside])
    inner = slice(QUARTER, -QUARTER)
    best = QUARTER + int(covered[inner].argmax())
    gain = covered[best] - covered[aside == 0][0]
    falls = covered[best] - max(covered[best - QUARTER], covered[best + QUARTER])
    right_m = float(aside[best]) * STEP * width_m
    if gain < GAIN or falls < FALLS or abs(right_m) > FURTHEST_M:
        return None
    return right_m


def _steps(line: Line, bout: NDArray[np.int32], width_m: float) -> tuple[Floats, Floats, Floats]:
    """Positions and headings along the longer bouts, a cell of the ground apart at the most."""
    dx, dy = np.diff(line.x, append=line.x[-1]), np.diff(line.y, append=line.y[-1])
    gone_m = np.hypot(dx, dy)
    long = np.bincount(bout, weights=gone_m) > LONG * width_m
    long[0] = False
    rows = np.flatnonzero(long[bout] & (np.append(bout[1:], 0) == bout))
    each = np.maximum(np.ceil(gone_m[rows] * CELLS / width_m), 1).astype(np.intp)
    at = np.repeat(rows, each)
    first = np.repeat(np.cumsum(each) - each, each)
    part = (np.arange(len(at)) - first + 0.5) / np.repeat(each, each)
    return line.x[at] + part * dx[at], line.y[at] + part * dy[at], line.heading[at]


def _covered(x: Floats, y: Floats, heading: Floats, aside: float, width_m: float) -> float:
    """Ground covered by a line laid so many widths to the left, as a share of all it was driven."""
    cell_m = width_m / CELLS
    across = ((np.arange(CELLS) + 0.5) / CELLS - 0.5 + aside) * width_m
    column = (x - x.min() - np.sin(heading) * across[:, None]) / cell_m + 3 * CELLS
    row = (y - y.min() + np.cos(heading) * across[:, None]) / cell_m + 3 * CELLS
    columns = int(column.max()) + 1
    ground = np.zeros((int(row.max()) + 1) * columns, dtype=bool)
    ground[row.astype(np.intp) * columns + column.astype(np.intp)] = True
    return float(np.count_nonzero(ground) / column.size)
