"""oplog sheet day"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared, _sheet


@click.command()
@click.argument("day", required=False, type=_shared.DAY, metavar="[DATE]")
@click.option("--machine", metavar="NAME", help="One machine only.")
@_sheet.out_option
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, day: date | str | None, machine: str | None, out: str | None, units: str
) -> None:
    """Make the sheet of a day: totals, maps, the clock, what is unsure.

    \b
    oplog sheet day
    oplog sheet day 2027-03-25 --machine blue
    """
    from oplog.flow.fixes import day_fixes
    from oplog.sheets.pages.day import day_page
    from oplog.sheets.pages.trails import trails

    farm = _shared.farm_of(log)
    name = farm.kit_item(machine, machine=True).name if machine else None
    when = _shared.day_of(farm, day) or max((d.day for d in farm.days), default=None)
    when = when or _shared.today(farm)
    ways = trails(day_fixes(farm, log.fixes, when, name))
    page = day_page(farm, when, ways, log.seal(), machine=name, system=units)
    _sheet.put(page, out, "day", when, *([name] if name else []))
