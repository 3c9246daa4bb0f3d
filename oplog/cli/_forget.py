"""The steps of `oplog forget` and `oplog private` that more than one command needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import click

from oplog.cli import _shared
from oplog.errors import DONE, FAILED, OplogError

if TYPE_CHECKING:
    from oplog.flow.forgetting import Found


def tell_of_older(
    log: _shared.Log, places: Iterable[str], tell: Callable[[str], None] = _shared.say
) -> None:
    """Say what the log held of places before they were stated to be private, what was measured
    from it, and how it is taken out."""
    from oplog.flow.forgetting import within_place
    from oplog.log.memory import memory

    for place in places:
        with _shared.Progress() as progress:
            found = within_place(log, place, progress, memory())
        if found.parts:
            _tell_of_parts(log, place, found, tell)
        if found.unread:
            _shared.note(_unread(found.unread, place))
        if not found.parts:
            _tell_of_shapes(log, place, tell)


def _tell_of_parts(log: _shared.Log, place: str, found: Found, tell: Callable[[str], None]) -> None:
    from oplog.sheets.privacy import visit_names

    told = (
        f"The log holds {found.fix_count:,} positions in or about {place} from before, and "
        f"{_files(len(found.files))} that may speak of it. They are as they were."
    )
    if found.visits:
        farm = _shared.farm_of(log, detail=False)
        told += f" Work was measured from them: {visit_names(farm, found.visits)}."
    tell(told)
    _shared.note("To take them out for good:")
    _shared.note(f'oplog forget --place "{place}" --because "TEXT"', indent="  ")


def _tell_of_shapes(log: _shared.Log, place: str, tell: Callable[[str], None]) -> None:
    """Say which work is drawn through a place whose positions were forgotten already."""
    from oplog.flow.standing import drawn_through
    from oplog.sheets.privacy import again_lines, visit_names

    farm = _shared.farm_of(log, detail=False)
    visits = drawn_through(farm, place)
    if visits:
        tell(
            f"Work was measured from positions in {place} that were forgotten since. Its shape "
            f"still leads through the place: {visit_names(farm, visits)}."
        )
        _tell_again(again_lines(visits))


def _tell_again(lines: Sequence[str]) -> None:
    _shared.note(
        "To measure it again from what is left, with the ground there told as not looked at:"
    )
    for line in lines:
        _shared.note(line, indent="  ")


def show(log: _shared.Log, output: _shared.Output) -> None:
    """What was forgotten so far."""
    from oplog.sheets.privacy import forgotten_lines, forgotten_table

    farm = _shared.farm_of(log, detail=False)
    if output.form != "text":
        _shared.put(forgotten_table(farm), output, aside=_shared.beside(farm, ()))
        return
    lines = forgotten_lines(farm)
    for line in lines or ["Nothing was forgotten."]:
        _shared.say(line)


def found(
    log: _shared.Log, handle: str | None, machine: str | None, begin: datetime | None,
    end: datetime | None, place: str | None,
) -> Found:  # fmt: skip
    """What would be forgotten. Raises: UnknownName, OplogError."""
    from oplog.flow import forgetting

    with _shared.Progress() as progress:
        if place is not None:
            return forgetting.within_place(log, place, progress)
        if handle is not None:
            return forgetting.whole_import(log, handle, progress)
        assert machine is not None
        assert begin is not None
        assert end is not None
        zone = _shared.zone_of(_shared.farm_of(log, detail=False))
        begin, end = begin.replace(tzinfo=zone), end.replace(tzinfo=zone)
        return forgetting.in_period(log, machine, begin, end, progress)


def forget(log: _shared.Log, what: Found, because: str, yes: bool) -> int:
    """Show what would go, ask, and take it out; the exit code."""
    from oplog.flow import forgetting
    from oplog.sheets.privacy import again_lines, would_go

    if what.unread:
        _shared.note(_unread(what.unread, "it"))
    if not what.parts:
        _shared.say("The log holds nothing of that. Nothing was changed.")
        return DONE
    farm = _shared.farm_of(log, detail=False)
    for line in would_go(farm, what.parts, what.visits):
        if line.startswith(" ") and len(line) <= _shared.columns():
            click.echo(line)
        else:
            _shared.say(line)
    if not yes:
        if not _shared.at_terminal():
            raise OplogError("Nothing was changed. To do it without being asked: --yes")
        if not click.confirm("Take this out of the log for good?", default=False, err=True):
            _shared.say("Nothing was changed.")
            return FAILED
    forgetting.forget(log, what, because, command=_shared.typed())
    _shared.say(
        "Forgotten. Copies of the log elsewhere hold it until they are merged with this one or "
        "this one with them; backups hold it for good."
    )
    if what.place is not None and what.visits:
        _tell_again(again_lines(what.visits))
    return DONE


def _unread(count: int, place: str) -> str:
    """What could not be looked into, and what to do."""
    tracks = "1 track cannot" if count == 1 else f"{count} tracks cannot"
    return (
        f"{tracks} be read now, so that nobody can tell whether they hold positions in {place}: "
        "oplog check says which. Ask again once they are there."
    )


def _files(count: int) -> str:
    return "1 imported file" if count == 1 else f"{count} imported files"
