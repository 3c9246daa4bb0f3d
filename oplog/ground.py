"""Ground covered over days and machines: what is done, what is left, and what passes there were.

Worked out when the log is read, from the ground that each visit worked. For every operation, crop,
harvest year and field:

Passes. A visit goes to the first pass of which it repeats less than half (`REPEATED`): a visit
more than half of whose ground was worked before, by earlier visits, goes over it again. Such a
second pass counts as one once it covers more than half (`FULL_COVERING`) of the ground of the pass
before; until then its visits are overlap within that pass (a corner drilled again, a headland gone
over twice). Overlap within one visit is never a pass.

Done. Ground of a pass, counted once. Seams between visits (where one day's work met the next) are
closed where they are narrower than the noise of the tracks explains.

Croppable. What the outermost bouts enclose, so that a margin left on purpose does not hold a
finished field at 97 %. They enclose it when, along the outline of the work, no bouts end with more
than half a width of ground beyond them, and no undone ground wider than a margin
(`WIDEST_MARGIN_M`) lies outside. While that is not so the field is part-done, and its croppable
ground is the boundary, less the margin that another operation's outermost bouts have shown.

Left and missed. Croppable ground not done is left where it is wider than half a width, else
missed. Once less than a hundredth (`FINISHED`) is left, the field is finished: nothing is left,
and what was not worked is missed. These shares are common practice; no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from oplog import geodesy, land
from oplog.events import WorkMeasured
from oplog.fold import Farm

REPEATED = 0.5
FULL_COVERING = 0.5
WIDEST_MARGIN_M = 24.0
FINISHED = 0.01
ALONG_DEG = 30.0
"""An edge of the work is made by a bout, not by bout ends, if it runs along it within this."""
USUAL_WIDTH_M = 3.0
"""Taken where no width is known."""
GRID_M = 0.01
"""Coordinates are held to this grid, without which unions can fail (GEOS issue 1170)."""

Key = tuple[str, str | None, int | None, str]
"""Operation, crop, harvest year, field."""


@dataclass(frozen=True, eq=False)
class Covered:
    """One pass of one operation over one field, over all days and machines.

    pass_number: from 1. visits: in order of start. Geometries in lon/lat, areas in m2 with
    done_m2 + left_m2 + missed_m2 = croppable_m2. finished: nothing is left.
    """

    operation: str
    crop: str | None
    harvest_year: int | None
    field: land.Field
    pass_number: int
    visits: tuple[WorkMeasured, ...]
    croppable: Any
    done: Any
    left: Any
    missed: Any
    croppable_m2: float
    done_m2: float
    left_m2: float
    missed_m2: float
    finished: bool

    @property
    def share_done(self) -> float:
        """Share of the croppable ground that is not left. [1]"""
        return 1.0 - self.left_m2 / self.croppable_m2 if self.croppable_m2 else 0.0


def covered(
    farm: Farm, *, harvest_year: int | None = None, field: str | None = None
) -> list[Covered]:
    """All passes, in order of operation, crop, harvest year, field and number.

    harvest_year, field: only these. Visits whose operation or ground is not known, and fields
    whose boundary is not on file, are left out.
    """
    passes: list[_Pass] = []
    for key, visits in sorted(_groups(farm).items(), key=lambda g: _sortable(g[0])):
        if harvest_year not in (None, key[2]) or (field or key[3]).casefold() != key[3]:
            continue
        passes += _passes(farm, key, visits)
    return [_covered(p, _known_margin(p, passes)) for p in passes]


@dataclass(frozen=True, eq=False)
class _Pass:
    """A pass in its plane. enclosed: what its bouts enclose; whole: they enclose the field."""

    key: Key
    number: int
    field: land.Field
    visits: tuple[WorkMeasured, ...]
    plane: geodesy.Plane
    boundary: Any
    done: Any
    width_m: float
    enclosed: Any = None
    whole: bool = False


def _groups(farm: Farm) -> dict[Key, list[WorkMeasured]]:
    groups: dict[Key, list[WorkMeasured]] = defaultdict(list)
    for v in farm.visits:
        if v.operation and v.geometry and v.field.casefold() in farm.fields:
            at = farm.standing[v.event_id]
            groups[v.operation, at.crop, at.harvest_year, v.field.casefold()].append(v)
    return groups


def _sortable(key: Key) -> tuple[str, str, int, str]:
    return (key[0], key[1] or "", key[2] or 0, key[3])


def _passes(farm: Farm, key: Key, visits: Sequence[WorkMeasured]) -> list[_Pass]:
    drawn = farm.field(key[3], max(v.day for v in visits))
    plane = geodesy.plane_of(drawn.boundary)
    boundary = _tidy(plane.project(drawn.boundary))
    grounds = [
        _within(_tidy(plane.project(shapely.from_wkb(v.geometry))), boundary) for v in visits
    ]
    found = []
    for number, members in enumerate(_layers(grounds), start=1):
        some = tuple(visits[i] for i in members)
        width_m = min((v.width_used_m or v.width_m or USUAL_WIDTH_M) for v in some)
        noise_m = max((v.noise_m or 0.0) for v in some)
        done = _joined([grounds[i] for i in members], min(max(noise_m, 0.1), width_m / 4))
        if not done.is_empty:
            p = _Pass(key, number, drawn, some, plane, boundary, _within(done, boundary), width_m)
            found.append(_enclosing(p))
    return found


def _layers(grounds: Sequence[Any]) -> list[list[int]]:
    """Which visits make up each pass: rows of `grounds`, given in order of time."""
    layers: list[Any] = []
    members: list[list[int]] = []
    for i, ground in enumerate(grounds):
        level = 0
        while level < len(layers) and _repeats(ground, layers[level]):
            level += 1
        if level == len(layers):
            layers.append(ground)
            members.append([i])
        else:
            layers[level] = shapely.union(layers[level], ground, grid_size=GRID_M)
            members[level].append(i)
    while len(layers) > 1 and layers[-1].area <= FULL_COVERING * layers[-2].area:
        again, over = layers.pop(), members.pop()
        layers[-1] = shapely.union(layers[-1], again, grid_size=GRID_M)
        members[-1] = sorted(members[-1] + over)
    return members


def _repeats(ground: Any, before: Any) -> bool:
    again = shapely.intersection(ground, before, grid_size=GRID_M)
    return bool(again.area > REPEATED * ground.area)


def _joined(grounds: Sequence[Any], seam_m: float) -> Any:
    """Ground of several visits, seams between them closed up to twice seam_m wide.

    Gaps within one visit stay: its own measuring has judged them.
    """
    union = shapely.union_all(grounds, grid_size=GRID_M)
    if len(grounds) < 2:
        return union
    within = shapely.union_all([_closed(g, seam_m) for g in grounds], grid_size=GRID_M)
    seams = shapely.difference(_closed(union, seam_m), within, grid_size=GRID_M)
    return shapely.union(union, seams, grid_size=GRID_M)


def _enclosing(p: _Pass) -> _Pass:
    """Find what the outermost bouts enclose, and whether that is the whole field."""
    hull = _filled(_closed(p.done, WIDEST_MARGIN_M / 2))
    enclosed = _within(shapely.union(hull, p.done, grid_size=GRID_M), p.boundary)
    beyond = shapely.difference(p.boundary, enclosed, grid_size=GRID_M)
    past_ends = _within(beyond, _past_bout_ends(p, enclosed))
    undone = shapely.union(
        _opened(beyond, WIDEST_MARGIN_M / 2), _opened(past_ends, p.width_m / 4), grid_size=GRID_M
    )
    whole = undone.area <= FINISHED * p.boundary.area
    return replace(p, enclosed=enclosed, whole=bool(whole))


def _past_bout_ends(p: _Pass, enclosed: Any) -> Any:
    """Ground within a margin's width of the edges of the work at which bouts end."""
    bouts = _segments(p)
    zones = []
    step_m = min(max(p.width_m / 2, 1.0), 5.0)
    for ring in _outlines(enclosed):
        points = _along(ring, step_m)
        reach = max(round(p.width_m / step_m), 1)
        heading = np.roll(points, -reach, axis=0) - np.roll(points, reach, axis=0)
        ends = ~_run_along(points, heading, bouts)
        for run in _runs(ends):
            if len(run) * step_m > 1.5 * p.width_m:
                line = shapely.LineString(points[[*run, (run[-1] + 1) % len(points)]])
                zones.append(line.buffer(WIDEST_MARGIN_M, cap_style="flat"))
    return shapely.union_all(zones)


def _segments(p: _Pass) -> NDArray[np.float64]:
    """All straight pieces of the bouts of a pass: (n, 2, 2) metres."""
    pieces = []
    for v in p.visits:
        if v.bouts:
            bouts = shapely.simplify(p.plane.project(shapely.from_wkb(v.bouts)), 0.3)
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


def _outlines(ground: Any) -> list[Any]:
    return [part.exterior for part in shapely.get_parts(ground) if part.geom_type == "Polygon"]


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


def _known_margin(p: _Pass, passes: Sequence[_Pass]) -> Any:
    """What other work in the same field has enclosed; None where none has."""
    others = [q for q in passes if q.whole and q.field is p.field]
    return max(others, key=lambda q: q.enclosed.area).enclosed if others else None


def _covered(p: _Pass, margin: Any) -> Covered:
    croppable = p.enclosed if p.whole else p.boundary
    if not p.whole and margin is not None:
        croppable = shapely.union(margin, p.done, grid_size=GRID_M)
    done = _within(p.done, croppable)
    not_done = shapely.difference(croppable, done, grid_size=GRID_M)
    left = _opened(not_done, p.width_m / 4)
    finished = left.area <= FINISHED * croppable.area
    if finished:
        left = shapely.Polygon()
    missed = shapely.difference(not_done, left, grid_size=GRID_M)
    shapes = {"croppable": croppable, "done": done, "left": left, "missed": missed}
    return Covered(
        operation=p.key[0],
        crop=p.key[1],
        harvest_year=p.key[2],
        field=p.field,
        pass_number=p.number,
        visits=p.visits,
        **{name: p.plane.unproject(shape) for name, shape in shapes.items()},
        **{f"{name}_m2": shape.area for name, shape in shapes.items()},
        finished=bool(finished),
    )


def _tidy(shape: Any) -> Any:
    return shapely.set_precision(shapely.make_valid(shape), GRID_M)


def _within(shape: Any, bounds: Any) -> Any:
    return _surfaces(shapely.intersection(shape, bounds, grid_size=GRID_M))


def _surfaces(shape: Any) -> Any:
    """Only the ground of a geometry, without stray lines and points."""
    parts = [p for p in shapely.get_parts(shape) if p.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.union_all(parts, grid_size=GRID_M)


def _closed(shape: Any, radius_m: float) -> Any:
    return _buffered(_buffered(shape, radius_m), -radius_m)


def _opened(shape: Any, radius_m: float) -> Any:
    """The parts of some ground that are wider than twice a radius."""
    return _within(_buffered(_buffered(shape, -radius_m), radius_m), shape)


def _buffered(shape: Any, distance_m: float) -> Any:
    return _tidy(shapely.buffer(shape, distance_m, join_style="mitre"))


def _filled(shape: Any) -> Any:
    return shapely.union_all([shapely.Polygon(r) for r in _outlines(shape)], grid_size=GRID_M)
