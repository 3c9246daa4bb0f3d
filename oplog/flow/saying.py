"""What people say of visits: an implement, a driver, a correction, a strike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from oplog.errors import OplogError
from oplog.events import EntryStruck, Event, VisitSaid, WorkMeasured
from oplog.flow import gather
from oplog.flow.days import bounds
from oplog.flow.history import History, read, stated
from oplog.flow.measuring import measure
from oplog.fold import Farm
from oplog.log import Entry, Log
from oplog.work.model import Settings


@dataclass(frozen=True)
class Words:
    """What is said of a visit; None where nothing is said of it."""

    implement: str | None = None
    operation: str | None = None
    driver: str | None = None
    job: str | None = None
    because: str | None = None


def say(
    log: Log,
    visits: Sequence[tuple[str, Words]],
    settings: Settings | None = None,
    command: str = "say",
) -> Entry:
    """Say what visits were, each by its handle, and measure them accordingly, as one entry.

    Raises: UnknownName for a visit, implement or job; OplogError where nothing is said.
    """
    history = read(log)
    events: list[Event] = []
    for handle, words in visits:
        events += _said(history, history.farm.visit(handle), words, settings)
    return history.append(events, command=command)


def strike(log: Log, visits: Sequence[str], because: str, command: str = "strike") -> Entry:
    """Strike visits out, each by its handle, for a reason; they stay readable, and uncounted.

    Raises: UnknownName.
    """
    history = read(log)
    events = []
    for handle in visits:
        visit = history.farm.visit(handle)
        events.append(
            EntryStruck(
                visit=visit.visit,
                machine=visit.machine,
                field=visit.field,
                started_at=visit.started_at,
                ended_at=visit.ended_at,
                because=because,
                supersedes=tuple(sorted({v.event_id for v in _measured(history, visit)})),
                **stated(),
            )
        )
    return history.append(events, command=command)


def _said(
    history: History, visit: WorkMeasured, words: Words, settings: Settings | None
) -> list[Event]:
    """What was said of a visit, and the visit measured with it."""
    words = _known(history.farm, visit, words)
    before = [s for s in history.farm.said if _is_of(s, visit)]
    told = VisitSaid(
        visit=visit.visit,
        machine=visit.machine,
        field=visit.field,
        day=visit.day,
        started_at=visit.started_at,
        ended_at=visit.ended_at,
        because=words.because,
        supersedes=tuple(sorted({e.event_id for e in (*before, *_measured(history, visit))})),
        **_with_earlier(words, before),
        **stated(),
    )
    farm = history.farm
    said = (*(s for s in farm.said if s not in before), told)
    farm = replace(farm, said=said)
    return [told, *(history.anew(v) for v in _measure_visit(history, farm, visit, settings))]


def _measure_visit(
    history: History, farm: Farm, visit: WorkMeasured, settings: Settings | None
) -> list[WorkMeasured]:
    """The visits, of the day measured with what is now said, that lie in the time of one."""
    own = [t for t in farm.tracks if t.fixes in visit.tracks and t.machine == visit.machine]
    started_at, ended_at = bounds(visit.day, farm.zone, farm.day_turns_at)
    track, tracks = gather.day_track(own, history.log.fixes, started_at, ended_at)
    events = measure(farm, visit.machine, visit.day, track, tracks, settings)
    found = [e for e in events if isinstance(e, WorkMeasured) and _is_of(e, visit)]
    if not found:
        raise OplogError(
            f"The visit to {visit.field} could not be measured again. Nothing was changed; "
            "'oplog check' tells whether its fixes are still there."
        )
    return found


def _measured(history: History, visit: WorkMeasured) -> list[WorkMeasured]:
    """All current measurements of a visit, those from other laptops included."""
    return [v for v in history.current_visits if _is_of(v, visit)]


def _is_of(one: WorkMeasured | VisitSaid, visit: WorkMeasured) -> bool:
    """Whether something is about the same stay: machine and field, and overlapping in time."""
    return (
        one.machine.casefold() == visit.machine.casefold()
        and one.field.casefold() == visit.field.casefold()
        and one.started_at < visit.ended_at
        and visit.started_at < one.ended_at
    )


def _with_earlier(words: Words, before: Sequence[VisitSaid]) -> dict[str, Any]:
    """What is said now, and what was said before of anything else."""
    said: dict[str, Any] = {}
    for name in ("implement", "operation", "driver", "job"):
        earlier = [getattr(s, name) for s in before if getattr(s, name) is not None]
        said[name] = getattr(words, name) or (earlier[-1] if earlier else None)
    if words.implement is not None and words.operation is None:
        said["operation"] = None
    return said


def _known(farm: Farm, visit: WorkMeasured, words: Words) -> Words:
    """What is said, with names as the log spells them. Raises: UnknownName, OplogError."""
    if not any((words.implement, words.operation, words.driver, words.job)):
        raise OplogError("Say something: --implement, --operation, --driver or --job.")
    implement = (
        farm.kit_item(words.implement, visit.day, machine=False).name if words.implement else None
    )
    return replace(words, implement=implement, job=farm.job(words.job).job if words.job else None)
