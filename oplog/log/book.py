"""The log: reading its events, appending to them, bringing two logs together."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import field
from pathlib import Path
from typing import Any

from oplog.errors import LogDamaged, OplogError, Problem
from oplog.events import EntryWritten, Event, PrivatePlace, StretchForgotten, TrackCut
from oplog.log import chain, disk, forgetting, kept, removing, schema, store, tidy, writer
from oplog.log.entering import Entry, continued, entry_of
from oplog.log.files import EventFiles
from oplog.log.folder import EVENTS, FIXES, MANY_FILES, RAW
from oplog.log.kept import Packed
from oplog.log.reading import NO_COLUMNS, Index, LaterEvent
from oplog.log.refusing import refuse_later, refuse_other_farm
from oplog.records import dataclass
from oplog.track import Track

EVENTS_IN_A_FILE = 5_000


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
        fixes: Mapping[str, Track | Packed] = {},
        raw: Mapping[str, bytes | Packed] = {},
        command: str = "",
        files: Sequence[str] = (),
    ) -> Entry:
        """Write the events that the log does not hold yet, as one entry: all of them or none.

        fixes: tracks by their digest; raw: bytes of imported files by their SHA-256; either may
        be packed already. Those that are in the log already are not written again.
        Raises: LogBusy, CannotWrite; the log then holds what it held.
        """
        with disk.held(self.path):
            index = self._files.index()
            refuse_later(self.path, index)
            if self._finish_forgetting(index, removing.told(self, index), everywhere=False):
                index = self._files.index()
            events = list(events)
            stored = store.keep(self.path, fixes, raw, events)
            entry = self._write(index, events, command, files, stored)
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
            refuse_later(self.path, index)
            known = removing.told(self, index)
            made = removing.plan(self, index, known, stretches, files=files)
            entry = self._write(index, [*stretches, *made.cuts], command)
            known = forgetting.told((*known.stretches, *known.cuts, *stretches, *made.cuts))
            forgetting.carry_out(self.path, known, made.left)
            return entry

    def finish_forgetting(self) -> bool:
        """Take out whatever was forgotten and is still here, as after files were copied in.

        Returns: whether there was anything. Raises: LogBusy, CannotWrite.
        """
        with disk.held(self.path):
            index = self._files.index()
            refuse_later(self.path, index)
            return self._finish_forgetting(index, removing.told(self, index), everywhere=True)

    def forgotten(self) -> forgetting.Told:
        """What was forgotten, as the log's events say."""
        return removing.told(self, self._files.index())

    def still_holds(self, known: forgetting.Told) -> bool:
        """Whether this log's folder holds bytes of what was forgotten, here or in another copy."""
        return forgetting.unfinished(self.path, known)

    def merge(self, other: Log) -> int:
        """Bring in what another log of the same farm holds and this one does not.

        Returns: number of events that were new here. Raises: OplogError for another farm's log,
        LogBusy, CannotWrite; merging again then goes on where it broke off.
        """
        theirs, known = other.events(), other._files.index()
        refuse_later(other.path, known)
        with disk.held(self.path):
            index = self._files.index()
            refuse_later(self.path, index)
            refuse_other_farm(self.path, other.path, index, known)
            new = [e for e in theirs if e.event_id not in index.types]
            new.sort(key=lambda e: isinstance(e, EntryWritten))  # what an entry names, before it
            forgotten, not_here = removing.known_to_both(self, index, other, known)
            for folder in (FIXES, RAW):
                store.copy(self.path, other.path, folder, not_here)
            for first in range(0, len(new), EVENTS_IN_A_FILE):
                self._put(new[first : first + EVENTS_IN_A_FILE])
            if forgotten:
                index = self._files.index()
                self._finish_forgetting(
                    index, removing.told(self, index), everywhere=True, other=other
                )
            tidy.when_many(self._files)
        return sum(not isinstance(e, EntryWritten) for e in new)

    def tidy(self) -> int:
        """Merge the events files that are not large into few. Returns: files taken away.
        Raises: LogBusy, CannotWrite; the log then holds what it held."""
        with disk.held(self.path):
            refuse_later(self.path, self._files.index())
            return tidy.everything(self._files)

    def tidy_many(self) -> None:
        """Tidy a log whose files have become very many by copying, for whoever reads it next.
        Not where that cannot be: another program is writing, the disk is read-only, or the log is
        a newer version's."""
        if len(self._files.names()) <= MANY_FILES:
            return
        with suppress(OplogError), disk.held(self.path, wait_s=0.0):
            refuse_later(self.path, self._files.index())
            tidy.when_many(self._files)

    def seal(self) -> str:
        """The newest entry of each writer in a form that can be typed (see chain.seal)."""
        return chain.seal(self._files.index().entries)

    def fixes(self, digest: str) -> Track:
        """The track of a digest. Raises: LogDamaged where it is gone or rotten."""
        for data in store.whole(self.path, FIXES, digest):
            return kept.decode_fixes(data)
        raise LogDamaged(_gone("The fixes", digest, self.path))

    def raw(self, file_digest: str) -> bytes:
        """The bytes of an imported file, or those kept in their place (see TrackImported.kept).

        Raises: LogDamaged where they are gone, forgotten or rotten.
        """
        for data in store.whole(self.path, RAW, file_digest):
            return kept.decode_raw(data)
        raise LogDamaged(_gone("The imported file", file_digest, self.path))

    def has_fixes(self, digest: str) -> bool:
        """Whether the track of a digest is there and whole."""
        return any(True for _ in store.whole(self.path, FIXES, digest))

    def has_raw(self, file_digest: str) -> bool:
        """Whether the bytes of an imported file are there and whole."""
        return any(True for _ in store.whole(self.path, RAW, file_digest))

    def _write(
        self,
        index: Index,
        events: Iterable[Event],
        command: str,
        files: Sequence[str] = (),
        stored: Sequence[str] = (),
    ) -> Entry:
        """Write those of some events that are new, as one entry."""
        new = [e for i, e in {e.event_id: e for e in events}.items() if i not in index.types]
        if not new:
            return Entry("", 0, ())
        who = continued(self.path, index.entries)
        entry = entry_of(who, new, command, files, stored)
        self._put([entry, *new])
        writer.remember(self.path, writer.Writer(who.id, entry.number, entry.event_id))
        return Entry(entry.event_id, entry.number, tuple(e.event_id for e in new))

    def _finish_forgetting(
        self, index: Index, known: forgetting.Told, *, everywhere: bool, other: Log | None = None
    ) -> bool:
        """Take out what was forgotten and is still here. The log is held."""
        made = removing.left_to_do(self, index, known, everywhere=everywhere, other=other)
        if made is None:
            return False
        self._write(index, made.cuts, "forget")
        known = forgetting.told((*known.stretches, *known.cuts, *made.cuts))
        forgetting.carry_out(self.path, known, made.left)
        return True

    def _put(self, events: Sequence[Event]) -> None:
        if any(isinstance(e, PrivatePlace | StretchForgotten | TrackCut) for e in events):
            from oplog.log import shelf

            shelf.clear()
        data = schema.encode(events)
        disk.write_whole(self.path / EVENTS, f"{disk.digest(data)}.parquet", data)


def _gone(what: str, digest: str, path: Path) -> str:
    return f"{what} {digest[:12]} cannot be read back from the log in {path}. Run: oplog check"
