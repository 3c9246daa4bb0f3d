"""What `oplog sample` shows."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import click

from oplog.cli import _shared

if TYPE_CHECKING:
    from oplog.flow.sample import Sample
    from oplog.fold import Farm


def show(sample: Sample, folder: str, units: str) -> None:
    """A day, the season, and what to type next."""
    from oplog.query import ask
    from oplog.sheets.day import day_sheet
    from oplog.sheets.questions import answer_table

    farm = _shared.farm_of(sample.log)
    click.echo(
        f"{sample.name}, an invented farm, is open in {folder}: {len(farm.fields)} fields, "
        f"{sample.tracks} tracks.\n"
    )
    day = telling_day(farm)
    click.echo(
        day_sheet(farm, day, system=units, width=_shared.columns(), bold=_shared.bold()) + "\n"
    )
    output = _shared.Output("text", units, False)
    _shared.put(answer_table(ask(farm, "season_summary")), output, _shared.zone_of(farm))
    _shared.end(_shared.beside(farm, ()), units)
    click.echo("\nWhat to type next:")
    for command, what in (
        (f"cd {folder}", "so that the log is found"),
        (f"oplog day {day}", "that day again; any other date too"),
        (f"oplog sheet day {day}", "that day as a page to look at and print"),
        ("oplog jobs", "what is done and what is left"),
        ("oplog ask", "the questions it can answer"),
        ("oplog new my-farm", "a log of your own (see the README)"),
    ):
        click.echo(f"  {command:<27} {what}")


def telling_day(farm: Farm) -> date:
    """The day on which one machine did most different work, and of these the one with most."""

    def tells(day: date) -> tuple[int, float]:
        visits = [v for v in farm.visits if v.day == day]
        operations = {m: {v.operation for v in visits if v.machine == m} for m in _machines(farm)}
        return max(map(len, operations.values())), sum(v.worked_m2 or 0.0 for v in visits)

    return max((d.day for d in farm.days), key=tells)


def _machines(farm: Farm) -> set[str]:
    return {d.machine for d in farm.days}
