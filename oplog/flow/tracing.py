"""How a figure came to be: the events that a visit, a field, a day or an entry rests on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime
from typing import NamedTuple, TypeVar

from oplog.errors import OplogError, UnknownName
from oplog.events import (
    DayMeasured,
    EntryStruck,
    EntryWritten,
    Event,
    StretchForgotten,
    TrackCut,
    TrackImported,
    VisitSaid,
    WorkMeasured,
    WorkReplaced,
)
from oplog.flow.days import bounds
from oplog.flow.history import DETAIL
from oplog.fold import Farm, fold, now_called
from oplog.log import Log

E = TypeVar("E", bound=Event)

SHORTEST = 6
"""Letters of an entry's or an event's id that a person types at the least."""


class Step(NamedTuple):
    """One event on the way to a figure: what it says, who wrote it, and what replaced it.

    entry: the first entry that holds it, None where that has not arrived. replaced_by: the
    event that superseded it, or None where it counts. replaced: the events that it superseded.
    """

    event: Event
    entry: EntryWritten | None
    replaced_by: Event | None
    replaced: tuple[Event, ...] = ()


def trace(log: Log, subject: str) -> list[Step]:
    """The events behind a visit (its handle), a field, a day, an entry or an event, oldest first.

    Of a single event, what it replaced and what replaced it, by and by.
    Raises: UnknownName where the subject is none of these.
    """
    events = log.events(without=DETAIL)
    farm = fold(events)
    chosen = _chosen(events, farm, subject)
    entries: dict[str, EntryWritten] = {}
    for entry in sorted(_of(events, EntryWritten), key=lambda e: (e.written_at, e.event_id)):
        for held in entry.events:
            entries.setdefault(held, entry)
    gone = {i: e for e in events for i in e.supersedes}
    by_id = {e.event_id: e for e in events}
    steps = [
        Step(
            e,
            entries.get(e.event_id),
            gone.get(e.event_id),
            tuple(by_id[i] for i in e.supersedes if i in by_id),
        )
        for e in chosen + _strikes_of(events, chosen)
    ]
    return sorted(steps, key=lambda s: (_when(s), s.event.TYPE, s.event.event_id))


def _strikes_of(events: Sequence[Event], chosen: Sequence[Event]) -> list[Event]:
    """The strikes of any of these events, and the strikes of those."""
    known = {e.event_id for e in chosen}
    found: list[Event] = []
    strikes = _of(events, EntryStruck)
    while new := [s for s in strikes if s.event_id not in known and known & set(s.supersedes)]:
        found += new
        known |= {s.event_id for s in new}
    return found


def _when(step: Step) -> datetime:
    return step.entry.written_at if step.entry else datetime.max.replace(tzinfo=UTC)


def _of(events: Iterable[Event], kind: type[E]) -> list[E]:
    return [e for e in events if isinstance(e, kind)]


def _chosen(events: Sequence[Event], farm: Farm, subject: str) -> list[Event]:
    """The events that a subject rests on, by what kind of subject it is."""
    named = [e for e in events if _begins(e, subject)]
    # One id in a thousand begins with eight figures that read as a day.
    if not named and (day := _date(subject)) is not None:
        return _of_day(events, farm, day)
    if subject.casefold() in farm.fields:
        name = farm.field(subject).name
        return [e for e in events if getattr(e, "field", None) == name]
    if len(named) == 1 and isinstance(named[0], EntryWritten):
        return [e for e in events if e.event_id in named[0].events]
    if len(named) == 1:
        return _line_of(events, named[0])
    return _of_visit(events, _visit(events, farm, subject))


def _line_of(events: Sequence[Event], event: Event) -> list[Event]:
    """An event, all that it took the place of, and all that took its place."""
    by_id = {e.event_id: e for e in events}
    chosen = {event.event_id: event}
    ahead = list(event.supersedes)
    while ahead:
        one = by_id.get(ahead.pop())
        if one is not None and one.event_id not in chosen:
            chosen[one.event_id] = one
            ahead += one.supersedes
    while new := [
        e for e in events if e.event_id not in chosen and chosen.keys() & set(e.supersedes)
    ]:
        chosen |= {e.event_id: e for e in new}
    return list(chosen.values())


def _date(subject: str) -> date | None:
    try:
        return date.fromisoformat(subject)
    except ValueError:
        return None


def _begins(event: Event, typed: str) -> bool:
    return len(typed) >= SHORTEST and event.event_id.startswith(typed.casefold())


def _visit(events: Sequence[Event], farm: Farm, subject: str) -> WorkMeasured:
    """A visit that counts, by a handle that it has or had, or one that was struck."""
    try:
        return farm.visit(subject)
    except UnknownName:
        if again := now_called(farm, events, subject):
            return again
        was = [e for e in _of(events, WorkMeasured) if e.visit.startswith(subject.casefold())]
        if was and len(subject) >= SHORTEST - 1:
            return was[0]
        message = (
            f"There is no visit, field, day or entry called {subject!r}. A visit is named by its "
            "handle, a day as 2027-03-25, an entry by the first letters of its id."
        )
        raise OplogError(message) from None


def _of_visit(events: Sequence[Event], visit: WorkMeasured) -> list[Event]:
    """All measurements of one stay, and what they rest on: tracks, land, kit, what was said."""
    begins, ends = visit.started_at, visit.ended_at
    same = _overlapping(visit.machine, visit.field, begins, ends)
    measured = [e for e in _of(events, WorkMeasured) if same(e)]
    rests_on = {i for m in measured for i in (m.boundary, *m.kit, *m.said) if i}
    fixes = {t for m in measured for t in m.tracks}
    ids = {m.event_id for m in measured}
    return [
        e
        for e in events
        if e.event_id in ids | rests_on
        or (isinstance(e, TrackImported) and e.fixes in fixes)
        or (isinstance(e, StretchForgotten) and _meets(e, visit.machine, begins, ends))
        or (isinstance(e, TrackCut) and e.fixes in fixes)
        or (isinstance(e, VisitSaid | EntryStruck) and same(e))
        or (isinstance(e, WorkReplaced) and ids & set(e.supersedes))
    ]


def _meets(
    forgotten: StretchForgotten, machine: str | None, begins: datetime, ends: datetime
) -> bool:
    """Whether something of a machine (any, where none is named) was forgotten of a period."""
    return machine in (None, forgotten.machine) and any(
        s.started_at < ends and s.ended_at > begins for s in forgotten.stretches
    )


def _overlapping(
    machine: str, field: str, started_at: datetime, ended_at: datetime
) -> Callable[[Event], bool]:
    """Whether an event is about a machine in a field, or on ground without a name, at a time."""

    def same(event: Event) -> bool:
        begins, ends = getattr(event, "started_at", None), getattr(event, "ended_at", None)
        return (
            getattr(event, "machine", None) == machine
            and getattr(event, "field", None) in (field, "")
            and begins is not None
            and ends is not None
            and begins < ended_at
            and ends > started_at
        )

    return same


def _of_day(events: Sequence[Event], farm: Farm, day: date) -> list[Event]:
    """What was imported, measured, said and struck of one working day."""
    begins, ends = bounds(day, farm.zone, farm.day_turns_at)
    found: list[Event] = [
        e
        for e in events
        if (isinstance(e, WorkMeasured | DayMeasured | WorkReplaced | VisitSaid) and e.day == day)
        or (isinstance(e, TrackImported) and e.first_at < ends and e.last_at >= begins)
        or (isinstance(e, StretchForgotten) and _meets(e, None, begins, ends))
        or (isinstance(e, EntryStruck) and e.started_at and begins <= e.started_at < ends)
    ]
    if not found:
        raise OplogError(f"Nothing is on record of {day}.")
    return found
