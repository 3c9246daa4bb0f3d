"""The events files of a folder, each read once and only believed as far as it proves itself.

A file is named by the digest of its bytes: one that still bears its name is what was written.
One that does not was renamed (then every event in it still matches its own id) or altered (then
the events that still match are read, the others are left out and reported). An event of a later
version cannot be matched, and is only believed in a file that bears its name.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import field
from pathlib import Path
from typing import TypeVar

from oplog.errors import Problem
from oplog.events import Event
from oplog.log import disk
from oplog.log.folder import SUFFIX
from oplog.log.reading import (
    NO_COLUMNS,
    UNREADABLE,
    Index,
    decode,
    decode_some,
    index,
    index_of,
    indexed,
    is_whole,
    salvage,
    together,
)
from oplog.records import dataclass

_T = TypeVar("_T")


@dataclass
class EventFiles:
    """The folder of events files, with what has been read of it so far.

    Files never change, so that what was read once holds as long as a file of that name is there.
    """

    folder: Path
    _events: dict[tuple[str, frozenset[str]], list[Event]] = field(default_factory=dict)
    _index: dict[str, Index] = field(default_factory=dict)

    def names(self) -> list[str]:
        """Names of the files, sorted."""
        if not self.folder.is_dir():
            return []
        return sorted(p.name for p in self.folder.iterdir() if p.name.endswith(SUFFIX))

    def events(self, without: Collection[str] = NO_COLUMNS) -> tuple[list[Event], list[Problem]]:
        """Every event once, ordered by id, and what was wrong with files."""
        left_out = frozenset(without)

        def read(name: str) -> tuple[list[Event], list[Problem]]:
            if (name, left_out) in self._events:
                return self._events[name, left_out], []
            data = (self.folder / name).read_bytes()
            if as_named(name, data):
                self._events[name, left_out] = decode(data, left_out)
                return self._events[name, left_out], []
            return believable(name, data)

        found: dict[str, Event] = {}
        problems: list[Problem] = []
        for events, wrong in self._each(read, problems):
            problems += wrong
            for event in events:
                found.setdefault(event.event_id, event)
        return [found[i] for i in sorted(found)], problems

    def some(self, ids: Collection[str], without: Collection[str] = NO_COLUMNS) -> list[Event]:
        """The events of some ids, as far as they can be believed."""

        wanted = set(ids)

        def read(name: str) -> list[Event]:
            known = self._known(name)
            if known is not None and wanted.isdisjoint(e.event_id for e in known):
                return []
            data = (self.folder / name).read_bytes()
            if as_named(name, data):
                return decode_some(data, wanted, without)
            return [e for e in believable(name, data)[0] if e.event_id in wanted]

        found = {e.event_id: e for events in self._each(read, []) for e in events}
        return [found[i] for i in sorted(found)]

    def index(self, leave_out: Collection[str] = ()) -> Index:
        """Ids and entries of all files, of altered files only what can be believed.

        leave_out: names of files not to be read.
        """

        def read(name: str) -> Index:
            if name in self._index:
                return self._index[name]
            known = self._known(name, indexed())
            if known is not None:
                self._index[name] = index_of(known)
                return self._index[name]
            data = (self.folder / name).read_bytes()
            if as_named(name, data):
                self._index[name] = index(data)
                return self._index[name]
            return index_of(believable(name, data)[0])

        return together(self._each(read, [], leave_out))

    def _known(self, name: str, columns: Collection[str] = ()) -> list[Event] | None:
        """What was read of a file before, with at least these columns; None where nothing was."""
        for (file, left_out), events in self._events.items():
            if file == name and left_out.isdisjoint(columns):
                return events
        return None

    def _each(
        self, read: Callable[[str], _T], problems: list[Problem], leave_out: Collection[str] = ()
    ) -> Iterator[_T]:
        # A tidy elsewhere may take away a file after its name was listed; what it held is then in
        # a file that was there before, so that going on until no name is new misses nothing.
        done = set(leave_out)
        while new := [n for n in self.names() if n not in done]:
            for name in new:
                done.add(name)
                try:
                    yield read(name)
                except FileNotFoundError:
                    continue
                except UNREADABLE as error:
                    problems.append(unreadable(name, error))


def as_named(name: str, data: bytes) -> bool:
    """Whether a file still has the bytes that its name speaks of."""
    return name == disk.digest(data) + SUFFIX


def believable(name: str, data: bytes) -> tuple[list[Event], list[Problem]]:
    """What can be believed of a file that does not bear the name of its content."""
    events = salvage(data)
    whole = [e for e in events if is_whole(e)]
    if len(whole) == len(events):
        return whole, []
    message = "holds events that are not what was written"
    count = len(events) - len(whole)
    return whole, [Problem(f"events/{name}", None, message, count, "left out; run oplog check")]


def unreadable(name: str, error: BaseException) -> Problem:
    """A file that cannot be read at all."""
    message = "cannot be read" + (
        f" ({error.strerror})" if isinstance(error, OSError) and error.strerror else ""
    )
    return Problem(f"events/{name}", None, message, 1, "left out; run oplog check")
