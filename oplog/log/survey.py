"""Every file of a log read and taken apart, one by one: what is whole, and what is wrong."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from oplog.events import Event
from oplog.log import book, disk, kept, writer
from oplog.log.files import SUFFIX
from oplog.log.reading import (
    UNREADABLE,
    Index,
    LaterEvent,
    decode,
    index,
    index_of,
    is_whole,
    salvage,
    together,
)
from oplog.log.report import (
    ALTERED,
    FOREIGN,
    MISSING,
    NEWER,
    RENAMED,
    ROTTEN,
    TORN,
    UNFINISHED,
    WAITING,
    Finding,
)

VERIFIED = "1"
"""Version of what is verified of one file."""

_OURS = re.compile(r"[0-9a-f]{32}\.parquet")
_ON_THE_WAY = re.compile(
    r"[.~].*\.tmp|.*\.(tmp|part|partial|crdownload|download|filepart|!sync)|\.~.*|~\$.*", re.I
)
_JUNK = re.compile(r"\.DS_Store|\._.*|Thumbs\.db|desktop\.ini|\.st(folder|ignore|versions)", re.I)


@dataclass
class Survey:
    """What was read.

    altered: ids of events that are not what their id says. arrived: when the file of an entry
    came, by the entry's id [s since 1970]. kept, rotten: digests of the fixes and raw files that
    are whole, and of those that are not. whole: those of `kept` that are there as they were.
    stand_ins: digests of what stands in the place of others, by the others'. on_the_way: a file is
    being copied or synced.
    """

    findings: list[Finding] = field(default_factory=list)
    indexes: list[Index] = field(default_factory=list)
    altered: set[str] = field(default_factory=set)
    arrived: dict[str, float] = field(default_factory=dict)
    kept: set[str] = field(default_factory=set)
    rotten: set[str] = field(default_factory=set)
    whole: set[str] = field(default_factory=set)
    stand_ins: dict[str, set[str]] = field(default_factory=dict)
    on_the_way: bool = False
    files: int = 0
    bytes_read: int = 0
    verified: set[str] = field(default_factory=set)
    newly_verified: set[str] = field(default_factory=set)

    def add(
        self, kind: str, message: str, file: str = "", event: str | None = None, damage: bool = True
    ) -> None:
        """Add a finding."""
        self.findings.append(Finding(kind, message, file, event, damage))

    @property
    def index(self) -> Index:
        """All events that are whole."""
        return together(self.indexes)


def survey(path: Path) -> Survey:
    """Read every byte of a log. What a check found whole before is only hashed, and indexed."""
    seen = Survey(verified=writer.verified(VERIFIED))
    _marker(path, seen)
    for folder, one in ((book.EVENTS, _events_file), (book.FIXES, _kept), (book.RAW, _kept)):
        for file in _all_of(path / folder):
            one(file, f"{folder}/{file.name}", seen)
    if seen.newly_verified:
        writer.remember_verified(VERIFIED, seen.verified | seen.newly_verified)
    return seen


def survey_events(path: Path) -> Survey:
    """Read and verify every event of a log, whatever was verified before."""
    seen = Survey()
    for file in _all_of(path / book.EVENTS):
        _events_file(file, f"{book.EVENTS}/{file.name}", seen)
    return seen


def _marker(path: Path, seen: Survey) -> None:
    name = book.MARKER
    data = _read(path / name, name, seen) if (path / name).exists() else None
    if data is not None:
        seen.files += 1
    if book.format_of(path) > book.FORMAT:
        message = "this log is of a newer version of oplog; update to write to it"
        seen.add(NEWER, message, name, damage=False)
    elif data is None:
        seen.add(MISSING, "the file that marks this folder as a log is not there", name)
    elif data != book.marker():
        seen.add(ALTERED, "the file that marks this folder as a log is not what was written", name)
    for file in _listed(path):
        if file.is_file() and file.name not in (name, disk.LOCK):
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


def _read(file: Path, name: str, seen: Survey) -> bytes | None:
    try:
        data = file.read_bytes()
    except FileNotFoundError:  # taken away by a tidy
        return None
    except OSError as error:
        seen.add(TORN, f"cannot be read from the disk: {error.strerror or error}", name)
        return None
    seen.bytes_read += len(data)
    return data


def _events_file(file: Path, name: str, seen: Survey) -> None:
    if not file.name.endswith(".parquet") or not file.is_file():
        _other(file.name, name, seen)
        return
    data = _read(file, name, seen)
    if data is None:
        return
    seen.files += 1
    held = _taken_apart(file.name, name, data, seen)
    seen.indexes.append(held)
    arrived = _arrived(file)
    seen.arrived |= {e.event_id: arrived for e in held.entries}


def _taken_apart(file_name: str, name: str, data: bytes, seen: Survey) -> Index:
    """The whole events of a file; what is wrong with it is added to the findings."""
    own = disk.digest(data)
    named = file_name == own + SUFFIX
    try:
        if named and own in seen.verified:
            return index(data)
        events = decode(data) if named else salvage(data)
    except UNREADABLE:
        _unreadable(name, data, seen)
        return Index({})
    whole = [e for e in events if is_whole(e) or (named and isinstance(e, LaterEvent))]
    _altered(name, events, whole, seen)
    later = [e for e in whole if isinstance(e, LaterEvent)]
    for event in later:
        message = f"event {event.event_id} ({event.type}) is of a newer version; not checked"
        seen.add(NEWER, message, name, event.event_id, damage=False)
    if len(whole) == len(events):
        if named and not later:
            seen.newly_verified.add(own)
        elif not named:
            _not_as_named(file_name, name, seen)
    return index_of(whole)


def _altered(name: str, events: list[Event], whole: list[Event], seen: Survey) -> None:
    ids = {id(e) for e in whole}
    for event in events:
        if id(event) not in ids:
            seen.altered.add(event.event_id)
            kind = event.type if isinstance(event, LaterEvent) else event.TYPE
            message = f"event {event.event_id} ({kind}) is not what was written"
            seen.add(ALTERED, message, name, event.event_id)


def _not_as_named(file_name: str, name: str, seen: Survey) -> None:
    if _OURS.fullmatch(file_name):
        message = "its bytes are not what was written, though every event that it holds still is"
        seen.add(ALTERED, message, name)
    else:
        message = "bears another name than it was given; all that it holds is whole"
        seen.add(RENAMED, message, name, damage=False)


def _unreadable(name: str, data: bytes, seen: Survey) -> None:
    whole_parquet = len(data) > 12 and data[:4] == b"PAR1" == data[-4:]
    if whole_parquet and not _OURS.fullmatch(name.rpartition("/")[2]):
        seen.add(FOREIGN, "is a Parquet file, but not one of events", name)
    else:
        seen.add(TORN, f"cannot be read as a file of events ({len(data)} bytes)", name)


def _kept(file: Path, name: str, seen: Survey) -> None:
    if not kept.is_kept(file.name) or not file.is_file():
        _other(file.name, name, seen)
        return
    data = _read(file, name, seen)
    if data is None:
        return
    seen.files += 1
    stands_for, content, own = kept.parts(file.name)
    verified = f"{content}-{own}"
    if own == disk.digest(data) and (verified in seen.verified or kept.holds(content, data)):
        seen.newly_verified |= {verified} - seen.verified
        seen.kept.add(stands_for)
        if stands_for != content:
            seen.stand_ins.setdefault(stands_for, set()).add(content)
        else:
            seen.whole.add(content)
    else:
        what = "these fixes" if file.suffix == ".parquet" else "this imported file"
        seen.rotten.add(stands_for)
        seen.add(ROTTEN, f"the bytes of {what} are not what was written", name)


def _other(file_name: str, name: str, seen: Survey) -> None:
    if _JUNK.fullmatch(file_name):
        return
    if file_name.endswith(disk.ASIDE):
        message = "left by a write that was broken off; not part of the log"
        seen.add(UNFINISHED, message, name, damage=False)
    elif _ON_THE_WAY.fullmatch(file_name):
        seen.on_the_way = True
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
