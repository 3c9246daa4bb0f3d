"""The steps of `oplog import` that need a terminal or a disk."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from oplog.cli import _shared
from oplog.errors import DONE_WITH_PROBLEMS, OplogError, UnreadableFile

if TYPE_CHECKING:
    from oplog.events import WorkMeasured
    from oplog.flow.importing import Imported
    from oplog.flow.machines import Ask
    from oplog.flow.taking import FileTaken
    from oplog.fold import Farm

_TO_TYPE = re.compile(r"--[a-z]|\boplog [a-z]")

FEW_NAMES = 3
"""So many files are named that were left out for one reason."""

FULL_SCREENS = 2
"""Machine-days shown in full after an import; more come as one line each."""


def run(log: _shared.Log, paths: Sequence[str], told: dict[str, Any]) -> Imported:
    """Read the files and take them in, with progress at a terminal.

    Raises: UnreadableFile where nothing could be taken from any of them.
    """
    from oplog.cli._files import contents
    from oplog.cli._zone import known_zone
    from oplog.flow.importing import import_files
    from oplog.flow.spreading import over_cores
    from oplog.flow.taking import Told

    unread: list[FileTaken] = []
    files = list(found(paths, unread, log.path))
    if not files and not unread:
        raise UnreadableFile(f"There is no file in {', '.join(paths)}. Nothing was changed.")
    if told.get("zone"):
        told["zone"] = known_zone(told["zone"])
    written: dict[str, date] = {}
    with _shared.Progress(len(files)) as progress, over_cores() as spread:
        done = import_files(
            log,
            contents(files, unread, written),
            Told(**told),
            ask=asking(progress) if _shared.at_terminal() else None,
            today=_shared.today(_shared.farm_of(log, detail=False)),
            progress=progress,
            command=_shared.typed(),
            written=written,
            spread=spread,
        )
    done = replace(done, files=(*done.files, *unread))
    if all(f.refused for f in done.files):
        raise UnreadableFile("\n".join(left_out(done.files)))
    return done


def found(paths: Sequence[str], unread: list[FileTaken], own: Path | None = None) -> Iterator[str]:
    """The files that paths stand for; folders are read through in order. Hidden files are left out
    there, the parts of a log, and what is no file (pipes, sockets), as reading it might never end.
    unread: takes in the folders that cannot be listed, and logs but for the one that is open (own).

    Raises: OplogError for a path that is not there.
    """
    from oplog.cli._files import is_a_log, untold
    from oplog.log.folder import PARTS, is_log

    for path in paths:
        if os.path.isdir(path):
            for folder, inner, names in os.walk(path, onerror=lambda e: unread.append(untold(e))):
                if is_log(Path(folder)):
                    inner[:] = [n for n in inner if n not in PARTS]
                    names = [n for n in names if n not in PARTS]
                    if own is None or not os.path.samefile(folder, own):
                        unread.append(is_a_log(folder))
                inner[:] = sorted(n for n in inner if not n.startswith((".", "$", "System Volume")))
                inside = (str(Path(folder, n)) for n in sorted(names) if not n.startswith("."))
                yield from (f for f in inside if os.path.isfile(f) or not os.path.exists(f))
        elif os.path.exists(path):
            yield path
        else:
            raise OplogError(f"There is no file or folder {path}. Nothing was changed.")


def asking(progress: _shared.Progress) -> Ask:
    """Asks whose track a file is."""

    def ask(name: str, known: Sequence[str]) -> str | None:
        progress.clear()
        return _choice(f"Whose track is {name}?", known, "leaves it out")

    return ask


def ask_for_open(log: _shared.Log, done: Imported) -> None:
    """At a terminal, ask once what nobody has said of each open visit, and keep the answers as one
    entry. Return leaves a visit open."""
    if not _shared.at_terminal() or not done.days:
        return
    from oplog.flow.saying import Words, say
    from oplog.ground import place_name

    farm = _shared.farm_of(log, detail=False)
    implements = sorted({v[-1].name for v in farm.kit.values() if not v[-1].is_machine})
    drivers = sorted({v.driver for v in farm.visits if v.driver})
    answers = []
    for visit in open_visits(farm, done) if implements else []:
        place = place_name(farm, visit)
        what = f"{visit.machine} in {place} on {visit.day}, from {_start(farm, visit)}"
        implement = _choice(f"{what}: with?", implements)
        driver = None
        if implement and drivers and visit.driver is None:
            driver = _answer(f"{what}: driven by? [{', '.join(drivers)} or another; Return: open]")
        if implement:
            handle = farm.standing[visit.event_id].handle
            answers.append((handle, Words(implement=implement, driver=driver)))
    if answers:
        say(log, answers, command=_shared.typed())


def open_visits(farm: Farm, done: Imported) -> list[WorkMeasured]:
    """Visits of the days just imported of which nobody has said with what they were done."""
    from oplog.sheets.unsure import is_open

    return [v for v in farm.visits if (v.machine, v.day) in done.days and is_open(v)]


def show(log: _shared.Log, farm: Farm, done: Imported, units: str) -> None:
    """The one screen after an import: the day, or a line for each of many days."""
    from oplog.sheets.day import day_sheet

    if len(done.days) > FULL_SCREENS:
        from oplog.sheets.days import days_table

        _shared.put(days_table(farm, done.days), _shared.Output("text", units, False))
        click.echo("\nA day in full: oplog day DATE")
        _shared.end(_shared.beside(farm, ()))
        return
    for i, (machine, day) in enumerate(done.days):
        click.echo("\n" * (i > 0), nl=False)
        click.echo(
            day_sheet(
                _shared.with_spans(farm, log, day),
                day,
                machine=machine,
                system=units,
                width=_shared.columns(),
                bold=_shared.bold(),
            )
        )
    if done.days:
        _shared.end(_shared.beside(farm, ()))


def tell_of_files(done: Imported, every: bool) -> None:
    """Tell what was taken from each file: before the screen, to stderr."""
    taken = [f for f in done.files if not f.refused]
    shown = taken if every or len(taken) <= 2 * _shared.FEW else taken[: _shared.FEW]
    for f in shown:
        _shared.note(_taken(f), indent="  ")
    if rest := taken[len(shown) :]:
        _shared.note(
            f"and {len(rest)} more files: {sum(f.new for f in rest):,} new fixes, "
            f"{sum(f.known for f in rest):,} known before."
        )
    if not done.days:
        said = " What is said of visits in it: oplog say VISIT --implement NAME." * done.said
        _shared.note(f"Nothing was added: the log holds all of this already.{said}")
    elif _shared.at_terminal():
        click.echo(err=True)


def exit_code(farm: Farm, done: Imported, every: bool) -> int:
    """Tell of problems, after the screen, and give the exit code."""
    refused = left_out(done.files)
    told = [p for f in done.files if not f.refused for p in f.problems]
    if refused or told:
        click.echo(err=True)
    shown = refused if every else refused[: _shared.FEW]
    for reason in shown:
        _shared.note(f"Left out: {reason}", indent="  ")
    if len(shown) < len(refused):
        _shared.note(f"and {len(refused) - len(shown)} more left out (--problems shows all)")
    code = _shared.problems(told, every=every)
    recorded = {(d.machine, d.day) for d in farm.days} & set(done.days)
    nowhere = recorded - {(v.machine, v.day) for v in farm.visits}
    return DONE_WITH_PROBLEMS if refused or nowhere else code


def left_out(files: Sequence[FileTaken]) -> list[str]:
    """Why files were left out, once for each reason with the files' names; first what a person can
    do something about, which comes with an option or a command to type."""
    names: dict[str, list[str]] = {}
    for f in files:
        if f.refused:
            start = f"{f.name}: "
            named = f.refused.startswith(start)
            alike = names.setdefault(f.refused.removeprefix(start), [])
            alike += [f.name] if named and f.name not in alike else []
    found = [f"{_listed(some)}: {why}" if some else why for why, some in names.items()]
    return sorted(found, key=lambda text: not _TO_TYPE.search(text))


def _listed(names: Sequence[str]) -> str:
    more = len(names) - FEW_NAMES
    return ", ".join(names[:FEW_NAMES]) + (f" and {more} more" if more > 0 else "")


def _taken(f: FileTaken) -> str:
    known = f", {f.known:,} known before" if f.known else ""
    new = f"{f.new:,} new fixes" if f.new else "nothing new"
    how = f" ({f.how})" if f.how else ""
    return f"{f.name}: {new}{known}{how}."


def _choice(question: str, known: Sequence[str], if_none: str = "leaves it open") -> str | None:
    """One of the names known, asked until it is one; None for Return alone."""
    by_key = {k.casefold(): k for k in known}
    while True:
        answer = _answer(f"{question} [{', '.join(known)}; Return {if_none}]")
        if answer is None or answer.casefold() in by_key:
            return by_key[answer.casefold()] if answer else None
        click.echo(f"{answer!r} is not one of them.", err=True)


def _answer(question: str) -> str | None:
    """What a person answers; None for Return alone."""
    said: str = click.prompt(question, default="", show_default=False, err=True)
    return said.strip() or None


def _start(farm: Farm, visit: WorkMeasured) -> str:
    from zoneinfo import ZoneInfo

    return f"{visit.started_at.astimezone(ZoneInfo(farm.zone)):%H:%M}"
