"""Choosing one of several versions that know nothing of each other, by a further correction that
names them all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from oplog.errors import OplogError, UnknownName
from oplog.events import EntryStruck, Event, TrackImported, VisitSaid
from oplog.flow.history import History, read, stated
from oplog.flow.remeasuring import measured_anew
from oplog.flow.saying import measurements, said_anew
from oplog.flow.striking import SHORTEST, days_of, period_of
from oplog.fold import Unsettled
from oplog.log import Log

SAID = ("implement", "operation", "driver", "job")


class Chosen(NamedTuple):
    """The version that holds from now on, and the correction that says so: striking that opens
    the matter again."""

    version: Event
    written: Event


def choose(log: Log, version: str, because: str | None = None, command: str = "settle") -> Chosen:
    """Let one version hold of what was stated apart; gives it.

    version: the first letters of its id, as `oplog settle` shows them.
    Raises: UnknownName where it is none of the versions that are open.
    """
    history = read(log)
    group, chosen = _found(history, version)
    events = _chosen(history, group, chosen, because)
    history.append(events, command=command)
    return Chosen(chosen, next(e for e in events if isinstance(e, type(chosen))))


def _found(history: History, version: str) -> tuple[Unsettled, Event]:
    typed = version.strip().casefold()
    able = [(u, e) for u in history.farm.unsettled if u.machine is None for e in u.events]
    found = [(u, e) for u, e in able if len(typed) >= SHORTEST and e.event_id.startswith(typed)]
    if len({e.event_id for _, e in found}) == 1:
        return found[0]
    if found:
        raise OplogError(f"{version!r} could be several versions: type more of its letters.")
    raise UnknownName(
        "version", version, (e.event_id[:8] for _, e in able), "oplog settle shows what is open."
    )


def _chosen(
    history: History, group: Unsettled, chosen: Event, because: str | None
) -> Sequence[Event]:
    """The events of the further correction."""
    if isinstance(chosen, VisitSaid):
        visit = history.visit(chosen.visit)
        return said_anew(history, visit, {c: getattr(chosen, c) for c in SAID}, because)
    if isinstance(chosen, TrackImported):
        return _one_machine(history, group, chosen, because)
    ids = {e.event_id for e in group.events}
    if isinstance(chosen, EntryStruck):
        if any(isinstance(e, TrackImported) for e in group.events):
            return _no_machine(history, group, because or chosen.because)
        columns = {}
        if chosen.visit is not None:
            visit = history.visit(chosen.visit)
            ids |= {v.event_id for v in measurements(history, visit)}
            columns = period_of(visit)
        why = because or chosen.because
        ids_in_order = tuple(sorted(ids))
        return [EntryStruck(supersedes=ids_in_order, because=why, **columns, **stated())]  # type: ignore[arg-type]
    mark = stated() if chosen.stated_by is not None else {"nonce": chosen.nonce}
    again = replace(chosen, supersedes=tuple(sorted(ids)), because=because, **mark)
    return [history.anew(again)]


def _one_machine(
    history: History, group: Unsettled, chosen: TrackImported, because: str | None
) -> Sequence[Event]:
    """Of imports of one file for several machines one holds: the days of the others are measured
    without it."""
    ids = tuple(sorted(e.event_id for e in group.events))
    again = history.anew(replace(chosen, supersedes=ids, because=because))
    return [again, *_measured(history, group, [again])]


def _no_machine(history: History, group: Unsettled, because: str | None) -> Sequence[Event]:
    """Of imports of one file none holds."""
    ids = tuple(sorted(e.event_id for e in group.events))
    struck = EntryStruck(supersedes=ids, because=because, **stated())
    return [struck, *_measured(history, group, [])]


def _measured(
    history: History, group: Unsettled, instead: Sequence[TrackImported]
) -> Iterator[Event]:
    """The days of some imports, with others in their place."""
    imports = [e for e in group.events if isinstance(e, TrackImported)]
    ids = {e.event_id for e in imports}
    left = (t for t in history.farm.tracks if t.event_id not in ids)
    farm = replace(history.farm, tracks=(*left, *instead))
    for machine, day in sorted({d for one in imports for d in days_of(farm, one)}):
        yield from measured_anew(history, farm, machine, day, history.log.fixes)
