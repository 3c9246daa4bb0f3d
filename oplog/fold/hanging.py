"""What of the unsettled some figures hang on: by what the figures are about, or by the tables that
they were worked out from. In doubt a matter is taken to bear on them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from oplog.events import (
    CropStated,
    CustomerStated,
    DayMeasured,
    DeviceAssigned,
    DrillCalibrated,
    EntryStruck,
    Event,
    FarmOpened,
    FieldDrawn,
    InputApplied,
    InputPlanned,
    JobPlanned,
    KitListed,
    NoteWritten,
    PriceStated,
    SequencePlanned,
    TrackImported,
    VisitSaid,
    WorkMeasured,
)
from oplog.fold.farm import Farm, Unsettled
from oplog.records import dataclass

Names = frozenset[str] | None
"""Casefolded names; None stands for all."""

_OF_WORK = frozenset({"visits", "days", "ground", "input_visits"})

_TABLES: dict[type[Event], frozenset[str]] = {
    FarmOpened: _OF_WORK,
    FieldDrawn: _OF_WORK | {"fields"},
    CropStated: _OF_WORK | {"crops"},
    KitListed: _OF_WORK | {"kit"},
    DeviceAssigned: _OF_WORK | {"tracks"},
    TrackImported: _OF_WORK | {"tracks"},
    WorkMeasured: _OF_WORK,
    DayMeasured: _OF_WORK,
    VisitSaid: _OF_WORK,
    JobPlanned: frozenset({"jobs", "needs", "visits", "ground"}),
    InputPlanned: frozenset({"needs"}),
    InputApplied: frozenset({"inputs", "input_visits"}),
    DrillCalibrated: frozenset({"calibrations"}),
    NoteWritten: frozenset({"notes"}),
    CustomerStated: frozenset({"customers"}),
    PriceStated: frozenset({"prices"}),
    SequencePlanned: frozenset({"sequences"}),
}
"""Base tables of questions that an event has a part in."""


@dataclass(frozen=True)
class Subject:
    """What figures are about. first, last: days of the work, both included; None: no bound.

    visits: ids as in WorkMeasured.visit. customers: where there are any, prices of the operations
    that hold for all bear on them too. whole: about all stays of the machines in these days, in
    whatever field, those that one person struck out included.
    """

    fields: Names = None
    machines: Names = None
    implements: Names = None
    jobs: Names = None
    operations: Names = None
    crops: Names = None
    customers: Names = frozenset()
    visits: Names = frozenset()
    first: date | None = None
    last: date | None = None
    whole: bool = False


def of_subject(farm: Farm, subject: Subject) -> list[Unsettled]:
    """Unsettled matters that bear on figures about something."""
    return [
        u
        for u in farm.unsettled
        if not u.events or any(_bears(e, subject) for e in u.events) or _is_missing(u, subject)
    ]


def missing(farm: Farm, first: date, last: date) -> list[Unsettled]:
    """Unsettled matters that keep work of some days from counting, wherever it was."""
    return [u for u in farm.unsettled if _is_missing(u, Subject(first=first, last=last))]


def _is_missing(matter: Unsettled, subject: Subject) -> bool:
    """Whether imports that were struck may have work in the days of a subject: in which fields, and
    for which job, nobody can tell."""
    if not any(isinstance(e, EntryStruck) for e in matter.events):
        return False
    days = Subject(first=subject.first, last=subject.last)
    return any(isinstance(e, TrackImported) and _of_track(e, days) for e in matter.events)


def of_tables(farm: Farm, tables: Collection[str]) -> list[Unsettled]:
    """Unsettled matters that bear on what is worked out from base tables of questions."""
    wanted = set(tables)
    return [
        u
        for u in farm.unsettled
        if not u.events or any(_TABLES.get(e.__class__, frozenset()) & wanted for e in u.events)
    ]


def of_visits(farm: Farm, visits: Iterable[WorkMeasured], **more: Any) -> Subject:
    """What figures of some visits are about: their fields, kit, jobs and days. more: columns of
    Subject in place of those."""
    held = list(visits)
    standing = [farm.standing[v.event_id] for v in held]
    days = [v.day for v in held]
    return replace(
        Subject(
            fields=folded(v.field for v in held),
            machines=folded(v.machine for v in held),
            implements=folded(v.implement for v in held),
            jobs=folded(s.job for s in standing),
            operations=folded(v.operation for v in held),
            crops=folded(s.crop for s in standing),
            visits=frozenset(v.visit for v in held),
            first=min(days, default=None),
            last=max(days, default=None),
        ),
        **more,
    )


def folded(names: Iterable[str | None]) -> frozenset[str]:
    """Names as they are compared; what has none is left out."""
    return frozenset(n.casefold() for n in names if n)


def _bears(event: Event, s: Subject) -> bool:
    rule = _RULES.get(event.__class__)
    return rule is not None and rule(event, s)


def _of_stay(e: Any, s: Subject) -> bool:
    """Of work in ground without a name the machine tells."""
    by_field = e.field and not s.whole
    own = _in(e.field, s.fields) if by_field else _in(e.machine, s.machines)
    return own and _within(e.day, s)


def _of_machine(e: Any, s: Subject) -> bool:
    return _in(e.machine, s.machines) and _within(e.day, s)


def _of_track(e: Any, s: Subject) -> bool:
    """A working day is not the calendar's."""
    day = timedelta(days=1)
    begun = s.last is None or e.first_at.date() - day <= s.last
    over = s.first is not None and e.last_at.date() + day < s.first
    return _in(e.machine, s.machines) and begun and not over


def _of_input(e: Any, s: Subject) -> bool:
    if e.visit and (s.visits is None or e.visit in s.visits):
        return True
    if e.job or e.field:
        of_job = bool(e.job) and _in(e.job, s.jobs)
        return of_job or (bool(e.field) and _in(e.field, s.fields) and _within(e.day, s))
    return _within(e.day, s)


def _of_price(e: Any, s: Subject) -> bool:
    if e.customer:
        return _in(e.customer, s.customers)
    return s.customers != frozenset() and _in(e.operation, s.operations)


def _of_note(e: Any, s: Subject) -> bool:
    if e.field:
        return _in(e.field, s.fields)
    return _within(e.day, s)


_RULES: Mapping[type[Event], Callable[[Any, Subject], bool]] = {
    FarmOpened: lambda e, s: True,
    FieldDrawn: lambda e, s: _in(e.field, s.fields),
    CropStated: lambda e, s: _in(e.field, s.fields),
    KitListed: lambda e, s: _in(e.name, s.machines if e.is_machine else s.implements),
    DeviceAssigned: lambda e, s: _in(e.machine, s.machines),
    WorkMeasured: _of_stay,
    VisitSaid: _of_stay,
    DayMeasured: _of_machine,
    TrackImported: _of_track,
    JobPlanned: lambda e, s: _in(e.job, s.jobs),
    InputPlanned: lambda e, s: _in(e.job, s.jobs),
    InputApplied: _of_input,
    DrillCalibrated: lambda e, s: _in(e.implement, s.implements),
    NoteWritten: _of_note,
    CustomerStated: lambda e, s: _in(e.customer, s.customers),
    PriceStated: _of_price,
    SequencePlanned: lambda e, s: _in(e.crop, s.crops),
}
"""Strikes are left out: they stand beside what they struck, which tells."""


def _in(name: str | None, names: Names) -> bool:
    return names is None or (name or "").casefold() in names


def _within(day: date | None, s: Subject) -> bool:
    if day is None:
        return True
    return (s.first is None or day >= s.first) and (s.last is None or day <= s.last)
