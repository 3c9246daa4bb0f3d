"""What `oplog remeasure` does between showing and writing."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import click

from oplog.cli import _shared

if TYPE_CHECKING:
    from oplog.flow.changing import Which


def run(
    log: _shared.Log,
    output: _shared.Output,
    field: str | None,
    day: date | str | None,
    machine: str | None,
    forgotten: bool,
    because: str | None,
    yes: bool,
) -> None:
    """Show what would change, ask, and write."""
    from oplog.flow.changing import Which, measure_again, would_change
    from oplog.fold import of_tables
    from oplog.sheets.changes import changes_table

    which = Which(field, _shared.day_in(log, day), machine, forgotten)
    with _shared.Progress() as progress:
        found = would_change(log, which, step=lambda name, on: progress(f"{name}, {on}", 0, 1))
    _tell_what_stands(log, which)
    farm = found.history.farm
    aside = _shared.beside(farm, of_tables(farm, ["visits", "days"]))
    if output.form == "text" and not found.changes:
        _shared.say("Nothing would change: every figure is what measuring again gives.")
    else:
        _shared.put(changes_table(found.changes), output, aside=aside)
    if output.form == "text":
        _shared.end(aside, output.units)
    if not found.changes:
        return
    if not yes and not _agreed(len(found.changes)):
        _shared.note("Nothing was changed. To do it: the same command with --yes")
        return
    measure_again(found, because, command=_shared.typed())
    _shared.note(f"Measured again: {_visits(len(found.changes))}. The old figures stay in the log.")


def _tell_what_stands(log: _shared.Log, which: Which) -> None:
    """Name the visits that rest on forgotten fixes: measuring again leaves them as they are."""
    from oplog.flow.standing import rests_on_forgotten
    from oplog.sheets.privacy import visit_names

    farm = _shared.farm_of(log, detail=False)
    private = {p.place.casefold() for p in farm.private} if which.forgotten else set()
    stand = [
        v
        for v in farm.visits
        if which.day in (None, v.day)
        and (which.field or v.field).casefold() == v.field.casefold()
        and (which.machine or v.machine).casefold() == v.machine.casefold()
        and any((f.place or "").casefold() not in private for f in rests_on_forgotten(farm, v))
    ]
    if stand:
        _shared.note(
            f"These rest on fixes that were forgotten and stand as they are: "
            f"{visit_names(farm, stand)}."
        )


def _agreed(visits: int) -> bool:
    return _shared.at_terminal() and click.confirm(f"Change {_visits(visits)}?", err=True)


def _visits(number: int) -> str:
    return "1 visit" if number == 1 else f"{number} visits"
