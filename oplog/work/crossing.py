"""Crossing: how much of the working line lies on ground of its own, told to its halves."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.work.claims import Swath, claimed, share
from oplog.work.ends import Crossings
from oplog.work.line import Line
from oplog.work.runs import midst, true_runs

Flags = NDArray[np.bool_]


def crossings(lay: Swath, work: Flags, piece: NDArray[np.int32]) -> Crossings:
    """How much of the line, and of its halves, lies on ground of its own: (m,) 0-1 each.

    As far as it is asked, near the ends of runs; elsewhere 0.
    """
    near = near_ends(work, piece)
    some = lay.part_of(near)
    mine = claimed(some, lay, work, midst(work, piece).astype(np.int8))
    half = max(mine.shape[1] // 2, 1)
    told = np.zeros((3, len(work)))
    told[:, near] = [share(some, part) for part in (mine, mine[:, :half], mine[:, -half:])]
    return Crossings(*told)


def near_ends(work: Flags, piece: NDArray[np.int32], reach_s: int = 12) -> Flags:
    """Seconds near the ends of runs: (m,) mask."""
    near = np.zeros(len(work), dtype=bool)
    for a, b in true_runs(work, piece):
        near[max(a - reach_s, 0) : a + reach_s] = True
        near[max(b - reach_s, 0) : b + reach_s] = True
    return near


def in_field(
    new: Crossings, line: Line, width_m: float, ground: Any, sure: Flags, samples: int = 8
) -> Crossings:
    """The same shares of the line and its halves, but of what lies in the field.

    Of points and not of the raster's cells, which do not turn with the field: the end of each
    bout would go by how they lie. sure: (m,) seconds that are not asked.
    """
    from shapely import contains_xy, prepare

    asked = np.flatnonzero(~sure)
    after = np.minimum(asked + 1, len(line.x) - 1)
    x, y = (line.x[asked] + line.x[after]) / 2, (line.y[asked] + line.y[after]) / 2
    across = ((np.arange(samples) + 0.5) / samples - 0.5) * width_m
    heading = line.heading[asked]
    prepare(ground)
    inside = contains_xy(
        ground,
        x[:, None] - np.sin(heading)[:, None] * across,
        y[:, None] + np.cos(heading)[:, None] * across,
    )
    half, share = samples // 2, np.ones((3, len(sure)))
    parts = (inside, inside[:, :half], inside[:, half:])
    share[:, asked] = [part.mean(axis=1) for part in parts]
    return Crossings(new.whole * share[0], new.right * share[1], new.left * share[2])
