"""What people say of visits: an implement, a driver, a correction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from oplog.errors import OplogError
from oplog.events import Event, VisitSaid, WorkMeasured
from oplog.flow import gather
from oplog.flow.days import bounds
from oplog.flow.history import History, read, stated
from oplog.flow.measuring import measure
from oplog.flow.operations import refuse_slips
from oplog.flow.remeasuring import told_apart
from oplog.fold import Farm
from oplog.fold.settle import NAMELESS, about
from oplog.log import Entry, Log
from oplog.records import dataclass
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

    What was said or struck of it before is replaced, by whomever; so this settles what two people
    said apart, and brings back what was struck.
    Raises: UnknownName for a visit, implement or job; OplogError where nothing is said, or where
    what two people said apart stays open.
    """
    history = read(log)
    events: list[Event] = []
    for handle, words in visits:
        events += _said(history, history.visit(handle), words, settings)
    return history.append(events, command=command)


def _said(
    history: History, visit: WorkMeasured, words: Words, settings: Settings | None
) -> list[Event]:
    """What was said of a visit, and the visit measured with it."""
    words = _known(history.farm, visit, words)
    if words.because is None and (strikes := history.strikes(visit)):
        why = f" ({strikes[0].because})" if strikes[0].because else ""
        where = f"in {visit.field}" if visit.field else "on new ground"
        raise OplogError(
            f"{visit.machine} {where} on {visit.day} was struck out{why}. If it is to "
            "count after all, say why, with --because."
        )
    before = said_before(history, visit)
    return said_anew(history, visit, _with_earlier(words, before), words.because, settings)


def said_anew(
    history: History,
    visit: WorkMeasured,
    columns: Mapping[str, str | None],
    because: str | None,
    settings: Settings | None = None,
) -> list[Event]:
    """A VisitSaid in place of all that was said, struck and measured of a visit, and the visit
    measured with it. columns: implement, operation, driver and job as they hold now."""
    before = said_before(history, visit)
    gone: list[Event] = [*before, *history.strikes(visit), *measurements(history, visit)]
    told = VisitSaid(
        visit=visit.visit,
        machine=visit.machine,
        field=visit.field,
        day=visit.day,
        started_at=visit.started_at,
        ended_at=visit.ended_at,
        because=because,
        supersedes=tuple(sorted({e.event_id for e in gone})),
        implement=columns["implement"],
        operation=columns["operation"],
        driver=columns["driver"],
        job=columns["job"],
        **stated(),
    )
    said = (*(s for s in history.farm.said if s not in before), told)
    return [told, *measured_with(history, visit, said, settings)]


def measured_with(
    history: History,
    visit: WorkMeasured,
    said: Sequence[VisitSaid],
    settings: Settings | None = None,
) -> list[Event]:
    """A visit measured again, as if this were all that was said of any visit."""
    farm = replace(history.farm, said=tuple(said))
    return _measure_visit(history, farm, visit, settings)


def said_before(history: History, visit: WorkMeasured) -> list[VisitSaid]:
    """All that is said of a visit now."""
    return [s for s in history.farm.said if _is_of(s, visit)]


def measurements(history: History, visit: WorkMeasured) -> list[WorkMeasured]:
    """All current measurements of a visit, those from other laptops included."""
    return [v for v in history.current_visits if _is_of(v, visit)]


def _measure_visit(
    history: History, farm: Farm, visit: WorkMeasured, settings: Settings | None
) -> list[Event]:
    """The visits, of the day measured with what is now said, that lie in the time of one; and the
    ground they are in, where it has no name."""
    own = [t for t in farm.tracks if t.fixes in visit.tracks and t.machine == visit.machine]
    started_at, ended_at = bounds(visit.day, farm.zone, farm.day_turns_at)
    track, tracks = gather.day_track(own, history.log.fixes, started_at, ended_at)
    day = measure(farm, visit.machine, visit.day, track, tracks, settings)
    events = told_apart(history, day)
    found = [e for e in events if isinstance(e, WorkMeasured) and _is_of(e, visit)]
    if not found:
        raise OplogError(
            f"The visit to {visit.field or NAMELESS} could not be measured again. Nothing was "
            "changed; 'oplog check' tells whether its fixes are still there."
        )
    grounds = {v.ground for v in found}
    return [*(e for e in events if e.event_id in grounds), *found]


def _is_of(one: WorkMeasured | VisitSaid, visit: WorkMeasured) -> bool:
    """Whether something is about the same stay: machine and place, and overlapping in time."""
    return about(one, visit) and one.started_at < visit.ended_at and visit.started_at < one.ended_at


def _with_earlier(words: Words, before: Sequence[VisitSaid]) -> dict[str, str | None]:
    """What is said now, and what was said before of anything else.

    Raises: OplogError where that was said in two ways.
    """
    said: dict[str, str | None] = {}
    for name in ("implement", "operation", "driver", "job"):
        earlier = {s for b in before if (s := getattr(b, name)) is not None}
        said[name] = getattr(words, name)
        if said[name] is not None or (name == "operation" and words.implement is not None):
            continue
        if name == "operation" and said["implement"] is not None:
            # An operation said apart from the implement went with another one.
            apart = {b.operation for b in before if b.operation and b.implement is None}
            earlier |= {said["implement"]} if apart else set()
        if len({e.casefold() for e in earlier}) > 1:
            raise OplogError(
                f"Two people said different things of it: {' or '.join(sorted(earlier))}. Say "
                f"which holds, with --{name}. Nothing was changed."
            )
        said[name] = next(iter(sorted(earlier)), None)
    return said


def _known(farm: Farm, visit: WorkMeasured, words: Words) -> Words:
    """What is said, with names as the log spells them. Raises: UnknownName, OplogError."""
    if not any((words.implement, words.operation, words.driver, words.job)):
        raise OplogError("Say something: --implement, --operation, --driver or --job.")
    if words.operation:
        refuse_slips(farm, words.operation)
    implement = (
        farm.kit_item(words.implement, visit.day, machine=False).name if words.implement else None
    )
    return replace(words, implement=implement, job=farm.job(words.job).job if words.job else None)
