"""Forget a stretch of track: show what would go, and take it out for good."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, MutableMapping, Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from oplog import readers
from oplog.errors import LogDamaged, OplogError, UnknownName
from oplog.events import PrivatePlace, Span, StretchForgotten, TrackImported, WorkMeasured
from oplog.flow import cutting, gather
from oplog.flow.days import moment
from oplog.flow.history import History, read, stated
from oplog.log import Entry, Log
from oplog.readers.mentions import mentions
from oplog.records import dataclass
from oplog.track import Track, concat, empty

Step = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Part:
    """What would be forgotten of one machine. spans: in order, in state "forgotten"; tracks:
    digests of the imports it is part of; files: of the imported files whose bytes go; digest: of
    the fixes themselves."""

    machine: str
    spans: tuple[Span, ...]
    tracks: tuple[str, ...]
    files: tuple[str, ...]
    fix_count: int
    digest: str


@dataclass(frozen=True)
class Found:
    """What would be forgotten.

    visits: work measured from what goes; its figures and the ground that it covers stay. place:
    the private place that was asked for. unread: tracks that could not be read, as of a folder
    whose files are still on their way.
    """

    parts: tuple[Part, ...]
    visits: tuple[WorkMeasured, ...]
    place: str | None = None
    unread: int = 0

    @property
    def fix_count(self) -> int:
        """How many fixes go."""
        return sum(p.fix_count for p in self.parts)

    @property
    def files(self) -> tuple[str, ...]:
        """Digests of the imported files whose bytes go."""
        return tuple(sorted({f for p in self.parts for f in p.files}))


def within_place(
    log: Log,
    name: str,
    step: Step = lambda what, done, of: None,
    memory: MutableMapping[str, bytes] | None = None,
) -> Found:
    """All that the log holds within a private place.

    memory: of the imports in which nothing was found before, so that they are not read again.
    Raises: UnknownName.
    """
    history = read(log)
    named = [p for p in history.farm.private if p.place.casefold() == name.strip().casefold()]
    if not named:
        known = {p.place for p in history.farm.private}
        raise UnknownName("private place", name, known, "oplog private lists them.")
    places = cutting.private(named)

    def gone(track: Track, machine: str) -> NDArray[np.bool_]:
        return cutting.taken_by_places(track, places)

    def leads_there(data: bytes, machine: str) -> bool:
        track, _ = readers.read(data, zone=history.farm.zone)
        return bool(places.inside(track).any()) or mentions(data, places.boxes)

    clear = None if memory is None else _Clear(history, named, memory)
    return _found(history, gone, leads_there, step, named[0].place, clear=clear)


def in_period(
    log: Log,
    machine: str,
    started_at: datetime,
    ended_at: datetime,
    step: Step = lambda what, done, of: None,
) -> Found:
    """All that the log holds of a machine from one moment to another, ends included.

    Raises: UnknownName, OplogError.
    """
    if ended_at <= started_at:
        raise OplogError("The period ends before it begins. Nothing was changed.")
    history = read(log)
    known = history.farm.kit_item(machine, machine=True).name
    asked = [Span(started_at, ended_at, FORGOTTEN)]

    def gone(track: Track, of: str) -> NDArray[np.bool_]:
        if of.casefold() != known.casefold():
            return np.zeros(len(track), dtype=bool)
        return cutting.taken_by_spans(track, asked)

    def leads_there(data: bytes, of: str) -> bool:
        return of.casefold() == known.casefold() and any(
            cutting.in_spans(readers.read(data, zone=zone)[0], asked).any()
            for zone in (None, history.farm.zone)
        )

    return _found(history, gone, leads_there, step, None, asked)


def whole_import(log: Log, handle: str, step: Step = lambda what, done, of: None) -> Found:
    """All that the log holds of the time of one import. Raises: UnknownName, OplogError."""
    farm = read(log).farm
    typed = handle.strip().casefold()
    found = [
        t
        for t in farm.tracks
        if len(typed) >= 5 and (t.event_id.startswith(typed) or t.file_digest.startswith(typed))
    ]
    if len(found) != 1:
        known = [t.event_id[:8] for t in farm.tracks]
        raise UnknownName("import", handle, known, "oplog history DAY shows them.")
    (one,) = found
    return in_period(log, one.machine, one.first_at, one.last_at, step)


FORGOTTEN = "forgotten"
"""State of the spans of a stretch that was forgotten."""


def forget(log: Log, found: Found, because: str, command: str = "forget") -> Entry:
    """Take out what was found, and leave who, when and why.

    Raises: OplogError without a reason or with nothing to forget; LogBusy, CannotWrite.
    """
    if not because.strip():
        raise OplogError("Say why: --because TEXT. Nothing was changed.")
    if not found.parts:
        raise OplogError("The log holds nothing of that. Nothing was changed.")
    who = stated()
    stretches = [
        StretchForgotten(
            machine=p.machine,
            stretches=p.spans,
            tracks=p.tracks,
            files=p.files,
            fix_count=p.fix_count,
            forgotten=p.digest,
            place=found.place,
            because=because.strip(),
            **who,
        )
        for p in found.parts
    ]
    return log.forget(stretches, files=found.files, command=command)


def _found(
    history: History,
    gone: Callable[[Track, str], NDArray[np.bool_]],
    leads_there: Callable[[bytes, str], bool],
    step: Step,
    place: str | None,
    asked: Iterable[Span] = (),
    clear: _Clear | None = None,
) -> Found:
    imports = [e for e in history.events.values() if isinstance(e, TrackImported)]
    imports = [t for t in imports if clear is None or not clear.is_known(t)]
    imports.sort(key=lambda t: (t.machine.casefold(), t.first_at, t.event_id))
    taken: dict[str, list[_Taken]] = {}
    files: dict[str, set[str]] = {}
    unread = 0
    for i, one in enumerate(imports):
        step(f"looking into what {one.machine} recorded", i, len(imports))
        track = _track(history.log, one.fixes)
        unread += track is None
        mask = gone(track if track is not None else empty(), one.machine)
        if track is not None and mask.any():
            runs = _runs(track, mask)
            taken.setdefault(one.machine, []).append(_Taken(one.fixes, track.take(mask), runs))
        leads = None if mask.any() else _leads(history.log, one, leads_there)
        if mask.any() or leads:
            files.setdefault(one.machine, set()).add(one.file_digest)
        elif clear is not None and track is not None and leads is not None:
            clear.remember(one)
    cut_off = history.log.forgotten().files
    files = {m: held - cut_off for m, held in files.items() if held - cut_off}
    parts = tuple(
        _part(machine, taken.get(machine, []), files.get(machine, set()), asked)
        for machine in sorted(taken.keys() | files.keys())
    )
    visits = tuple(v for v in history.farm.visits if any(_meets(v, p) for p in parts))
    return Found(parts, visits, place, unread)


class _Clear:
    """Imports of which nothing lies in a place, kept from one look to the next."""

    def __init__(
        self, history: History, places: Sequence[PrivatePlace], memory: MutableMapping[str, bytes]
    ) -> None:
        forgotten = sorted(f.event_id for f in history.farm.forgotten)
        self._of = [sorted(p.event_id for p in places), forgotten, history.farm.zone]
        self._memory = memory

    def is_known(self, one: TrackImported) -> bool:
        return self._name(one) in self._memory

    def remember(self, one: TrackImported) -> None:
        self._memory[self._name(one)] = b"nothing"

    def _name(self, one: TrackImported) -> str:
        text = json.dumps(["clear 1", one.event_id, *self._of])
        return hashlib.sha256(text.encode()).hexdigest()[:32]


@dataclass(frozen=True, eq=False)
class _Taken:
    """What goes of one import. track: its digest; runs: stretches that nothing kept lies in."""

    track: str
    fixes: Track
    runs: list[Span]


def _track(log: Log, digest: str) -> Track | None:
    try:
        return log.fixes(digest)
    except LogDamaged:
        return None


def _leads(log: Log, one: TrackImported, leads_there: Callable[[bytes, str], bool]) -> bool | None:
    """Whether the bytes of a file hold something of the stretch, though its fixes do not. None
    where they should be here and are not."""
    if one.file_digest in log.forgotten().files:
        return False
    if not log.has_raw(one.file_digest):
        return None
    return leads_there(log.raw(one.file_digest), one.machine)


def _part(machine: str, held: list[_Taken], files: set[str], asked: Iterable[Span]) -> Part:
    """What goes of one machine, each fix once."""
    joined = gather.ready(concat([t.fixes for t in held]))
    spans = {*(asked if held else ()), *(s for t in held for s in t.runs)}
    return Part(
        machine,
        tuple(_joined(sorted(spans))),
        tuple(sorted({t.track for t in held})),
        tuple(sorted(files)),
        len(joined),
        joined.digest(),
    )


def _runs(track: Track, mask: NDArray[np.bool_]) -> list[Span]:
    """Stretches of fixes that go, one after the other."""
    edges = np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return [
        Span(moment(track.time[a]), moment(track.time[b]), FORGOTTEN)
        for a, b in zip(starts, ends, strict=True)
    ]


def _joined(spans: list[Span]) -> list[Span]:
    """Stretches of which none meets another."""
    made: list[Span] = []
    for span in spans:
        if made and span.started_at <= made[-1].ended_at:
            last = max(made[-1].ended_at, span.ended_at)
            made[-1] = Span(made[-1].started_at, last, FORGOTTEN)
        else:
            made.append(span)
    return made


def _meets(visit: WorkMeasured, part: Part) -> bool:
    return visit.machine.casefold() == part.machine.casefold() and any(
        s.started_at < visit.ended_at and s.ended_at > visit.started_at for s in part.spans
    )
