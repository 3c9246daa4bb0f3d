"""Events made by hand, on a square kilometre of invented ground."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import shapely
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from oplog import geodesy
from oplog.events import (
    CropStated,
    DayMeasured,
    FarmOpened,
    FieldDrawn,
    KitListed,
    WorkMeasured,
    visit_id,
)

PLANE = geodesy.Plane(10.0, 52.0)
"""Metres east and north of a point on invented ground."""

STATED: dict[str, Any] = {
    "stated_by": "tester",
    "stated_at": datetime(2026, 1, 1, tzinfo=UTC),
    "nonce": "1",
}


def at(day: str, clock: str = "08:00") -> datetime:
    """A moment, UTC."""
    return datetime.fromisoformat(f"{day}T{clock}:00+00:00")


def ground(geometry: BaseGeometry) -> bytes:
    """WKB in lon/lat of a geometry in metres."""
    return bytes(shapely.to_wkb(PLANE.unproject(geometry)))


def opened(**more: Any) -> FarmOpened:
    return FarmOpened(**({"farm_name": "Hill Farm", "zone": "Europe/London", **STATED} | more))


def drawn(name: str = "Long Acre", shape: BaseGeometry | None = None, **more: Any) -> FieldDrawn:
    """A field: 200 m x 100 m where no shape (in metres) is given."""
    shape = box(0, 0, 200, 100) if shape is None else shape
    values = {
        "field": name,
        "farm": "Hill Farm",
        "geometry": ground(shape),
        "boundary_m2": shape.area,
        **STATED,
    }
    return FieldDrawn(**(values | more))


def crop(name: str, harvest_year: int, field: str = "Long Acre", **more: Any) -> CropStated:
    values = {"field": field, "crop": name, "harvest_year": harvest_year, **STATED}
    return CropStated(**(values | more))


def tractor(name: str = "blue", **more: Any) -> KitListed:
    return KitListed(**({"name": name, "kind": "tractor", "is_machine": True, **STATED} | more))


def implement(name: str = "drill", **more: Any) -> KitListed:
    values = {
        "name": name,
        "kind": "drill",
        "is_machine": False,
        "operation": "drilling",
        "width_m": 4.0,
        **STATED,
    }
    return KitListed(**(values | more))


def work(
    day: str = "2026-04-10",
    clock: str = "08:00",
    *,
    field: str = "Long Acre",
    machine: str = "blue",
    hours: float = 2.0,
    worked: BaseGeometry | None = None,
    **more: Any,
) -> WorkMeasured:
    """A measured visit: drilling at 4 m, three quarters of the time working at 2 m/s.

    worked: ground worked, in metres; sets worked_m2 too.
    """
    started_at = at(day, clock)
    field_s = hours * 3600
    working_s = 0.75 * field_s
    values: dict[str, Any] = {
        "visit": visit_id(machine, field, started_at),
        "machine": machine,
        "field": field,
        "day": date.fromisoformat(day),
        "started_at": started_at,
        "ended_at": started_at + timedelta(seconds=field_s),
        "tracks": ("t1",),
        "method": "1",
        "settings": {},
        "implement": "drill",
        "operation": "drilling",
        "width_m": 4.0,
        "width_used_m": 4.0,
        "boundary_m2": 20_000.0,
        "worked_m2": working_s * 2 * 4 * 0.95,
        "worked_low_m2": working_s * 2 * 4 * 0.93,
        "worked_high_m2": working_s * 2 * 4 * 0.97,
        "gross_m2": working_s * 2 * 4,
        "overlap_m2": working_s * 2 * 4 * 0.05,
        "missed_m2": 50.0,
        "working_s": working_s,
        "turning_s": field_s / 8,
        "filling_s": field_s / 16,
        "standing_s": field_s / 16,
        "travelling_s": 0.0,
        "unrecorded_s": 0.0,
        "break_s": 0.0,
        "working_m": working_s * 2,
        "speed_m_s": 2.0,
        "speed_low_m_s": 1.9,
        "speed_high_m_s": 2.1,
        "noise_m": 0.3,
        "interval_s": 1.0,
    }
    if worked is not None:
        values |= {"geometry": ground(worked), "worked_m2": worked.area}
    return WorkMeasured(**(values | more))


def whole_day(*visits: WorkMeasured, **more: Any) -> DayMeasured:
    """The day that some visits of one machine make, with half an hour of road on either side."""
    half_hour = timedelta(minutes=30)
    first = min(v.started_at for v in visits) - half_hour
    last = max(v.ended_at for v in visits) + half_hour
    field_s = sum((v.ended_at - v.started_at).total_seconds() for v in visits)
    tracked_s = (last - first).total_seconds()
    values: dict[str, Any] = {
        "machine": visits[0].machine,
        "day": visits[0].day,
        "tracks": visits[0].tracks,
        "method": "1",
        "settings": {},
        "measured": tuple(v.event_id for v in visits),
        "started_at": first,
        "ended_at": last,
        "tracked_s": tracked_s,
        "field_s": field_s,
        "road_s": 3600.0,
        "elsewhere_s": tracked_s - field_s - 3600.0,
        "road_m": 9000.0,
    }
    return DayMeasured(**(values | more))
