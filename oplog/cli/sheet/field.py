"""oplog sheet field"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from oplog.cli import _shared, _sheet

if TYPE_CHECKING:
    from oplog.events import WorkMeasured
    from oplog.sheets.pages.trails import Trail


@click.command()
@click.argument("field", metavar="FIELD")
@click.option(
    "--harvest", "year", type=int, metavar="YEAR", help="Otherwise the latest worked for."
)
@_shared.customer_options
@_sheet.out_option
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, field: str, year: int | None, out: str | None, units: str,
    customer: str | None, drivers: bool,
) -> None:  # fmt: skip
    """Make the sheet of a field: its season in order, and the last work's map.

    \b
    oplog sheet field "Long Acre"
    oplog sheet field "Long Acre" --customer "Brook Farm"
    """
    from oplog.flow.fixes import day_fixes
    from oplog.sheets.pages.field import field_page, seasons_of
    from oplog.sheets.pages.trails import trails

    whole = _shared.farm_of(log)
    farm = _shared.seen_by(whole, customer, drivers)
    whom = _shared.customer_in(whole, customer)
    name = farm.field(field).name
    season = year or max(seasons_of(farm, name), default=None)

    def trail_of(visit: WorkMeasured) -> Trail | None:
        if customer is not None:  # its machine's whole day is nobody else's business
            return None
        labelled = day_fixes(farm, log.fixes, visit.day, visit.machine)
        return trails(labelled).get(visit.machine)

    page = field_page(farm, name, season, trail_of, log.seal(), customer=whom, system=units)
    _sheet.put(page, out, "field", name, *(str(x) for x in (season, whom) if x))
