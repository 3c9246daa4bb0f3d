"""Outline: the boundary that worked ground speaks for, as few straight edges as its noise allows.

The swaths of the bouts are joined and closed at the scale of what neighbours leave between them;
the outer edge of the outermost bouts, mostly those of the headland, is then the field's edge.
"""

from __future__ import annotations

from typing import Any

from oplog.work.coverage import close, cover, join, polygons, without
from oplog.work.widen import buffered

SMALLEST_M2 = 500.0
"""Ground smaller than this is no field. Common practice: a twentieth of a hectare."""

NARROWEST_M = 8.0
"""Half the width of the narrowest ground that is told from a road driven again and again, apart
from the drift; and half of two and a half bouts at the least."""

STILL_TO_DO = 0.25
"""A hole of more than this share is ground still to be worked, not a pond."""


def closing_m(width_m: float, drift_m: float) -> float:
    """Half of what neighbouring bouts may leave between them on one field. [m]"""
    return max(1.0, 0.12 * width_m, min(1.5 * drift_m, 8.0))


def swaths(lines: list[Any], width_m: float) -> Any:
    """Ground under bouts of one width: centre lines -> polygons in their plane."""
    return cover(lines, width_m, None, 0.0).worked


def worked_ground(grounds: list[Any], width_m: float, drift_m: float) -> list[Any]:
    """Solid pieces of ground under bouts, from their swaths, largest first.

    Strips no wider than one bout are left out, and so is ground that is mostly no wider than a
    road.
    """
    from shapely import get_parts

    swath = close(join(grounds), closing_m(width_m, drift_m))
    solid = join([_without_holes(p, width_m) for p in get_parts(polygons(swath))])
    found = get_parts(_opened(solid, 0.6 * width_m))
    wide_m = max(1.25 * width_m, NARROWEST_M + min(drift_m, NARROWEST_M))
    fields = [p for p in found if p.area >= SMALLEST_M2 and _opened(p, wide_m).area >= 0.5 * p.area]
    return sorted(fields, key=lambda p: -p.area)


def outline(ground: Any, width_m: float, drift_m: float) -> Any:
    """A boundary for worked ground: notches narrower than a bout filled, straightened to the
    noise, ponds kept. Polygons in a plane."""
    from shapely import get_parts, simplify

    whole = close(ground, min(0.75 * width_m, 12.0))
    straight = simplify(whole, max(0.3, 0.03 * width_m, 0.5 * min(drift_m, 6.0)))
    return polygons(join([_without_holes(p, width_m) for p in get_parts(polygons(straight))]))


def clear_of(ground: Any, taken: list[Any], width_m: float) -> list[Any]:
    """The pieces of some ground that lie in none of the ground taken, strips left out."""
    from shapely import get_parts, intersects

    met = [t for t in taken if intersects(t, ground)]
    free = _opened(without(ground, join(met)), 0.6 * width_m) if met else ground
    return [p for p in get_parts(polygons(free)) if p.area >= SMALLEST_M2]


def together(parts: list[Any], width_m: float, drift_m: float) -> Any:
    """Pieces of one field as one: what lies between them, up to two bouts wide, is the field's."""
    return close(join(parts), max(width_m, closing_m(width_m, drift_m)))


def _opened(ground: Any, by_m: float) -> Any:
    """What of the ground is wider than twice `by_m`."""
    return polygons(buffered(buffered(ground, -by_m), by_m))


def _without_holes(ground: Any, width_m: float) -> Any:
    """A polygon, but for holes larger than some bouts that are not most of it."""
    from shapely.geometry import Polygon

    whole = Polygon(ground.exterior)
    kept = [
        ring
        for ring in ground.interiors
        if not (hole := Polygon(ring)).buffer(-max(1.2 * width_m, 6.0)).is_empty
        and hole.area < STILL_TO_DO * whole.area
    ]
    return Polygon(ground.exterior, kept)
