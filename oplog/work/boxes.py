"""Boxes that meet, out of two sets of many: by a grid, as most lie nowhere near each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats

Rows = NDArray[np.intp]
Points = tuple[Floats, Floats]
"""x and y: (n,) each."""
Boxes = tuple[Floats, Floats, Floats, Floats]
"""West, south, east and north: (n,) each."""
MOST_CELLS = 1_000_000
"""The grid is made coarser rather than larger than this."""


def boxes_of(first: Points, last: Points) -> Boxes:
    """Boxes about straight legs, by either end."""
    (ax, ay), (bx, by) = first, last
    return np.minimum(ax, bx), np.minimum(ay, by), np.maximum(ax, bx), np.maximum(ay, by)


def meeting(boxes: Boxes, others: Boxes) -> tuple[Rows, Rows]:
    """Pairs of boxes that meet, a touch included: their rows among either, (k,) each.

    Fastest where the others are about alike in size.
    """
    west, south, east, north = others
    if not len(boxes[0]) or not len(west):
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    left, low = float(west.min()), float(south.min())
    width, height = float(west.max()) - left, float(south.max()) - low
    largest = float(np.maximum(east - west, north - south).max())
    size = max(largest, np.sqrt((width + 1.0) * (height + 1.0) / MOST_CELLS), 1e-6)
    columns, rows = int(width / size) + 1, int(height / size) + 1
    # Each of the others lies in the cell of its lower corner and the next, and in no other.
    cell = ((south - low) / size).astype(np.intp) * columns + ((west - left) / size).astype(np.intp)
    order = np.argsort(cell, kind="stable")
    begins = np.concatenate([[0], np.cumsum(np.bincount(cell, minlength=columns * rows))])

    def cells(at: Floats, most: int) -> Rows:
        return np.asarray(np.clip(np.floor(at / size), -1, most), dtype=np.intp)

    first, last = cells(boxes[0] - left - largest, columns), cells(boxes[2] - left, columns - 1)
    below, above = cells(boxes[1] - low - largest, rows), cells(boxes[3] - low, rows - 1)
    first, below = np.maximum(first, 0), np.maximum(below, 0)
    pairs = []
    for k in range(int((above - below).max()) + 1):
        here = np.flatnonzero((below + k <= above) & (first <= last))
        line = (below[here] + k) * columns
        begin = begins[line + first[here]]
        count = begins[line + last[here] + 1] - begin
        place = np.arange(count.sum()) + np.repeat(begin - np.cumsum(count) + count, count)
        mine, theirs = np.repeat(here, count), order[place]
        for low_side, high_side in ((0, 2), (1, 3)):
            met = boxes[low_side][mine] <= others[high_side][theirs]
            met &= boxes[high_side][mine] >= others[low_side][theirs]
            mine, theirs = mine[met], theirs[met]
        pairs.append((mine, theirs))
    none = np.zeros(0, dtype=np.intp)
    return (
        np.concatenate([none, *(mine for mine, _ in pairs)]),
        np.concatenate([none, *(theirs for _, theirs in pairs)]),
    )
