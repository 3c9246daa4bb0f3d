"""The picture of a day or a job: fields, the ground worked in them, and ways between them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from oplog import geodesy, land
from oplog.records import dataclass
from oplog.sheets.pages.labels import Box, Label, place, text_width
from oplog.sheets.pages.paper import Frame, ScaleBar, fit, scale_bar
from oplog.sheets.pages.trails import Trail
from oplog.sheets.table import METRIC

WIDTH, NARROW, PAD = 320.0, 210.0, 14.0
LOWEST, HIGHEST = 0.4, 0.85
"""Height over width."""
SIZE = 10.0
APART_M, MOST_MAPS = 700.0, 4
NEAR_M = 25_000.0
"""Trails further than this from the fields are not drawn: the fields would be dots."""


@dataclass(frozen=True)
class Patch:
    """One field on the picture. label: its number, left out where there is no room."""

    boundary: str
    done: str
    left: str
    label: Label | None


@dataclass(frozen=True)
class Way:
    """Where a machine went outside fields. style: 1, 2, 3 ...: how its line is drawn."""

    machine: str
    style: int
    path: str


@dataclass(frozen=True)
class FarmMap:
    """Paths of the picture, and its words. others: outlines of the farm's other fields."""

    key: str
    width: float
    height: float
    patches: tuple[Patch, ...]
    others: str
    ways: tuple[Way, ...]
    scale: ScaleBar
    told: str


@dataclass(frozen=True, eq=False)
class Ground:
    """A field to draw: its boundary, ground done and ground left (None: nothing of the kind), and
    the block of land that it belongs to."""

    label: str
    boundary: Any
    done: Any = None
    left: Any = None
    farm: str = ""


def together(grounds: Sequence[Ground]) -> list[list[Ground]]:
    """Fields in groups that lie near each other, so that each group can be drawn large; one group
    where there would be more than `MOST_MAPS`."""
    groups: list[list[Ground]] = []
    for g in grounds:
        plane = geodesy.plane_of(g.boundary)
        own = plane.project(g.boundary)
        near = [
            group
            for group in groups
            if any(plane.project(other.boundary).distance(own) < APART_M for other in group)
        ]
        groups = [x for x in groups if x not in near] + [[*(o for n in near for o in n), g]]
    return groups if len(groups) <= MOST_MAPS else [list(grounds)]


def farm_map(
    grounds: Sequence[Ground],
    ways: Mapping[str, Trail],
    others: Sequence[land.Field],
    key: str,
    told: str,
    system: str = METRIC,
    *,
    width: float = WIDTH,
) -> FarmMap | None:
    """The picture of some fields; None where there is nothing to draw.

    others: fields that are drawn as outlines where they come into the picture.
    """
    shown = [g.boundary for g in grounds]
    lines = {name: _near(trail, shown) for name, trail in ways.items()}
    seen = shown + [line for part in lines.values() for line in part]
    if not seen:
        return None
    lowest, highest = width * LOWEST, width * HIGHEST
    frame = fit(seen, width=width, lowest=lowest, highest=highest, pad=PAD)
    return FarmMap(
        key,
        frame.width,
        round(frame.height, 1),
        _patches(frame, grounds),
        _others(frame, others),
        tuple(
            Way(name, i % 4 + 1, frame.lines(part))
            for i, (name, part) in enumerate(sorted(lines.items(), key=lambda w: w[0].casefold()))
            if part
        ),
        scale_bar(frame, metric=system == METRIC, longest=width * 0.28),
        told,
    )


def _near(trail: Trail, shown: Sequence[Any]) -> list[Any]:
    """The ways of a trail outside fields, without those far from every field."""
    lines = [shapely.LineString(list(zip(*way, strict=True))) for way in trail.outside()]
    if not shown:
        return lines
    plane = geodesy.plane_of(shown[0])
    fields = shapely.union_all([plane.project(s) for s in shown])
    return [w for w in lines if plane.project(w).distance(fields) < NEAR_M]


def _patches(frame: Frame, grounds: Sequence[Ground]) -> tuple[Patch, ...]:
    paper = Box(1.0, 1.0, frame.width - 1.0, frame.height - 1.0)
    taken: list[Box] = []
    found = []
    for g in grounds:
        label = _label(frame, g, taken, paper)
        taken += [label.box] if label else []
        found.append(
            Patch(
                frame.area(g.boundary),
                frame.area(g.done) if g.done is not None else "",
                frame.area(g.left) if g.left is not None else "",
                label,
            )
        )
    return tuple(found)


def _label(frame: Frame, ground: Ground, taken: Sequence[Box], paper: Box) -> Label | None:
    """The field's label in its middle, else near it."""
    inside = shapely.point_on_surface(ground.boundary)
    ((x, y),) = frame.points([inside.x], [inside.y])
    wide = text_width(ground.label, SIZE)
    box = Box(x - wide / 2 - 2, y - SIZE * 0.7, x + wide / 2 + 2, y + SIZE * 0.5)
    corners = frame.points(*shapely.get_coordinates(ground.boundary).T)
    roomy = bool((np.ptp(corners, axis=0) > [wide * 1.15, SIZE * 1.2]).all())
    free = not any(box.touches(t) for t in taken)
    if roomy and free and paper.left <= box.left and box.right <= paper.right:
        left, base = round(float(x) - wide / 2, 1), round(float(y) + SIZE * 0.35, 1)
        return Label(ground.label, left, base, box)
    low, high = corners.min(axis=0), corners.max(axis=0)
    own = Box(float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    return place(ground.label, float(x), float(y), [*taken, own], paper, SIZE) or place(
        ground.label, float(x), float(y), taken, paper, SIZE
    )


def _others(frame: Frame, fields: Sequence[land.Field]) -> str:
    """Outlines of other fields, as far as they lie wholly on the paper."""
    found = ""
    for f in fields:
        points = frame.points(*shapely.get_coordinates(f.boundary).T)
        low, high = points.min(axis=0), points.max(axis=0)
        if (low >= 0).all() and high[0] <= frame.width and high[1] <= frame.height:
            found += frame.area(f.boundary)
    return found
