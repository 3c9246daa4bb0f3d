"""Import: from the bytes of track files to what was done, as one entry of the log."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import islice
from typing import Any

from oplog.errors import Problem, UnreadableFile
from oplog.events import TrackImported
from oplog.flow.history import History, read
from oplog.flow.machines import Ask
from oplog.flow.operations import refuse_slips
from oplog.flow.remeasuring import MachineDayTask, in_place, measured, task
from oplog.flow.spreading import Spread, one_by_one
from oplog.flow.taking import Batch, FileTaken, MachineDay, Told, fixes_of, read_in, take
from oplog.fold import Farm
from oplog.log import Log, Packed, packed
from oplog.records import dataclass
from oplog.track import Track
from oplog.work.model import Settings

Progress = Callable[[str, int, int], None]
"""Told (what is being done, how far, of how much)."""

ONE_ENTRY_BYTES = 128 << 20
"""Files are taken in together, as one entry, until their bytes come to this much."""


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
    written: Mapping[str, date] | None = None,
    spread: Spread[Any, Any] = one_by_one,
) -> Imported:
    """Take in files, each name with its bytes, and measure every machine's day they touch.

    ask: asked for a machine where nothing tells which one a file belongs to. today: where given,
    a file whose dates look 1024 weeks off is not taken until told.add_days says what holds, or
    has said it before for the machine. written: the day that each file was written, by its name.
    spread: how the reading and the measuring are done: in this process, or over all cores (see
    spreading.over_cores); either way the log is written by this process and comes out the same.
    A file from which nothing can be taken is told of and does not stop the others.
    Raises: UnknownName for a machine, implement or zone that is not known; CannotWrite, LogBusy.
    """
    told = told or Told()
    history = read(log)
    told = _known(history.farm, told)
    taken: list[FileTaken] = []
    days: set[MachineDay] = set()
    entries: list[str] = []
    batch = Batch(history.farm)
    reading = partial(read_in, zone=told.zone)
    for file, found in spread(reading, _named(files, progress)):
        on = (written or {}).get(file[0])
        taken.append(take(history, batch, file, found, told, ask, today, on))
        if sum(map(len, batch.raw.values())) > ONE_ENTRY_BYTES:
            entries += _write(history, batch, settings, progress, command, spread)
            days |= batch.days
            history = read(log)
            batch = Batch(history.farm)
    entries += _write(history, batch, settings, progress, command, spread)
    all_days = tuple(sorted(days | batch.days, key=_by_day))
    said = any((told.implement, told.operation, told.driver))
    return Imported(tuple(taken), all_days, tuple(entries), said)


def _named(files: Iterable[tuple[str, bytes]], progress: Progress) -> Iterator[tuple[str, bytes]]:
    """The files, each told of as it is begun."""
    for number, file in enumerate(files):
        progress(f"reading {file[0]}", number, 0)
        yield file


def _write(
    history: History,
    batch: Batch,
    settings: Settings | None,
    progress: Progress,
    command: str,
    spread: Spread[Any, Any],
) -> list[str]:
    """Measure the days that the batch touches and write all of it as one entry."""
    if not batch.events:
        return []
    events = list(batch.events)
    ordered = sorted(batch.days, key=_by_day)

    def begun() -> Iterator[MachineDayTask]:
        for i, (machine, day) in enumerate(ordered):
            progress(f"measuring {machine}, {day.isoformat()}", i, len(ordered))
            yield task(batch.farm, machine, day, lambda d: fixes_of(history, batch, d), settings)

    contents = _contents(batch)
    to_pack, kept = iter(contents), dict[str, Packed]()
    a_day = -(-len(contents) // max(len(ordered), 1))
    for done, found in spread(measured, begun()):
        events += in_place(history, batch.farm, done.machine, done.day, found)
        # While other processes measure, not when they have nothing left to do.
        kept |= {name: packed(what, digest) for name, what, digest in islice(to_pack, a_day)}
    kept |= {name: packed(what, digest) for name, what, digest in to_pack}
    entry = history.append(
        events,
        fixes={digest: kept[digest] for digest in batch.fixes},
        raw={digest: kept[digest] for digest in batch.raw},
        command=command,
        files=batch.files,
    )
    return [entry.id] if entry.written else []


def _contents(batch: Batch) -> list[tuple[str, Track | bytes, str]]:
    """What a batch keeps beside its events: by what digest it is asked for, itself, and its own,
    which is another where it stands in the place of a file that may not be kept."""
    events = (e for e in batch.events if isinstance(e, TrackImported))
    instead = {e.file_digest: e.kept for e in events if e.kept}
    fixes = [(name, track, name) for name, track in batch.fixes.items()]
    return [*fixes, *((name, file, instead.get(name, name)) for name, file in batch.raw.items())]


def _known(farm: Farm, told: Told) -> Told:
    """What was said, with names as the log spells them. Raises: UnknownName."""
    if told.operation:
        refuse_slips(farm, told.operation)
    return replace(
        told,
        machine=farm.kit_item(told.machine, machine=True).name if told.machine else None,
        implement=farm.kit_item(told.implement, machine=False).name if told.implement else None,
    )


def _by_day(machine_day: MachineDay) -> tuple[date, str]:
    return (machine_day[1], machine_day[0].casefold())
