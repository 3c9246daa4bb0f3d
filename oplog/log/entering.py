"""Entries: what one command writes, and where it stands in its writer's chain."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import UTC, datetime
from pathlib import Path

from oplog.events import EntryWritten, Event
from oplog.log import chain, writer
from oplog.records import dataclass


@dataclass(frozen=True)
class Entry:
    """An entry that was written. `written` names its events; empty (and number 0) when all of
    them were in the log before and nothing was written."""

    id: str
    number: int
    written: tuple[str, ...]


def entry_of(
    who: writer.Writer,
    events: Sequence[Event],
    command: str,
    files: Sequence[str],
    stored: Sequence[str],
) -> EntryWritten:
    """The record of what a writer writes now."""
    return EntryWritten(
        writer=who.id,
        writer_name=writer.name(),
        number=who.number + 1,
        previous=who.entry,
        events=tuple(sorted(e.event_id for e in events)),
        written_at=datetime.now(UTC),
        command=command,
        files=tuple(files),
        stored=tuple(sorted(stored)),
    )


def continued(path: Path, entries: Collection[EntryWritten]) -> writer.Writer:
    """The writer here at the end of its chain, or a fresh one where the chain in this folder is
    not the one that this user wrote here (the folder was copied or put back)."""
    known = writer.recall(path)
    if known is None:
        return writer.fresh()
    own = [e for e in entries if e.writer == known.id]
    last = chain.newest(own)
    if last is None or all(e.event_id != known.entry for e in own):
        return writer.fresh()
    return writer.Writer(known.id, last.number, last.event_id)
