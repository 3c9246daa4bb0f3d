"""What measuring again would change, shown before it is done; and doing it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from oplog.events import Event, WorkMeasured, WorkReplaced
from oplog.flow.clearing import forgotten_spans
from oplog.flow.days import bounds
from oplog.flow.history import History, read
from oplog.flow.remeasuring import measured_anew
from oplog.fold import Farm
from oplog.log import Entry, Log
from oplog.records import dataclass


@dataclass(frozen=True)
class Which:
    """Which work is measured again; None for all. forgotten: work too of which some was forgotten
    for a private place, from what is left."""

    field: str | None = None
    day: date | None = None
    machine: str | None = None
    forgotten: bool = False


class Change(NamedTuple):
    """One visit before and after: either may be missing. why: what it rests on that is new."""

    machine: str
    day: date
    field: str
    old: WorkMeasured | None
    new: WorkMeasured | None
    why: str


@dataclass(frozen=True)
class Changes:
    """What measuring again comes to: the visits that change, and the events that say so."""

    history: History
    changes: tuple[Change, ...]
    events: tuple[Event, ...]


def would_change(
    log: Log, which: Which, step: Callable[[str, date], None] | None = None
) -> Changes:
    """Measure days again without writing anything.

    step: called before each machine's day, as it takes a while. A field that is named keeps only
    the days on which something in it changes.
    Raises: UnknownName for a field or machine that the log does not know.
    """
    history = read(log)
    farm = history.farm
    field = farm.field(which.field).name if which.field else None
    machine = farm.kit_item(which.machine, machine=True).name if which.machine else None
    changes: list[Change] = []
    events: list[Event] = []
    for on in _days(farm, machine, which.day):
        if step is not None:
            step(*on)
        again = measured_anew(history, farm, *on, log.fixes, places=which.forgotten)
        # Nothing at all comes back where all that the day rests on was forgotten: it stands.
        found = list(_compared(farm, again, *on)) if again else []
        if found and (field is None or any(c.field == field for c in found)):
            changes += found
            events += again
    return Changes(history, tuple(changes), tuple(events))


def measure_again(found: Changes, because: str | None = None, command: str = "remeasure") -> Entry:
    """Write the new measurements in the place of the old, which stay readable."""
    told = [
        replace(e, because=because) if because and isinstance(e, WorkReplaced) else e
        for e in found.events
    ]
    return found.history.append(told, command=command)


def _days(farm: Farm, machine: str | None, day: date | None) -> list[tuple[str, date]]:
    """The machine days on record that are asked for, in order."""
    all_days = {(d.machine, d.day) for d in farm.days} | {(v.machine, v.day) for v in farm.visits}
    return sorted(
        (m, d)
        for m, d in all_days
        if (machine is None or m.casefold() == machine.casefold()) and (day is None or d == day)
    )


def _compared(farm: Farm, again: Sequence[Event], machine: str, day: date) -> Iterable[Change]:
    """Old and new visits of a day, matched by field and time; those that are the same left out."""
    old = [v for v in farm.visits if v.machine.casefold() == machine.casefold() and v.day == day]
    new = [e for e in again if isinstance(e, WorkMeasured)]
    same = {e.event_id for e in old} & {e.event_id for e in new}
    left = [e for e in old if e.event_id not in same]
    for visit in (e for e in new if e.event_id not in same):
        before = next((o for o in left if _one_stay(o, visit)), None)
        if before is not None:
            left.remove(before)
        why = _why(before, visit, _partly_forgotten(farm, machine, day))
        yield Change(machine, day, visit.field, before, visit, why)
    for gone in left:
        yield Change(machine, day, gone.field, gone, None, "no work is found there any more")


def _one_stay(a: WorkMeasured, b: WorkMeasured) -> bool:
    one_place = a.field == b.field or not a.field
    return one_place and a.started_at < b.ended_at and b.started_at < a.ended_at


def _partly_forgotten(farm: Farm, machine: str, day: date) -> bool:
    begin, end = bounds(day, farm.zone, farm.day_turns_at)
    return any(s.started_at < end and s.ended_at > begin for s in forgotten_spans(farm, machine))


def _why(old: WorkMeasured | None, new: WorkMeasured, forgotten: bool) -> str:
    """What the new measurement rests on that the old did not."""
    if old is None:
        return "found now"
    reasons = [
        (old.method != new.method, f"method {old.method} is now {new.method}"),
        (old.settings != new.settings, "the settings have changed"),
        (not old.field and bool(new.field), "the boundary was drawn since"),
        (old.boundary != new.boundary and bool(old.field), "the boundary was drawn anew"),
        (old.kit != new.kit, "the kit was listed anew"),
        (old.said != new.said, "what was said of it has changed"),
        (old.tracks != new.tracks, "more was imported"),
        (forgotten, "some of the day's track was forgotten"),
    ]
    told = [text for differs, text in reasons if differs]
    return ", ".join(told) or "other ground of the day has changed"
