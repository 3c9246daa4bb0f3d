"""New ground: ground worked that lies in no field on file and waits for a name.

Each machine's day finds its own pieces (see oplog.work.found). Pieces that share ground are one
new ground, whichever day or machine found them. It has a number by which a person names it: the
order in which its tracks came into the log, so that what is imported after a paper was printed
does not move the numbers on it; and a number once given to a field stays with that field.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from functools import lru_cache, partial
from itertools import count
from math import atan2, degrees
from typing import Any

from oplog import geodesy, land
from oplog.events import GroundFound, WorkMeasured
from oplog.fold import Farm
from oplog.records import dataclass

SHARED = 0.1
"""Pieces that share more than this of the smaller are one ground."""
ENOUGH = 0.97
"""A piece that is more than this of the whole is its outline; otherwise the pieces are joined."""
SEAM_M = 1.5
"""Half of what may lie between two days' pieces of one ground."""

CALLED = "new ground {}"
WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, eq=False)
class NewGround:
    """Ground that waits for a name.

    shape: the boundary that its work speaks for, lon/lat; area_m2: geodesic. found: the pieces;
    visits: the work in it, in order of time. nearest: the field on file that is nearest, None
    where there is none; away_m: how far off; wind: in which direction from that field.
    """

    number: int
    shape: Any
    area_m2: float
    found: tuple[GroundFound, ...]
    visits: tuple[WorkMeasured, ...]
    nearest: land.Field | None
    away_m: float | None
    wind: str | None

    @property
    def name(self) -> str:
        """What it is called until it has a name."""
        return CALLED.format(self.number)


@lru_cache(maxsize=4)
def waiting(farm: Farm) -> tuple[NewGround, ...]:
    """All ground that waits for a name, by number."""
    visits: dict[str, list[WorkMeasured]] = {}
    for v in farm.visits:
        if v.ground and not v.field:
            visits.setdefault(v.ground, []).append(v)
    pieces = sorted(
        (g for g in farm.found if g.event_id in visits), key=lambda g: (g.started_at, g.event_id)
    )
    if not pieces:
        return ()
    from shapely import from_wkb

    shapes = {g.event_id: from_wkb(g.geometry) for g in pieces}
    numbers = _numbers(farm)
    return tuple(
        _ground(next(numbers), group, visits, [shapes[g.event_id] for g in group], farm)
        for group in sorted(_groups(pieces, shapes), key=partial(_came, _arrivals(farm, pieces)))
    )


def ground_of(farm: Farm, visit: WorkMeasured) -> NewGround | None:
    """The new ground that a visit lies in; None for a visit to a field."""
    if visit.field:
        return None
    return next((g for g in waiting(farm) if any(v is visit for v in g.visits)), None)


def place_name(farm: Farm, visit: WorkMeasured) -> str:
    """The field of a visit, or what its ground is called until it has a name."""
    ground = ground_of(farm, visit)
    return visit.field or (ground.name if ground else "new ground")


def boundary_of(farm: Farm, visit: WorkMeasured) -> Any | None:
    """The boundary that holds for a visit, lon/lat: the field's, or the one proposed for new
    ground; None where there is neither."""
    if visit.boundary:
        return farm.field(visit.field, visit.day).boundary
    ground = ground_of(farm, visit)
    return ground.shape if ground else None


def joined(shapes: Sequence[Any]) -> Any:
    """The outline of pieces of one ground: that of the largest where it is nearly all of it."""
    from shapely import GeometryCollection, simplify

    from oplog.ground.shapes import closed, tidy, together

    plane = geodesy.plane_of(GeometryCollection(list(shapes)))
    parts = [tidy(plane.project(s)) for s in shapes]
    whole = together(*parts)
    largest = max(range(len(parts)), key=lambda k: parts[k].area)
    if parts[largest].area >= ENOUGH * whole.area:
        return shapes[largest]
    return plane.unproject(simplify(closed(whole, SEAM_M), 0.5))


def _numbers(farm: Farm) -> Iterator[int]:
    """Numbers that no field on file had while it waited for its name, from 1."""
    pattern = re.compile(CALLED.format(r"(\d+)"))
    drawn = " ".join(d.source for drawings in farm.fields.values() for d in drawings)
    taken = {int(n) for n in pattern.findall(drawn)}
    return (n for n in count(1) if n not in taken)


def _groups(pieces: Sequence[GroundFound], shapes: dict[str, Any]) -> list[list[GroundFound]]:
    """Pieces that share ground, together; each group in order of time."""
    groups: list[list[GroundFound]] = []
    for piece in pieces:
        shape = shapes[piece.event_id]
        met = [g for g in groups if any(_one_ground(shape, shapes[o.event_id]) for o in g)]
        together_ = [*(o for g in met for o in g), piece]
        groups = [g for g in groups if g not in met] + [together_]
    for group in groups:
        group.sort(key=lambda g: (g.started_at, g.event_id))
    return groups


def _arrivals(farm: Farm, pieces: Sequence[GroundFound]) -> dict[str, datetime]:
    """When the fixes of tracks were first written to the log, by the digests that pieces name."""
    named = {t for p in pieces for t in p.tracks}
    fixes = {t.event_id: t.fixes for t in farm.tracks if t.fixes in named}
    found: dict[str, datetime] = {}
    for entry in farm.entries:
        for event_id in fixes.keys() & set(entry.events):
            digest = fixes[event_id]
            found[digest] = min(entry.written_at, found.get(digest, entry.written_at))
    return found


def _came(
    arrivals: Mapping[str, datetime], group: Sequence[GroundFound]
) -> tuple[bool, datetime, datetime, str]:
    """Sorts grounds by when the first of their tracks arrived, then by when they were worked."""
    first = min((arrivals[t] for p in group for t in p.tracks if t in arrivals), default=None)
    start = group[0].started_at
    return (first is None, first or start, start, group[0].event_id)


def _one_ground(one: Any, other: Any) -> bool:
    from shapely import box

    from oplog.ground.shapes import tidy, within

    if not box(*one.bounds).intersects(box(*other.bounds)):
        return False
    plane = geodesy.plane_of(one)
    a, b = tidy(plane.project(one)), tidy(plane.project(other))
    return bool(within(a, b).area > SHARED * min(a.area, b.area))


def _ground(
    number: int,
    found: Sequence[GroundFound],
    visits: dict[str, list[WorkMeasured]],
    shapes: Sequence[Any],
    farm: Farm,
) -> NewGround:
    shape = joined(shapes)
    here = sorted(
        (v for g in found for v in visits[g.event_id]), key=lambda v: (v.started_at, v.event_id)
    )
    return NewGround(
        number, shape, geodesy.area_m2(shape), tuple(found), tuple(here), *_nearest(farm, shape)
    )


def _nearest(farm: Farm, shape: Any) -> tuple[land.Field | None, float | None, str | None]:
    """The nearest field, how far off it is, and in which direction the ground lies from it."""
    plane = geodesy.plane_of(shape)
    here = plane.project(shape)
    found = []
    for drawings in farm.fields.values():
        there = plane.project(drawings[-1].boundary)
        found.append((float(here.distance(there)), drawings[-1], there))
    if not found:
        return None, None, None
    away_m, field, there = min(found, key=lambda f: (f[0], f[1].name))
    east, north = here.centroid.x - there.centroid.x, here.centroid.y - there.centroid.y
    wind = WINDS[round(degrees(atan2(east, north)) / 45.0) % 8]
    return field, away_m, wind
