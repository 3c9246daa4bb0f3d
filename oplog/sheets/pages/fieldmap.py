"""The picture of one visit: the field, the ground worked bout by bout, what is amiss, the stops."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import shapely

from oplog.events import WorkMeasured
from oplog.fold import Farm
from oplog.ground import boundary_of
from oplog.records import dataclass
from oplog.sheets import figures as fig
from oplog.sheets.day import period
from oplog.sheets.pages.headland import headland
from oplog.sheets.pages.labels import Box, Label, place
from oplog.sheets.pages.paper import Frame, ScaleBar, fit, scale_bar
from oplog.sheets.pages.stops import Place, Stop, stops
from oplog.sheets.pages.trails import Trail
from oplog.sheets.table import METRIC

WIDTH, LOWEST, HIGHEST, PAD = 250.0, 100.0, 200.0, 20.0
SHADES = 5
"""Shades from the first bouts to the last."""
GRAIN = 0.86
"""Share of its width at which a bout is drawn, so that the bouts show side by side."""
ARROW = 7.0
"""How far outside the boundary an arrow stands. [unit]"""
MARK = 6.5
"""Radius of the mark of a stop. [unit]"""


@dataclass(frozen=True)
class Shade:
    """Bouts of one part of the visit. shade: 1 (first) to SHADES (last)."""

    shade: int
    path: str


@dataclass(frozen=True)
class Gate:
    """Where the machine came in or went out. turn: its heading, clockwise from north. [degree]"""

    kind: str
    x: float
    y: float
    turn: int
    label: Label | None


@dataclass(frozen=True)
class FieldMap:
    """Paths and marks of one visit's picture, and its words. [unit]

    key: tells its parts from those of other pictures on the page. swath: width of a bout on
    paper; 0 where no width is known, and bouts are lines.
    """

    key: str
    width: float
    height: float
    boundary: str
    ground: str
    shades: tuple[Shade, ...]
    swath: float
    overlap: str
    missed: str
    headland: str
    places: tuple[tuple[str, Place], ...]
    gates: tuple[Gate, ...]
    scale: ScaleBar
    words: tuple[tuple[str, str], ...]
    told: str


def field_map(
    farm: Farm, visit: WorkMeasured, trail: Trail | None, key: str, system: str = METRIC
) -> FieldMap | None:
    """The picture of a visit; None where nothing of it has a place.

    trail: where its machine was; None draws no stops and no ways in and out.
    """
    boundary = boundary_of(farm, visit)
    ground, bouts = _shape(visit.geometry), _shape(visit.bouts)
    seen = [g for g in (boundary, ground, bouts) if g is not None]
    if not seen:
        return None
    frame = fit(seen, width=WIDTH, lowest=LOWEST, highest=HIGHEST, pad=PAD)
    swath = (visit.width_used_m or visit.width_m or 0.0) * frame.scale
    line, depth_words = _headland(frame, visit, boundary, bouts, system)
    places, gates, stop_words = _marks(farm, visit, trail, frame)
    return FieldMap(
        key=key,
        width=frame.width,
        height=round(frame.height, 1),
        boundary=frame.area(boundary) if boundary is not None else "",
        ground=frame.area(ground) if ground is not None else "",
        shades=_shades(frame, bouts),
        swath=round(swath * GRAIN if swath > 2.0 else swath, 2),
        overlap=_area(frame, visit.overlap),
        missed=_area(frame, visit.missed),
        headland=line,
        places=places,
        gates=gates,
        scale=scale_bar(frame, metric=system == METRIC),
        words=tuple(depth_words + stop_words),
        told=_told(visit, system),
    )


def _shape(wkb: bytes | None) -> Any:
    return shapely.from_wkb(wkb) if wkb else None


def _area(frame: Frame, wkb: bytes | None) -> str:
    return frame.area(shapely.from_wkb(wkb)) if wkb else ""


def _shades(frame: Frame, bouts: Any) -> tuple[Shade, ...]:
    """Bouts in order of time, in as many lots of about equal length as there are shades."""
    if bouts is None:
        return ()
    lines = shapely.get_parts(bouts)
    length = shapely.length(lines)
    middle = np.cumsum(length) - length / 2
    span = max(float(middle[-1] - middle[0]), 1e-12)
    lot = np.minimum((middle - middle[0]) / span * SHADES, SHADES - 1)
    found = []
    for shade in range(SHADES):
        drawn = frame.lines(lines[lot.astype(int) == shade])
        if drawn:
            found.append(Shade(shade + 1, drawn))
    return tuple(found)


def _headland(
    frame: Frame, visit: WorkMeasured, boundary: Any, bouts: Any, system: str
) -> tuple[str, list[tuple[str, str]]]:
    """The line between headland and body, and its words."""
    width_m = visit.width_used_m or visit.width_m
    if boundary is None or bouts is None or not width_m or not visit.geometry:
        return "", []
    plane = frame.plane
    found = headland(plane.project(bouts), plane.project(boundary), width_m)
    if found is None:
        return "", [("headland", "no rounds along the boundary seen")]
    if found.body is None:
        return "", [("headland", "none apart: worked round and round")]
    worked = _coarse(plane.project(shapely.from_wkb(visit.geometry)))
    inner = shapely.area(shapely.intersection(worked, shapely.make_valid(found.body)))
    words = (
        f"about {fig.width(round(found.depth_m), system)} deep; {fig.area(inner, system)} of the "
        f"work in the body, {fig.area(max(worked.area - inner, 0.0), system)} in the headland"
    )
    return frame.area(plane.unproject(found.body)), [("headland", words)]


def _coarse(ground: Any) -> Any:
    """Ground without detail that a sentence could show, so that a fast receiver costs no time."""
    return shapely.make_valid(shapely.simplify(ground, 0.3, preserve_topology=False))


def _marks(
    farm: Farm, visit: WorkMeasured, trail: Trail | None, frame: Frame
) -> tuple[tuple[tuple[str, Place], ...], tuple[Gate, ...], list[tuple[str, str]]]:
    """Stops by letter, ways in and out, and both in words."""
    came, went = period(farm, visit).split(" to ")
    words = [("in and out", f"in at {came}, out at {went}")]
    if trail is None or len(trail.time) < 2:
        return (), (), [*words, ("stops", "not drawn")]
    found = stops(visit, trail, frame.points)
    lettered = tuple((_letter(i), p) for i, p in enumerate(found.places))
    paper = Box(2.0, 2.0, frame.width - 2.0, frame.height - 2.0)
    taken = [Box(p.x - MARK, p.y - MARK, p.x + MARK, p.y + MARK) for p in found.places]
    gates = _gates(visit, trail, frame, taken, paper)
    words += [(f"stop {letter}", _place_words(p)) for letter, p in lettered]
    if found.short:
        seconds = sum(s.seconds for s in found.short)
        words.append(("short stands", f"{len(found.short)}, {fig.clock(seconds)} in all"))
    return lettered, gates, words


def _gates(
    visit: WorkMeasured, trail: Trail, frame: Frame, taken: list[Box], paper: Box
) -> tuple[Gate, ...]:
    """The arrows of the ways in and out, and then their words, clear of both."""
    arrows = [
        (kind, *_arrow(kind, trail, at, frame))
        for kind, at in (("in", visit.started_at), ("out", visit.ended_at))
    ]
    taken = taken + [Box(x - 6, y - 6, x + 6, y + 6) for _, x, y, _ in arrows]
    gates = []
    for kind, x, y, turn in arrows:
        label = place(kind, x, y, taken, paper)
        taken += [label.box] if label else []
        gates.append(Gate(kind, round(x, 1), round(y, 1), turn, label))
    return tuple(gates)


def _arrow(kind: str, trail: Trail, at: datetime, frame: Frame) -> tuple[float, float, int]:
    """Place and turn of an arrow just outside where the machine crossed the boundary, to the left
    of its way, so that in and out by one gate stand side by side."""
    before, after = (
        frame.points(*([d] for d in trail.at(at + timedelta(seconds=s))))[0] for s in (-4, 4)
    )
    ((x, y),) = frame.points(*([d] for d in trail.at(at)))
    way = after - before
    way = way / max(float(np.hypot(*way)), 1e-9)
    outwards = -1.0 if kind == "in" else 1.0
    x += outwards * way[0] * ARROW + way[1] * ARROW * 0.75
    y += outwards * way[1] * ARROW - way[0] * ARROW * 0.75
    turn = round(float(np.degrees(np.arctan2(way[0], -way[1]))) % 360.0)
    return (
        float(min(max(x, 8.0), frame.width - 8.0)),
        float(min(max(y, 8.0), frame.height - 8.0)),
        turn,
    )


def _place_words(p: Place) -> str:
    """ "filling 2 times, 0:07; standing 0:02"."""
    parts = []
    for kind in dict.fromkeys(s.kind for s in p.stops):
        of_kind: list[Stop] = [s for s in p.stops if s.kind == kind]
        times = f" {len(of_kind)} times," if len(of_kind) > 1 else ""
        parts.append(f"{kind}{times} {fig.clock(sum(s.seconds for s in of_kind))}")
    return "; ".join(parts)


def _letter(index: int) -> str:
    return chr(ord("a") + index % 26) + (str(index // 26) if index >= 26 else "")


def _told(visit: WorkMeasured, system: str) -> str:
    """What the picture shows, for those who do not see it."""
    count = len(shapely.get_parts(shapely.from_wkb(visit.bouts))) if visit.bouts else 0
    return (
        f"The field's outline with the ground worked in {count} bouts: "
        f"{fig.area(visit.worked_m2, system)} worked, {fig.area(visit.overlap_m2, system)} "
        f"overlapped, {fig.area(visit.missed_m2, system)} missed."
    )
