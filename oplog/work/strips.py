"""Strips of ground beside lines that hardly bend, by arithmetic: what GEOS makes of them too, which
has to look for edges that cross each other, where here there can be none."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats

STEEPEST = np.cos(np.radians(40.0))
"""No step of a plain line leads away from the way from its first point to its last by more than
this angle. Up to 45 degrees no edge of its strip can cross another, but for one at a corner too
tight for it, which is looked for."""


def strips(lines: NDArray[Any], reach_m: float) -> tuple[NDArray[np.bool_], NDArray[Any]]:
    """Strips as far as this to either side of lines, mitred, with square ends.

    lines: (n,) of LineString. Returns: (n,) which are plain, and (n,) polygons, None for the
    others.
    """
    from shapely import get_coordinates, linearrings, polygons

    at, line = get_coordinates(lines, return_index=True)
    count = np.bincount(line, minlength=len(lines))
    aside, plain = _aside(at, line, count, reach_m)
    found = np.full(len(lines), None, dtype=object)
    if plain.any():
        of = plain[line]
        rings, ring = _rings(at[of], aside[of], count[plain])
        found[plain] = polygons(linearrings(rings, indices=ring))
    return plain, found


def _aside(
    at: Floats, line: NDArray[np.intp], count: NDArray[np.intp], reach_m: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """From each point to the left edge there, (m, 2), and which lines are plain, (n,)."""
    last = np.cumsum(count) - 1
    first = last - count + 1
    step = np.diff(at, axis=0, append=at[-1:])
    length = np.hypot(*step.T)
    # The step after a line's last point is that before it, and before its first that after it.
    length[last] = 0.0
    to_left = np.column_stack([-step[:, 1], step[:, 0]]) / np.where(length, length, 1.0)[:, None]
    to_left[last] = to_left[last - 1]
    before = np.roll(to_left, 1, axis=0)
    before[first] = to_left[first]
    # The edges to either side of a corner meet where its mitre has this length.
    shared = 1.0 + (to_left * before).sum(axis=1)
    aside = reach_m * (to_left + before) / np.maximum(shared, 1e-9)[:, None]
    # How much of a step a corner takes away on its inner side: half the turn's tangent.
    across = before[:, 0] * to_left[:, 1] - before[:, 1] * to_left[:, 0]
    taken = reach_m * np.abs(across) / np.maximum(shared, 1e-9)
    chord = at[last] - at[first]
    ahead = (step * chord[line]).sum(axis=1)
    straight = ahead > STEEPEST * length * np.hypot(*chord.T)[line]
    roomy = length > taken + np.roll(taken, -1)
    inner = np.ones(len(at), dtype=bool)
    inner[last] = False
    bad = inner & ~(straight & roomy)
    plain = (count > 1) & (np.bincount(line[bad], minlength=len(count)) == 0)
    return aside, plain


def _rings(at: Floats, aside: Floats, count: NDArray[np.intp]) -> tuple[Floats, NDArray[np.intp]]:
    """Points of the rings, up the right edges and down the left ones, and the ring of each."""
    size = 2 * count + 1
    begins = np.cumsum(size) - size
    own = np.arange(len(at)) - np.repeat(np.cumsum(count) - count, count)
    right = np.repeat(begins, count) + own
    left = np.repeat(begins + 2 * count - 1, count) - own
    rings = np.empty((int(size.sum()), 2))
    rings[right], rings[left] = at - aside, at + aside
    rings[begins + 2 * count] = rings[begins]
    return rings, np.repeat(np.arange(len(count)), size)
