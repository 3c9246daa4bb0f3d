"""Claims: which run covered each spot of ground first, on a fine raster.

The strongest sign that an implement is in the ground is ground not yet worked ahead of it. A
raster of about an eighth of the width answers that for a whole visit in a few array operations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats

ACROSS = 8
"""Samples across the working width."""
MOST_CELLS = 12_000_000
"""A raster is made coarser rather than larger than this."""
NEVER = np.iinfo(np.int32).max


@dataclass(frozen=True, eq=False)
class Swath:
    """The working line of every second as cells of a raster.

    cells: (k,) cell of each sample; owner: (k,) grid second that it belongs to, ascending;
    count: (m,) samples per second. size_m: side of a cell. shape: raster (rows, columns).
    """

    cells: NDArray[np.int64]
    owner: NDArray[np.int32]
    steps: int
    size_m: float
    shape: tuple[int, int]
    origin: tuple[float, float]


def swath(x: Floats, y: Floats, heading: Floats, piece: NDArray[np.int32], width_m: float) -> Swath:
    """Lay the working line over the ground: (m,) centre of the line and heading -> Swath."""
    size = width_m / ACROSS
    west, south = x.min() - width_m, y.min() - width_m
    east, north = x.max() + width_m, y.max() + width_m
    size = max(size, float(np.sqrt((east - west) * (north - south) / MOST_CELLS)))
    columns, rows = int((east - west) / size) + 1, int((north - south) / size) + 1
    step = np.hypot(np.diff(x, append=x[-1]), np.diff(y, append=y[-1]))
    step[np.diff(piece, append=-1) != 0] = 0.0
    substeps = np.clip(np.ceil(step / size), 1, 60).astype(np.intp)
    owner = np.repeat(np.arange(len(x), dtype=np.int32), substeps)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(substeps) - substeps, substeps)
    u = (within + 0.5) / substeps[owner]
    nxt = np.minimum(owner + 1, len(x) - 1)
    nxt = np.where(piece[nxt] == piece[owner], nxt, owner)
    cx = x[owner] + u * (x[nxt] - x[owner])
    cy = y[owner] + u * (y[nxt] - y[owner])
    angle = heading[owner] + u * (heading[nxt] - heading[owner])
    across = ((np.arange(ACROSS) + 0.5) / ACROSS - 0.5) * width_m
    sx = cx[:, None] - np.sin(angle)[:, None] * across
    sy = cy[:, None] + np.cos(angle)[:, None] * across
    column = ((sx - west) / size).astype(np.int64)
    row = ((sy - south) / size).astype(np.int64)
    return Swath(
        cells=(row * columns + column).ravel(),
        owner=np.repeat(owner, ACROSS),
        steps=len(x),
        size_m=size,
        shape=(rows, columns),
        origin=(float(west), float(south)),
    )


def first_claims(lay: Swath, working: NDArray[np.bool_]) -> NDArray[np.int32]:
    """First second at which each cell was covered by work: (cells,), NEVER where none."""
    first = np.full(lay.shape[0] * lay.shape[1], NEVER, dtype=np.int32)
    chosen = working[lay.owner]
    cells, owner = lay.cells[chosen], lay.owner[chosen]
    first[cells[::-1]] = owner[::-1]
    return first


def last_claims(lay: Swath, working: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Last second at which each cell was covered by work: (cells,), -1 where none."""
    last = np.full(lay.shape[0] * lay.shape[1], -1, dtype=np.int32)
    chosen = working[lay.owner]
    last[lay.cells[chosen]] = lay.owner[chosen]
    return last


def share(lay: Swath, flag: NDArray[np.bool_]) -> Floats:
    """Mean of a per-sample flag over each second: (k,) -> (m,)."""
    total = np.bincount(lay.owner, minlength=lay.steps)
    return np.asarray(
        np.bincount(lay.owner, weights=flag, minlength=lay.steps) / np.maximum(total, 1)
    )


def novelty(lay: Swath, first: NDArray[np.int32], recent_s: int = 8) -> Floats:
    """Share of the working line of each second that lies on ground not worked before: (m,) 0-1.

    Ground worked within the last `recent_s` seconds is the machine's own doing and counts as new.
    """
    return share(lay, first[lay.cells] >= lay.owner - recent_s)
