"""A log re-read byte by byte, and what its entries name held against what is there.

Changes nothing. What may still be on its way from another computer is told apart from damage:
what this user's own entries name must be there, what another writer's name may come a little
later than the entry itself.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from oplog.events import EntryWritten
from oplog.log import book, chain, writer
from oplog.log.reading import Index
from oplog.log.report import ALTERED, FORKED, MISSING, ORPHAN, WAITING, Report
from oplog.log.survey import Survey, survey, survey_events
from oplog.log.writer import Writer

ARRIVING_S = 3600.0
"""What another writer's entry names may come this much later than the entry itself. [s]"""

TRACK_DIGEST = 32
"""Length of the digest of a track; that of a file is longer."""


def check(path: Path, *, now: float | None = None) -> Report:
    """Read every byte of a log and report what is not as it was written. Changes nothing.

    now: seconds since 1970, for what may still be arriving; by default the computer's clock.
    Raises: NotALog.
    """
    path = book.open_log(Path(path)).path
    seen, known = survey(path), writer.recall(path)
    index = seen.index
    own = known.id if known else None
    _Named(seen, index, own, time.time() if now is None else now).look(known)
    return Report(
        path,
        tuple(seen.findings),
        chain.seal(index.entries),
        seen.files,
        len(index.types),
        len(index.entries),
        seen.bytes_read,
    )


def check_seal(path: Path, seal: str) -> chain.Sealed:
    """Whether a log still contains all that a printed seal speaks of. Every event is verified.

    Raises: NotALog.
    """
    index = survey_events(book.open_log(Path(path)).path).index
    return chain.check_seal(seal, index.entries, index.types.keys())


@dataclass
class _Named:
    """What entries name, held against what is there."""

    seen: Survey
    index: Index
    own: str | None
    now: float

    def __post_init__(self) -> None:
        self.entries = {e.event_id: e for e in self.index.entries}

    def look(self, known: Writer | None) -> None:
        """Add what is missing, orphaned or forked to the findings."""
        for entries in chain.chains(self.index.entries).values():
            self._chain(entries)
        if known and known.entry and known.entry not in self.entries:
            message = f"your newest entry here (number {known.number}) is not in the log"
            self.seen.add(MISSING, message, "", known.entry)
        self._orphans()
        self._kept_files()

    def _chain(self, entries: list[EntryWritten]) -> None:
        numbers: dict[int, EntryWritten] = {}
        for entry in entries:
            if entry.number in numbers:
                message = f"{_entry(entry)} is there twice, with different events; both count"
                self.seen.add(FORKED, message, "", entry.event_id, damage=False)
            numbers[entry.number] = entry
            before = self.entries.get(entry.previous or "")
            if entry.previous and before is None:
                if entry.previous not in self.seen.altered:
                    message = f"the entry before {_entry(entry)} is not there"
                    self._absent(entry, entry.previous, message)
            elif (before.number if before else 0) != entry.number - 1:
                message = f"{_entry(entry)} does not follow the one that it names"
                self.seen.add(ALTERED, message, "", entry.event_id)
            for event in entry.events:
                if event not in self.index.types and event not in self.seen.altered:
                    message = f"event {event} of {_entry(entry)} is not there"
                    self._absent(entry, event, message)

    def _absent(self, entry: EntryWritten | None, event: str, message: str, file: str = "") -> None:
        since = self.now - self.seen.arrived.get(entry.event_id if entry else "", 0.0)
        if entry and entry.writer != self.own and (since < ARRIVING_S or self.seen.on_the_way):
            message += " yet; if nothing is being copied or synced now, it is missing"
            self.seen.add(WAITING, message, file, event, damage=False)
        else:
            self.seen.add(MISSING, message, file, event)

    def _orphans(self) -> None:
        named = {i for e in self.index.entries for i in e.events}
        for event, kind in self.index.types.items():
            if event not in named and kind != EntryWritten.TYPE:
                self.seen.add(ORPHAN, f"event {event} ({kind}) is in no entry", "", event)

    def _kept_files(self) -> None:
        entry_of = {i: e for e in self.index.entries for i in e.events}
        there = self.seen.kept | self.seen.rotten
        needed: set[str] = set()
        for event in self.index.imports:
            for folder, digest in ((book.FIXES, event.fixes), (book.RAW, event.file_digest)):
                needed.add(digest)
                if digest not in there:
                    message = f"{digest[:12]} of import {event.event_id} is not there"
                    self._absent(entry_of.get(event.event_id), event.event_id, message, folder)
        for digest in sorted(self.seen.kept - needed):
            message = f"no import names {digest[:12]} (left by one that was broken off)"
            folder = book.FIXES if len(digest) == TRACK_DIGEST else book.RAW
            self.seen.add(ORPHAN, message, folder, damage=False)


def _entry(entry: EntryWritten) -> str:
    return (
        f"entry {entry.number} of {entry.writer_name} ({entry.writer[:6]}, "
        f"{entry.written_at:%Y-%m-%d})"
    )
