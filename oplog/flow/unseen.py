"""Ground that a private place hides: nobody can tell whether it was worked. Pure.

The fixes in a private place are not kept, nor those of the way through it, so that the ground there
would count as missed, or as left. It is told apart: the place itself, and the strip along every way
that was cut because it leads through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from oplog import geodesy
from oplog.events import PrivatePlace
from oplog.flow.days import stamp
from oplog.track import Track
from oplog.work.model import Visit

LEAST_M2 = 1.0
"""Less than this is not told."""

USUAL_WIDTH_M = 3.0
"""Taken where no width is known."""


def unseen(visit: Visit, track: Track, places: Sequence[PrivatePlace]) -> Any:
    """The ground in the visit's field that its machine's track cannot tell of, lon/lat; None where
    there is none.

    track: all fixes of the machine on that day. A place with fixes in it was stated later, and
    hides nothing.
    """
    near = [s for s in map(_shape, places) if s.intersects(visit.field.boundary)]
    near = [s for s in near if not shapely.intersects_xy(s, track.lon, track.lat).any()]
    if not near:
        return None
    plane = geodesy.plane_of(visit.field.boundary)
    boundary = shapely.make_valid(plane.project(visit.field.boundary))
    hidden = shapely.make_valid(plane.project(shapely.union_all(near)))
    x, y = _during(visit, track, plane)
    steps = shapely.linestrings(np.stack([np.c_[x[:-1], y[:-1]], np.c_[x[1:], y[1:]]], axis=1))
    half_m = (visit.width_used_m or visit.rig.width_m or USUAL_WIDTH_M) / 2
    ways = shapely.buffer(steps[shapely.intersects(steps, hidden)], half_m, cap_style="flat")
    ground = shapely.intersection(shapely.union_all([hidden, *ways]), boundary)
    if visit.worked is not None:
        ground = shapely.difference(ground, shapely.make_valid(plane.project(visit.worked)))
    parts = [p for p in shapely.get_parts(ground) if p.geom_type == "Polygon"]
    ground = shapely.MultiPolygon(parts)
    return plane.unproject(ground) if ground.area >= LEAST_M2 else None


def told_apart(visit: Visit, hidden: Any) -> Visit:
    """The visit with what is hidden not counted as missed."""
    if hidden is None or visit.missed is None:
        return visit
    missed = shapely.difference(shapely.make_valid(visit.missed), hidden)
    parts = [p for p in shapely.get_parts(missed) if p.geom_type == "Polygon"]
    missed = shapely.MultiPolygon(parts)
    return replace(visit, missed=missed, missed_m2=geodesy.area_m2(missed) if parts else 0.0)


def _shape(place: PrivatePlace) -> Any:
    return shapely.from_wkb(place.geometry)


def _during(visit: Visit, track: Track, plane: geodesy.Plane) -> tuple[Any, Any]:
    """Where the machine was in its stay, in metres, with a fix on either side."""
    begin, end = np.searchsorted(track.time, [stamp(visit.started_at), stamp(visit.ended_at)])
    rows = slice(max(int(begin) - 1, 0), int(end) + 2)
    return plane.xy(track.lon[rows], track.lat[rows])
