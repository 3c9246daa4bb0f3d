"""Coverage: the ground that the bouts swept, each spot once; overlap, misses, what lies outside."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats

GRID_M = 0.001
"""Precision of the overlay: whole millimetres keep GEOS away from slivers of rounding."""
THIN_M = 0.02
"""Centre lines are thinned to 2 cm before they are widened: 0.01 % of area at the most."""


@dataclass(frozen=True, eq=False)
class Covered:
    """Areas in m2 and geometries in the plane of the field.

    gross_m2: length worked x width. worked: ground covered inside the boundary, once, gaps that
    the noise explains closed. outside: covered outside it. overlap: covered more than once.
    missed: ground inside the hull of the work that was left, wider than the gaps closed.
    """

    gross_m2: float
    worked: Any
    outside: Any
    overlap: Any
    missed: Any


def bout_lines(x: Floats, y: Floats, bout: NDArray[np.int32]) -> list[Any]:
    """Centre line of each bout: (m,) positions and bout numbers (0: none) -> [LineString]."""
    from shapely import LineString

    lines = []
    for rows in bout_rows(bout):
        if len(rows) >= 2:
            lines.append(LineString(np.column_stack([x[rows], y[rows]])))
    return lines


def bout_rows(bout: NDArray[np.int32]) -> list[NDArray[np.intp]]:
    """Rows of each bout, bout 1 first; the step after the last second belongs to it."""
    change = np.flatnonzero(np.diff(bout, prepend=0, append=0)).tolist()
    found = []
    for a, b in pairwise(change):
        if bout[a] > 0:
            found.append(np.arange(a, min(b + 1, len(bout))))
    return found


def cover(lines: list[Any], width_m: float, boundary: Any | None, close_m: float) -> Covered:
    """Widen the bouts, join them, and part the ground by the boundary.

    close_m: gaps narrower than twice this are closed, as the noise explains them (a plain union
    of swaths loses area to gaps that are not there; a measured figure is in DEVELOPERS.md).
    """
    from shapely import MultiPolygon, buffer, intersection, set_precision, simplify, union_all

    empty = MultiPolygon()
    lines = [line for line in lines if line.length > 0]
    if not lines:
        return Covered(0.0, empty, empty, empty, empty)
    gross_m2 = float(sum(line.length for line in lines)) * width_m
    thin = [simplify(line, THIN_M) for line in lines]
    swaths = [
        set_precision(
            buffer(line, width_m / 2, cap_style="flat", join_style="mitre", mitre_limit=2), GRID_M
        )
        for line in thin
    ]
    union = union_all(swaths, grid_size=GRID_M)
    closed = _close(union, close_m)
    overlap = _twice(swaths)
    if boundary is None:
        worked, outside = closed, empty
    else:
        worked = intersection(_polygons(closed), boundary, grid_size=GRID_M)
        outside = _polygons(union).difference(boundary, grid_size=GRID_M)
        overlap = intersection(_polygons(overlap), boundary, grid_size=GRID_M)
    missed = _missed(worked, boundary, width_m, close_m)
    return Covered(gross_m2, _polygons(worked), _polygons(outside), _polygons(overlap), missed)


def _close(ground: Any, by_m: float) -> Any:
    from shapely import buffer, union

    if by_m <= 0:
        return ground
    grown = buffer(ground, by_m, join_style="mitre", mitre_limit=2)
    return union(ground, buffer(grown, -by_m, join_style="mitre", mitre_limit=2), grid_size=GRID_M)


def _twice(swaths: list[Any]) -> Any:
    """Ground that two swaths share."""
    from shapely import STRtree, intersection, union_all

    tree = STRtree(swaths)
    a, b = tree.query(swaths, predicate="intersects")
    pairs = a < b
    shared = intersection(
        np.asarray(swaths)[a[pairs]], np.asarray(swaths)[b[pairs]], grid_size=GRID_M
    )
    return union_all([_polygons(s) for s in shared], grid_size=GRID_M)


def _missed(worked: Any, boundary: Any | None, width_m: float, close_m: float) -> Any:
    """Ground that the work goes round but did not reach: closed over by up to two widths."""
    from shapely import MultiPolygon, difference, intersection

    if worked.is_empty:
        return MultiPolygon()
    hull = _close(worked, width_m)
    if boundary is not None:
        hull = intersection(_polygons(hull), boundary, grid_size=GRID_M)
    holes = _polygons(difference(_polygons(hull), _polygons(worked), grid_size=GRID_M))
    least = max(0.2, 2 * close_m)
    kept = [h for h in holes.geoms if not h.buffer(-least / 2).is_empty]
    return MultiPolygon(kept)


def _polygons(geometry: Any) -> Any:
    """Only the polygons of a geometry, as a MultiPolygon."""
    from shapely import MultiPolygon, get_parts

    return MultiPolygon([g for g in get_parts(geometry) if g.geom_type == "Polygon" and g.area > 0])
