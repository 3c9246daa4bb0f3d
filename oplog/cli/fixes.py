"""oplog fixes"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("day", type=_shared.DAY, metavar="DATE")
@click.option("--machine", metavar="NAME", help="One machine only.")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, day: date | str, machine: str | None, output: _shared.Output) -> None:
    """Give every fix of a day, with field, state and bout.

    \b
    oplog fixes 2027-03-25 --csv > fixes.csv
    """
    from oplog.flow.fixes import day_fixes
    from oplog.sheets.day import days_of, visits_of
    from oplog.sheets.fixes import fixes_screen, fixes_table
    from oplog.sheets.unsure import unsettled_of, unsettled_on

    farm = _shared.farm_of(log)
    name = farm.kit_item(machine, machine=True).name if machine else None
    when = _shared.day_of(farm, day)
    labelled = day_fixes(farm, log.fixes, when, name) if when else []
    if not labelled:
        _shared.note(f"Nothing was recorded on {when}.")
    days = days_of(farm, when, name) if when else []
    visits = visits_of(farm, when, name) if when else []
    found = unsettled_of(farm, days, visits)
    if when and not days:
        found = unsettled_on(farm, when, name)
    aside = _shared.beside(farm, found)
    if output.form != "text":
        _shared.put(fixes_table(labelled), output, aside=aside)
        return
    _shared.put(fixes_screen(labelled, _shared.zone_of(farm)), output)
    _shared.end(aside, output.units)
