"""Coverage: the ground that the bouts swept, each spot once; overlap, misses, what lies outside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats

GRID_M = 0.001
"""Precision of an overlay that fails in full precision: GEOS then rounds to millimetres."""
_POLYGON = 3
"""What Shapely's get_type_id tells of a polygon."""
EVERY_M = 5.0
"""How densely the boundary is looked at."""
LEAST_BEYOND = 0.15
"""Work along a boundary of which less reaches over it leaves a margin; by wandering, half does."""
THIN_M = 0.03
"""Centre lines are thinned to 3 cm before they are widened: under 0.01 % of area."""


@dataclass(frozen=True, eq=False)
class Covered:
    """Areas in m2 and geometries in the plane of the field.

    gross_m2: length worked x width. worked: ground covered inside the boundary, once, gaps that
    the noise explains closed. outside: covered outside it. overlap: covered more than once.
    missed: ground that the work goes round but did not reach, wider than the gaps closed.
    """

    gross_m2: float
    worked: Any
    outside: Any
    overlap: Any
    missed: Any


def bout_lines(
    x: Floats, y: Floats, bout: NDArray[np.int32], piece: NDArray[np.int32] | None = None
) -> list[Any]:
    """Centre line of each bout: (m,) positions and bout numbers (0: none) -> [LineString].

    piece: of the path, (m,); nothing is drawn from one to the next.
    """
    from shapely import LineString

    lines = [LineString(np.column_stack([x[rows], y[rows]])) for rows in bout_rows(bout, piece)]
    return [line for line in lines if line.length > 0]


def bout_rows(
    bout: NDArray[np.int32], piece: NDArray[np.int32] | None = None
) -> list[NDArray[np.intp]]:
    """Rows of each bout, bout 1 first; the step after the last second belongs to it, unless a hole
    in the record is there."""
    change = np.flatnonzero(np.diff(bout, prepend=0, append=0)).tolist()
    whole = np.zeros(len(bout), dtype=np.int32) if piece is None else piece
    found = [
        np.arange(a, b + 1 if b < len(bout) and whole[b] == whole[b - 1] else b)
        for a, b in pairwise(change)
        if bout[a] > 0
    ]
    return [rows for rows in found if len(rows) >= 2]


def cover(lines: list[Any], width_m: float, boundary: Any | None, close_m: float) -> Covered:
    """Widen the bouts, join them, and part the ground by the boundary.

    close_m: gaps narrower than twice this are closed, as the noise explains them (a plain union
    of swaths loses area to gaps that are not there; a measured figure is in DEVELOPERS.md).
    """
    from shapely import MultiPolygon

    if not lines:
        return Covered(0.0, *(MultiPolygon(),) * 4)
    swaths = _swaths(lines, width_m)
    union = join(swaths)
    overlap = _twice(swaths)
    if boundary is None:
        worked, outside = close(union, close_m), MultiPolygon()
    else:
        closed = _close_to if _keeps_to(union, boundary, close_m) else _close_within
        worked = common(closed(union, boundary, close_m), boundary)
        outside, overlap = without(union, boundary), common(overlap, boundary)
    gross_m2 = float(sum(line.length for line in lines)) * width_m
    return Covered(gross_m2, worked, outside, overlap, _missed(worked, boundary, width_m, close_m))


def swept(lines: list[Any], width_m: float) -> Any:
    """Ground under bouts of one width, each spot once."""
    return join(_swaths(lines, width_m))


def _swaths(lines: list[Any], width_m: float) -> list[Any]:
    from shapely import buffer, simplify

    thin = simplify(np.asarray(lines), THIN_M)
    wide = buffer(thin, width_m / 2, cap_style="flat", join_style="mitre", mitre_limit=2)
    return [w for w in wide.tolist() if not w.is_empty]


def close(ground: Any, by_m: float) -> Any:
    """Fill gaps narrower than twice `by_m`."""
    if by_m <= 0 or ground.is_empty:
        return ground
    return join([ground, _filled(ground, by_m)])


def _filled(ground: Any, by_m: float) -> Any:
    """Ground grown and shrunk again, which may cost it the tips of sharp corners."""
    from shapely import buffer

    grown = buffer(ground, by_m, join_style="mitre", mitre_limit=2)
    return buffer(grown, -by_m, join_style="mitre", mitre_limit=2)


def _close_to(ground: Any, boundary: Any, by_m: float) -> Any:
    """Close gaps, those between the ground and the boundary too.

    Bouts along the edge wander in and out of it: what they lose inside is made up for by no
    gain outside, as that is cut off.
    """
    rim = without(boundary.buffer(4 * by_m + 1.0), boundary)
    near = common(rim, polygons(ground.buffer(2 * by_m + 0.5, cap_style="square")))
    return close(join([ground, near]), by_m)


def _close_within(ground: Any, boundary: Any, by_m: float) -> Any:
    """Close gaps, but those between the ground and the boundary."""
    return close(ground, by_m)


def _keeps_to(ground: Any, boundary: Any, by_m: float) -> bool:
    """Whether work that comes near the boundary keeps to it, rather than leaving a margin.

    Positions that wander are as often beyond the boundary as within it, whichever way they have
    drifted on one side of the field; where a margin is left they are never beyond.
    """
    from shapely import distance, get_coordinates, points, prepare, segmentize

    prepare(ground)
    gaps = distance(ground, points(get_coordinates(segmentize(boundary.boundary, EVERY_M))))
    return bool((gaps == 0).sum() >= LEAST_BEYOND * (gaps < 2 * by_m).sum())


def _twice(swaths: list[Any]) -> Any:
    """Ground that two swaths share."""
    from shapely import STRtree, intersection

    tree = STRtree(swaths)
    a, b = tree.query(swaths, predicate="intersects")
    pairs = a < b
    ground = np.asarray(swaths)
    return join(intersection(ground[a[pairs]], ground[b[pairs]]).tolist())


def _missed(worked: Any, boundary: Any | None, width_m: float, close_m: float) -> Any:
    """Ground that the work goes round but did not reach: closed over by up to two widths."""
    from shapely import MultiPolygon, buffer, get_parts, is_empty

    hull = _filled(worked, width_m)
    if boundary is not None:
        hull = common(hull, boundary)
    least = max(0.2, 2 * close_m)
    holes = get_parts(without(hull, worked))
    return MultiPolygon(holes[~is_empty(buffer(holes, -least / 2))].tolist())


def join(parts: list[Any]) -> Any:
    """Union, as polygons only."""
    from shapely import get_parts, union

    if len(parts) == 2:
        return _overlaid(union, *(polygons(p) for p in parts))
    return _overlaid(_union, get_parts(polygons(np.asarray(parts, dtype=object))))


def _union(pieces: NDArray[Any], **grid: float) -> Any:
    """Union of polygons. Widening all of them at once by nothing is that too, and some five times
    as fast as joining them two by two; what comes out cannot be smaller than its largest part nor
    larger than all together, and where it is they are joined two by two after all."""
    from shapely import MultiPolygon, area, buffer, multipolygons, union_all

    if grid:
        return union_all(pieces, **grid)
    if not len(pieces):
        return MultiPolygon()
    joined, areas = buffer(multipolygons(pieces), 0.0), area(pieces)
    least, most = areas.max() * (1 - 1e-9), areas.sum() * (1 + 1e-9)
    return joined if least <= joined.area <= most else union_all(pieces)


def common(a: Any, b: Any) -> Any:
    """Intersection, as polygons only."""
    from shapely import intersection

    return _overlaid(intersection, polygons(a), polygons(b))


def without(a: Any, b: Any) -> Any:
    """Difference, as polygons only."""
    from shapely import difference

    return _overlaid(difference, polygons(a), polygons(b))


def _overlaid(overlay: Callable[..., Any], *parts: Any) -> Any:
    """An overlay in full precision, then rounded to millimetres; three times as fast as on a
    millimetre grid from the start, which stays as the way out where it fails.
    """
    from shapely.errors import GEOSException

    try:
        return _rounded(polygons(overlay(*parts)))
    except GEOSException:
        return polygons(overlay(*parts, grid_size=GRID_M))


def _rounded(ground: Any) -> Any:
    """Polygons with their corners on whole millimetres.

    Points a hair apart make shapes that the next overlay gets wrong. Rounding each corner by
    itself nearly always leaves a sound shape, in a tenth of the time that GEOS takes to see to
    it, which is done where it does not.
    """
    from shapely import is_valid, set_precision, transform

    plain = transform(ground, lambda at: np.rint(at / GRID_M) * GRID_M)
    return plain if is_valid(plain) else polygons(set_precision(ground, GRID_M))


def polygons(geometry: Any) -> Any:
    """The polygons of a geometry, as a MultiPolygon: overlays leave stray lines and points,
    which the next overlay refuses."""
    from shapely import MultiPolygon, area, get_parts, get_type_id, multipolygons

    parts = get_parts(get_parts(geometry))
    whole = parts[(get_type_id(parts) == _POLYGON) & (area(parts) > 0)]
    return multipolygons(whole) if len(whole) else MultiPolygon()
