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
BENT = np.radians(3.0)
"""A bout that turns by more is curved, and two that differ by more are not parallel."""
REGULAR, MOSTLY, FEWEST = 0.15, 0.6, 6
"""By how much of a width bouts in turn may lie at other distances; of how many, and how many."""
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


def right_by_order_m(
    x: Floats,
    y: Floats,
    heading: Floats,
    bout: NDArray[np.int32],
    width_m: float,
    by_spacing: float,
) -> float:
    """How far the antenna is right of the implement's middle, by the order of the bouts. [m]

    Of bouts up and down in turn each lies a width on, now to the left and now to the right: twice
    the offset more to the one hand than to the other. The distances of neighbours show the same
    but for halves of a width, as who works well aside passes his own last way on the other side.
    x, y, heading, bout: (m,) as for `spacing`; width_m, by_spacing: the width of the bouts and
    the offset, by their distances; the offset is given back where the order shows no other.
    """
    on_m = _to_the_next(x, y, heading, bout, width_m)
    pair = np.isfinite(on_m[1:]) & np.isfinite(on_m[:-1])
    steps_m = (np.abs(on_m[1:] - on_m[:-1]) / 2)[pair]
    right_m = ((on_m[1:] + on_m[:-1]) / 4)[pair]
    in_turn = np.abs(steps_m - width_m) < REGULAR * width_m
    if in_turn.sum() < max(FEWEST, MOSTLY * len(right_m)):
        return by_spacing
    low_m, middle_m, high_m = np.percentile(right_m[in_turn], [25, 50, 75])
    # As regular is who goes on by three bouts and back by one; who has nothing aside shows no
    # offset by spacing either, and is not asked.
    off = (middle_m - by_spacing) / (width_m / 2)
    halves = abs(off - np.rint(off)) < REGULAR
    told = halves and high_m - low_m < REGULAR * width_m and abs(middle_m) < FURTHEST_M
    return float(middle_m) if told else by_spacing


def _to_the_next(
    x: Floats, y: Floats, heading: Floats, bout: NDArray[np.int32], width_m: float
) -> Floats:
    """How far to its left the long bout after each lies, if that is driven against it: (k,) [m];
    NaN where it is not, or one of them is bent."""
    rows = np.flatnonzero(bout > 0)
    first = np.flatnonzero(np.diff(bout[rows], prepend=0))
    last = np.append(first[1:], len(rows)) - 1
    first, last = rows[first], rows[last]
    long = np.hypot(x[last] - x[first], y[last] - y[first]) > LONG * width_m
    first, last = first[long], last[long]
    middle = (first + last) // 2
    way = np.arctan2(y[last] - y[first], x[last] - x[first])
    straight = np.abs((heading[middle] - way + np.pi) % (2 * np.pi) - np.pi) < BENT
    turned = np.abs((way[1:] - way[:-1]) % (2 * np.pi) - np.pi)
    dx, dy = x[middle][1:] - x[first][:-1], y[middle][1:] - y[first][:-1]
    left_m = dy * np.cos(way[:-1]) - dx * np.sin(way[:-1])
    return np.where(straight[1:] & straight[:-1] & (turned < BENT), left_m, np.nan)


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
