"""A log re-read byte by byte, and what its entries name held against what is there.

Changes nothing. What may still be on its way from another computer is told apart from damage:
what this user's own entries name must be there, what another writer's name may come a little
later than the entry itself.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from pathlib import Path

from oplog.errors import DONE
from oplog.events import EntryWritten, TrackCut
from oplog.log import chain, forgetting, removing, writer
from oplog.log.book import Log
from oplog.log.folder import FIXES, RAW
from oplog.log.opening import open_log
from oplog.log.reading import Index
from oplog.log.report import (
    ALTERED,
    FORGOTTEN,
    FORKED,
    MISSING,
    ORPHAN,
    STILL_HERE,
    WAITING,
    Report,
)
from oplog.log.survey import Survey, names, survey, survey_events
from oplog.log.writer import Writer
from oplog.records import dataclass

ARRIVING_S = 3600.0
"""What another writer's entry names may come this much later than the entry itself. [s]"""

TRIES = 4
"""How often a log is read that others write to meanwhile."""

TRACK_DIGEST = 32
"""Length of the digest of a track; that of a file is longer."""


def check(path: Path, *, now: float | None = None) -> Report:
    """Read every byte of a log and report what is not as it was written. Changes nothing.

    What another program wrote or tidied while the log was read may look amiss: then it is read
    again. now: seconds since 1970, for what may still be arriving; by default the computer's
    clock. Raises: NotALog.
    """
    path = open_log(Path(path)).path
    for _ in range(TRIES):
        before = names(path)
        report = _checked(path, now)
        if report.exit_code == DONE or names(path) == before:
            break
    return report


def _checked(path: Path, now: float | None) -> Report:
    known, seen = writer.recall(path), survey(path)  # in this order: newer entries may come
    index = seen.index
    own = known.id if known else None
    at = time.time() if now is None else now
    forgotten = removing.told(Log(path), index)
    _Named(seen, index, own, at, forgotten).look(path, known)
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
    index = survey_events(open_log(Path(path)).path).index
    return chain.check_seal(seal, index.entries, index.types.keys())


@dataclass
class _Named:
    """What entries name, held against what is there."""

    seen: Survey
    index: Index
    own: str | None
    now: float
    forgotten: forgetting.Told

    def __post_init__(self) -> None:
        self.entries = {e.event_id: e for e in self.index.entries}
        self.gone_files = self.forgotten.files
        self.rests = _by_track(self.forgotten.cuts)
        self.ever = _by_track((*self.forgotten.cuts, *self.forgotten.earlier))
        self.kept_for: dict[str, set[str]] = {}
        for event in self.index.imports:
            if event.kept:
                self.kept_for.setdefault(event.file_digest, set()).add(event.kept)

    def look(self, path: Path, known: Writer | None) -> None:
        """Add what is missing, orphaned or forked to the findings."""
        for entries in chain.chains(self.index.entries).values():
            self._chain(entries)
        if known and known.entry and known.entry not in self.entries:
            message = f"your newest entry here (number {known.number}) is not in the log"
            self.seen.add(MISSING, message, "", known.entry)
        self._orphans()
        self._kept_files()
        self._forgotten(path)

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
        needed: set[str] = set()
        for event in self.index.imports:
            wanted = (
                (FIXES, event.fixes, self.rests.get(event.fixes, set())),
                (RAW, event.file_digest, self.kept_for.get(event.file_digest, set())),
            )
            for folder, digest, stand_ins in wanted:
                needed.add(digest)
                if not self._is_there(folder, digest, stand_ins):
                    message = f"{digest[:12]} of import {event.event_id} is not there"
                    self._absent(entry_of.get(event.event_id), event.event_id, message, folder)
        self._stand_ins()
        for digest in sorted(self.seen.kept - needed):
            message = f"no import names {digest[:12]} (left by one that was broken off)"
            folder = FIXES if len(digest) == TRACK_DIGEST else RAW
            self.seen.add(ORPHAN, message, folder, damage=False)

    def _is_there(self, folder: str, digest: str, stand_ins: set[str]) -> bool:
        """Whether what an import names is there as it was, or what may stand in its place; a file
        that was forgotten need not be."""
        if digest in self.seen.whole or digest in self.seen.rotten:
            return True
        if folder == RAW and digest in self.gone_files:
            return True
        return bool(stand_ins & self.seen.stand_ins.get(digest, set()))

    def _stand_ins(self) -> None:
        """What stands in the place of something else has to be what an event says it is."""
        for digest, contents in sorted(self.seen.stand_ins.items()):
            told = self.ever.get(digest, set()) | self.kept_for.get(digest, set())
            for content in sorted(contents - told):
                folder = FIXES if len(digest) == TRACK_DIGEST else RAW
                message = f"what is kept in place of {digest[:12]} ({content[:12]}) is in no event"
                self.seen.add(ALTERED, message, folder)

    def _forgotten(self, path: Path) -> None:
        """What was forgotten, and whether any of it is still here."""
        for stretch in self.forgotten.stretches:
            self.seen.add(
                FORGOTTEN, forgetting.in_words(stretch), "", stretch.event_id, damage=False
            )
        if self.forgotten and forgetting.unfinished(path, self.forgotten):
            message = "some of what was forgotten; the next writing takes it out, or --mend does"
            self.seen.add(STILL_HERE, message, damage=False)


def _by_track(cuts: Iterable[TrackCut]) -> dict[str, set[str]]:
    """Digests of what is left of tracks, by the tracks'."""
    found: dict[str, set[str]] = {}
    for cut in cuts:
        if cut.rest:
            found.setdefault(cut.fixes, set()).add(cut.rest)
    return found


def _entry(entry: EntryWritten) -> str:
    return (
        f"entry {entry.number} of {entry.writer_name} ({entry.writer[:6]}, "
        f"{entry.written_at:%Y-%m-%d})"
    )
