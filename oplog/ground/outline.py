"""What the outermost bouts of a pass enclose."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from oplog import geodesy, land
from oplog.events import WorkMeasured
from oplog.ground.shapes import closed, filled, opened, outlines, together, within, without
from oplog.records import dataclass

WIDEST_MARGIN_M = 24.0
"""Undone ground wider than this, outside the outermost bouts, is no margin."""
FINISHED = 0.01
"""A field is finished, or enclosed, when less than this share of it is not."""
ALONG_DEG = 30.0
"""An edge of the work is made by a bout, not by bout ends, if it runs along it within this."""

Key = tuple[str, str | None, int | None, str]
"""Operation, crop, harvest year, field."""


@dataclass(frozen=True, eq=False)
class Pass:
    """A pass in its plane. sliver_m: undone ground narrower than this is missed, not left.
    unseen: what a private place hides from all its visits; None where nothing is.
    enclosed: what its bouts enclose; whole: they enclose the field."""

    key: Key
    number: int
    field: land.Field
    visits: tuple[WorkMeasured, ...]
    plane: geodesy.Plane
    boundary: Any
    done: Any
    width_m: float
    sliver_m: float
    unseen: Any
    enclosed: Any = None
    whole: bool = False


def enclosing(p: Pass) -> Pass:
    """Find what the outermost bouts enclose, and whether that is the whole field. Ground that is
    hidden counts as gone over: the bouts on either side of it are one."""
    ground = p.done if p.unseen is None else together(p.done, p.unseen)
    hull = filled(closed(ground, WIDEST_MARGIN_M / 2))
    enclosed = within(together(hull, ground), p.boundary)
    beyond = without(p.boundary, enclosed)
    past_ends = within(beyond, _past_bout_ends(p, enclosed))
    undone = together(opened(beyond, WIDEST_MARGIN_M / 2), opened(past_ends, p.sliver_m / 2))
    whole = undone.area <= FINISHED * p.boundary.area
    return replace(p, enclosed=enclosed, whole=bool(whole))


def _past_bout_ends(p: Pass, enclosed: Any) -> Any:
    """Ground within a margin's width of the edges of the work at which bouts end."""
    bouts = _segments(p)
    zones = []
    step_m = min(max(p.width_m / 2, 1.0), 5.0)
    for ring in outlines(enclosed):
        points = _along(ring, step_m)
        reach = max(round(p.width_m / step_m), 1)
        heading = np.roll(points, -reach, axis=0) - np.roll(points, reach, axis=0)
        ends = ~_run_along(points, heading, bouts)
        for run in _runs(ends):
            if len(run) * step_m > 1.5 * p.width_m:
                line = shapely.LineString(points[[*run, (run[-1] + 1) % len(points)]])
                zones.append(line.buffer(WIDEST_MARGIN_M, cap_style="flat"))
    return together(*zones)


def _segments(p: Pass) -> NDArray[np.float64]:
    """All straight pieces of the bouts of a pass: (n, 2, 2) metres."""
    pieces = []
    for v in p.visits:
        if v.bouts:
            lines = p.plane.project(shapely.from_wkb(v.bouts))
            bouts = shapely.simplify(lines, 0.3, preserve_topology=False)
            for line in shapely.get_parts(bouts):
                c = shapely.get_coordinates(line)
                pieces.append(np.stack([c[:-1], c[1:]], axis=1))
    return np.concatenate(pieces) if pieces else np.zeros((0, 2, 2))


def _run_along(
    points: NDArray[np.float64], heading: NDArray[np.float64], bouts: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether the bout nearest each point runs the way that the outline does there."""
    if not len(bouts):
        return np.zeros(len(points), dtype=bool)
    nearest = shapely.STRtree(shapely.linestrings(bouts)).nearest(shapely.points(points))
    way = bouts[nearest, 1] - bouts[nearest, 0]
    dot = np.abs(np.sum(way * heading, axis=1))
    length = np.hypot(*way.T) * np.hypot(*heading.T)
    return np.asarray(dot >= np.cos(np.radians(ALONG_DEG)) * length)


def _along(ring: Any, step_m: float) -> NDArray[np.float64]:
    """Points along a ring, about step_m apart: (n, 2)."""
    n = max(int(ring.length / step_m), 8)
    spots = shapely.line_interpolate_point(ring, np.arange(n) * (ring.length / n))
    return np.asarray(shapely.get_coordinates(spots))


def _runs(flags: NDArray[np.bool_]) -> Iterable[list[int]]:
    """Rows of each unbroken run of True, round the ring."""
    if flags.all():
        yield list(range(len(flags)))
    elif flags.any():
        first = int(np.flatnonzero(~flags)[0])
        order = np.roll(np.arange(len(flags)), -first)
        edges = np.flatnonzero(np.diff(flags[order].astype(np.int8), prepend=0, append=0))
        for start, end in zip(edges[::2], edges[1::2], strict=True):
            yield [int(i) for i in order[start:end]]
