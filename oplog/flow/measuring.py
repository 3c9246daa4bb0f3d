"""One machine's working day, from its fixes to the events that tell what it did. Pure."""

from __future__ import annotations

from dataclasses import fields as fields_of
from datetime import date
from typing import Any

import numpy as np
import shapely

from oplog import geodesy, land
from oplog.events import DayMeasured, Event, GroundFound, WorkMeasured, visit_id
from oplog.flow.rigs import rig_for, statement
from oplog.flow.unseen import told_apart, unseen
from oplog.fold import Farm
from oplog.land import Field
from oplog.track import Track
from oplog.work.measure import measure_day
from oplog.work.model import METHOD, DayWork, Settings, Visit

_FIGURES = tuple(
    f.name
    for f in fields_of(WorkMeasured)
    if f.name in Visit.__dataclass_fields__ and f.name.endswith(("_s", "_m", "_m2", "_m_s"))
)
"""Columns that the steps of the work and the event share under one name."""


def measure(
    farm: Farm,
    machine: str,
    day: date,
    track: Track,
    tracks: tuple[str, ...],
    settings: Settings | None = None,
) -> list[Event]:
    """The events of a machine's day: one GroundFound for each piece of ground worked that lies
    in no field on file, one WorkMeasured a visit, then the DayMeasured.

    track: all fixes of the machine on that working day, one an instant; tracks: the digests of
    the imports they are from. Rests on these, the boundaries, kit and statements that hold for
    that day, the settings and the method, and on nothing else in the log, but for the private
    places: what they hide of a field is told apart from what was missed there.
    """
    if len(track) < 2:
        return []
    settings = settings or Settings()
    drawn = [f for f in (land.on(d, day) for d in farm.fields.values()) if f is not None]
    work = measure_day(track, drawn, rig_for(farm, machine, day, tracks), settings)
    found = {id(f): _ground(machine, day, tracks, work, f, settings) for f in work.found}
    visits = [
        _visit(farm, machine, day, tracks, v, settings, found.get(id(v.field)), track)
        for v in work.visits
    ]
    return [*found.values(), *visits, _day(machine, day, tracks, work, visits, settings)]


def _ground(
    machine: str, day: date, tracks: tuple[str, ...], work: DayWork, found: Field,
    settings: Settings,
) -> GroundFound:  # fmt: skip
    stays = [v for v in work.visits if v.field is found]
    return GroundFound(
        machine=machine,
        day=day,
        started_at=min(v.started_at for v in stays),
        ended_at=max(v.ended_at for v in stays),
        tracks=tracks,
        method=METHOD,
        settings=settings.as_map(),
        ground_m2=round(found.area_m2, 3),
        geometry=as_wkb(found.boundary) or b"",
    )


def _visit(
    farm: Farm,
    machine: str,
    day: date,
    tracks: tuple[str, ...],
    visit: Visit,
    settings: Settings,
    ground: GroundFound | None,
    track: Track,
) -> WorkMeasured:
    hidden = unseen(visit, track, farm.private) if farm.private and ground is None else None
    visit = told_apart(visit, hidden)
    told = statement(farm, machine, tracks, visit.field.name, visit.started_at, visit.ended_at)
    figures: dict[str, Any] = {name: grain(getattr(visit, name)) for name in _FIGURES}
    return WorkMeasured(
        visit=visit_id(machine, visit.field.name, visit.started_at),
        machine=machine,
        field=visit.field.name,
        day=day,
        started_at=visit.started_at,
        ended_at=visit.ended_at,
        tracks=tracks,
        method=METHOD,
        settings=settings.as_map(),
        boundary=visit.field.event_id or None,
        kit=visit.rig.kit_ids,
        said=told.said,
        implement=visit.rig.implement,
        operation=visit.rig.operation,
        driver=visit.rig.driver,
        job=told.job,
        width_m=visit.rig.width_m,
        boundary_m2=grain(visit.field.area_m2) if ground is None else None,
        ground=ground.event_id if ground else None,
        doubts=visit.doubts,
        spans=visit.spans,
        geometry=as_wkb(visit.worked),
        missed=as_wkb(visit.missed),
        overlap=as_wkb(visit.overlap),
        bouts=as_wkb(visit.bouts),
        unseen_m2=None if hidden is None else grain(geodesy.area_m2(hidden)),
        unseen=as_wkb(hidden),
        **figures,
    )


def _day(
    machine: str,
    day: date,
    tracks: tuple[str, ...],
    work: DayWork,
    visits: list[WorkMeasured],
    settings: Settings,
) -> DayMeasured:
    return DayMeasured(
        machine=machine,
        day=day,
        tracks=tracks,
        method=METHOD,
        settings=settings.as_map(),
        measured=tuple(v.event_id for v in visits),
        started_at=work.started_at,
        ended_at=work.ended_at,
        tracked_s=round(work.tracked_s, 3),
        field_s=round(work.field_s, 3),
        road_s=round(work.road_s, 3),
        elsewhere_s=round(work.elsewhere_s, 3),
        road_m=round(work.road_m, 3),
        nearest_m=grain(work.nearest_m),
        nearest_field=work.nearest_field,
        doubts=work.doubts,
        spans=work.spans,
    )


def grain(value: float | None) -> float | None:
    """A figure to a millimetre, a thousandth of a square metre, or a millisecond.

    Finer differences are those of one computer's arithmetic and another's, and the same import
    is to give the same event on both.
    """
    return None if value is None or value != value else round(float(value), 3)


def as_wkb(geometry: Any) -> bytes | None:
    """A geometry in lon/lat to 1e-9 degree (0.1 mm) as WKB; None where there is none."""
    if geometry is None or geometry.is_empty:
        return None
    rounded = shapely.transform(geometry, lambda c: np.round(c, 9))
    if not rounded.is_valid:
        rounded = geometry
    written: bytes = shapely.to_wkb(rounded, byte_order=1)
    return written
