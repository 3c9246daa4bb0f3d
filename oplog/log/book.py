"""The log: opening it, reading its events and appending to them."""

from __future__ import annotations

import json
import os
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from oplog.errors import CannotWrite, LogDamaged, NotALog, Problem
from oplog.events import EntryWritten, Event, FarmOpened
from oplog.log import chain, disk, kept, schema, writer
from oplog.log.reading import NO_COLUMNS, LaterEvent, decode
from oplog.track import Track

MARKER = "oplog.json"
FORMAT = 1
"""Version of the layout of the folder; a program never writes to a log with a higher one."""

EVENTS, FIXES, RAW = "events", "fixes", "raw"

HOW_TO_OPEN = "Start one with: oplog new FOLDER. Or name an existing one: oplog --log FOLDER ..."


@dataclass(frozen=True)
class Entry:
    """An entry that was written. `written` names its events; empty (and number 0) when all of
    them were in the log before and nothing was written."""

    id: str
    number: int
    written: tuple[str, ...]


@dataclass
class Log:
    """A log in a folder. Get one from `open_log` or `create`.

    problems: what the last reading found wrong with files of the log.
    """

    path: Path
    problems: list[Problem] = field(default_factory=list)
    _cache: dict[tuple[str, frozenset[str]], list[Event]] = field(default_factory=dict, repr=False)

    def events(self, *, without: Collection[str] = NO_COLUMNS) -> list[Event]:
        """Every event once, ordered by event id. What a damaged file still holds is read.

        without: columns not needed; the events hold their default for them.
        """
        self.problems.clear()
        found: dict[str, Event] = {}
        for name in self._names():
            for event in self._file(name, frozenset(without)):
                found.setdefault(event.event_id, event)
        return [found[i] for i in sorted(found)]

    def append(
        self,
        events: Iterable[Event],
        *,
        fixes: Mapping[str, Track] = {},
        raw: Mapping[str, bytes] = {},
        command: str = "",
        files: Sequence[str] = (),
    ) -> Entry:
        """Write the events that the log does not hold yet, as one entry: all of them or none.

        fixes: tracks by their digest; raw: bytes of imported files by their SHA-256.
        Raises: LogBusy, CannotWrite; the log is then as it was.
        """
        with disk.held(self.path):
            held = {e.event_id: e for e in self.events(without=schema.GEOMETRIES)}
            self._refuse_if_newer(held.values())
            self._keep(fixes, raw)
            new = list({e.event_id: e for e in events if e.event_id not in held}.values())
            if not new:
                return Entry("", 0, ())
            entries = [e for e in held.values() if isinstance(e, EntryWritten)]
            who = _continued(self.path, entries)
            entry = EntryWritten(
                writer=who.id,
                writer_name=writer.name(),
                number=who.number + 1,
                previous=who.entry,
                events=tuple(sorted(e.event_id for e in new)),
                written_at=datetime.now(UTC),
                command=command,
                files=tuple(files),
            )
            data = schema.encode([entry, *new])
            disk.write_whole(self.path / EVENTS, f"{disk.digest(data)}.parquet", data)
            writer.remember(self.path, writer.Writer(who.id, entry.number, entry.event_id))
            return Entry(entry.event_id, entry.number, tuple(e.event_id for e in new))

    def fixes(self, digest: str) -> Track:
        """The track of a digest. Raises: LogDamaged where it is gone or rotten."""
        for path in self._kept(FIXES, digest):
            data = path.read_bytes()
            if kept.as_named(path.name, data):
                return kept.decode_fixes(data)
        raise LogDamaged(_gone("The fixes", digest, self.path))

    def raw(self, file_digest: str) -> bytes:
        """The bytes of an imported file. Raises: LogDamaged where they are gone or rotten."""
        for path in self._kept(RAW, file_digest):
            data = path.read_bytes()
            if kept.as_named(path.name, data):
                return kept.decode_raw(data)
        raise LogDamaged(_gone("The imported file", file_digest, self.path))

    def _names(self) -> list[str]:
        folder = self.path / EVENTS
        return sorted(p.name for p in folder.glob("*.parquet")) if folder.is_dir() else []

    def _file(self, name: str, without: frozenset[str]) -> list[Event]:
        if (name, without) not in self._cache:
            data = (self.path / EVENTS / name).read_bytes()
            self._cache[name, without] = decode(data, without)
        return self._cache[name, without]

    def _kept(self, folder: str, digest: str) -> list[Path]:
        if not digest.isalnum():
            return []
        return sorted((self.path / folder).glob(f"{digest}-*"))

    def _keep(self, fixes: Mapping[str, Track], raw: Mapping[str, bytes]) -> None:
        for digest, track in fixes.items():
            if track.digest() != digest:
                raise ValueError(f"these fixes are not {digest}")
            if not self._kept(FIXES, digest):
                data = kept.encode_fixes(track)
                disk.write_whole(self.path / FIXES, kept.fixes_name(digest, data), data)
        for digest, content in raw.items():
            if kept.sha256(content) != digest:
                raise ValueError(f"this file is not {digest}")
            if not self._kept(RAW, digest):
                data = kept.encode_raw(content)
                disk.write_whole(self.path / RAW, kept.raw_name(digest, data), data)

    def _refuse_if_newer(self, events: Iterable[Event]) -> None:
        if _format(self.path) > FORMAT or any(isinstance(e, LaterEvent) for e in events):
            raise CannotWrite(
                f"The log in {self.path} was written by a newer version of oplog. This version "
                "reads what it can and does not write to it: nothing was changed. Update oplog."
            )


def create(path: Path, farm_name: str, zone: str, day_turns_at: str = "04:00") -> Log:
    """Start a log in a folder that is new, or holds no log.

    The same farm (name, zone, turn of the day) is the same event wherever it is opened, so that
    logs begun apart on two computers can be brought together.
    Raises: CannotWrite where the folder holds a log already or cannot be written to.
    """
    path = Path(path)
    if is_log(path):
        raise CannotWrite(f"There is a log in {path} already. Nothing was changed.")
    try:
        path.mkdir(parents=True, exist_ok=True)
        for folder in (EVENTS, FIXES, RAW):
            (path / folder).mkdir(exist_ok=True)
    except OSError as error:
        raise disk.cannot_write(path, error) from error
    log = Log(path)
    log.append(
        [FarmOpened(farm_name=farm_name, zone=zone, day_turns_at=day_turns_at)], command="new"
    )
    about = {"oplog": "field-work log", "format": FORMAT}
    disk.write_whole(path, MARKER, json.dumps(about, indent=1).encode() + b"\n")
    return log


def find(start: Path) -> Path:
    """The log in a folder or the nearest one above it. Raises: NotALog."""
    start = Path(start).absolute()
    for folder in (start, *start.parents):
        if is_log(folder):
            return folder
    raise NotALog(f"There is no log in {start} or the folders above it. {HOW_TO_OPEN}")


def open_log(path: Path) -> Log:
    """The log in a folder. Raises: NotALog."""
    path = Path(path)
    if not is_log(path):
        what = (
            "is not a log"
            if path.is_dir()
            else "is not a folder"
            if path.exists()
            else "does not exist"
        )
        raise NotALog(f"{path} {what}. {HOW_TO_OPEN}")
    return Log(path)


def is_log(path: Path) -> bool:
    """Whether a folder holds a log: its marker, or, where that was lost, files of events."""
    if not (path / EVENTS).is_dir():
        return False
    return (path / MARKER).is_file() or any((path / EVENTS).glob("*.parquet"))


def _format(path: Path) -> int:
    try:
        return int(json.loads((path / MARKER).read_text(encoding="utf-8"))["format"])
    except (OSError, ValueError, KeyError, TypeError):
        return FORMAT


def _continued(path: Path, entries: list[EntryWritten]) -> writer.Writer:
    """The writer here at the end of its chain, or a fresh one where the chain in this folder is
    not the one that this user wrote here (the folder was copied or put back)."""
    known = writer.recall(path)
    if known is None:
        return writer.fresh()
    own = [e for e in entries if e.writer == known.id]
    last = chain.newest(own)
    if last is None:
        return known if not own and not known.number else writer.fresh()
    holds_known = known.entry is None or any(e.event_id == known.entry for e in own)
    return writer.Writer(known.id, last.number, last.event_id) if holds_known else writer.fresh()


def _gone(what: str, digest: str, path: Path) -> str:
    return (
        f"{what} {digest[:12]} cannot be read back from the log in {os.fspath(path)}. "
        "Run: oplog check"
    )
