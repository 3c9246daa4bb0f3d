"""oplog sheet season"""

from __future__ import annotations

import click

from oplog.cli import _shared, _sheet


@click.command()
@click.argument("year", required=False, type=int, metavar="[YEAR]")
@_shared.customer_options
@_sheet.out_option
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, year: int | None, out: str | None, units: str, customer: str | None,
    drivers: bool,
) -> None:  # fmt: skip
    """Make the sheet of a harvest year: by day, by width, by machine, against the last.

    \b
    oplog sheet season 2027
    oplog sheet season 2027 --customer "Brook Farm"
    """
    from oplog.sheets.pages.season import season_page
    from oplog.sheets.uncounted import newest_season

    whole = _shared.farm_of(log)
    farm = _shared.seen_by(whole, customer, drivers)
    whom = _shared.customer_in(whole, customer)
    season = year or newest_season(farm) or _shared.today(farm).year
    page = season_page(farm, season, log.seal(), customer=whom, system=units)
    _sheet.put(page, out, "season", season, *([whom] if whom else []))
