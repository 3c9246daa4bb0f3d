"""Lines to follow: tramlines worked out from drilling, wheelings from past sprayings. Pure.

Tramlines. The straight bouts of the drilling are laid on a grid (their common direction, and a
least-squares fit of their offsets to whole numbers of bouts). Counted from the edge of the drilled
ground on the side where drilling began, headland bouts included, the first tramline lies half a
boom in, the next ones a boom apart; round the headland runs one at half a boom from the edge.
Where the boom is a whole number of bouts they are counted in bouts, as a drill does; else in
metres. That is how tramlines are set in practice; no source.

Wheelings. The bouts of past sprayings; where several go the same way, their middle.

The error to expect, 19 times in 20, is twice the root of two squares added: the slow drift of the
tracks (work.clean.drift_m), which does not average out along a day, and the scatter of the bouts
about the line. An aid to finding, not for steering.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from oplog import geodesy
from oplog.errors import OplogError
from oplog.events import WorkMeasured
from oplog.land import Field
from oplog.records import dataclass
from oplog.season.grid import (
    STRAIGHT_SHARE,
    Grid,
    Lane,
    back,
    bouts_of,
    direction,
    drift_of,
    grid_of,
    grouped,
    lane_of,
    straight_lanes,
    turned,
)

DIVIDES = 0.03
"""A boom is a whole number of drill widths within this."""


@dataclass(frozen=True, eq=False)
class Line:
    """One line. geometry: LineString in lon/lat. where: in words, by the drill's bouts."""

    name: str
    geometry: Any
    where: str


@dataclass(frozen=True, eq=False)
class Lines:
    """The lines of a field. error_m: to expect 19 times in 20. remarks: sentences to tell."""

    field: str
    kind: str
    lines: tuple[Line, ...]
    error_m: float
    remarks: tuple[str, ...]


def tramlines(
    field: Field, visits: Sequence[WorkMeasured], boom_m: float, *, other_side: bool = False
) -> Lines:
    """Tramlines for a boom, from the drilling of a field.

    visits: the drilling, in order of time. other_side: count from the side where drilling ended.
    Raises: OplogError where the bouts are not on file or not parallel.
    """
    drilled = [v for v in visits if v.bouts and v.geometry]
    if not drilled:
        raise OplogError(f"{field.name}: no drilling with bouts is on file to work lines out from.")
    width_m = drilled[-1].width_m or drilled[-1].width_used_m or drilled[-1].bout_width_m
    if not width_m or boom_m < width_m:
        raise OplogError(
            f"A boom of {boom_m:g} m is narrower than the drill, or the drill's width is not known."
        )
    plane = geodesy.plane_of(field.boundary)
    lanes, share, angle = straight_lanes(drilled, plane, field.name)
    grid = grid_of(lanes, drilled[-1].bout_width_m or width_m)
    ground = _ground(drilled, plane, angle)
    sign, edge, far, sound = _edges(lanes, ground, width_m, other_side)
    ratio = boom_m / width_m
    divides = abs(ratio - round(ratio)) <= DIVIDES
    step_m = round(ratio) * grid.step if divides else boom_m
    first_m = boom_m / 2
    if divides:  # a drill counts bouts: so are its lines, however closely they lie
        near_m = sign * (grid.first if sign > 0 else grid.first + grid.step * (grid.count - 1))
        laps = round((near_m - edge) / grid.step - 0.5)
        first_m = near_m - edge + (ratio / 2 - laps - 0.5) * grid.step
    spots = []
    k = 1
    while edge + first_m + k * step_m <= far - 0.75 * boom_m:  # nearer, the headland's serves
        spots.append(sign * (edge + first_m + k * step_m))
        k += 1
    inner = ground.buffer(-boom_m / 2, join_style="mitre")
    lines = [Line("headland", back(r, plane, angle), f"{boom_m / 2:g} m from the edge")
             for r in _rings(inner)]  # fmt: skip
    for number, v in enumerate(spots, start=1):
        where = _where(v, sign, grid, lanes)
        for piece in _across(v, inner):
            lines.append(Line(f"tramline {number}", back(piece, plane, angle), where))
    remarks = _remarks(boom_m, width_m, grid, sound, share)
    error_m = 2.0 * float(np.hypot(drift_of(drilled), grid.scatter_m))
    if error_m > width_m / 2:
        remarks.append("The tracks are too coarse to tell one bout from the next: count on foot.")
    return Lines(field.name, "tramlines", tuple(lines), error_m, tuple(remarks))


def wheelings(field: Field, visits: Sequence[WorkMeasured]) -> Lines:
    """The wheelings that past sprayings (or spreadings) of a field left.

    Raises: OplogError where none is on file.
    """
    sprayed = [v for v in visits if v.bouts]
    if not sprayed:
        raise OplogError(f"{field.name}: no spraying with bouts is on file.")
    plane = geodesy.plane_of(field.boundary)
    drift_m = drift_of(sprayed)
    newest = bouts_of(sprayed[-1:], plane)
    angle = direction(newest)
    near_m = min(max(1.5, 3 * drift_m), (sprayed[-1].width_used_m or 12.0) / 3)
    lanes = [lane_of(b, angle, i) for i, b in enumerate(bouts_of(sprayed, plane))]
    groups = grouped([n for n in lanes if n is not None], near_m)
    lines = []
    for number, group in enumerate(groups, start=1):
        v = float(np.mean([n.v for n in group]))
        straight = shapely.LineString(
            [(min(n.u0 for n in group), v), (max(n.u1 for n in group), v)]
        )
        text = f"the middle of {len(group)} bouts" if len(group) > 1 else "one bout"
        lines.append(Line(f"wheeling {number}", back(straight, plane, angle), text))
    for bout in newest:
        if lane_of(bout, angle, 0) is None:
            bent = shapely.simplify(shapely.LineString(bout), max(0.2, drift_m))
            number += 1
            lines.append(Line(f"wheeling {number}", plane.unproject(bent), "as driven"))
    scatter = [np.std([n.v for n in g]) for g in groups if len(g) > 1]
    scatter_m = float(np.mean(scatter)) if scatter else 0.0
    days = len({v.day for v in sprayed})
    remark = f"From {days} {'day' if days == 1 else 'days'} of work with bouts on file."
    error_m = 2.0 * float(np.hypot(drift_m, scatter_m))
    return Lines(field.name, "wheelings", tuple(lines), error_m, (remark,))


def _ground(visits: Sequence[WorkMeasured], plane: geodesy.Plane, angle: float) -> Any:
    """The drilled ground in the turned plane, small gaps closed, without holes."""
    shapes = [shapely.make_valid(plane.project(shapely.from_wkb(v.geometry))) for v in visits]
    joined = shapely.union_all([s.buffer(1.0) for s in shapes]).buffer(-1.0)
    parts = [shapely.Polygon(p.exterior) for p in shapely.get_parts(joined)
             if p.geom_type == "Polygon"]  # fmt: skip
    return shapely.transform(shapely.union_all(parts), lambda c: turned(c, angle))


def _edges(
    lanes: Sequence[Lane], ground: Any, width_m: float, other_side: bool
) -> tuple[float, float, float, bool]:
    """Sign of the way across from the side where drilling began; near and far edge, both measured
    that way; and whether the near edge runs along the bouts."""
    low, high = min(lanes, key=lambda n: n.v), max(lanes, key=lambda n: n.v)
    began = min(lanes, key=lambda n: n.order)
    from_low = abs(began.v - low.v) <= abs(began.v - high.v)
    if other_side:
        from_low = not from_low
    sign = 1.0 if from_low else -1.0
    near, far = (low, high) if from_low else (high, low)
    near_m, sound = _beyond(near, ground, -sign, width_m)
    far_m, _ = _beyond(far, ground, sign, width_m)
    return sign, sign * near.v - near_m, sign * far.v + far_m, sound


def _beyond(lane: Lane, ground: Any, way: float, width_m: float) -> tuple[float, bool]:
    """How far the ground goes on beyond an outermost lane, and whether evenly. [m]"""
    found = []
    for u in np.linspace(lane.u0, lane.u1, 23)[2:-2]:
        ray = shapely.LineString([(u, lane.v), (u, lane.v + way * 10_000)])
        inside = shapely.get_parts(shapely.intersection(ray, ground))
        first = [p for p in inside if p.distance(shapely.Point(u, lane.v)) < width_m]
        found.append(max((p.length for p in first), default=0.0))
    spread = float(np.subtract(*np.percentile(found, [75, 25])))
    if spread > width_m / 2:
        return width_m / 2, False
    return float(np.median(found)), True


def _rings(inner: Any) -> list[Any]:
    return [shapely.LineString(p.exterior) for p in shapely.get_parts(inner)
            if p.geom_type == "Polygon" and not p.is_empty]  # fmt: skip


def _across(v: float, inner: Any) -> list[Any]:
    west, _, east, _ = inner.bounds
    cut = shapely.intersection(shapely.LineString([(west - 1, v), (east + 1, v)]), inner)
    return [p for p in shapely.get_parts(cut) if p.geom_type == "LineString" and p.length > 5]


def _where(v: float, sign: float, grid: Grid, lanes: Sequence[Lane]) -> str:
    """A place across the bouts in words; straight bouts counted from the side of the start."""
    spot = (v - grid.first) / grid.step
    number = spot + 1 if sign > 0 else grid.count - spot
    if number < 0.4 or number > grid.count + 0.6:
        return "in the headland's bouts"
    whole = round(number)
    off = number - whole
    if abs(off) < 0.15:
        return f"in straight bout {whole}"
    if abs(abs(off) - 0.5) < 0.15:
        below = int(np.floor(number))
        return f"between straight bouts {below} and {below + 1}"
    return f"{abs(off) * grid.step:.1f} m {'beyond' if off > 0 else 'before'} straight bout {whole}"


def _remarks(boom_m: float, width_m: float, grid: Grid, sound: bool, share: float) -> list[str]:
    ratio = boom_m / width_m
    if abs(ratio - round(ratio)) <= DIVIDES:
        even = "between two bouts" if round(ratio) % 2 == 0 else "in the middle of a bout"
        told = [f"{boom_m:g} m is {round(ratio)} bouts of {width_m:g} m: a tramline lies {even}."]
    else:
        told = [
            f"The widths do not divide: {boom_m:g} m is {ratio:.2f} bouts of {width_m:g} m, so "
            "the tramlines wander across the bouts."
        ]
    apart_m = round(ratio) * grid.step
    if abs(ratio - round(ratio)) <= DIVIDES and abs(apart_m - boom_m) > 0.1:
        how = "overlaps" if apart_m < boom_m else "leaves out"
        told.append(
            f"The bouts lie {grid.step:.2f} m apart, so counted out the tramlines are "
            f"{apart_m:.2f} m apart, and the boom {how} {abs(apart_m - boom_m):.2f} m."
        )
    if not sound:
        told.append(
            "The edge on the side of the start does not run along the bouts: the lines are "
            "counted from the first straight bout."
        )
    if share < STRAIGHT_SHARE:
        told.append(f"{share * 100:.0f} % of the drilling was straight; the rest was not used.")
    return told
