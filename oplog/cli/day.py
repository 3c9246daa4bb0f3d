"""oplog day"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("day", required=False, type=_shared.DAY, metavar="[DATE]")
@click.option("--machine", metavar="NAME", help="One machine only.")
@_shared.table_options
@_shared.with_log
def command(
    log: _shared.Log, day: date | str | None, machine: str | None, output: _shared.Output
) -> None:
    """Show what was done on a day: today, or the latest with work.

    \b
    oplog day
    oplog day 2027-03-25 --machine blue
    oplog day 2027-03-25 --csv
    """
    from oplog.sheets.day import day_sheet, days_of, visits_of
    from oplog.sheets.unsure import unsettled_of, unsettled_on

    farm = _shared.farm_of(log, detail=False)
    name = farm.kit_item(machine, machine=True).name if machine else None
    when = _shared.day_of(farm, day) or _latest(farm)
    days = days_of(farm, when, name)
    found = unsettled_of(farm, days, visits_of(farm, when, name))
    if not days:
        found = unsettled_on(farm, when, name)
    if output.form != "text":
        _shared.put(_visits(farm, when, name), output, aside=_shared.beside(farm, found))
        return
    click.echo(
        day_sheet(
            _shared.with_spans(farm, log, when), when, machine=name, system=output.units,
            width=_shared.columns(), bold=_shared.bold(),
        )
    )  # fmt: skip
    # What is unsettled of work that is shown stands with what is unsure.
    _shared.end(_shared.beside(farm, () if days else found), output.units)


def _latest(farm: _shared.FarmType) -> date:
    """The last day with something recorded; today where there is none."""
    return max((d.day for d in farm.days), default=_shared.today(farm))


def _visits(farm: _shared.FarmType, day: date, machine: str | None) -> _shared.TableType:
    """The day's rows of the question `visits`."""
    from dataclasses import replace

    from oplog.query import ask
    from oplog.sheets.questions import answer_table

    table = answer_table(ask(farm, "visits", {"day": day}))
    at = [c.name for c in table.columns].index("machine")
    return replace(table, rows=tuple(r for r in table.rows if machine in (None, r[at])))
