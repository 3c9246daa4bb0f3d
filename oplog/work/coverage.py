"""Coverage: the ground that the bouts swept, each spot once; overlap, misses, what lies outside."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats
from oplog.work.strips import strips
from oplog.work.widen import buffered, on_micrometres

GRID_M = 1e-3
"""Precision of an overlay that fails in full precision: GEOS then rounds to millimetres."""
_POLYGON = 3
"""What Shapely's get_type_id tells of a polygon."""
EVERY_M = 5.0
"""How densely the boundary is looked at."""
LEAST_BEYOND = 0.15
"""Work along a boundary of which less reaches over it leaves a margin; by wandering, half does."""
THIN, THIN_M = 1 / 75, (0.03, 0.10)
"""Centre lines are thinned to this share of the width before they are widened, in these bounds:
under 0.01 % of area. At twice that, 0.04 % (bouts of 3 m that wander)."""
ROUGH = 0.05
"""The same for the outline by which ground left is told from ground beyond."""
ASLANT = np.radians(3.0)
"""How bouts are turned off an axis where many shapes meet: GEOS takes an outline apart wherever it
turns back along or across, which bouts along an axis do wherever they wander; and of bouts far off
the axes all boxes meet. A quarter off for bouts along an axis, over a half for those between."""
BLURRED, UNSHARED = 1 / 4, 0.88
"""Where positions wander by more of the width, bouts seem to share what they do not: of what was
driven over that is less than the rest. On phones of both simulators they share 7 to 13 %."""
WIDEST_GAP = 3.0
"""How wide half a gap is at most that is closed for that, in drifts."""


@dataclass(frozen=True, eq=False)
class Covered:
    """Areas in m2 and geometries in the plane of the field.

    gross_m2: length worked x width. worked: ground covered inside the boundary, once, gaps that
    the noise explains closed. outside: covered outside it. overlap: covered more than once.
    missed: ground that the work goes round but did not reach, wider than the gaps closed.
    bouts: centre lines, thinned.
    """

    gross_m2: float
    worked: Any
    outside: Any
    overlap: Any
    missed: Any
    bouts: Any


def bout_lines(
    x: Floats, y: Floats, bout: NDArray[np.int32], piece: NDArray[np.int32] | None = None
) -> list[Any]:
    """Centre line of each bout: (m,) positions and bout numbers (0: none) -> [LineString].

    piece: of the path, (m,); nothing is drawn from one to the next.
    """
    from shapely import length, linestrings

    rows = bout_rows(bout, piece)
    if not rows:
        return []
    at, line = np.concatenate(rows), np.repeat(np.arange(len(rows)), [len(r) for r in rows])
    lines = linestrings(x[at], y[at], indices=line)
    return list(lines[length(lines) > 0])


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

    The swaths are laid wider and longer by close_m: what they leave free, grown by as much, is
    the ground left, and the rest of the field is worked. So little but the gaps is worked out.
    """
    from shapely import MultiLineString, MultiPolygon, STRtree, length

    thin = thinned(lines, width_m)
    swaths = _swaths(thin, width_m)
    if not len(swaths):
        return Covered(0.0, *(MultiPolygon(),) * 4, MultiLineString())
    close_m = max(close_m, GRID_M)  # so that no two edges lie a hair apart
    tree, grown = STRtree(swaths), _union(_swaths(_longer(thin, close_m), width_m + 2 * close_m))
    field = _about(grown) if boundary is None else boundary
    to_edge = boundary is not None and _keeps_to(tree, boundary, close_m)
    left = _left(grown, field, close_m, to_edge)
    worked = _reached(_cut(field, left), tree)
    return Covered(
        gross_m2=sum(length(lines).tolist()) * width_m,
        worked=worked,
        outside=MultiPolygon() if boundary is None else _outside(grown, boundary, close_m),
        overlap=_twice(thin, swaths, boundary),
        missed=_missed(worked, left, width_m, close_m),
        bouts=MultiLineString(thin.tolist()),
    )


def thinned(lines: list[Any], width_m: float) -> NDArray[Any]:
    """Centre lines without the corners that make no difference to the ground under them."""
    from shapely import simplify

    most_m = float(np.clip(THIN * width_m, *THIN_M))
    whole = np.asarray(lines, dtype=object)
    return np.asarray(simplify(whole, most_m, preserve_topology=False))


def swept(lines: list[Any], width_m: float) -> Any:
    """Ground under bouts of one width, each spot once."""
    return join(list(_swaths(thinned(lines, width_m), width_m)))


def _swaths(thin: NDArray[Any], width_m: float) -> NDArray[Any]:
    """Ground under each centre line, widened to either side and cut off square at its ends; what
    is nowhere wide is left out."""
    from shapely import is_empty

    plain, wide = strips(thin, width_m / 2)
    wide[~plain] = buffered(thin[~plain], width_m / 2, cap_style="flat")
    return np.asarray(wide[~is_empty(wide)])


def cover_as_driven(
    lines: list[Any], width_m: float, boundary: Any | None, close_m: float, drift_m: float
) -> Covered:
    """Cover ground as far as it stands to what was driven over.

    Nobody covers more than he drives over: where gaps as wide as the drift explains would come to
    more, the work was part of the field, and less is closed. Nor does anybody drive over an eighth
    of it twice, bout after bout: where positions wander so much that it looks so, more is.
    drift_m: of the positions, zero to leave that out.
    """
    covered = cover(lines, width_m, boundary, close_m)
    while close_m > 0.4 * width_m and covered.worked.area > covered.gross_m2:
        close_m *= 0.7
        covered = cover(lines, width_m, boundary, close_m)
    while drift_m > BLURRED * width_m and close_m < WIDEST_GAP * drift_m:
        if covered.worked.area >= UNSHARED * covered.gross_m2:
            break
        close_m *= 1.2
        covered = cover(lines, width_m, boundary, close_m)
    return covered


def _longer(lines: NDArray[Any], by_m: float) -> NDArray[Any]:
    """Lines that reach further at either end."""
    from shapely import get_coordinates, linestrings

    at, line = get_coordinates(lines, return_index=True)
    first = np.flatnonzero(np.diff(line, prepend=-1))
    last = np.flatnonzero(np.diff(line, append=len(lines)))
    for end, inner in ((first, first + 1), (last, last - 1)):
        step = at[end] - at[inner]
        at[end] += step * (by_m / np.hypot(*step.T))[:, None]
    return np.asarray(linestrings(at, indices=line))


def _about(ground: Any) -> Any:
    """Room about some ground, in place of a boundary."""
    from shapely import box

    west, south, east, north = ground.bounds
    return box(west - 1.0, south - 1.0, east + 1.0, north + 1.0)


def _left(grown: Any, field: Any, by_m: float, to_edge: bool) -> Any:
    """Ground of the field that is not worked, gaps up to twice by_m wide let go.

    grown: the swaths, wider by by_m on all sides. to_edge: gaps between them and the field's
    edge are let go too. Bouts along the edge wander in and out of it: what they lose inside is
    made up for by no gain outside, as that is cut off.
    """
    # Over the edge by a hair, or what is left would miss it here and there by a hair.
    room = buffered(field, GRID_M - by_m if to_edge else GRID_M + 2 * by_m)
    return _rounded(polygons(buffered(_cut(room, grown), by_m)))


def _reached(ground: Any, tree: Any) -> Any:
    """What of some ground a swath lies in: spikes of the field's edge, narrower than the gaps
    that are let go, are not worked. tree: of the swaths."""
    from shapely import get_parts, multipolygons

    parts = get_parts(ground)
    if len(parts) < 2:
        return ground
    return multipolygons(parts[np.unique(tree.query(parts, predicate="intersects")[0])])


def _outside(grown: Any, boundary: Any, by_m: float) -> Any:
    """Ground covered beyond the boundary. grown: the swaths, wider by by_m on all sides."""
    from shapely import contains_properly, prepare

    whole, holes = _without_holes(grown)
    # Most corners are about gaps within the field, which make no difference here.
    prepare(boundary)
    crossed = holes[~contains_properly(boundary, holes)]
    if len(crossed):
        whole = _cut(whole, polygons(crossed))
    return _cut(polygons(buffered(whole, -by_m)), boundary)


def _without_holes(ground: Any) -> tuple[Any, NDArray[Any]]:
    """Some ground with its holes filled, and the holes."""
    from shapely import get_parts, get_rings
    from shapely import polygons as within

    rings, part = get_rings(get_parts(ground), return_index=True)
    shells = np.diff(part, prepend=-1) > 0
    return polygons(_union(within(rings[shells]))), np.asarray(within(rings[~shells]))


def _keeps_to(tree: Any, boundary: Any, by_m: float) -> bool:
    """Whether work that comes near the boundary keeps to it, rather than leaving a margin.

    Positions that wander are as often beyond the boundary as within it, whichever way they have
    drifted on one side of the field; where a margin is left they are never beyond.
    tree: of the swaths.
    """
    from shapely import get_coordinates, intersects, points, segmentize

    edge = points(get_coordinates(segmentize(boundary.boundary, EVERY_M)))
    near, swath = tree.query(edge, predicate="dwithin", distance=2 * by_m)
    under = near[intersects(edge[near], tree.geometries[swath])]
    return len(np.unique(under)) >= LEAST_BEYOND * len(np.unique(near))


def _twice(thin: NDArray[Any], swaths: NDArray[Any], boundary: Any | None) -> Any:
    """Ground within the boundary that two swaths share. thin: their centre lines."""
    from shapely import contains, get_parts, intersection, prepare

    turn = ASLANT - _direction(thin)
    swaths = _turned(swaths, turn)
    one, other = _meeting(swaths)
    shared = get_parts(_overlay(intersection, swaths[one], swaths[other]))
    if boundary is not None:
        field = _turned(boundary, turn)
        prepare(field)
        within = contains(field, shared)
        cut = get_parts(_overlay(intersection, shared[~within], field))
        shared = np.concatenate([shared[within], cut])
    # Mostly slivers between neighbours, far apart from each other.
    met = np.isin(np.arange(len(shared)), _meeting(shared))
    return _turned(polygons([*shared[~met], *get_parts(_union(shared[met]))]), -turn)


def _meeting(shapes: NDArray[Any]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of shapes that meet, by their rows, each pair once: (k,) each."""
    from shapely import STRtree, intersects, prepare

    # By their boxes first: to ask GEOS outright would be to ask each of itself, and all twice.
    one, other = STRtree(shapes).query(shapes)
    one, other = one[one < other], other[one < other]
    prepare(shapes)
    meet = intersects(shapes[one], shapes[other])
    return one[meet], other[meet]


def _direction(lines: NDArray[Any]) -> float:
    """The direction that most of the way along some lines has, either way. [rad]"""
    from shapely import get_point, get_x, get_y

    first, last = get_point(lines, 0), get_point(lines, -1)
    chord = get_x(last) - get_x(first) + 1j * (get_y(last) - get_y(first))
    return float(np.angle((chord**2).sum())) / 2


def _turned(shapes: Any, by_rad: float) -> Any:
    """Shapes turned anticlockwise about the origin."""
    from shapely import transform

    cos, sin = np.cos(by_rad), np.sin(by_rad)
    return transform(
        shapes, lambda at: at[:, :1] * np.array([cos, sin]) + at[:, 1:] * np.array([-sin, cos])
    )


def _missed(worked: Any, left: Any, width_m: float, close_m: float) -> Any:
    """Ground left that the work goes round: closed over by up to two widths."""
    from shapely import contains, get_parts, intersection, prepare

    least_m = max(0.2, 2 * close_m)
    parts = get_parts(left)
    parts = parts[_as_wide(parts, least_m)]
    if not len(parts):
        return polygons(parts)
    hull = _rounded(polygons(_filled(_outline(worked, width_m), width_m)))
    prepare(hull)
    within = contains(hull, parts)
    some = get_parts(_overlay(intersection, parts[~within], hull))
    return polygons([*parts[within], *some[_as_wide(some, least_m)]])


def _outline(ground: Any, width_m: float) -> Any:
    """Ground without the holes that two widths close, its outline thinned."""
    from shapely import simplify

    whole, holes = _without_holes(ground)
    wide = holes[_as_wide(holes, 2 * width_m)]
    return simplify(_cut(whole, polygons(wide)) if len(wide) else whole, ROUGH * width_m)


def _as_wide(parts: NDArray[Any], least_m: float) -> NDArray[np.bool_]:
    """Which polygons are as wide as this somewhere."""
    from shapely import area, bounds, buffer, is_empty, length

    # Where there is so much ground to so little edge, some of it lies that far from the edge.
    wide = np.asarray(area(parts) > length(parts) * least_m / 2)
    west, south, east, north = bounds(parts).T
    asked = ~wide & (np.minimum(east - west, north - south) >= least_m)
    wide[asked] = ~is_empty(buffer(parts[asked], -least_m / 2))
    return wide


def close(ground: Any, by_m: float) -> Any:
    """Fill gaps narrower than twice `by_m`."""
    if by_m <= 0 or ground.is_empty:
        return ground
    return join([ground, _filled(ground, by_m)])


def _filled(ground: Any, by_m: float) -> Any:
    """Ground grown and shrunk again, which may cost it the tips of sharp corners."""
    return buffered(buffered(ground, by_m), -by_m)


def join(parts: list[Any]) -> Any:
    """Union, as polygons only."""
    from shapely import get_parts, union

    if len(parts) == 2:
        return _rounded(_overlay(union, *(polygons(p) for p in parts)))
    return _rounded(_overlay(_union, get_parts(polygons(np.asarray(parts, dtype=object)))))


def _union(pieces: NDArray[Any], **grid: float) -> Any:
    """Union of polygons, of one or of several pieces. Widening all of them at once by nothing is
    that too, and some five times as fast as joining them two by two; what comes out cannot be
    smaller than its largest part nor larger than all together, and where it is they are joined two
    by two after all."""
    from shapely import MultiPolygon, area, buffer, get_parts, multipolygons, union_all

    pieces = get_parts(pieces)
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

    return _rounded(_overlay(intersection, polygons(a), polygons(b)))


def without(a: Any, b: Any) -> Any:
    """Difference, as polygons only."""
    return _rounded(_cut(polygons(a), polygons(b)))


def _cut(a: Any, b: Any) -> Any:
    """Difference of polygons, in full precision."""
    from shapely import difference

    return _overlay(difference, a, b)


def _overlay(overlay: Callable[..., Any], *parts: Any) -> Any:
    """An overlay in full precision, as polygons only; where it fails, on a millimetre grid, which
    takes three times as long."""
    from shapely.errors import GEOSException

    try:
        return polygons(overlay(*parts))
    except GEOSException:
        return polygons(overlay(*parts, grid_size=GRID_M))


def _rounded(ground: Any) -> Any:
    """Polygons with their corners on whole micrometres.

    Points a hair apart make shapes that the next overlay gets wrong. Rounding each corner by
    itself nearly always leaves a sound shape, in a tenth of the time that GEOS takes to see to
    it, which is done where it does not.
    """
    from shapely import is_valid, make_valid

    plain = on_micrometres(ground)
    return plain if is_valid(plain) else polygons(make_valid(plain, method="structure"))


def polygons(geometry: Any) -> Any:
    """The polygons of a geometry, as a MultiPolygon: overlays leave stray lines and points,
    which the next overlay refuses."""
    from shapely import MultiPolygon, area, get_parts, get_type_id, multipolygons

    parts = get_parts(get_parts(geometry))
    whole = parts[(get_type_id(parts) == _POLYGON) & (area(parts) > 0)]
    return multipolygons(whole) if len(whole) else MultiPolygon()
