"""Statements struck out: inputs, notes, drill settings. They stay readable and count no more."""

from __future__ import annotations

from oplog.errors import UnknownName
from oplog.events import DrillCalibrated, EntryStruck, InputApplied, NoteWritten
from oplog.flow.history import read, stated
from oplog.fold import Farm
from oplog.log import Log

Stated = InputApplied | NoteWritten | DrillCalibrated

SHORTEST = 5
"""Characters of a handle."""


def statement(farm: Farm, handle: str) -> Stated | None:
    """The input, note or drill setting whose id begins with a handle; None where none does."""
    every: list[Stated] = [*farm.inputs, *farm.notes, *farm.calibrations]
    found = [e for e in every if len(handle) >= SHORTEST and e.event_id.startswith(handle)]
    return found[0] if len(found) == 1 else None


def strike_statement(log: Log, handle: str, because: str, command: str = "strike") -> str:
    """Strike a statement out, for a reason; gives it in words. Raises: UnknownName."""
    history = read(log)
    found = statement(history.farm, handle)
    if found is None:
        raise UnknownName("input, note or setting", handle, (), "oplog inputs and oplog notes.")
    event = EntryStruck(because=because, supersedes=(found.event_id,), **stated())
    history.append([event], command=command)
    return in_words(found)


def in_words(event: Stated) -> str:
    """A statement in a few words."""
    if isinstance(event, InputApplied):
        return f"{event.product}, {event.amount:g} {event.unit}"
    if isinstance(event, NoteWritten):
        return f'the note "{event.note}"'
    return f"{event.implement} set for {event.product} on {event.day}"
