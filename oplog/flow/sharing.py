"""Fields that lie on the same ground: work there counts in one of them only."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import shapely

from oplog.errors import Problem
from oplog.fold import Farm
from oplog.geodesy import area_m2
from oplog.land import Field, on
from oplog.units import hectares

_LEAST_SHARE = 0.05
"""Of the smaller field: less is what two drawings of one hedge differ by."""


def shared_ground(farm: Farm, names: Sequence[str], source: str, day: date) -> list[Problem]:
    """Fields of those names that lie on ground of others, as drawn on a day.

    source: the file that they came from, for telling.
    """
    drawn = [f for drawings in farm.fields.values() if (f := on(drawings, day)) is not None]
    fresh = {n.casefold() for n in names}
    shapes = [f.boundary for f in drawn]
    pairs = shapely.STRtree(shapes).query(shapes, predicate="intersects").T.tolist()
    found = []
    for a, b in sorted((a, b) for a, b in pairs if a != b):
        one, other = drawn[a], drawn[b]
        both_new = one.name.casefold() in fresh and other.name.casefold() in fresh
        if one.name.casefold() in fresh and not (both_new and b < a):
            found += _told(one, other, source)
    return found


def _told(one: Field, other: Field, source: str) -> list[Problem]:
    # an edge in common beside it makes a collection of lines and ground
    parts = shapely.get_parts(shapely.intersection(one.boundary, other.boundary))
    shared_m2 = sum(area_m2(p) for p in parts if p.geom_type == "Polygon")
    if shared_m2 < _LEAST_SHARE * min(one.area_m2, other.area_m2):
        return []
    what = f"'{one.name}' lies on the ground of '{other.name}' ({hectares(shared_m2):.2f} ha of it)"
    done = (
        "work there counts in one of them only; to take one out, strike its drawing "
        "(oplog history FIELD shows the handle, oplog strike HANDLE)"
    )
    return [Problem(source, None, what, done=done)]
