"""Re-reading a log byte by byte, and telling apart what is wrong with it. Changes nothing."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from oplog.events import EntryWritten, Event, TrackImported
from oplog.log import book, chain, disk, kept, writer
from oplog.log.files import as_named
from oplog.log.reading import UNREADABLE, LaterEvent, decode, is_whole, salvage
from oplog.log.report import (
    ALTERED,
    FOREIGN,
    FORKED,
    MISSING,
    NEWER,
    ORPHAN,
    RENAMED,
    ROTTEN,
    TORN,
    UNFINISHED,
    WAITING,
    Finding,
    Report,
)

ARRIVING_S = 3600.0
"""What another writer's entry names may come this much later than the entry itself. [s]"""

VERIFIED = "1"
"""Version of what this check verifies of one file."""

NOT_NEEDED = ("spans", "geometry", "missed", "overlap", "bouts", "settings", "doubts", "found")
"""Columns that only matter for a digest: not decoded where the file was verified before."""

_OURS = re.compile(r"[0-9a-f]{32}\.parquet")
_ON_THE_WAY = re.compile(
    r"[.~].*\.tmp|.*\.(tmp|part|partial|crdownload|download|filepart|!sync)|\.~.*|~\$.*", re.I
)
_JUNK = re.compile(r"\.DS_Store|\._.*|Thumbs\.db|desktop\.ini|\.st(folder|ignore|versions)", re.I)


@dataclass
class _Seen:
    """What has been read so far."""

    findings: list[Finding] = field(default_factory=list)
    events: dict[str, Event] = field(default_factory=dict)
    altered: set[str] = field(default_factory=set)
    arrived: dict[str, float] = field(default_factory=dict)
    kept: set[str] = field(default_factory=set)
    rotten: set[str] = field(default_factory=set)
    on_the_way: set[str] = field(default_factory=set)
    verified: set[str] = field(default_factory=set)
    whole_files: set[str] = field(default_factory=set)
    files: int = 0
    bytes_read: int = 0

    def add(
        self, kind: str, message: str, file: str = "", event: str | None = None, damage: bool = True
    ) -> None:
        self.findings.append(Finding(kind, message, file, event, damage))


def check(path: Path, *, now: float | None = None) -> Report:
    """Read every byte of a log and report what is not as it was written. Changes nothing.

    now: seconds since 1970, for what may still be arriving; by default the computer's clock.
    Raises: NotALog.
    """
    path = book.open_log(Path(path)).path
    seen = _Seen(verified=writer.verified(VERIFIED))
    _marker(path, seen)
    for folder, one in ((book.EVENTS, _events_file), (book.FIXES, _kept), (book.RAW, _kept)):
        for file in _all_of(path / folder):
            one(file, f"{folder}/{file.name}", seen)
    entries = {i: e for i, e in seen.events.items() if isinstance(e, EntryWritten)}
    _Chains(path, seen, entries, time.time() if now is None else now).look()
    if seen.whole_files - seen.verified:
        writer.remember_verified(VERIFIED, seen.verified | seen.whole_files)
    return Report(
        path,
        tuple(seen.findings),
        chain.seal(entries.values()),
        seen.files,
        len(seen.events),
        len(entries),
        seen.bytes_read,
    )


def check_seal(path: Path, seal: str) -> chain.Sealed:
    """Whether a log still contains all that a printed seal speaks of. Every event is verified.

    Raises: NotALog.
    """
    path = book.open_log(Path(path)).path
    seen = _Seen()
    for file in _all_of(path / book.EVENTS):
        _events_file(file, f"{book.EVENTS}/{file.name}", seen)
    entries = [e for e in seen.events.values() if isinstance(e, EntryWritten)]
    return chain.check_seal(seal, entries, seen.events.keys())


def _marker(path: Path, seen: _Seen) -> None:
    name = book.MARKER
    data = _read(path / name, name, seen) if (path / name).exists() else None
    if book.format_of(path) > book.FORMAT:
        seen.add(
            NEWER,
            "this log is of a newer version of oplog; update to write to it",
            name,
            damage=False,
        )
    elif data is None:
        seen.add(MISSING, "the file that marks this folder as a log is not there", name)
    elif data != book.marker():
        seen.add(ALTERED, "the file that marks this folder as a log is not what was written", name)
    else:
        seen.files += 1
    for file in _listed(path):
        if file.is_file() and file.name not in (name, "lock"):
            _other(file.name, file.name, seen)


def _all_of(folder: Path) -> Iterator[Path]:
    """Files of a folder, those too that come while it is being read: what a tidy takes away is in
    a file that was there before."""
    done: set[Path] = set()
    while new := [p for p in _listed(folder) if p not in done]:
        done.update(new)
        yield from new


def _listed(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []


def _read(file: Path, name: str, seen: _Seen) -> bytes | None:
    try:
        data = file.read_bytes()
    except FileNotFoundError:  # taken away by a tidy, which wrote its content elsewhere first
        return None
    except OSError as error:
        seen.add(TORN, f"cannot be read from the disk: {error.strerror or error}", name)
        return None
    seen.bytes_read += len(data)
    return data


def _events_file(file: Path, name: str, seen: _Seen) -> None:
    if not file.name.endswith(".parquet") or not file.is_file():
        _other(file.name, name, seen)
        return
    data = _read(file, name, seen)
    if data is None:
        return
    seen.files += 1
    whole, altered = _taken_apart(file.name, name, data, seen)
    arrived = _arrived(file)
    for event in whole:
        seen.events.setdefault(event.event_id, event)
        seen.arrived[event.event_id] = arrived
        if isinstance(event, LaterEvent):
            message = f"event {event.event_id} ({event.type}) is of a newer version; not checked"
            seen.add(NEWER, message, name, event.event_id, damage=False)
    for event in altered:
        seen.altered.add(event.event_id)
        message = f"event {event.event_id} ({event.TYPE}) is not what was written"
        seen.add(ALTERED, message, name, event.event_id)


def _taken_apart(
    file_name: str, name: str, data: bytes, seen: _Seen
) -> tuple[list[Event], list[Event]]:
    """Whole and altered events of a file; findings on the file as such are added."""
    named = as_named(file_name, data)
    try:
        if named and disk.digest(data) in seen.verified:
            return decode(data, NOT_NEEDED), []
        events = decode(data) if named else salvage(data)
        later = [e for e in events if named and isinstance(e, LaterEvent)]
        altered = [e for e in events if not is_whole(e) and e not in later]
    except UNREADABLE:
        _unreadable(name, data, seen)
        return [], []
    if named and not altered:
        if not later:  # of those, a later version can tell more
            seen.whole_files.add(disk.digest(data))
    elif not altered and _OURS.fullmatch(file_name):
        message = "its bytes are not what was written, though every event that it holds still is"
        seen.add(ALTERED, message, name)
    elif not altered:
        seen.add(
            RENAMED,
            "bears another name than it was given; all that it holds is whole",
            name,
            damage=False,
        )
    gone = {e.event_id for e in altered}
    return [e for e in events if e.event_id not in gone], altered


def _unreadable(name: str, data: bytes, seen: _Seen) -> None:
    whole_parquet = len(data) > 12 and data[:4] == b"PAR1" == data[-4:]
    if whole_parquet and not _OURS.fullmatch(name.rpartition("/")[2]):
        seen.add(FOREIGN, "is a Parquet file, but not one of events", name)
    else:
        seen.add(TORN, f"cannot be read as a file of events ({len(data)} bytes)", name)


def _kept(file: Path, name: str, seen: _Seen) -> None:
    if not kept.is_kept(file.name) or not file.is_file():
        _other(file.name, name, seen)
        return
    data = _read(file, name, seen)
    if data is None:
        return
    seen.files += 1
    content = file.name.split("-")[0]
    own = disk.digest(data)
    if kept.as_named(file.name, data) and (
        f"{content}-{own}" in seen.verified or kept.holds(content, data)
    ):
        seen.whole_files.add(f"{content}-{own}")
        seen.kept.add(content)
    else:
        seen.rotten.add(content)
        seen.add(ROTTEN, f"{_what(file)} {content[:12]} are not what was written", name)


def _what(file: Path) -> str:
    return "the fixes" if file.suffix == ".parquet" else "the bytes of the imported file"


def _other(file_name: str, name: str, seen: _Seen) -> None:
    if _JUNK.fullmatch(file_name):
        return
    if file_name.endswith(disk.ASIDE):
        seen.add(
            UNFINISHED,
            "left by a write that was broken off; not part of the log",
            name,
            damage=False,
        )
    elif _ON_THE_WAY.fullmatch(file_name):
        seen.on_the_way.add(name)
        seen.add(WAITING, "is still on its way through the synced folder", name, damage=False)
    else:
        damage = file_name.endswith(".parquet") and name.startswith(book.EVENTS)
        seen.add(FOREIGN, "is not a file of this log", name, damage=damage)


def _arrived(file: Path) -> float:
    try:
        stat = file.stat()
    except OSError:
        return 0.0
    return max(stat.st_mtime, stat.st_ctime)


@dataclass
class _Chains:
    """What entries name, held against what is there."""

    path: Path
    seen: _Seen
    entries: dict[str, EntryWritten]
    now: float

    def look(self) -> None:
        known = writer.recall(self.path)
        self.own = known.id if known else None
        for entries in chain.chains(self.entries.values()).values():
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
                if event not in self.seen.events and event not in self.seen.altered:
                    message = f"event {event} of {_entry(entry)} is not there"
                    self._absent(entry, event, message)

    def _absent(self, entry: EntryWritten, event: str | None, message: str, file: str = "") -> None:
        recent = self.now - self.seen.arrived.get(entry.event_id, 0.0) < ARRIVING_S
        if entry.writer != self.own and (recent or self.seen.on_the_way):
            message += " yet; if nothing is being copied or synced now, it is missing"
            self.seen.add(WAITING, message, file, event, damage=False)
        else:
            self.seen.add(MISSING, message, file, event)

    def _orphans(self) -> None:
        named = {i for e in self.entries.values() for i in e.events}
        for event_id, event in self.seen.events.items():
            if event_id not in named and not isinstance(event, EntryWritten):
                message = f"event {event_id} ({event.TYPE}) is in no entry"
                self.seen.add(ORPHAN, message, "", event_id)

    def _kept_files(self) -> None:
        entry_of = {i: e for e in self.entries.values() for i in e.events}
        needed: set[str] = set()
        for event_id, event in self.seen.events.items():
            if not isinstance(event, TrackImported):
                continue
            for folder, digest in ((book.FIXES, event.fixes), (book.RAW, event.file_digest)):
                needed.add(digest)
                if digest not in self.seen.kept and digest not in self.seen.rotten:
                    message = f"{folder} {digest[:12]} of import {event_id} are not there"
                    self._absent_kept(entry_of.get(event_id), event_id, message, folder)
        for digest in sorted(self.seen.kept - needed):
            message = f"no import names {digest[:12]} (left by one that was broken off)"
            self.seen.add(ORPHAN, message, _folder_of(digest), damage=False)

    def _absent_kept(
        self, entry: EntryWritten | None, event: str, message: str, folder: str
    ) -> None:
        if entry is None:
            self.seen.add(MISSING, message, folder, event)
        else:
            self._absent(entry, event, message, folder)


def _folder_of(digest: str) -> str:
    return book.FIXES if len(digest) == 32 else book.RAW


def _entry(entry: EntryWritten) -> str:
    return (
        f"entry {entry.number} of {entry.writer_name} ({entry.writer[:6]}, "
        f"{entry.written_at:%Y-%m-%d})"
    )
