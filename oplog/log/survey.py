"""Every file of a log read and taken apart, one by one: what is whole, and what is wrong."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import field
from pathlib import Path

from oplog.events import Event
from oplog.log import disk, kept, writer
from oplog.log.folder import EVENTS, FIXES, FORMAT, MARKER, RAW, SUFFIX, marker
from oplog.log.proving import all_whole
from oplog.log.reading import (
    UNREADABLE,
    Index,
    LaterEvent,
    events_of,
    index,
    index_in,
    index_of,
    is_whole,
    salvage,
    table_of,
    together,
)
from oplog.log.refusing import format_of
from oplog.log.report import (
    ALTERED,
    BESIDE,
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
from oplog.records import dataclass

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
    stand_ins: digests of what stands in the place of others, by the others'. signed: see `signed`.
    on_the_way: a file is being copied or synced.
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
    signed: dict[str, set[str]] = field(default_factory=dict)
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
    for file in _all_of(path / EVENTS):
        _events_file(file, f"{EVENTS}/{file.name}", seen)
    seen.signed = signed(seen.index)
    for folder in (FIXES, RAW):
        for file in _all_of(path / folder):
            _kept(file, f"{folder}/{file.name}", seen)
    if seen.newly_verified:
        writer.remember_verified(VERIFIED, seen.verified | seen.newly_verified)
    return seen


def signed(held: Index) -> dict[str, set[str]]:
    """What entries say of the files that came with their imports: stems of file names, by the
    digest of the track or file that they are kept for.

    A name holds the digest of the file's bytes and an entry's id that of the names: bytes that
    give that digest are those that were written, and need not be taken apart. A name counts where
    every entry says the same that has an import of that track or file; the rest is looked into.
    """
    imports = {e.event_id: e for e in held.imports}
    found: dict[str, set[str]] = {}
    for entry in held.entries:
        stems = set(entry.stored)
        for event in (imports[i] for i in entry.events if i in imports):
            for digest in (event.fixes, event.file_digest):
                said = {s for s in stems if s.startswith(f"{digest}-")}
                found[digest] = found.get(digest, said) & said
    return found


def survey_events(path: Path) -> Survey:
    """Read and verify every event of a log, whatever was verified before."""
    seen = Survey()
    for file in _all_of(path / EVENTS):
        _events_file(file, f"{EVENTS}/{file.name}", seen)
    return seen


def _marker(path: Path, seen: Survey) -> None:
    name = MARKER
    data = _read(path / name, name, seen) if (path / name).exists() else None
    if data is not None:
        seen.files += 1
    if format_of(path) > FORMAT:
        message = "this log is of a newer version of oplog; update to write to it"
        seen.add(NEWER, message, name, damage=False)
    elif data is None:
        seen.add(MISSING, "the file that marks this folder as a log is not there", name)
    elif data != marker():
        seen.add(ALTERED, "the file that marks this folder as a log is not what was written", name)
    for file in (path / name for name in _listed(path)):
        if file.is_file() and file.name not in (name, disk.LOCK):
            _other(file.name, file.name, seen)


def _all_of(folder: Path) -> Iterator[Path]:
    """Files of a folder, those too that come while it is being read: what a tidy takes away is in
    a file that was there before."""
    done: set[str] = set()
    while new := [name for name in _listed(folder) if name not in done]:
        done.update(new)
        yield from (folder / name for name in new)


def names(path: Path) -> list[list[str]]:
    """Names of all files of a log, as they are now."""
    return [_listed(path), *(_listed(path / folder) for folder in (EVENTS, FIXES, RAW))]


def _listed(folder: Path) -> list[str]:
    try:
        return sorted(os.listdir(folder))
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
    if not os.path.lexists(file):  # taken away by a tidy
        return
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
        table = table_of(data) if named else None
        if named and all_whole(table):
            seen.newly_verified.add(own)
            return index_in(table)
        events = events_of(table) if named else salvage(data)
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
    if not kept.is_kept(file.name) or not os.path.isfile(file):
        if os.path.lexists(file):
            _other(file.name, name, seen)
        return
    data = _read(file, name, seen)
    if data is None:
        return
    seen.files += 1
    stands_for, content, own = kept.parts(file.name)
    verified = f"{content}-{own}"
    proven = verified in seen.verified or kept.stem(file.name) in seen.signed.get(stands_for, ())
    if own == disk.digest(data) and (proven or kept.holds(content, data)):
        seen.newly_verified |= set() if proven else {verified}
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
    elif file_name == name:
        seen.add(BESIDE, "lies beside the log and is no part of it", name, damage=False)
    else:
        damage = file_name.endswith(".parquet") and name.startswith(EVENTS)
        seen.add(FOREIGN, "is not a file of this log", name, damage=damage)


def _arrived(file: Path) -> float:
    try:
        stat = file.stat()
    except OSError:
        return 0.0
    return max(stat.st_mtime, stat.st_ctime)
