"""Take one file into a batch: read it, find its machine, keep what is new of it."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import field, replace
from datetime import date, timedelta
from functools import cached_property

from oplog import readers
from oplog.errors import OplogError, Problem
from oplog.events import DeviceAssigned, Event, Found, TrackImported
from oplog.flow import clearing, dating, gather, refusing
from oplog.flow.days import moment, split, working_day
from oplog.flow.history import History
from oplog.flow.machines import Ask, machine_of
from oplog.fold import Farm
from oplog.records import dataclass
from oplog.track import Track

MachineDay = tuple[str, date]


@dataclass(frozen=True)
class Told:
    """What was said with an import; it holds for the whole of it.

    zone: of times in a file that state none. add_days: what to add to the dates of a receiver
    whose week counter has run over; 0 where they are right all the same; None where nobody said.
    """

    machine: str | None = None
    implement: str | None = None
    operation: str | None = None
    driver: str | None = None
    zone: str | None = None
    add_days: int | None = None


@dataclass(frozen=True)
class FileTaken:
    """What became of one file.

    new, known: fixes added, and fixes that the log held already. how: how the machine was found.
    refused: why nothing was taken from it; "" where something was or all was known.
    """

    name: str
    machine: str = ""
    new: int = 0
    known: int = 0
    how: str = ""
    days: tuple[date, ...] = ()
    problems: tuple[Problem, ...] = ()
    refused: str = ""


@dataclass
class Batch:
    """Files read and not yet written. farm: what counts once they are; days: to be measured."""

    farm: Farm
    events: list[Event] = field(default_factory=list)
    fixes: dict[str, Track] = field(default_factory=dict)
    raw: dict[str, bytes] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    days: set[MachineDay] = field(default_factory=set)


@dataclass(frozen=True, eq=False)
class _File:
    """A file that was read. fixes: as the log keeps them; how: how its machine was found.
    cleared: it speaks of a private place or a forgotten stretch, so that its bytes are not kept.
    """

    name: str
    data: bytes
    fixes: Track
    problems: tuple[Problem, ...]
    how: str
    cleared: bool = False

    @cached_property
    def digest(self) -> str:
        """Digest of its bytes, by which the log knows it."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True, eq=False)
class FileRead:
    """A file that was read, and nothing of the log looked at yet. fixes: as the log keeps them;
    refused: why no work can be worked out from it."""

    track: Track
    problems: tuple[Problem, ...]
    fixes: Track
    refused: str


def read_in(file: tuple[str, bytes], zone: str | None) -> FileRead:
    """Read the bytes of a file of some name. Pure, for any process to do."""
    name, data = file
    track, problems = readers.read(data, name=name, zone=zone)
    fixes = gather.ready(track)
    refused = refusing.nothing_to_take(name, track, fixes, problems)
    return FileRead(track, tuple(problems), fixes, refused)


def take(
    history: History,
    batch: Batch,
    file: tuple[str, bytes],
    read: FileRead,
    told: Told,
    ask: Ask | None,
    today: date | None,
    written: date | None = None,
) -> FileTaken:
    """Take a file that was read into the batch. written: the day that the file was written."""
    name, data = file
    problems = list(read.problems)
    track, doubt = _dated(batch.farm, name, read, problems, told, written, today)
    fixes, refused = read.fixes, read.refused
    if track is not read.track:
        fixes = gather.ready(track)
        refused = refusing.nothing_to_take(name, track, fixes, problems)
    fixes, cleared = clearing.of_places(batch.farm, name, data, track, fixes, problems)
    refused = refused or refusing.nothing_left(name, fixes, problems)
    refused = refused or doubt
    if refused:
        return FileTaken(name, problems=tuple(problems), refused=refused)
    try:
        holder = None if told.machine else _holder(history, batch, fixes)
        machine, how = machine_of(batch.farm, name, track.device, told.machine, holder, ask)
    except OplogError as error:
        return FileTaken(name, problems=tuple(problems), refused=str(error))
    return _of_machine(
        history, batch, _File(name, data, fixes, tuple(problems), how, cleared), machine, told
    )


def _dated(
    farm: Farm,
    name: str,
    read: FileRead,
    problems: list[Problem],
    told: Told,
    written: date | None,
    today: date | None,
) -> tuple[Track, str]:
    """The track, its dates set right where that was said or confirmed before; and the question
    where they look 1024 weeks off and nobody has said."""
    track, fixes = read.track, read.fixes
    days, why = told.add_days, "as told"
    if days is None and today is not None:
        days = dating.doubt(fixes, farm, written, today)
        if days and not (why := dating.confirmed(farm, track.device, told.machine, days)):
            return track, f"{name} {dating.question(fixes, days, farm, written)}"
    if days:
        track, said = dating.moved(track, days, name, why)
        problems.append(said)
    return track, ""


def _holder(history: History, batch: Batch, fixes: Track) -> str | None:
    """The machine as whose the log holds most of these very fixes; None where it holds none."""
    known: Counter[str] = Counter()
    first_at, last_at = moment(fixes.time[0]), moment(fixes.time[-1])
    for one in gather.overlapping(batch.farm.tracks, first_at, last_at):
        held = fixes_of(history, batch, one.fixes)
        known[one.machine] += len(fixes) - len(gather.unknown(fixes, [held]))
    best = known.most_common(1)
    return best[0][0] if best and best[0][1] else None


def _of_machine(history: History, batch: Batch, file: _File, machine: str, told: Told) -> FileTaken:
    """Take the new fixes of a file that is known to be of a machine."""
    file = _without_forgotten(batch.farm, file, machine)
    name, fixes = file.name, file.fixes
    if refused := refusing.nothing_left(name, fixes, file.problems):
        return FileTaken(name, machine, problems=file.problems, refused=refused)
    first_at, last_at = moment(fixes.time[0]), moment(fixes.time[-1])
    own = [t for t in batch.farm.tracks if t.machine.casefold() == machine.casefold()]
    met = gather.overlapping(own, first_at, last_at)
    held = [fixes_of(history, batch, t.fixes) for t in met]
    new = gather.unknown(fixes, held)
    known = len(fixes) - len(new)
    if refused := refusing.elsewhere(name, machine, new, held):
        return FileTaken(name, machine, problems=file.problems, refused=refused)
    all_days = tuple(d for d, _ in split(fixes, batch.farm.zone, batch.farm.day_turns_at))
    if fixes.device:
        _remember(history, batch, fixes.device, machine)
    moved = _taken_as_anothers(batch, file.digest, machine) if told.machine and len(new) else []
    how = f"it was {moved[0].machine}'s in the log until now" if moved else file.how
    if len(new):
        _add(history, batch, file, machine, new, told, moved)
    return FileTaken(name, machine, len(new), known, how, all_days, file.problems)


def _without_forgotten(farm: Farm, file: _File, machine: str) -> _File:
    """The file without what was forgotten of this machine: it does not come back."""
    problems = list(file.problems)
    fixes = clearing.of_forgotten(farm, file.name, machine, file.fixes, problems)
    if fixes is file.fixes:
        return file
    return replace(file, fixes=fixes, problems=tuple(problems), cleared=True)


def _taken_as_anothers(batch: Batch, file_digest: str, machine: str) -> list[TrackImported]:
    """Imports of this very file for another machine, which the import now sets right. Their days
    are to be measured without them."""
    moved = [
        t
        for t in batch.farm.tracks
        if t.file_digest == file_digest and t.machine.casefold() != machine.casefold()
    ]
    zone, turn = batch.farm.zone, batch.farm.day_turns_at
    for one in moved:
        day = working_day(one.first_at, zone, turn)
        while day <= working_day(one.last_at, zone, turn):
            batch.days.add((one.machine, day))
            day += timedelta(days=1)
    kept = tuple(t for t in batch.farm.tracks if t not in moved)
    batch.farm = replace(batch.farm, tracks=kept)
    return moved


def _add(
    history: History,
    batch: Batch,
    file: _File,
    machine: str,
    new: Track,
    told: Told,
    instead_of: Sequence[TrackImported],
) -> None:
    kept = clearing.rewritten(file.fixes) if file.cleared else file.data
    event = history.anew(
        TrackImported(
            machine=machine,
            fixes=new.digest(),
            file_digest=file.digest,
            supersedes=tuple(sorted(t.event_id for t in instead_of)),
            fix_count=len(new),
            known_fixes=len(file.fixes) - len(new),
            first_at=moment(new.time[0]),
            last_at=moment(new.time[-1]),
            device=new.device or None,
            implement=told.implement,
            operation=told.operation,
            driver=told.driver,
            found=tuple(
                Found(
                    p.source.removeprefix(file.name).lstrip(":"), p.line, p.message, p.count, p.done
                )
                for p in file.problems
            ),
            kept=hashlib.sha256(kept).hexdigest() if file.cleared else None,
        )
    )
    batch.events.append(event)
    batch.fixes[event.fixes] = new
    batch.raw[file.digest] = kept
    batch.files.append(file.name)
    batch.farm = replace(batch.farm, tracks=(*batch.farm.tracks, event))
    for day, _ in split(new, batch.farm.zone, batch.farm.day_turns_at):
        batch.days.add((machine, day))


def _remember(history: History, batch: Batch, device: str, machine: str) -> None:
    """Note which machine a device belongs to: what is said last takes the place of the rest."""
    before = batch.farm.devices.get(device)
    if before is not None and before.casefold() == machine.casefold():
        return
    gone = {i for e in batch.events for i in e.supersedes}
    old = [
        e.event_id
        for e in (*history.of(DeviceAssigned), *batch.events)
        if isinstance(e, DeviceAssigned) and e.device == device and e.event_id not in gone
    ]
    event = DeviceAssigned(device=device, machine=machine, supersedes=tuple(sorted(old)))
    batch.events.append(history.anew(event))
    batch.farm = replace(batch.farm, devices={**batch.farm.devices, device: machine})


def fixes_of(history: History, batch: Batch, digest: str) -> Track:
    """The fixes of a digest, from the batch or the log."""
    return batch.fixes[digest] if digest in batch.fixes else history.log.fixes(digest)
