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


def made_day(
    count: int, *, minutes: float = 10.0, hertz: float = 1.0, job: bool = False
) -> tuple[Farm, Trail]:
    """A farm on which one machine worked in `count` fields of 200 m x 100 m one after the other,
    and its way. The bouts of a field hold as many points as the receiver would have given.

    A customer and a price are on file and, where asked for, a job over these fields and one not
    begun.
    """
    events: list[Event] = [f.opened(), f.tractor(), f.implement()]
    names = [name_of(n) for n in range(1, count + 1)]
    names.append(OTHER)
    events.append(f.drawn(OTHER, box(-260, 0, -60, 100)))
    events += [f.crop(LONG, 2026, field=name) for name in names]
    if job:
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
    ways: list[tuple[NDArray[np.datetime64], NDArray[np.float64], bool]] = []
    visits = []
    start = f.at(DAY, "05:00")
    for number in range(1, count + 1):
        left, low = (number - 1) % ROW * 260.0, (number - 1) // ROW * 160.0
        drawn = f.drawn(name_of(number), box(left, low, left + 200, low + 100))
        way = np.add(_way(int(minutes * 60 * hertz)), (left, low))
        visit = _visit(number, drawn.event_id, (left, low), len(way), start, minutes)
        step = np.timedelta64(round(minutes * 60e6 / len(way)), "us")
        ways.append((stamp(start) + step * np.arange(len(way)), way, True))
        start = visit.ended_at + timedelta(seconds=30)
        between = np.array([stamp(start - timedelta(seconds=15))])
        ways.append((between, np.array([[left + 230, low - 20]]), False))
        events += [drawn, visit]
        visits.append(visit)
    events.append(f.whole_day(*visits))
    return fold(events), _trail(ways)


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


def _trail(
    ways: list[tuple[NDArray[np.datetime64], NDArray[np.float64], bool]],
) -> Trail:
    time = np.concatenate([w[0] for w in ways])
    lon, lat = f.PLANE.lonlat(*np.concatenate([w[1] for w in ways]).T)
    in_field = np.concatenate([np.full(len(w[0]), w[2]) for w in ways])
    return Trail("blue", time, lon, lat, np.zeros(len(time), dtype=np.int32), in_field)


def day() -> date:
    """The day of the work."""
    return date.fromisoformat(DAY)


def two_seasons() -> Farm:
    """Work in one field for two harvests, by a machine with a long name, and a visit still open."""
    red = "the red machine with quite a long name of its own"
    visits = [
        f.work("2025-04-01", worked=box(0, 0, 200, 80)),
        f.work("2026-04-02", worked=box(0, 0, 200, 90), machine=red),
        f.work("2026-04-03", operation="rolling", implement="roller", worked=box(0, 0, 190, 90)),
        f.work("2026-04-03", "14:00", implement=None, operation=None, worked=box(0, 0, 150, 90)),
    ]
    crops = [f.crop("wheat", 2025), f.crop("beans", 2026, valid_from=date(2025, 9, 1))]
    kit = [f.tractor(), f.tractor(red), f.implement()]
    whole = [f.whole_day(visits[0]), f.whole_day(visits[1]), f.whole_day(*visits[2:])]
    return fold([f.opened(), f.drawn(), *kit, *crops, *visits, *whole])
