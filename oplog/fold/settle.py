"""Which measurements count, so that no instant of a machine counts twice.

A machine's day is measured as a whole. Where two current measurements of one day exist, they come
from laptops that did not know of each other:

1. one that rests on all tracks of another and more stands in its place;
2. then, of visits (or days) whose times overlap, the one of higher rank is kept: more tracks, then
   one whose implement is known over an open one, then more that was said, then the larger id;
3. visits that someone struck stay struck, whatever measures them again.

What had to be decided by the id alone, what no measurement covers as a whole, and what was said
of a visit but not used in measuring it, is listed as unsettled: measuring that machine's day again
settles it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import combinations
from typing import Protocol, TypeVar

from oplog.events import DayMeasured, EntryStruck, VisitSaid, WorkMeasured
from oplog.fold.farm import Unsettled

STRUCK_SHARE = 0.5
"""A visit of which more than this share lies in a struck period is struck."""


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


@dataclass(frozen=True, slots=True)
class Settled:
    """visits, days: in order of start, machine and id."""

    visits: tuple[WorkMeasured, ...]
    days: tuple[DayMeasured, ...]
    unsettled: tuple[Unsettled, ...]


def settle(
    visits: Sequence[WorkMeasured],
    days: Sequence[DayMeasured],
    said: Sequence[VisitSaid],
    struck: Sequence[EntryStruck],
) -> Settled:
    """Current measurements -> those that count."""
    visits_of, days_of = _by_machine_day(visits), _by_machine_day(days)
    said_at, struck_at = by_place(said), by_place(struck)
    kept_visits: list[WorkMeasured] = []
    kept_days: list[DayMeasured] = []
    unsettled: list[Unsettled] = []
    for key in sorted(visits_of.keys() | days_of.keys()):
        whole = _not_outdone([*visits_of[key], *days_of[key]])
        standing = [v for v in visits_of[key] if frozenset(v.tracks) in whole]
        some_days = [d for d in days_of[key] if frozenset(d.tracks) in whole]
        kept, rivals = _apart(standing, _visit_rank)
        kept_visits += [v for v in kept if not _is_struck(v, struck_at[place(v)])]
        kept_days += _apart(some_days, _rank)[0]
        unsettled += _unsettled(whole, standing, some_days, rivals)
    unsettled += _said_in_vain(kept_visits, said_at) + _said_apart(said_at)
    return Settled(tuple(_in_order(kept_visits)), tuple(_in_order(kept_days)), tuple(unsettled))


def shared_s(one: WorkMeasured | VisitSaid, other: WorkMeasured | VisitSaid | EntryStruck) -> float:
    """Time that two periods have in common. [s]"""
    if other.started_at is None or other.ended_at is None:
        return 0.0
    begin, end = max(one.started_at, other.started_at), min(one.ended_at, other.ended_at)
    return max((end - begin).total_seconds(), 0.0)


def place(event: WorkMeasured | VisitSaid | EntryStruck) -> Place:
    """Machine and field that an event is about."""
    return ((event.machine or "").casefold(), (event.field or "").casefold())


def by_place(events: Iterable[S]) -> defaultdict[Place, list[S]]:
    """Events of each machine and field, in order of their ids."""
    groups: defaultdict[Place, list[S]] = defaultdict(list)
    for e in sorted(events, key=lambda e: e.event_id):
        groups[place(e)].append(e)
    return groups


def _by_machine_day(measured: Iterable[M]) -> defaultdict[MachineDay, list[M]]:
    groups: defaultdict[MachineDay, list[M]] = defaultdict(list)
    for m in measured:
        groups[m.machine.casefold(), m.day].append(m)
    return groups


def _not_outdone(measured: Iterable[_Measured]) -> set[frozenset[str]]:
    """Sets of tracks of which no other set holds all and more."""
    sets = {frozenset(m.tracks) for m in measured}
    return {s for s in sets if not any(s < other for other in sets)}


def _apart(
    measured: Sequence[M], rank: Callable[[M], tuple[object, ...]]
) -> tuple[list[M], list[tuple[M, M]]]:
    """Those kept, no two of which overlap in time, and the pairs (kept, given up)."""
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


def _rank(m: _Measured) -> tuple[object, ...]:
    return (len(m.tracks), m.event_id)


def _visit_rank(v: WorkMeasured) -> tuple[object, ...]:
    return (len(v.tracks), v.implement is not None, len(v.said), v.event_id)


def _is_struck(visit: WorkMeasured, struck: Sequence[EntryStruck]) -> bool:
    length_s = (visit.ended_at - visit.started_at).total_seconds()
    return any(shared_s(visit, s) > STRUCK_SHARE * length_s for s in struck)


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
            f"{kept.machine} in {kept.field} on {kept.day.isoformat()} is told in two ways.",
            (kept, other),
            kept.machine,
            kept.day,
        )
        for kept, other in rivals
        if other.implement is not None or kept.implement is None
    ]


def _said_in_vain(
    visits: Sequence[WorkMeasured], said_at: Mapping[Place, Sequence[VisitSaid]]
) -> list[Unsettled]:
    """Visits measured without what was said of them, as after bringing two logs together."""
    found = []
    for v in visits:
        there = said_at.get(place(v), ())
        holds = max(there, key=lambda s: (shared_s(v, s), s.event_id), default=None)
        if holds is None or shared_s(v, holds) == 0 or holds.event_id in v.said:
            continue
        what = f"What was said of {v.machine} in {v.field} on {v.day.isoformat()} is not in yet."
        found.append(Unsettled(what, (v, holds), v.machine, v.day))
    return found


def _said_apart(said_at: Mapping[Place, Sequence[VisitSaid]]) -> list[Unsettled]:
    """Pairs that say different things of one visit."""
    return [
        Unsettled(
            f"Different things are said of {a.machine} in {a.field} on {a.day.isoformat()}.",
            (a, b),
        )
        for key in sorted(said_at)
        for a, b in combinations(said_at[key], 2)
        if shared_s(a, b) > 0 and _contradict(a, b)
    ]


def _contradict(one: VisitSaid, other: VisitSaid) -> bool:
    pairs = (
        (getattr(one, c), getattr(other, c)) for c in ("implement", "operation", "driver", "job")
    )
    return any(a is not None and b is not None and a.casefold() != b.casefold() for a, b in pairs)


def _in_order(measured: Iterable[T]) -> list[T]:
    return sorted(measured, key=lambda m: (m.started_at, m.machine, m.event_id))
