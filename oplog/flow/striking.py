"""Striking out: visits, imports, and whatever a person stated, a strike included.

Nothing is deleted. A strike names what it takes away; what that had taken the place of is stated
anew, so that striking a correction leaves what was there before it (but of an input, a note or a
drill's setting, which happened or did not). A strike that is struck states
anew what it had struck.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import field, replace
from datetime import date, timedelta

from oplog.errors import OplogError, UnknownName
from oplog.events import (
    DrillCalibrated,
    EntryStruck,
    EntryWritten,
    Event,
    FarmOpened,
    FieldDrawn,
    InputApplied,
    JobClosed,
    KitListed,
    NoteWritten,
    TrackImported,
    VisitSaid,
    WorkMeasured,
    WorkReplaced,
)
from oplog.flow.days import working_day
from oplog.flow.history import History, read, stated
from oplog.flow.remeasuring import measured_anew
from oplog.flow.saying import measured_with, measurements, said_before
from oplog.fold import Farm
from oplog.fold.doubled import same_file
from oplog.fold.rivals import CORRECTED, brings_back
from oplog.log import Entry, Log
from oplog.records import dataclass

SHORTEST = 5
"""Characters of a handle."""

_STATED: tuple[type[Event], ...] = (
    *(kind for kind in CORRECTED if kind is not FarmOpened), JobClosed, VisitSaid, EntryStruck,
    TrackImported,
)  # fmt: skip
"""What can be struck beside visits."""

_THINGS = (InputApplied, NoteWritten, DrillCalibrated)
"""Things that happened: who strikes one means all versions of it."""


@dataclass(frozen=True)
class Struck:
    """What a strike did. out: visits and events struck; back: events that were stated anew;
    measured: machine days that were measured again; undo: handles that take it back."""

    entry: Entry
    undo: tuple[str, ...]
    out: tuple[Event, ...]
    back: tuple[Event, ...]
    measured: tuple[tuple[str, date], ...]


@dataclass
class _Undoing:
    """What is gathered of one command. farm: what will count; days: to be measured again."""

    farm: Farm
    because: str
    events: list[Event] = field(default_factory=list)
    out: list[Event] = field(default_factory=list)
    back: list[Event] = field(default_factory=list)
    days: set[tuple[str, date]] = field(default_factory=set)

    def strike(self, gone: Iterable[Event], **columns: object) -> None:
        """Add a strike of some events."""
        ids = tuple(sorted({e.event_id for e in gone}))
        self.events.append(
            EntryStruck(supersedes=ids, because=self.because, **columns, **stated())  # type: ignore[arg-type]
        )


def strike(log: Log, handles: Sequence[str], because: str, command: str = "strike") -> Struck:
    """Strike out what handles name, for a reason, as one entry.

    handles: of visits, the first letters of an event's id (as `oplog history` shows), or those of
    an entry, for all in it that was stated or imported.
    Raises: UnknownName; OplogError for what cannot be struck.
    """
    if not because.strip():
        raise OplogError("Say why, with --because. Nothing was changed.")
    history = read(log)
    undoing = _Undoing(history.farm, because)
    for handle in handles:
        for target in targets(history, handle):
            _strike(history, undoing, target)
    for machine, day in sorted(undoing.days):
        undoing.events += measured_anew(history, undoing.farm, machine, day, log.fixes)
    entry = history.append(undoing.events, command=command)
    return Struck(
        entry, _undo(undoing), tuple(undoing.out), tuple(undoing.back), tuple(sorted(undoing.days))
    )


def _undo(undoing: _Undoing) -> tuple[str, ...]:
    """What to strike to take all of it back: the strikes, or what a struck strike brought back."""
    if all(isinstance(e, EntryStruck) for e in undoing.out):
        visits = [e.visit for e in undoing.out if isinstance(e, EntryStruck) and e.visit]
        stated_anew = [e.event_id for e in undoing.back if not isinstance(e, VisitSaid)]
        return tuple(x[:8] for x in (*visits, *stated_anew))
    return tuple(e.event_id[:8] for e in undoing.events if isinstance(e, EntryStruck))


def targets(history: History, handle: str) -> list[Event]:
    """What a handle names: a visit, a statement or import, or those of an entry.

    Raises: UnknownName; OplogError where it could be several things.
    """
    typed = handle.strip().casefold()
    if len(typed) < SHORTEST:
        raise OplogError(f"{handle!r} is too short: type {SHORTEST} letters of it or more.")
    named = [e for e in history.events.values() if e.event_id.startswith(typed)]
    found: list[Event] = [e for e in named if isinstance(e, _STATED)]
    entries = [e for e in named if isinstance(e, EntryWritten)]
    try:
        found.append(history.visit(handle))
    except UnknownName:
        if not found and not entries:
            _refuse_derived(named)
            raise
    if len(found) + len(entries) > 1:
        ids = ", ".join(e.event_id for e in (*found, *entries))
        raise OplogError(f"{handle!r} could be several things: type more letters of one of {ids}.")
    if entries:
        return _of_entry(history, entries[0])
    return found


def _of_entry(history: History, entry: EntryWritten) -> list[Event]:
    held = (history.events.get(i) for i in entry.events)
    found: list[Event] = [
        e for e in held if isinstance(e, _STATED) and e.event_id not in history.replaced_by
    ]
    if not found:
        raise OplogError(
            f"Entry {entry.event_id[:8]} holds nothing that counts still and can be struck: "
            f"oplog history {entry.event_id[:8]}"
        )
    return found


def _refuse_derived(named: Sequence[Event]) -> None:
    if named:
        raise OplogError(
            "That was worked out, not stated: strike the visit, by its handle, or the import. "
            "Nothing was changed."
        )


def _strike(history: History, undoing: _Undoing, target: Event) -> None:
    if isinstance(target, WorkMeasured):
        _visit(history, undoing, target)
        return
    if target.event_id in history.replaced_by:
        by = history.replaced_by[target.event_id]
        raise OplogError(
            f"{target.event_id[:8]} counts no more: {by[:8]} took its place. To see how it came "
            f"about: oplog history {target.event_id[:8]}"
        )
    if isinstance(target, EntryStruck):
        _strike_of_strike(history, undoing, target)
    elif isinstance(target, VisitSaid):
        _saying(history, undoing, target)
    elif isinstance(target, TrackImported):
        _import(history, undoing, target)
    else:
        _refuse_in_use(history, target)
        undoing.strike([target])
        if not isinstance(target, _THINGS):
            _state_anew(history, undoing, before(history, target))
    undoing.out.append(target)


def _visit(history: History, undoing: _Undoing, visit: WorkMeasured) -> None:
    strikes, said = history.strikes(visit), said_before(history, visit)
    if strikes and not said:
        s = strikes[0]
        raise OplogError(
            f"{visit.machine} in {visit.field} on {visit.day} is struck out already "
            f"({s.because}). To bring it back: oplog strike {s.event_id[:8]} --because WHY"
        )
    undoing.strike([*measurements(history, visit), *said, *strikes], **period_of(visit))
    undoing.out.append(visit)


def period_of(visit: WorkMeasured) -> dict[str, object]:
    """The columns of a strike that keep a visit struck."""
    return {
        "visit": visit.visit,
        "machine": visit.machine,
        "field": visit.field,
        "started_at": visit.started_at,
        "ended_at": visit.ended_at,
    }


def _saying(history: History, undoing: _Undoing, said: VisitSaid) -> None:
    """What was said of a visit taken back: what was said before it holds again."""
    visit = history.visit(said.visit)
    undoing.strike([said, *measurements(history, visit)])
    earlier = [e for e in before(history, said) if isinstance(e, VisitSaid)]
    anew = [history.anew(e) for e in earlier]
    holds = [s for s in undoing.farm.said if s.event_id != said.event_id] + anew
    undoing.farm = replace(undoing.farm, said=tuple(holds))
    undoing.back += anew
    undoing.events += [*anew, *measured_with(history, visit, holds)]


def _strike_of_strike(history: History, undoing: _Undoing, struck: EntryStruck) -> None:
    if brings_back(struck, history.events):
        handles = [e.event_id[:8] for e in history.current if e.nonce in struck.supersedes]
        what = f" {' '.join(handles)}" if handles else " HANDLE"
        raise OplogError(
            f"That took a strike back. To strike again what it brought back: oplog strike{what} "
            "--because WHY"
        )
    undoing.strike([struck])
    # What stands in the place of what was struck gives way again.
    instead = [e for e in history.current if e.nonce in struck.supersedes]
    taken = [
        replace(e, supersedes=tuple(sorted({*e.supersedes, *_like(e, instead)})))
        if isinstance(e, (*CORRECTED, VisitSaid))
        else e
        for e in before(history, struck)
    ]
    for track in taken:
        if isinstance(track, TrackImported):
            anew = history.anew(track)
            undoing.farm = replace(undoing.farm, tracks=(*undoing.farm.tracks, anew))
            undoing.events.append(anew)
            undoing.back.append(anew)
            undoing.days |= set(days_of(undoing.farm, anew))
    said = [e for e in taken if isinstance(e, VisitSaid)]
    work = [e for e in taken if isinstance(e, WorkMeasured)]
    _state_anew(history, undoing, [e for e in taken if isinstance(e, (*CORRECTED, JobClosed))])
    if struck.visit is not None or said:
        _visit_anew(history, undoing, said, work, struck)


def _like(event: Event, others: Iterable[Event]) -> list[str]:
    return [e.event_id for e in others if isinstance(e, event.__class__)]


def _visit_anew(
    history: History,
    undoing: _Undoing,
    said: Sequence[VisitSaid],
    work: Sequence[WorkMeasured],
    struck: EntryStruck,
) -> None:
    """A visit that was struck counts again, with the figures that it had; measured again where
    its day was measured anew in between."""
    anew = [history.anew(s) for s in said]
    undoing.back += anew
    undoing.events += anew
    visit = history.visit(said[0].visit) if struck.visit is None else next(iter(work), None)
    if visit is None:
        return
    now = measurements(history, visit)
    if not now:
        again = {old.event_id: new.event_id for old, new in zip(said, anew, strict=True)}
        undoing.events += [
            history.anew(replace(w, said=tuple(sorted(again.get(i, i) for i in w.said))))
            for w in work
        ]
    elif anew:
        whole = max(now, key=lambda v: (len(v.tracks), v.event_id))
        gone_said = {i for s in anew for i in s.supersedes}
        holds = [*(s for s in undoing.farm.said if s.event_id not in gone_said), *anew]
        measured = measured_with(history, whole, holds)
        ids = tuple(sorted(e.event_id for e in measured))
        gone = tuple(sorted({e.event_id for e in now} - set(ids)))
        undoing.events += measured
        undoing.events.append(
            WorkReplaced(machine=visit.machine, day=visit.day, measured=ids, supersedes=gone)
        )


def _import(history: History, undoing: _Undoing, target: TrackImported) -> None:
    """An import struck, with what is known of strikes of the same file for other machines, so that
    it is no disagreement (see fold.doubled): one of this command takes in both."""
    now: list[Event] = [target]
    for struck in [e for e in undoing.events if _strikes_file(history, e, target)]:
        undoing.events.remove(struck)
        now += [history.events[i] for i in struck.supersedes]
    known = [e for e in history.current if _strikes_file(history, e, target)]
    undoing.strike([*now, *known])
    _without_track(undoing, target)


def _strikes_file(history: History, event: Event, of: TrackImported) -> bool:
    """Whether an event is a strike of an import of the same file."""
    return isinstance(event, EntryStruck) and any(
        isinstance(e, TrackImported) and same_file(e, of)
        for e in map(history.events.get, event.supersedes)
    )


def _without_track(undoing: _Undoing, track: TrackImported) -> None:
    left = tuple(t for t in undoing.farm.tracks if t.event_id != track.event_id)
    undoing.farm = replace(undoing.farm, tracks=left)
    undoing.days |= set(days_of(undoing.farm, track))


def days_of(farm: Farm, track: TrackImported) -> Iterable[tuple[str, date]]:
    """The machine days that an import is part of."""
    day = working_day(track.first_at, farm.zone, farm.day_turns_at)
    while day <= working_day(track.last_at, farm.zone, farm.day_turns_at):
        yield (track.machine, day)
        day += timedelta(days=1)


def _state_anew(history: History, undoing: _Undoing, events: Sequence[Event]) -> None:
    anew = [history.anew(e) for e in events]
    undoing.events += anew
    undoing.back += anew


def before(history: History, event: Event) -> list[Event]:
    """What an event alone took the place of, and what counts again without it."""
    current = {e.event_id for e in history.current} - {event.event_id}
    by: dict[str, set[str]] = {}
    for e in history.events.values():
        for name in e.supersedes:
            by.setdefault(name, set()).add(e.event_id)
    taken = [
        history.events[i] for i in event.supersedes if i in history.events and not by[i] & current
    ]
    older = {i for e in taken for i in e.supersedes}
    return [e for e in taken if e.event_id not in older]


def _refuse_in_use(history: History, target: Event) -> None:
    """Raises: OplogError for the only boundary or listing of what work was measured with."""
    farm = history.farm
    if isinstance(target, FieldDrawn):
        key, instead = target.field.casefold(), "Draw it anew: oplog land add FILE."
        versions = len(farm.fields.get(key, ()))
        used = any(v.field.casefold() == key for v in farm.visits)
    elif isinstance(target, KitListed):
        key, instead = target.name.casefold(), f"Correct it: oplog kit add {target.name} ..."
        versions = len(farm.kit.get(key, ()))
        used = any(key in (v.machine.casefold(), (v.implement or "").casefold())
                   for v in farm.visits)  # fmt: skip
        used = used or any(t.machine.casefold() == key for t in farm.tracks)
    else:
        return
    if used and versions <= 1 and not before(history, target):
        name = target.field if isinstance(target, FieldDrawn) else target.name
        raise OplogError(
            f"{name} is on record once, and work was measured with it. {instead} "
            "Nothing was changed."
        )
