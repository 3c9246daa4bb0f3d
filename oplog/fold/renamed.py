"""A visit by a handle that it had before it was measured again.

A handle follows from field and start. A visit gets another when its ground gets a name or its
width is set right, and papers with the earlier one lie about for years.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import timedelta

from oplog.events import Event, NoteWritten, WorkMeasured
from oplog.fold.farm import HANDLE_LENGTH, Farm


def now_called(farm: Farm, events: Iterable[Event], handle: str) -> WorkMeasured | None:
    """The visit that counts now for the one that a handle named: the same machine for most of the
    time. None where no measurement had that handle, or what it named is none or several now."""
    typed = handle.strip().casefold()
    if len(typed) < HANDLE_LENGTH:
        return None
    was = [e for e in events if isinstance(e, WorkMeasured) and e.visit.startswith(typed)]
    if len({e.visit for e in was}) != 1:
        return None
    found = {v.event_id: v for v in farm.visits for e in was if _same_work(v, e)}
    return next(iter(found.values())) if len(found) == 1 else None


def notes_now(farm: Farm, events: Iterable[Event]) -> tuple[NoteWritten, ...]:
    """The notes of a farm, those on visits as they are called now, with the field."""
    standing = {v.visit for v in farm.visits}
    if all(n.visit is None or n.visit in standing for n in farm.notes):
        return farm.notes
    measured = [e for e in events if isinstance(e, WorkMeasured)]
    return tuple(
        n if n.visit is None or n.visit in standing else _followed(farm, measured, n)
        for n in farm.notes
    )


def _followed(farm: Farm, measured: Sequence[WorkMeasured], note: NoteWritten) -> NoteWritten:
    visit = now_called(farm, measured, note.visit or "")
    if visit is None:
        return note
    followed = replace(note, visit=visit.visit, field=visit.field)
    followed.__dict__["event_id"] = note.event_id  # it stays the same event
    return followed


def _same_work(visit: WorkMeasured, was: WorkMeasured) -> bool:
    both = min(visit.ended_at, was.ended_at) - max(visit.started_at, was.started_at)
    shorter = min(visit.ended_at - visit.started_at, was.ended_at - was.started_at)
    return (
        visit.machine.casefold() == was.machine.casefold()
        and both > timedelta(0)
        and both >= shorter / 2
    )
