"""The headland of a visit: how deep the rounds along the boundary lie.

A bout belongs to the headland where it runs along the nearest edge of the field and across the
way that most of the work runs. The deepest of them, half a width beyond its middle, is the depth.
Common practice, no source; a picture and a sentence rest on it, no figure of the log.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from oplog.records import dataclass

Floats = NDArray[np.float64]

ACROSS_DEG = 25.0
"""Bouts that differ more than this from the main way run across it."""
ALONG_DEG = 15.0
"""A bout that differs less than this from the nearest edge runs along it."""
MOST_ROUNDS = 6.0
"""Rounds that a headland has at most."""
LEAST_SHARE = 0.5
"""Runs across must add up to this share of the field's breadth, or there is no headland."""


SPIRAL = 0.15
"""Rounds lying deeper, over those that a headland may have: more, and the work is a spiral."""
LEAST_BODY = 0.3
"""A body smaller than this share of the field is what a spiral left for the end."""


@dataclass(frozen=True, eq=False)
class Headland:
    """depth_m: from the boundary inwards. body: ground inside it, in the plane of the bouts.

    body is None where the whole field was worked round and round, so that nothing is body.
    """

    depth_m: float
    body: Any


def headland(bouts: Any, boundary: Any, width_m: float) -> Headland | None:
    """The headland of work done in bouts; None where no rounds were driven. All in one plane."""
    pieces = _pieces(bouts)
    if not len(pieces):
        return None
    way = pieces[:, 1] - pieces[:, 0]
    length = np.hypot(*way.T)
    heading = np.degrees(np.arctan2(way[:, 1], way[:, 0])) % 180.0
    across = _apart(heading, _main(heading, length)) > ACROSS_DEG
    middle = shapely.points(pieces.mean(axis=1))
    edges = _pieces(shapely.boundary(boundary))
    nearest, away = _nearest(edges, middle)
    edge_way = edges[nearest, 1] - edges[nearest, 0]
    edge_heading = np.degrees(np.arctan2(edge_way[:, 1], edge_way[:, 0])) % 180.0
    rounds = across & (_apart(heading, edge_heading) < ALONG_DEG) & (away < MOST_ROUNDS * width_m)
    if length[rounds].sum() < LEAST_SHARE * np.sqrt(boundary.area):
        return None
    deeper = across & (_apart(heading, edge_heading) < ALONG_DEG) & ~rounds
    depth_m = _most(away[rounds], length[rounds]) + width_m / 2
    body = shapely.buffer(boundary, -depth_m, join_style="mitre")
    whole = length[deeper].sum() > SPIRAL * length[rounds].sum()
    whole = whole or body.area < LEAST_BODY * boundary.area
    return Headland(float(depth_m), None if whole else body)


def _pieces(lines: Any) -> Floats:
    """Straight pieces of lines, (n, 2, 2) metres, wiggles left out."""
    found = []
    for line in shapely.get_parts(shapely.simplify(lines, 1.0, preserve_topology=False)):
        c = shapely.get_coordinates(line)
        found.append(np.stack([c[:-1], c[1:]], axis=1))
    return np.concatenate(found) if found else np.zeros((0, 2, 2))


def _nearest(edges: Floats, points: Any) -> tuple[NDArray[np.intp], Floats]:
    lines = shapely.linestrings(edges)
    nearest = shapely.STRtree(lines).nearest(points)
    return nearest, np.asarray(shapely.distance(lines[nearest], points), dtype=np.float64)


def _main(heading: Floats, length: Floats) -> float:
    """The way of most work, as the fullest of 36 classes and its neighbours. [degree]"""
    full, _ = np.histogram(heading, bins=36, range=(0.0, 180.0), weights=length)
    smooth = full + np.roll(full, 1) + np.roll(full, -1)
    return float(np.argmax(smooth) * 5.0 + 2.5)


def _apart(a: Any, b: Any) -> Any:
    """Degrees between two ways without a direction: 0 to 90."""
    apart = np.abs(a - b) % 180.0
    return np.minimum(apart, 180.0 - apart)


def _most(values: Floats, weights: Floats) -> float:
    """The value that 95 % of the weight does not exceed."""
    order = np.argsort(values)
    share = np.cumsum(weights[order]) / weights.sum()
    return float(values[order][np.searchsorted(share, 0.95)])
