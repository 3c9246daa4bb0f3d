"""Import: from the bytes of track files to what was done, as one entry of the log."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from oplog import readers
from oplog.errors import OplogError, Problem, UnreadableFile
from oplog.events import DeviceAssigned, Event, Found, TrackImported
from oplog.flow import gather
from oplog.flow.days import moment, split
from oplog.flow.history import History, read
from oplog.flow.machines import Ask, machine_of
from oplog.flow.remeasuring import measured_anew
from oplog.fold import Farm
from oplog.geodesy import Plane
from oplog.log import Log
from oplog.readers.rollover import suspect_rollover
from oplog.track import Track
from oplog.work.clean import clean, interleaved
from oplog.work.model import Settings

MachineDay = tuple[str, date]
Progress = Callable[[str, int, int], None]
"""Told (what is being done, how far, of how much)."""

ONE_ENTRY_BYTES = 128 << 20
"""Files are taken in together, as one entry, until their bytes come to this much."""

ELSEWHERE_M = 300.0
"""Two tracks that put one machine this far apart at the same instants are of two machines."""

JUMPING = 0.1
"""A receiver loses itself now and then; where more than this share of the fixes is elsewhere,
there are two."""


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


@dataclass(frozen=True)
class Imported:
    """What an import did.

    days: machine and working day of all that was measured. said: whether an implement, operation
    or driver came with it.
    """

    files: tuple[FileTaken, ...]
    days: tuple[MachineDay, ...]
    entries: tuple[str, ...]
    said: bool = False

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Everything found wrong in any file."""
        return tuple(p for f in self.files for p in f.problems)


@dataclass
class _Batch:
    """Files read and not yet written."""

    farm: Farm
    events: list[Event] = field(default_factory=list)
    fixes: dict[str, Track] = field(default_factory=dict)
    raw: dict[str, bytes] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    days: set[MachineDay] = field(default_factory=set)


@dataclass(frozen=True, eq=False)
class _File:
    """A file that was read. fixes: as the log keeps them; how: how its machine was found."""

    name: str
    data: bytes
    fixes: Track
    problems: tuple[Problem, ...]
    how: str


def import_file(
    log: Log, data: bytes, name: str, told: Told | None = None, settings: Settings | None = None
) -> Imported:
    """Take in one file. Raises: OplogError (UnreadableFile, UnknownName, ...) where it cannot be;
    the log is then as it was."""
    done = import_files(log, [(name, data)], told, settings=settings)
    if done.files[0].refused:
        raise UnreadableFile(done.files[0].refused)
    return done


def import_files(
    log: Log,
    files: Iterable[tuple[str, bytes]],
    told: Told | None = None,
    *,
    settings: Settings | None = None,
    ask: Ask | None = None,
    today: date | None = None,
    progress: Progress = lambda what, done, of: None,
    command: str = "import",
) -> Imported:
    """Take in files, each name with its bytes, and measure every machine's day they touch.

    ask: asked for a machine where nothing tells which one a file belongs to. today: where given,
    a file whose dates look 1024 weeks off is not taken until told.add_days says what holds.
    A file from which nothing can be taken is told of and does not stop the others.
    Raises: UnknownName for a machine, implement or zone that is not known; CannotWrite, LogBusy.
    """
    told = told or Told()
    history = read(log)
    told = _known(history.farm, told)
    taken: list[FileTaken] = []
    days: set[MachineDay] = set()
    entries: list[str] = []
    batch = _Batch(history.farm)
    for name, data in files:
        progress(f"reading {name}", len(taken), 0)
        taken.append(_take(history, batch, name, data, told, ask, today))
        if sum(map(len, batch.raw.values())) > ONE_ENTRY_BYTES:
            entries += _write(history, batch, settings, progress, command)
            days |= batch.days
            history = read(log)
            batch = _Batch(history.farm)
    entries += _write(history, batch, settings, progress, command)
    measured = tuple(sorted(days | batch.days, key=_by_day))
    said = any((told.implement, told.operation, told.driver))
    return Imported(tuple(taken), measured, tuple(entries), said)


def _take(
    history: History,
    batch: _Batch,
    name: str,
    data: bytes,
    told: Told,
    ask: Ask | None,
    today: date | None,
) -> FileTaken:
    """Read one file into the batch."""
    track, problems = readers.read(data, name=name, zone=told.zone)
    if told.add_days:
        track = replace(track, time=track.time + np.timedelta64(told.add_days, "D"))
        problems.append(Problem(name, None, f"dates moved by {told.add_days} days, as told"))
    fixes = gather.ready(track)
    refused = _nothing_to_take(name, track, fixes, problems)
    refused = refused or _date_in_doubt(name, fixes, told, today)
    if refused:
        return FileTaken(name, problems=tuple(problems), refused=refused)
    try:
        machine, how = machine_of(batch.farm, name, track.device, told.machine, ask)
    except OplogError as error:
        return FileTaken(name, problems=tuple(problems), refused=str(error))
    return _of_machine(
        history, batch, _File(name, data, fixes, tuple(problems), how), machine, told
    )


def _of_machine(
    history: History, batch: _Batch, file: _File, machine: str, told: Told
) -> FileTaken:
    """Take the new fixes of a file that is known to be of a machine."""
    name, fixes = file.name, file.fixes
    first_at, last_at = moment(fixes.time[0]), moment(fixes.time[-1])
    own = [t for t in batch.farm.tracks if t.machine.casefold() == machine.casefold()]
    met = gather.overlapping(own, first_at, last_at)
    held = [_fixes(history, batch, t.fixes) for t in met]
    new = gather.unknown(fixes, held)
    known = len(fixes) - len(new)
    if (apart_m := gather.apart_m(new, held)) > ELSEWHERE_M:
        refused = (
            f"{name}: {machine} was {apart_m / 1000.0:.1f} km away at these very times, by a track "
            "that is in the log already. Is this another machine's? Then say whose: --machine NAME."
        )
        return FileTaken(name, machine, problems=file.problems, refused=refused)
    all_days = tuple(d for d, _ in split(fixes, batch.farm.zone, batch.farm.day_turns_at))
    if fixes.device:
        _remember(history, batch, fixes.device, machine)
    if len(new):
        _add(history, batch, file, machine, new, told)
    return FileTaken(name, machine, len(new), known, file.how, all_days, file.problems)


def _add(
    history: History, batch: _Batch, file: _File, machine: str, new: Track, told: Told
) -> None:
    file_digest = hashlib.sha256(file.data).hexdigest()
    event = history.anew(
        TrackImported(
            machine=machine,
            fixes=new.digest(),
            file_digest=file_digest,
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
        )
    )
    batch.events.append(event)
    batch.fixes[event.fixes] = new
    batch.raw[file_digest] = file.data
    batch.files.append(file.name)
    batch.farm = replace(batch.farm, tracks=(*batch.farm.tracks, event))
    for day, _ in split(new, batch.farm.zone, batch.farm.day_turns_at):
        batch.days.add((machine, day))


def _remember(history: History, batch: _Batch, device: str, machine: str) -> None:
    """Note which machine a device belongs to."""
    before = batch.farm.devices.get(device)
    if before is not None and before.casefold() == machine.casefold():
        return
    old = DeviceAssigned(device=device, machine=before).event_id if before else None
    supersedes = (old,) if old in history.ids else ()
    event = DeviceAssigned(
        device=device, machine=machine, supersedes=tuple(filter(None, supersedes))
    )
    batch.events.append(history.anew(event))
    batch.farm = replace(batch.farm, devices={**batch.farm.devices, device: machine})


def _write(
    history: History, batch: _Batch, settings: Settings | None, progress: Progress, command: str
) -> list[str]:
    """Measure the days that the batch touches and write all of it as one entry."""
    if not batch.events:
        return []
    events = list(batch.events)
    ordered = sorted(batch.days, key=_by_day)
    for i, (machine, day) in enumerate(ordered):
        progress(f"measuring {machine}, {day.isoformat()}", i, len(ordered))
        events += measured_anew(
            history,
            batch.farm,
            machine,
            day,
            lambda digest: _fixes(history, batch, digest),
            settings,
        )
    entry = history.append(
        events, fixes=batch.fixes, raw=batch.raw, command=command, files=batch.files
    )
    return [entry.id] if entry.written else []


def _fixes(history: History, batch: _Batch, digest: str) -> Track:
    return batch.fixes[digest] if digest in batch.fixes else history.log.fixes(digest)


def _nothing_to_take(name: str, track: Track, fixes: Track, problems: Sequence[Problem]) -> str:
    """Why no work can be worked out from a file; "" where it can."""
    if not len(track):
        return f"{name}: {_reasons(problems) or 'it holds no positions'}. Nothing was added."
    if not len(fixes):
        count = "one position without a time" if len(track) == 1 else "positions without times"
        return (
            f"{name}: {count}. They show where, but not when, so that no work can be worked out "
            "from them. Nothing was added."
        )
    if len(fixes) < 2:
        return f"{name}: only one position with a time. Nothing was added."
    if in_two_places(track):
        return (
            f"{name}: positions jump back and forth between places faster than any machine can "
            "drive, again and again: this is more than one machine in one file. Export each "
            "machine's track by itself. Nothing was added."
        )
    return ""


def _reasons(problems: Sequence[Problem]) -> str:
    """What was found wrong, commonest first, as one sentence without its stop."""
    ordered = sorted(problems, key=lambda p: -p.count)
    return "; ".join(
        p.message
        + (f" ({p.count} times)" if p.count > 1 else "")
        + (f" (line {p.line})" if p.line is not None and p.count == 1 else "")
        for p in ordered[:3]
    )


def _date_in_doubt(name: str, fixes: Track, told: Told, today: date | None) -> str:
    """What there is to say where the dates look 1024 weeks off; "" otherwise."""
    if today is None or told.add_days is not None:
        return ""
    days = suspect_rollover(fixes.time[0], today)
    if days is None:
        return ""
    first = fixes.time[0].astype("datetime64[D]")
    return (
        f"{name} begins on {first}. Receivers whose week counter has run over write dates "
        f"1024 weeks off: it could be {first + np.timedelta64(days, 'D')}. If so, import it with "
        f"--add-days {days}; if the date is right, with --add-days 0. Nothing was added."
    )


def in_two_places(track: Track) -> bool:
    """Whether one track is two machines whose fixes interleave."""
    fixes = gather.ready(track)
    plane = Plane(float(np.median(fixes.lon)), float(np.median(fixes.lat)))
    x, y = plane.xy(fixes.lon, fixes.lat)
    at_once = np.diff(fixes.time) == np.timedelta64(0, "us")
    torn = int((at_once & (np.hypot(np.diff(x), np.diff(y)) > ELSEWHERE_M)).sum())
    cleaned = clean(fixes, plane)
    few = max(20, JUMPING * len(cleaned))
    return torn > few or cleaned.jumps > few or interleaved(cleaned)


def _known(farm: Farm, told: Told) -> Told:
    """What was said, with names as the log spells them. Raises: UnknownName."""
    return replace(
        told,
        machine=farm.kit_item(told.machine, machine=True).name if told.machine else None,
        implement=farm.kit_item(told.implement, machine=False).name if told.implement else None,
    )


def _by_day(machine_day: MachineDay) -> tuple[date, str]:
    return (machine_day[1], machine_day[0].casefold())
