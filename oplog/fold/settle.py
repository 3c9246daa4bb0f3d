"""Which measurements count, so that no instant of a machine counts twice.

A machine's day is measured as a whole. Where two current measurements of one day exist, they come
from laptops that did not know of each other:

1. one that rests on all tracks of another and more stands in its place;
2. then, of visits (or days) whose times overlap, the one of higher rank is kept: more tracks, then
   one in a field over one in ground without a name, then one whose implement is known over an open
   one, then more that was said, then the larger id;
3. visits that someone struck stay struck, whatever measures them again.

What had to be decided by the id alone, what no measurement covers as a whole, and what was said
of a visit but not used in measuring it, is listed as unsettled: measuring that machine's day again
settles it. What people said or struck of one visit without knowing of each other is listed too: it
is settled when one of them says it again, naming both. Until then the one of larger id holds, and
what was struck by anyone stays struck.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import date, datetime
from itertools import combinations
from operator import attrgetter
from typing import Protocol, TypeVar

from oplog.events import DayMeasured, EntryStruck, Event, VisitSaid, WorkMeasured
from oplog.fold.farm import Unsettled
from oplog.records import dataclass

STRUCK_SHARE = 0.5
"""A visit of which more than this share lies in a struck period is struck."""

NAMELESS = "new ground"
"""What ground without a name is called in a sentence."""

SAID_SHARE = 0.5
"""What was said of a stay holds beside what shares more time with it, if more than this share of
either lies in the other."""


class _Measured(Protocol):
    @property
    def event_id(self) -> str: ...
    @property
    def started_at(self) -> datetime: ...
    @property
    def ended_at(self) -> datetime: ...
    @property
    def tracks(self) -> tuple[str, ...]: ...


M = TypeVar("M", WorkMeasured, DayMeasured)
T = TypeVar("T", bound=WorkMeasured | DayMeasured)
S = TypeVar("S", WorkMeasured, VisitSaid, EntryStruck)
MachineDay = tuple[str, date]
Place = tuple[str, str]
"""Machine and field, casefolded."""


@dataclass(frozen=True)
class Strike:
    """A strike, and the ids of all that was known when it was made."""

    event: EntryStruck
    known: frozenset[str]


def known_to(strike: EntryStruck, every: Mapping[str, Event]) -> frozenset[str]:
    """Ids of what a strike took away, and of what was said of it before."""
    held = (every.get(i) for i in strike.supersedes)
    said = {i for e in held if isinstance(e, WorkMeasured) for i in e.said}
    return frozenset(strike.supersedes) | said


@dataclass(frozen=True)
class Settled:
    """visits, days: in order of start, machine and id."""

    visits: tuple[WorkMeasured, ...]
    days: tuple[DayMeasured, ...]
    unsettled: tuple[Unsettled, ...]


def settle(
    visits: Sequence[WorkMeasured],
    days: Sequence[DayMeasured],
    said: Sequence[VisitSaid],
    struck: Sequence[Strike],
    work_of: Mapping[str, Collection[str]],
) -> Settled:
    """Current measurements -> those that count. work_of: operations of an implement, by its key."""
    visits_of, days_of = _by_machine_day(visits), _by_machine_day(days)
    said_at, struck_at = by_place(said), by_place([s.event for s in struck])
    kept_visits: list[WorkMeasured] = []
    kept_days: list[DayMeasured] = []
    unsettled: list[Unsettled] = []
    for key in sorted(visits_of.keys() | days_of.keys()):
        standing, some_days = visits_of.get(key, []), days_of.get(key, [])
        whole = _not_outdone([*standing, *some_days])
        if whole:
            standing = [v for v in standing if frozenset(v.tracks) in whole]
            some_days = [d for d in some_days if frozenset(d.tracks) in whole]
        kept, rivals = _apart(standing, _visit_rank)
        if struck_at:
            kept = [v for v in kept if not struck_by(v, at_place_of(v, struck_at))]
        kept_visits += kept
        kept_days += _apart(some_days, _rank)[0]
        if len(whole) < 2 and not rivals:
            continue
        unsettled += _unsettled(whole, standing, some_days, rivals)
    unsettled += _said_in_vain(kept_visits, said_at)
    unsettled += _told_apart(said_at, struck, work_of)
    return Settled(tuple(_in_order(kept_visits)), tuple(_in_order(kept_days)), tuple(unsettled))


def shared_s(one: WorkMeasured | VisitSaid, other: WorkMeasured | VisitSaid | EntryStruck) -> float:
    """Time that two periods have in common. [s]"""
    if other.started_at is None or other.ended_at is None:
        return 0.0
    return _in_common_s(one.started_at, one.ended_at, other.started_at, other.ended_at)


def _in_common_s(begin: datetime, end: datetime, begins: datetime, ends: datetime) -> float:
    return max((min(end, ends) - max(begin, begins)).total_seconds(), 0.0)


def place(event: WorkMeasured | VisitSaid | EntryStruck) -> Place:
    """Machine and field that an event is about."""
    return ((event.machine or "").casefold(), (event.field or "").casefold())


def by_place(events: Iterable[S]) -> defaultdict[Place, list[S]]:
    """Events of each machine and field, in order of their ids."""
    groups: defaultdict[Place, list[S]] = defaultdict(list)
    for e in sorted(events, key=lambda e: e.event_id):
        groups[place(e)].append(e)
    return groups


def about(event: VisitSaid | EntryStruck | WorkMeasured, visit: WorkMeasured) -> bool:
    """Whether something is about the machine and place of a visit. What was said or struck of
    ground that had no name yet holds for whatever it was called since."""
    machine, field = place(event)
    return machine == visit.machine.casefold() and field in ("", visit.field.casefold())


def at_place_of(visit: WorkMeasured, groups: Mapping[Place, Sequence[S]]) -> list[S]:
    """What `by_place` has about the place of a visit (see `about`)."""
    if not groups:
        return []
    machine, field = place(visit)
    return [e for name in dict.fromkeys((field, "")) for e in groups.get((machine, name), ())]


def _by_machine_day(measured: Iterable[M]) -> defaultdict[MachineDay, list[M]]:
    groups: defaultdict[MachineDay, list[M]] = defaultdict(list)
    key_of: dict[str, str] = {}
    for m in measured:
        key = key_of.get(m.machine) or key_of.setdefault(m.machine, m.machine.casefold())
        groups[key, m.day].append(m)
    return groups


def _not_outdone(measured: Sequence[_Measured]) -> set[frozenset[str]]:
    """Sets of tracks of which no other set holds all and more. Empty where there is but one, as
    on most days: measured once, as a whole."""
    tracks = measured[0].tracks
    if all(m.tracks == tracks for m in measured):
        return set()
    sets = {frozenset(m.tracks) for m in measured}
    return {s for s in sets if not any(s < other for other in sets)}


def _apart(
    measured: Sequence[M], rank: Callable[[M], tuple[object, ...]]
) -> tuple[list[M], list[tuple[M, M]]]:
    """Those kept, no two of which overlap in time, and the pairs (kept, given up)."""
    if len(measured) < 2:
        return list(measured), []
    in_order = sorted(measured, key=_start)
    latest = in_order[0].ended_at
    for m in in_order[1:]:
        if m.started_at < latest:
            break
        latest = max(latest, m.ended_at)
    else:
        return in_order, []
    kept: list[M] = []
    rivals: list[tuple[M, M]] = []
    for m in sorted(measured, key=rank, reverse=True):
        over = next((k for k in kept if _overlap(k, m)), None)
        if over is None:
            kept.append(m)
        else:
            rivals.append((over, m))
    return kept, rivals


def _overlap(one: _Measured, other: _Measured) -> bool:
    return one.started_at < other.ended_at and other.started_at < one.ended_at


_start = attrgetter("started_at")


def _rank(m: _Measured) -> tuple[object, ...]:
    return (len(m.tracks), m.event_id)


def _visit_rank(v: WorkMeasured) -> tuple[object, ...]:
    return (len(v.tracks), bool(v.field), v.implement is not None, len(v.said), v.event_id)


def struck_by(visit: WorkMeasured, struck: Iterable[EntryStruck]) -> list[EntryStruck]:
    """The strikes of a visit."""
    length_s = (visit.ended_at - visit.started_at).total_seconds()
    return [s for s in struck if about(s, visit) and shared_s(visit, s) > STRUCK_SHARE * length_s]


def _unsettled(
    whole: set[frozenset[str]],
    visits: Sequence[WorkMeasured],
    days: Sequence[DayMeasured],
    rivals: Sequence[tuple[WorkMeasured, WorkMeasured]],
) -> list[Unsettled]:
    if len(whole) > 1:
        parts: list[WorkMeasured | DayMeasured] = _in_order([*visits, *days])
        name, day = parts[0].machine, parts[0].day
        what = f"{name} on {day.isoformat()} was measured in parts that do not know of each other."
        return [Unsettled(what, tuple(parts), name, day)]
    return [
        Unsettled(
            f"{kept.machine} in {kept.field or NAMELESS} on {kept.day.isoformat()} is told in two "
            "ways.",
            (kept, other),
            kept.machine,
            kept.day,
        )
        for kept, other in rivals
        if other.implement is not None or kept.implement is None
    ]


def said_of(
    started_at: datetime, ended_at: datetime, there: Iterable[VisitSaid]
) -> list[VisitSaid]:
    """What was said of a stay: that which shares most time with it, then what else is about it."""
    shared = []
    for s in there:
        both_s = _in_common_s(started_at, ended_at, s.started_at, s.ended_at)
        if both_s > 0:
            own_s = min((ended_at - started_at), (s.ended_at - s.started_at)).total_seconds()
            shared.append((both_s, s.event_id, both_s > SAID_SHARE * own_s, s))
    shared.sort(key=lambda x: x[:2], reverse=True)
    return [s for k, (_, _, most, s) in enumerate(shared) if k == 0 or most]


def _said_in_vain(
    visits: Sequence[WorkMeasured], said_at: Mapping[Place, Sequence[VisitSaid]]
) -> list[Unsettled]:
    """Visits measured without what was said of them, as after bringing two logs together."""
    found: list[Unsettled] = []
    for v in visits if said_at else ():
        there = at_place_of(v, said_at)
        new = [s for s in said_of(v.started_at, v.ended_at, there) if s.event_id not in v.said]
        if new:
            what = (
                f"What was said of {v.machine} in {v.field or NAMELESS} on {v.day.isoformat()} is "
                "not in yet."
            )
            found.append(Unsettled(what, (v, *new), v.machine, v.day))
    return found


def _told_apart(
    said_at: Mapping[Place, Sequence[VisitSaid]],
    struck: Sequence[Strike],
    work_of: Mapping[str, Collection[str]],
) -> list[Unsettled]:
    """What was said of one visit in two ways, or said by one and struck out by another."""
    strikes: defaultdict[Place, list[Strike]] = defaultdict(list)
    for s in struck:
        strikes[place(s.event)].append(s)
    found = []
    for key in sorted(said_at):
        left = list(said_at[key])
        while left:
            first = left.pop(0)
            group = [first, *(s for s in left if shared_s(first, s) > 0)]
            left = [s for s in left if s not in group]
            apart = [
                s.event
                for s in strikes[key]
                if any(shared_s(a, s.event) > 0 and a.event_id not in s.known for a in group)
            ]
            clashing = any(_contradict(a, b, work_of) for a, b in combinations(group, 2))
            if apart or clashing:
                found.append(_apart_in_words(group, apart))
    return found


def _apart_in_words(said: Sequence[VisitSaid], struck: Sequence[EntryStruck]) -> Unsettled:
    v = said[0]
    told = "was struck out by one and said by another" if struck else "was said in different ways"
    what = f"{v.machine} in {v.field} on {v.day.isoformat()} {told}."
    return Unsettled(what, (*said, *struck))


def _contradict(one: VisitSaid, other: VisitSaid, work_of: Mapping[str, Collection[str]]) -> bool:
    pairs = (
        (getattr(one, c), getattr(other, c)) for c in ("implement", "operation", "driver", "job")
    )
    if any(a is not None and b is not None and a.casefold() != b.casefold() for a, b in pairs):
        return True
    return any(
        a.implement is not None
        and a.operation is None
        and b.implement is None
        and b.operation is not None
        and b.operation not in work_of.get(a.implement.casefold(), ())
        for a, b in ((one, other), (other, one))
    )


def _in_order(measured: Iterable[T]) -> list[T]:
    return sorted(measured, key=attrgetter("started_at", "machine", "event_id"))
