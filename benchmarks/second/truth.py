"""The ground that was truly worked, and the hours, from the motion at full rate."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, polygons, union_all
from shapely.geometry.base import BaseGeometry

from benchmarks.second.driving import Motion
from benchmarks.second.steering import STEP_S, Array


def runs(mask: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Begin and end (beyond) of each run of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    yield from zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True)


def worked(motion: Motion, mask: NDArray[np.bool_]) -> BaseGeometry:
    """Union of the strips that the implement swept at the steps of `mask`, in metres."""
    half = motion.width_m / 2
    right = np.column_stack([np.sin(motion.facing) * half, -np.cos(motion.facing) * half])
    left_edge, right_edge = motion.middle - right, motion.middle + right
    pieces: list[BaseGeometry] = []
    for a, b in runs(mask):
        # A run reaches to the step where the state ends: its last interval was worked too.
        pieces += _strips(left_edge[a : b + 1], right_edge[a : b + 1], motion.facing[a : b + 1])
    return union_all(pieces) if pieces else Polygon()


def _strips(left: Array, right: Array, facing: Array) -> Iterator[BaseGeometry]:
    """A run as a few strips that do not cross themselves, else step by step."""
    middle = (left + right) / 2
    moved = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(middle, axis=0).T))])
    turned = np.concatenate([[0], np.cumsum(np.abs(np.diff(np.unwrap(facing))))])
    if moved[-1] < 0.05:
        return
    # A point every metre, more of them in bends; a new strip after 120 m or a third of a turn.
    key = np.floor(moved / 1.2 + turned / 0.02)
    keep = np.flatnonzero(np.diff(key, prepend=-1, append=np.inf)[:-1] != 0)
    keep = np.unique([0, *keep.tolist(), len(moved) - 1])
    part = np.floor(moved[keep] / 120 + turned[keep] / 1.0).astype(int)
    for begin, end in zip(*_parted(part), strict=True):
        k = keep[begin : end + 1]
        if len(k) < 2:
            continue
        strip = Polygon(np.concatenate([left[k], right[k][::-1]]))
        if strip.is_valid:
            yield strip
        else:
            quads = np.stack([left[k[:-1]], left[k[1:]], right[k[1:]], right[k[:-1]]], axis=1)
            shapes = polygons(quads)
            yield union_all([s if s.is_valid else s.buffer(0) for s in shapes])


def _parted(part: NDArray[np.int_]) -> tuple[list[int], list[int]]:
    cuts = np.flatnonzero(np.diff(part)) + 1
    begins = [0, *cuts.tolist()]
    ends = [*cuts.tolist(), len(part) - 1]
    return begins, ends


def gross_m2(motion: Motion, mask: NDArray[np.bool_]) -> tuple[float, float]:
    """Distance (m) of the implement's middle at the steps of `mask`, and that times its width."""
    step = np.hypot(*np.diff(motion.middle, axis=0).T)
    went = mask[:-1]
    return float(step[went].sum()), float((step * motion.width_m[:-1])[went].sum())


def stays(motion: Motion, within: NDArray[np.bool_]) -> Iterator[tuple[int, int, int]]:
    """(field, begin, end beyond) of each time in a field, parted where an operation ends."""
    key = np.where(within & (motion.where >= 0), motion.where * 1000 + motion.operation, -1)
    cuts = np.flatnonzero(np.diff(key)) + 1
    for a, b in zip([0, *cuts.tolist()], [*cuts.tolist(), len(key)], strict=True):
        if key[a] >= 0:
            yield int(motion.where[a]), a, b


def seconds(labels: NDArray[np.str_]) -> dict[str, float]:
    """Time in each state."""
    names, counts = np.unique(labels, return_counts=True)
    return {str(k): float(c) * STEP_S for k, c in zip(names, counts, strict=True)}
