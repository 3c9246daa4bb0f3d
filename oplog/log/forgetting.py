"""Forgetting: fixes of a stretch, and the files that they came in, taken out of the log for good.

What is forgotten is stated as an event, like anything else, and what is left of each import as
another; then the files go. A removal that was broken off is finished by the next writing. What
another copy of the log still has does not come back: stretches are known by machine and time.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from oplog.events import EntryStruck, Event, Span, StretchForgotten, TrackCut, TrackImported
from oplog.log import disk, kept
from oplog.log.reading import Index
from oplog.records import dataclass
from oplog.track import Track, without

FIXES, RAW, SET_ASIDE = "fixes", "raw", "set-aside"

_CYCLES = (0, 1, 2)
"""Rollovers of a receiver's week counter that an import may have put right."""

Pair = tuple[str, str]
"""Digests of an import's fixes and of its file."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Told:
    """What was forgotten, as events say: those that nothing supersedes. earlier: cuts that later
    ones took the place of."""

    stretches: tuple[StretchForgotten, ...] = ()
    cuts: tuple[TrackCut, ...] = ()
    earlier: tuple[TrackCut, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.stretches or self.cuts)

    @property
    def files(self) -> set[str]:
        """Digests of files that are gone for good."""
        return {c.file_digest for c in self.cuts}

    def rests(self, track: str) -> set[str]:
        """Digests of what is left of a track; empty where all of it is kept."""
        return {c.rest for c in self.cuts if c.fixes == track and c.rest}


@dataclass
class Plan:
    """What is to be done: events to be written first, and what is left of tracks by digest."""

    cuts: list[TrackCut] = field(default_factory=list)
    left: dict[str, Track] = field(default_factory=dict)


def told(events: Iterable[Event]) -> Told:
    """What events say was forgotten; give it all of them of the types in `TYPES`."""
    every = {e.event_id: e for e in events}
    gone = {i for e in every.values() for i in e.supersedes}
    current = [e for i, e in sorted(every.items()) if i not in gone]
    return Told(
        tuple(e for e in current if isinstance(e, StretchForgotten)),
        tuple(e for e in current if isinstance(e, TrackCut)),
        tuple(e for i, e in sorted(every.items()) if i in gone and isinstance(e, TrackCut)),
    )


TYPES = (StretchForgotten, TrackCut, EntryStruck)
"""Types of the events that tell of forgetting, and of taking it back."""


def ids(index: Index) -> set[str]:
    """Ids of the events that tell of forgetting; empty where nothing was ever forgotten."""
    if not any(t in (StretchForgotten.TYPE, TrackCut.TYPE) for t in index.types.values()):
        return set()
    return set().union(*(index.of_type(t) for t in TYPES))


def plan(
    imports: Iterable[TrackImported],
    known: Told,
    track_of: Callable[[str], Track | None],
    file_of: Callable[[str], bytes | None] | None = None,
    zone: str | None = None,
    files: Collection[str] = (),
) -> Plan:
    """What is left of each import once the stretches that are known are out of it.

    track_of: gives a track by its digest, None where it cannot be read. file_of: gives the bytes
    of a file; with it, files are looked into too that hold a stretch which came with an earlier
    one. zone: of times in files that state none. files: digests of files that go as well.
    """
    pairs: dict[Pair, list[TrackImported]] = {}
    for one in imports:
        pairs.setdefault((one.fixes, one.file_digest), []).append(one)
    made = Plan()
    for pair in sorted(pairs):
        spans = [s for one in pairs[pair] for s in spans_of(known, one.machine)]
        before = [c for c in known.cuts if (c.fixes, c.file_digest) == pair]
        rest = _rest(pair[0], pairs[pair][0], spans, before, track_of, made)
        goes = bool(before) or rest is not None or pair[1] in files
        if not goes and file_of is not None and spans and pairs[pair][0].known_fixes:
            goes = _holds(file_of(pair[1]), spans, zone)
        if goes and [c.rest for c in before] != [rest]:
            old = tuple(sorted(c.event_id for c in before))
            made.cuts.append(
                TrackCut(fixes=pair[0], file_digest=pair[1], rest=rest, supersedes=old)
            )
    return made


def _rest(
    digest: str,
    one: TrackImported,
    spans: Sequence[Span],
    before: Sequence[TrackCut],
    track_of: Callable[[str], Track | None],
    made: Plan,
) -> str | None:
    """Digest of what is left of a track; None where nothing of it was forgotten."""
    rests = {c.rest for c in before if c.rest}
    meets = any(s.started_at <= one.last_at and s.ended_at >= one.first_at for s in spans)
    if not rests and not meets:
        return None
    track = made.left.get(digest) or track_of(digest)
    if track is None:
        return min(rests, default=None)
    gone = in_spans(track, spans)
    if not gone.any():
        return track.digest() if rests else None
    made.left[digest] = without(track, gone)
    return made.left[digest].digest()


def in_words(stretch: StretchForgotten) -> str:
    """What was forgotten, by whom, when and why."""
    where = f" within {stretch.place}" if stretch.place else ""
    when = ""
    if stretch.stretches:
        first = min(s.started_at for s in stretch.stretches)
        last = max(s.ended_at for s in stretch.stretches)
        when = f", {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC"
    day = f" on {stretch.stated_at:%Y-%m-%d}" if stretch.stated_at else ""
    return (
        f"{stretch.fix_count} positions of {stretch.machine}{where}{when}, by "
        f"{stretch.stated_by}{day}: {stretch.because}"
    )


def spans_of(known: Told, machine: str) -> list[Span]:
    """The stretches that were forgotten of a machine."""
    own = (e for e in known.stretches if e.machine.casefold() == machine.casefold())
    return [s for e in own for s in e.stretches]


def in_spans(fixes: Track, spans: Iterable[Span]) -> Mask:
    """Which fixes are in some stretches of time, ends included: (n,)."""
    found = np.zeros(len(fixes), dtype=bool)
    for span in spans:
        first, last = (np.datetime64(t.replace(tzinfo=None), "us") for t in span[:2])
        found |= (fixes.time >= first) & (fixes.time <= last)
    return found


def _holds(data: bytes | None, spans: Sequence[Span], zone: str | None) -> bool:
    """Whether a file has fixes in some stretches, whichever way its times may be meant."""
    from oplog import readers
    from oplog.readers.rollover import CYCLE_DAYS

    if data is None:
        return False
    for meant in dict.fromkeys((None, zone)):
        track, _ = readers.read(data, zone=meant)
        for cycles in _CYCLES:
            days = np.timedelta64(cycles * CYCLE_DAYS, "D")
            if in_spans(_moved(track, days), spans).any():
                return True
    return False


def _moved(track: Track, days: np.timedelta64) -> Track:
    from dataclasses import replace

    return replace(track, time=track.time + days)


def carry_out(path: Path, known: Told, left: dict[str, Track]) -> None:
    """Put what is left of tracks into a log's folder and take out what was forgotten.

    known: with the events already written. Raises: CannotWrite; the next writing goes on.
    """
    for digest in {c.fixes for c in known.cuts if c.rest}:
        rests = known.rests(digest)
        if len(rests) == 1 and digest in left and left[digest].digest() in rests:
            data = kept.encode_fixes(left[digest])
            (rest,) = rests
            name = kept.fixes_name(digest, data, rest)
            if not (path / FIXES / name).exists():
                disk.write_whole(path / FIXES, name, data)
    for file in list(_to_go(path, known)):
        disk.remove(file)
    for folder in (FIXES, RAW):
        if (path / folder).is_dir():
            try:
                disk.flush_folder(path / folder)
            except OSError as error:
                raise disk.cannot_write(path / folder, error) from error


def may_hold(one: TrackImported, known: Told) -> bool:
    """Whether an import of which nothing is known to have been forgotten may hold a stretch."""
    return not any(c.fixes == one.fixes for c in known.cuts) and any(
        s.started_at <= one.last_at and s.ended_at >= one.first_at
        for s in spans_of(known, one.machine)
    )


def unfinished(path: Path, known: Told) -> bool:
    """Whether something is still there that was forgotten, or it was forgotten in parts."""
    pairs = [(c.fixes, c.file_digest) for c in known.cuts]
    return len(set(pairs)) < len(pairs) or any(True for _ in _to_go(path, known))


def _to_go(path: Path, known: Told) -> Iterator[Path]:
    """Files that hold what was forgotten: those set aside and half-written ones included. What is
    left of a track has to be there before the track goes."""
    for digest in sorted({c.fixes for c in known.cuts if c.rest}):
        rests = known.rests(digest)
        here = sorted((path / FIXES).glob(f"{digest}-*"))
        stays = [p for p in here if kept.is_kept(p.name) and kept.parts(p.name).content in rests]
        stays = [p for p in stays if kept.parts(p.name).stands_for == digest]
        if stays:
            yield from (p for p in here if p not in stays)
            yield from sorted((path / SET_ASIDE).glob(f"{digest}-*"))
    for digest in sorted(known.files):
        for folder in (RAW, SET_ASIDE):
            yield from sorted((path / folder).glob(f"{digest}-*"))
