"""Figures that rest on forgotten fixes stand: a day measured again keeps them as they were.

What was forgotten for a private place is measured from what is left where that is asked for: the
ground that the place hides is then told as not looked at, as if it had been private from the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime

import shapely

from oplog.events import DayMeasured, Event, GroundFound, Span, StretchForgotten, WorkMeasured
from oplog.flow.clearing import forgotten_spans
from oplog.flow.days import bounds
from oplog.flow.history import History
from oplog.fold import Farm


def rests_on_forgotten(farm: Farm, visit: WorkMeasured) -> list[StretchForgotten]:
    """What was forgotten of the time of a visit that was measured with it: its figures stand, and
    rest on what is gone."""
    return [
        f
        for f in farm.forgotten
        if f.machine.casefold() == visit.machine.casefold()
        and any(_meet(s.started_at, s.ended_at, visit.started_at, visit.ended_at)
                for s in f.stretches)
        and not _is_hidden(farm, visit, f)
    ]  # fmt: skip


def drawn_through(farm: Farm, place: str) -> list[WorkMeasured]:
    """Visits that were measured with what was forgotten for a private place, and lead through it
    as they are drawn."""
    return [
        v
        for v in farm.visits
        if any((f.place or "").casefold() == place.casefold() for f in rests_on_forgotten(farm, v))
    ]


def with_standing(
    history: History, farm: Farm, machine: str, day: date, events: list[Event], places: bool = False
) -> list[Event] | None:
    """The events of a day as it was measured again, with those visits as they were before of
    which some was forgotten since. None where nothing is left to measure, so that all stands.

    places: whether what was forgotten for places that are private still is left out.
    """
    begin, end = bounds(day, farm.zone, farm.day_turns_at)
    spans = forgotten_spans(farm, machine)
    if not any(_meet(s.started_at, s.ended_at, begin, end) for s in spans):
        return events
    days = [e for e in events if isinstance(e, DayMeasured)]
    if not days:
        return None
    private = {p.place.casefold() for p in farm.private} if places else set()
    stands = {
        v.event_id
        for v in history.current_visits
        if v.machine.casefold() == machine.casefold()
        and v.day == day
        and any((f.place or "").casefold() not in private for f in rests_on_forgotten(farm, v))
    }
    if not stands:
        return events
    kept = [
        replace(v, tracks=days[0].tracks)
        for v in history.log.some(stands)
        if isinstance(v, WorkMeasured)
    ]
    fresh = [e for e in events if isinstance(e, WorkMeasured) and not _within_any(e, kept)]
    used = {v.ground for v in fresh}
    grounds = [e for e in events if isinstance(e, GroundFound) and e.event_id in used]
    visits = sorted([*fresh, *kept], key=lambda v: v.started_at)
    return [*grounds, *visits, _day(days[0], visits)]


def grounds_that_stand(events: Iterable[Event]) -> set[str]:
    """Ids of the found grounds that visits lie in."""
    return {e.ground for e in events if isinstance(e, WorkMeasured) and e.ground}


def _is_hidden(farm: Farm, visit: WorkMeasured, forgotten: StretchForgotten) -> bool:
    """Whether a visit was measured without what was forgotten: the place it was forgotten for is
    told as not looked at."""
    if forgotten.place is None or not visit.unseen:
        return False
    unseen, name = shapely.from_wkb(visit.unseen), forgotten.place.casefold()
    own = [shapely.from_wkb(p.geometry) for p in farm.private if p.place.casefold() == name]
    return any(unseen.intersection(shape).area > 0.0 for shape in own)


def _meet(a: datetime, b: datetime, c: datetime, d: datetime) -> bool:
    return a < d and b > c


def _within_any(visit: WorkMeasured, kept: Sequence[WorkMeasured]) -> bool:
    return any(_meet(visit.started_at, visit.ended_at, k.started_at, k.ended_at) for k in kept)


def _day(day: DayMeasured, visits: Sequence[WorkMeasured]) -> DayMeasured:
    """The day with these visits in it: its sums still agree to the second."""
    begin = min(day.started_at, *(v.started_at for v in visits))
    end = max(day.ended_at, *(v.ended_at for v in visits))
    spans = _outside(day.spans, visits, begin, end)
    tracked_s = (end - begin).total_seconds()
    field_s = sum((v.ended_at - v.started_at).total_seconds() for v in visits)
    road_s = min(day.road_s, max(tracked_s - field_s, 0.0))
    return replace(
        day,
        measured=tuple(v.event_id for v in visits),
        started_at=begin,
        ended_at=end,
        tracked_s=round(tracked_s, 3),
        field_s=round(field_s, 3),
        road_s=round(road_s, 3),
        elsewhere_s=round(tracked_s - field_s - road_s, 3),
        spans=spans,
    )


def _outside(
    spans: Sequence[Span], visits: Sequence[WorkMeasured], begin: datetime, end: datetime
) -> tuple[Span, ...]:
    """The states outside the visits, without holes: what is not known there is elsewhere."""
    made: list[Span] = []
    at = begin
    for stay_begins, stay_ends in [*((v.started_at, v.ended_at) for v in visits), (end, end)]:
        for span in spans:
            first, last = max(span.started_at, at), min(span.ended_at, stay_begins)
            if first < last:
                if first > at:
                    made.append(Span(at, first, "elsewhere"))
                made.append(Span(first, last, span.state))
                at = last
        if at < stay_begins:
            made.append(Span(at, stay_begins, "elsewhere"))
        at = max(at, stay_ends)
    return tuple(made)
