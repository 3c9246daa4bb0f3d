"""oplog sheet day"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared, _sheet


@click.command()
@click.argument("day", required=False, type=_shared.DAY, metavar="[DATE]")
@click.option("--machine", metavar="NAME", help="One machine only.")
@_shared.customer_options
@_sheet.out_option
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, day: date | str | None, machine: str | None, out: str | None, units: str,
    customer: str | None, drivers: bool,
) -> None:  # fmt: skip
    """Make the sheet of a day: totals, maps, the clock, what is unsure.

    \b
    oplog sheet day
    oplog sheet day 2027-03-25 --machine blue
    oplog sheet day 2027-03-25 --customer "Brook Farm"
    """
    from oplog.flow.fixes import day_fixes
    from oplog.sheets.pages.day import day_page
    from oplog.sheets.pages.trails import trails

    whole = _shared.farm_of(log)
    farm = _shared.seen_by(whole, customer, drivers)
    whom = _shared.customer_in(whole, customer)
    name = farm.kit_item(machine, machine=True).name if machine else None
    last = max([*(d.day for d in farm.days), *(v.day for v in farm.visits)], default=None)
    when = _shared.day_of(farm, day) or last or _shared.today(farm)
    # Where a machine was outside a customer's ground is nobody else's business.
    ways = trails(day_fixes(farm, log.fixes, when, name)) if whom is None else {}
    page = day_page(farm, when, ways, log.seal(), machine=name, customer=whom, system=units)
    _sheet.put(page, out, "day", when, *filter(None, (name, whom)))
