"""A machine's day measured anew, in place of what was measured of it before."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date

from oplog.events import DayMeasured, Event, GroundFound, WorkMeasured, WorkReplaced
from oplog.flow import gather
from oplog.flow.days import bounds
from oplog.flow.history import History, read
from oplog.flow.measuring import measure
from oplog.flow.standing import grounds_that_stand, with_standing
from oplog.fold import Farm
from oplog.log import Entry, Log
from oplog.records import dataclass
from oplog.track import Track
from oplog.work.model import Settings


@dataclass(frozen=True, eq=False)
class MachineDayTask:
    """All that a machine's day is measured from, for any process to do (see measuring.measure)."""

    farm: Farm
    machine: str
    day: date
    track: Track
    tracks: tuple[str, ...]
    settings: Settings | None


def task(
    farm: Farm,
    machine: str,
    day: date,
    fixes: Callable[[str], Track],
    settings: Settings | None = None,
) -> MachineDayTask:
    """What a machine's day is measured from. fixes: the fixes of a digest.

    farm: what counts, with imports that are still to be written.
    """
    own = tuple(t for t in farm.tracks if t.machine.casefold() == machine.casefold())
    started_at, ended_at = bounds(day, farm.zone, farm.day_turns_at)
    track, tracks = gather.day_track(own, fixes, started_at, ended_at)
    # Without what the work does not rest on, most of a log: it may be sent to another process.
    slight = Farm(
        farm.name, farm.zone, farm.day_turns_at, fields=farm.fields, crops=farm.crops,
        kit=farm.kit, devices=farm.devices, tracks=own, jobs=farm.jobs, closed=farm.closed,
        said=farm.said, private=farm.private,
    )  # fmt: skip
    return MachineDayTask(slight, machine, day, track, tracks, settings)


def measured(task: MachineDayTask) -> list[Event]:
    """The events of a machine's day."""
    return measure(task.farm, task.machine, task.day, task.track, task.tracks, task.settings)


def measured_anew(
    history: History,
    farm: Farm,
    machine: str,
    day: date,
    fixes: Callable[[str], Track],
    settings: Settings | None = None,
    places: bool = False,
) -> list[Event]:
    """The events of a machine's day, and one that puts them in the place of earlier ones.

    farm: what counts, with imports that are still to be written; fixes: the fixes of a digest;
    places: see with_standing.
    """
    events = measured(task(farm, machine, day, fixes, settings))
    return in_place(history, farm, machine, day, events, places)


def in_place(
    history: History,
    farm: Farm,
    machine: str,
    day: date,
    events: list[Event],
    places: bool = False,
) -> list[Event]:
    """The events of a machine's day, and one that puts them in the place of earlier ones.

    None at all where everything that was recorded of the day was forgotten: its figures stand.
    """
    stands = with_standing(history, farm, machine, day, events, places)
    if stands is None:
        return []
    events = told_apart(history, stands)
    new = {e.event_id for e in events} | grounds_that_stand(events)
    before: tuple[WorkMeasured | DayMeasured | GroundFound, ...]
    before = (*history.current_visits, *history.current_days, *farm.found)
    old = sorted(
        e.event_id for e in before if e.machine.casefold() == machine.casefold() and e.day == day
    )
    gone = tuple(i for i in old if i not in new)
    if gone:
        events.append(
            WorkReplaced(
                machine=machine,
                day=day,
                supersedes=gone,
                measured=tuple(sorted(e.event_id for e in events)),
            )
        )
    return events


def told_apart(history: History, events: list[Event]) -> list[Event]:
    """The events of a day, none of which is one that was superseded before (see History.anew)."""
    grounds = {e.event_id: history.anew(e) for e in events if isinstance(e, GroundFound)}
    visits = []
    for e in events:
        if isinstance(e, WorkMeasured):
            at = grounds.get(e.ground or "")
            visits.append(history.anew(replace(e, ground=at.event_id) if at else e))
    measured = tuple(v.event_id for v in visits)
    days = [
        history.anew(replace(e, measured=measured)) for e in events if isinstance(e, DayMeasured)
    ]
    return [*grounds.values(), *visits, *days]


def settle(log: Log, settings: Settings | None = None, command: str = "settle") -> Entry | None:
    """Measure again the days that were measured in parts, as after bringing two logs together.

    None where there is nothing to settle.
    """
    history = read(log)
    days = {(u.machine, u.day) for u in history.farm.unsettled if u.machine and u.day}
    events = list(_all(history, sorted(days), settings))
    return history.append(events, command=command) if events else None


def _all(
    history: History, days: Iterable[tuple[str | None, date | None]], settings: Settings | None
) -> Iterable[Event]:
    for machine, day in days:
        if machine is not None and day is not None:
            yield from measured_anew(
                history, history.farm, machine, day, history.log.fixes, settings
            )
