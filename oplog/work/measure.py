"""Measure: one machine's working day from its fixes, field by field. Composes the other steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from oplog.events import Span
from oplog.geodesy import Plane
from oplog.land import Field
from oplog.track import Floats, Track, median
from oplog.work import idle
from oplog.work.clean import GRID_M, Cleaned, clean, interleaved, noise
from oplog.work.found import by_antenna, found_fields, with_room
from oplog.work.model import DayWork, Settings, Visit
from oplog.work.motion import Path, path
from oplog.work.stays import Leave, Stay, stays
from oplog.work.timeline import Clock
from oplog.work.visit import Place, RigFor, measure_field

FEW_LOST, MANY_LOST = 10, 0.002
"""Positions left out, by number and share, up to which it is not worth a word."""


def measure_day(
    track: Track, fields: list[Field], rig_for: RigFor, settings: Settings | None = None
) -> DayWork:
    """What one machine did in one working day.

    track: all its fixes of that day, in any order. fields: the boundaries that hold on that day.
    rig_for: which rig it pulled, asked once for each visit; the field's name is "" for ground
    worked that lies in none of them.
    Raises: ValueError where no fix has a time.
    """
    settings = settings or Settings()
    plane = plane_for(track)
    cleaned = clean(track, plane)
    if not len(cleaned):
        raise ValueError("no fix with a time and a position")
    way = path(cleaned, noise(cleaned, track.quality[cleaned.rows]))
    place = Place(plane, Clock(cleaned.start), rig_for, settings)
    leave = Leave(settings.absence_s, settings.far_m, settings.near_m, settings.break_s)
    by_field: dict[int, list[Stay]] = {}
    for stay in _all_stays(way, cleaned, fields, place, leave):
        by_field.setdefault(id(stay.field), []).append(stay)
    visits = [v for here in by_field.values() for v in _visits(way, here, place)]
    visits.sort(key=lambda v: v.started_at)
    return _day(cleaned, way, visits, fields, place.clock)


def _all_stays(
    way: Path, cleaned: Cleaned, fields: list[Field], place: Place, leave: Leave
) -> list[Stay]:
    """Stays in the fields on file, and in ground worked that lies in none of them."""
    known = stays(cleaned, fields, leave)
    found = found_fields(way, cleaned, fields, known, place, leave)
    return stays(cleaned, [*fields, *found], leave) if found else known


def _visits(way: Path, here: list[Stay], place: Place) -> list[Visit]:
    """The visits to one field. New ground has an outline, but no boundary that cuts work off."""
    field = here[0].field
    if field.name:
        return measure_field(way, here, place)
    room, by = with_room(field, place.plane), replace(place, rig_for=by_antenna(place.rig_for))
    return [
        replace(v, field=field)
        for v in measure_field(way, [replace(s, field=room) for s in here], by)
    ]


def plane_for(track: Track) -> Plane:
    """A plane about the middle of a day's positions, the date line notwithstanding."""
    lon, lat = track.lon[np.isfinite(track.lon)], track.lat[np.isfinite(track.lat)]
    if not len(lon):
        return Plane(0.0, 0.0)
    middle = float(lon[0]) + median((lon - lon[0] + 180.0) % 360.0 - 180.0)
    return Plane((middle + 180.0) % 360.0 - 180.0, median(lat))


def _day(
    cleaned: Cleaned, way: Path, visits: list[Visit], fields: list[Field], clock: Clock
) -> DayWork:
    last = float(cleaned.seconds[-1])
    spans, road_s, elsewhere_s, road_m = _outside(way, visits, last, clock)
    nearest_m, nearest = _nearest(cleaned, fields) if not visits else (None, None)
    return DayWork(
        started_at=clock.at(0.0), ended_at=clock.at(last), visits=tuple(visits),
        spans=spans, tracked_s=(clock.at(last) - clock.at(0.0)).total_seconds(),
        field_s=sum((v.ended_at - v.started_at).total_seconds() for v in visits),
        road_s=road_s, elsewhere_s=elsewhere_s, road_m=road_m,
        nearest_m=nearest_m, nearest_field=nearest, doubts=_doubts(cleaned),
        found=tuple({id(v.field): v.field for v in visits if not v.field.name}.values()),
    )  # fmt: skip


def _doubts(cleaned: Cleaned) -> tuple[str, ...]:
    """What the record itself leaves unsure, as sentences for the person."""
    if cleaned.grid_m > GRID_M:
        said = f"The file gives places only to {cleaned.grid_m:.0f} m: take care, and have"
        return (f"{said} the logger or the program that wrote it give more decimal places.",)
    lost = cleaned.jumps + cleaned.thrown
    if interleaved(cleaned):
        return ("Two machines seem to be in one track.",)
    if lost > max(FEW_LOST, MANY_LOST * len(cleaned)):
        where = "where the machine cannot have been"
        return (f"Bad reception: {lost:,} positions, {where}, were left out.",)
    return ()


def _outside(
    way: Path, visits: list[Visit], last: float, clock: Clock
) -> tuple[tuple[Span, ...], float, float, float]:
    """Spans outside the visits, seconds on the road and elsewhere, metres on the road."""
    step = idle.way_m(way, np.ones(len(way), dtype=bool))
    moving = ~idle.standing(way)
    edges, states = [0.0], [""]
    road_s = elsewhere_s = road_m = 0.0
    stays = [(clock.seconds(v.started_at), clock.seconds(v.ended_at)) for v in visits]
    for entered, left in [*stays, (last, last)]:
        on_s, off_s, metres = _between(way, moving, step, edges[-1], entered)
        road_s, elsewhere_s, road_m = road_s + on_s, elsewhere_s + off_s, road_m + metres
        edges += [entered, left]
        states += ["road" if on_s >= off_s else "elsewhere", "field"]
    spans = clock.spans(np.asarray(edges), states[1:], [0] * (len(states) - 1))
    return tuple(s for s in spans if s.state != "field"), road_s, elsewhere_s, road_m


def _between(
    way: Path, moving: NDArray[np.bool_], step: Floats, begin: float, end: float
) -> tuple[float, float, float]:
    """Seconds on the move, seconds not, and metres, between two moments outside fields."""
    rows = (way.seconds >= begin) & (way.seconds < end)
    length = max(end - begin, 0.0)
    on_s = min(float((rows & moving).sum()), length)
    return on_s, length - on_s, float(step[rows].sum())


def _nearest(cleaned: Cleaned, fields: list[Field]) -> tuple[float | None, str | None]:
    """Distance from the track to the nearest field. [m]"""
    from shapely import MultiPoint, distance

    if not fields:
        return None, None
    points = MultiPoint(np.column_stack([cleaned.x, cleaned.y]))
    away = [float(distance(cleaned.plane.project(f.boundary), points)) for f in fields]
    k = int(np.argmin(away))
    return away[k], fields[k].name
