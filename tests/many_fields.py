"""A made-up day with as many fields as wanted, and with a receiver as fast as wanted."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import translate
from shapely.geometry import LineString, MultiLineString, box
from shapely.geometry.base import BaseGeometry

from oplog.events import CustomerStated, Event, JobPlanned, PriceStated, Span, WorkMeasured
from oplog.fold import Farm, fold
from oplog.sheets.pages.trails import Trail, stamp
from tests import factory as f

DAY = "2026-04-10"
ROW = 8
LONG = "The long field behind the old brick works by the second bend of the upper brook "[:80]
OTHER = "Not begun"
MARKUP = "<script>alert(1)</script>&\"'<b>"


def name_of(number: int) -> str:
    """A name for a field: the first is all markup, the second 80 characters long."""
    return {1: MARKUP, 2: LONG}.get(number, f"Field {number}")


def made_day(count: int, *, minutes: float = 10.0, hertz: float = 1.0) -> tuple[Farm, Trail]:
    """A farm on which one machine worked in `count` fields of 200 m x 100 m one after the other,
    and its way. The bouts of a field hold as many points as the receiver would have given.

    A job over these fields and one not begun, a customer and a price are on file.
    """
    events: list[Event] = [f.opened(), f.tractor(), f.implement()]
    names = [name_of(n) for n in range(1, count + 1)]
    names.append(OTHER)
    events.append(f.drawn(OTHER, box(-260, 0, -60, 100)))
    events += [f.crop(LONG, 2026, field=name) for name in names]
    events.append(
        JobPlanned(
            job=MARKUP, operation="drilling", fields=tuple(names), crop=LONG, harvest_year=2026,
            by=date(2026, 4, 20), **f.STATED,
        )
    )  # fmt: skip
    events.append(CustomerStated(customer=MARKUP, fields=tuple(names), **f.STATED))
    events.append(
        PriceStated(
            operation="drilling", price=61.5, currency="GBP", per="ha", basis="field", **f.STATED
        )
    )
    points: list[tuple[datetime, float, float, bool]] = []
    visits = []
    start = f.at(DAY, "05:00")
    for number in range(1, count + 1):
        left, low = (number - 1) % ROW * 260.0, (number - 1) // ROW * 160.0
        drawn = f.drawn(name_of(number), box(left, low, left + 200, low + 100))
        way = np.add(_way(int(minutes * 60 * hertz)), (left, low))
        visit = _visit(number, drawn.event_id, (left, low), len(way), start, minutes)
        step = timedelta(minutes=minutes / len(way))
        moments = [start + i * step for i in range(len(way))]
        points += [(t, x, y, True) for t, (x, y) in zip(moments, way.tolist(), strict=True)]
        start = visit.ended_at + timedelta(seconds=30)
        points.append((start - timedelta(seconds=15), left + 230, low - 20, False))
        events += [drawn, visit]
        visits.append(visit)
    events.append(f.whole_day(*visits))
    return fold(events), _trail(points)


@cache
def _way(count: int) -> NDArray[np.float64]:
    """Points up and down a field in bouts of 4 m, with the wobble of a receiver: (count, 2) [m]"""
    corners = []
    for i in range(25):
        ends = [(0.0, 2.0 + 4 * i), (200.0, 2.0 + 4 * i)]
        corners += ends if i % 2 == 0 else ends[::-1]
    line = LineString(corners)
    spots = shapely.line_interpolate_point(line, np.linspace(0, line.length, count))
    wobble = np.random.default_rng(7).normal(0, 0.02, (count, 2))
    return np.asarray(shapely.get_coordinates(spots) + wobble)


@cache
def _shapes(count: int) -> tuple[MultiLineString, BaseGeometry, BaseGeometry]:
    """Bouts, ground worked and ground missed, at the field's corner."""
    way = _way(count)
    bouts = MultiLineString([way[i : i + 400] for i in range(0, count - 1, 400)])
    ground = shapely.union_all(shapely.buffer(shapely.get_parts(bouts), 2.0, cap_style="flat"))
    missed = box(90, 45, 102, 51)
    return (
        bouts,
        shapely.intersection(shapely.difference(ground, missed), box(0, 0, 200, 100)),
        missed,
    )


def _visit(
    number: int, boundary: str, corner: tuple[float, float], count: int, start: datetime,
    minutes: float,
) -> WorkMeasured:  # fmt: skip
    bouts, worked, missed = (translate(s, *corner) for s in _shapes(count))
    seconds = minutes * 60
    states = ("working", "turning") * 12 + ("filling", "standing")
    moments = [start + timedelta(seconds=seconds * i / 26) for i in range(27)]
    spans = tuple(
        Span(a, b, s, i // 2 + 1)
        for i, (a, b, s) in enumerate(zip(moments[:-1], moments[1:], states, strict=True))
    )
    return f.work(
        DAY, f"{start:%H:%M}", field=name_of(number), hours=seconds / 3600,
        worked=worked, boundary=boundary, bouts=f.ground(bouts), missed=f.ground(missed),
        overlap=f.ground(translate(missed, 20, 10)), spans=spans, started_at=start,
        worked_low_m2=0.98 * worked.area, worked_high_m2=1.02 * worked.area,
        ended_at=start + timedelta(seconds=seconds), visit=f"{number:05d}{'0' * 15}",
    )  # fmt: skip


def _trail(points: list[tuple[datetime, float, float, bool]]) -> Trail:
    lon, lat = f.PLANE.lonlat([p[1] for p in points], [p[2] for p in points])
    return Trail(
        "blue",
        np.array([stamp(p[0]) for p in points]),
        np.asarray(lon),
        np.asarray(lat),
        np.zeros(len(points), dtype=np.int32),
        np.array([p[3] for p in points]),
    )


def day() -> date:
    """The day of the work."""
    return date.fromisoformat(DAY)
