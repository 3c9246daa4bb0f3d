"""The log: opening it, reading its events, appending to them, bringing two logs together."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from oplog.errors import CannotWrite, LogDamaged, NotALog, OplogError, Problem
from oplog.events import EntryWritten, Event, FarmOpened, StretchForgotten, TrackImported
from oplog.log import chain, disk, forgetting, kept, schema, tidy, writer
from oplog.log.files import EventFiles
from oplog.log.reading import NO_COLUMNS, UNREADABLE, Index, LaterEvent, together
from oplog.track import Track

MARKER = "oplog.json"
FORMAT = 1
"""Version of the layout of the folder; a program never writes to a log with a higher one."""

EVENTS, FIXES, RAW = "events", "fixes", "raw"

HOW_TO_OPEN = "Start one with: oplog new FOLDER. Or name an existing one: oplog --log FOLDER ..."

EVENTS_IN_A_FILE = 5_000

MANY_FILES = 100
"""Writing never leaves as many small files as this; copying can."""


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

    def __post_init__(self) -> None:
        self._files = EventFiles(self.path / EVENTS)

    @property
    def events_glob(self) -> str:
        """What to give to `read_parquet(..., union_by_name = true)` in DuckDB."""
        return (self.path / EVENTS / "*.parquet").as_posix()

    def events(self, *, without: Collection[str] = NO_COLUMNS) -> list[Event]:
        """Every event once, ordered by event id. What a damaged file still holds is read, and
        the rest reported in `problems`.

        without: columns not needed (spans and geometries are most of what there is to read); the
        events hold their default for them.
        """
        events, self.problems = self._files.events(without)
        if later := sum(isinstance(e, LaterEvent) for e in events):
            message = "events of a newer version of oplog, which this version cannot read"
            self.problems.append(Problem(str(self.path), None, message, later, "left out"))
        return events

    def some(self, ids: Collection[str], *, without: Collection[str] = NO_COLUMNS) -> list[Event]:
        """The events of some ids, ordered by id, without reading the rest of a long log."""
        return self._files.some(ids, without)

    def table(self, event_type: str, *, without: Collection[str] = NO_COLUMNS) -> Any:
        """The events of one type as an Arrow table of their declared columns, each event once."""
        events = [e for e in self.events(without=without) if event_type == e.TYPE]
        rows = schema.table(events) if events else schema.schema_of([event_type]).empty_table()
        return rows.drop_columns([n for n in without if n in rows.column_names])

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

        fixes: tracks by their digest; raw: bytes of imported files by their SHA-256. Those that
        are in the log already are not written again.
        Raises: LogBusy, CannotWrite; the log then holds what it held.
        """
        with disk.held(self.path):
            index = self._files.index()
            _refuse_later(self.path, index)
            if self._finish_forgetting(index, self._told(index), everywhere=False):
                index = self._files.index()
            events = list(events)
            self._keep(fixes, raw, events)
            entry = self._write(index, events, command, files)
            tidy.when_many(self._files)
            return entry

    def forget(
        self,
        stretches: Sequence[StretchForgotten],
        *,
        files: Collection[str] = (),
        command: str = "",
    ) -> Entry:
        """Take fixes out of the log for good, with the files that they came in.

        files: digests of files that go as well. The events are written first; a removal that is
        broken off is finished by the next writing. Raises: LogBusy, CannotWrite.
        """
        with disk.held(self.path):
            index = self._files.index()
            _refuse_later(self.path, index)
            known = self._told(index)
            made = self._plan(index.imports, known, stretches, (self,), files=files)
            entry = self._write(index, [*stretches, *made.cuts], command, ())
            known = forgetting.told((*known.stretches, *known.cuts, *stretches, *made.cuts))
            forgetting.carry_out(self.path, known, made.left)
            return entry

    def finish_forgetting(self) -> bool:
        """Take out whatever was forgotten and is still here, as after files were copied in.

        Returns: whether there was anything. Raises: LogBusy, CannotWrite.
        """
        with disk.held(self.path):
            index = self._files.index()
            _refuse_later(self.path, index)
            return self._finish_forgetting(index, self._told(index), everywhere=True)

    def forgotten(self) -> forgetting.Told:
        """What was forgotten, as the log's events say."""
        return self._told(self._files.index())

    def still_holds(self, known: forgetting.Told) -> bool:
        """Whether this log's folder holds bytes of what was forgotten, here or in another copy."""
        return forgetting.unfinished(self.path, known)

    def merge(self, other: Log) -> int:
        """Bring in what another log of the same farm holds and this one does not.

        Returns: number of events that were new here. Raises: OplogError for another farm's log,
        LogBusy, CannotWrite; merging again then goes on where it broke off.
        """
        theirs, known = other.events(), other._files.index()
        _refuse_later(other.path, known)
        with disk.held(self.path):
            index = self._files.index()
            _refuse_later(self.path, index)
            _refuse_other_farm(self.path, other.path, index, known)
            new = [e for e in theirs if e.event_id not in index.types]
            new.sort(key=lambda e: isinstance(e, EntryWritten))  # what an entry names, before it
            forgotten, not_here = self._known_to_both(index, known, other)
            for folder in (FIXES, RAW):
                self._copy_kept(other, folder, not_here)
            for first in range(0, len(new), EVENTS_IN_A_FILE):
                self._put(new[first : first + EVENTS_IN_A_FILE])
            if forgotten:
                index = self._files.index()
                self._finish_forgetting(index, self._told(index), everywhere=True, other=other)
            tidy.when_many(self._files)
        return sum(not isinstance(e, EntryWritten) for e in new)

    def tidy(self) -> int:
        """Merge the events files that are not large into few. Returns: files taken away.
        Raises: LogBusy, CannotWrite; the log then holds what it held."""
        with disk.held(self.path):
            _refuse_later(self.path, self._files.index())
            return tidy.everything(self._files)

    def tidy_many(self) -> None:
        """Tidy a log whose files have become very many by copying, for whoever reads it next.
        Not where that cannot be: another program is writing, the disk is read-only, or the log is
        a newer version's."""
        if len(self._files.names()) <= MANY_FILES:
            return
        with suppress(OplogError), disk.held(self.path, wait_s=0.0):
            _refuse_later(self.path, self._files.index())
            tidy.when_many(self._files)

    def seal(self) -> str:
        """The newest entry of each writer in a form that can be typed (see chain.seal)."""
        return chain.seal(self._files.index().entries)

    def fixes(self, digest: str) -> Track:
        """The track of a digest. Raises: LogDamaged where it is gone or rotten."""
        for data in self._whole(FIXES, digest):
            return kept.decode_fixes(data)
        raise LogDamaged(_gone("The fixes", digest, self.path))

    def raw(self, file_digest: str) -> bytes:
        """The bytes of an imported file, or those kept in their place (see TrackImported.kept).

        Raises: LogDamaged where they are gone, forgotten or rotten.
        """
        for data in self._whole(RAW, file_digest):
            return kept.decode_raw(data)
        raise LogDamaged(_gone("The imported file", file_digest, self.path))

    def has_fixes(self, digest: str) -> bool:
        """Whether the track of a digest is there and whole."""
        return any(True for _ in self._whole(FIXES, digest))

    def has_raw(self, file_digest: str) -> bool:
        """Whether the bytes of an imported file are there and whole."""
        return any(True for _ in self._whole(RAW, file_digest))

    def _write(
        self, index: Index, events: Iterable[Event], command: str, files: Sequence[str]
    ) -> Entry:
        """Write those of some events that are new, as one entry."""
        new = [e for i, e in {e.event_id: e for e in events}.items() if i not in index.types]
        if not new:
            return Entry("", 0, ())
        who = _continued(self.path, index.entries)
        entry = _entry(who, new, command, files)
        self._put([entry, *new])
        writer.remember(self.path, writer.Writer(who.id, entry.number, entry.event_id))
        return Entry(entry.event_id, entry.number, tuple(e.event_id for e in new))

    def _told(self, index: Index) -> forgetting.Told:
        ids = forgetting.ids(index)
        return forgetting.told(self.some(ids)) if ids else forgetting.Told()

    def _plan(
        self,
        imports: Iterable[TrackImported],
        known: forgetting.Told,
        stretches: Sequence[StretchForgotten],
        sources: Sequence[Log],
        *,
        files: Collection[str] = (),
        look_into_files: bool = False,
    ) -> forgetting.Plan:
        """What is to be taken out; tracks and files come from the first log that has them."""

        def track_of(digest: str) -> Track | None:
            return next((s.fixes(digest) for s in sources if s.has_fixes(digest)), None)

        def file_of(digest: str) -> bytes | None:
            return next((s.raw(digest) for s in sources if s.has_raw(digest)), None)

        opened = self.some(self._files.index().of_type(FarmOpened))
        zone = next((e.zone for e in opened if isinstance(e, FarmOpened)), None)
        whole = forgetting.Told((*known.stretches, *stretches), known.cuts)
        return forgetting.plan(
            imports, whole, track_of, file_of if look_into_files else None, zone, files
        )

    def _finish_forgetting(
        self, index: Index, known: forgetting.Told, *, everywhere: bool, other: Log | None = None
    ) -> bool:
        """Take out what was forgotten and is still here. The log is held.

        everywhere: look into every import of the machines concerned, not only at what is known
        to have been part of a stretch.
        """
        if not known:
            return False
        undone = forgetting.unfinished(self.path, known)
        imports = index.imports
        if not everywhere and not undone:
            imports = tuple(i for i in imports if forgetting.may_hold(i, known))
        sources = (self, other) if other else (self,)
        made = self._plan(imports, known, (), sources, look_into_files=everywhere)
        if not undone and not made.cuts and not made.left:
            return False
        self._write(index, made.cuts, "forget", ())
        known = forgetting.told((*known.stretches, *known.cuts, *made.cuts))
        forgetting.carry_out(self.path, known, made.left)
        return True

    def _known_to_both(
        self, index: Index, theirs: Index, other: Log
    ) -> tuple[forgetting.Told, set[str]]:
        """What was forgotten in either of two logs, and the digests of the tracks and files that
        are not to be copied from the other."""
        ids = forgetting.ids(index), forgetting.ids(theirs)
        if not ids[0] and not ids[1]:
            return forgetting.Told(), set()
        known = forgetting.told([*self.some(ids[0]), *other.some(ids[1])])
        imports = together([index, theirs]).imports
        made = self._plan(imports, known, (), (self, other), look_into_files=True)
        cuts = (*known.cuts, *made.cuts)
        gone = {c.fixes for c in cuts if c.rest} | {c.file_digest for c in cuts}
        return known, gone

    def _whole(self, folder: str, digest: str) -> Iterable[bytes]:
        if not digest.isalnum():
            return
        found = (self.path / folder).glob(f"{digest}-*")
        # What is left after a forgetting comes before what it stands in the place of.
        for path in sorted(found, key=lambda p: (-p.name.count("-"), p.name)):
            if not kept.is_kept(path.name):  # still being written
                continue
            try:
                data = path.read_bytes()
            except OSError:
                continue
            if kept.as_named(path.name, data):
                yield data

    def _put(self, events: Sequence[Event]) -> None:
        data = schema.encode(events)
        disk.write_whole(self.path / EVENTS, f"{disk.digest(data)}.parquet", data)

    def _keep(
        self, fixes: Mapping[str, Track], raw: Mapping[str, bytes], events: Iterable[Event]
    ) -> None:
        stands_in = {
            e.file_digest: e.kept for e in events if isinstance(e, TrackImported) and e.kept
        }
        for digest, track in fixes.items():
            if track.digest() != digest:
                raise ValueError(f"these fixes are not {digest}")
            if not self.has_fixes(digest):
                data = kept.encode_fixes(track)
                disk.write_whole(self.path / FIXES, kept.fixes_name(digest, data), data)
        for digest, content in raw.items():
            if kept.sha256(content) != stands_in.get(digest, digest):
                raise ValueError(f"this file is not {digest}")
            if not self.has_raw(digest):
                data = kept.encode_raw(content)
                name = kept.raw_name(digest, data, stands_in.get(digest))
                disk.write_whole(self.path / RAW, name, data)

    def _copy_kept(self, other: Log, folder: str, not_here: Collection[str]) -> None:
        if not (other.path / folder).is_dir():
            return
        for path in sorted((other.path / folder).iterdir()):
            if not kept.is_kept(path.name):
                continue
            name = kept.parts(path.name)
            # Of what was forgotten only what is left of it is copied, never the whole.
            forgotten = name.stands_for in not_here and (
                folder == RAW or name.content == name.stands_for
            )
            if not forgotten and not any(self._whole(folder, name.stands_for)):
                data = path.read_bytes()
                if kept.as_named(path.name, data):
                    disk.write_whole(self.path / folder, path.name, data)


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
    opened = FarmOpened(farm_name=farm_name, zone=zone, day_turns_at=day_turns_at)
    log.append([opened], command="new")
    write_marker(path)
    return log


def write_marker(path: Path) -> None:
    """Mark a folder as a log. Raises: CannotWrite."""
    disk.write_whole(path, MARKER, marker())


def marker() -> bytes:
    """What is in the file that marks a folder as a log."""
    return json.dumps({"oplog": "field-work log", "format": FORMAT}, indent=1).encode() + b"\n"


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
        what = "does not exist"
        if path.exists():
            what = "is not a log" if path.is_dir() else "is not a folder"
        raise NotALog(f"{path} {what}. {HOW_TO_OPEN}")
    return Log(path)


def is_log(path: Path) -> bool:
    """Whether a folder holds a log: its marker, or, where that was lost, files of events."""
    try:
        if (path / MARKER).is_file():
            return True
        return (path / EVENTS).is_dir() and any((path / EVENTS).glob("*.parquet"))
    except OSError:
        return False


def format_of(path: Path) -> int:
    """Version of the layout of the folder; this program's where the marker cannot be read."""
    try:
        return int(json.loads((path / MARKER).read_text(encoding="utf-8"))["format"])
    except (*UNREADABLE, AttributeError):
        return FORMAT


def later_version(path: Path) -> CannotWrite:
    """What to say of a log that a later version has written to."""
    return CannotWrite(
        f"The log in {path} was written by a newer version of oplog. This version reads what "
        "it can and does not write to it: nothing was changed. Update oplog."
    )


def _entry(
    who: writer.Writer, events: Sequence[Event], command: str, files: Sequence[str]
) -> EntryWritten:
    return EntryWritten(
        writer=who.id,
        writer_name=writer.name(),
        number=who.number + 1,
        previous=who.entry,
        events=tuple(sorted(e.event_id for e in events)),
        written_at=datetime.now(UTC),
        command=command,
        files=tuple(files),
    )


def _continued(path: Path, entries: Collection[EntryWritten]) -> writer.Writer:
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


def _refuse_later(path: Path, index: Index) -> None:
    if format_of(path) > FORMAT or index.later:
        raise later_version(path)


def _refuse_other_farm(path: Path, other: Path, ours: Index, theirs: Index) -> None:
    farms, other_farms = ours.of_type(FarmOpened), theirs.of_type(FarmOpened)
    same = farms & other_farms
    # A damaged log may have lost the event that says whose it is; then what they share tells.
    shared = not ours.types or ours.types.keys() & theirs.types.keys()
    lost = not (farms and other_farms) and shared
    if not same and not lost:
        raise OplogError(
            f"The log in {other} is not of the same farm as the one in {path} (name, time zone "
            "and turn of the day differ), so that they were not merged. Nothing was changed."
        )


def _gone(what: str, digest: str, path: Path) -> str:
    return f"{what} {digest[:12]} cannot be read back from the log in {path}. Run: oplog check"
