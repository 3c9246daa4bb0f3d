"""oplog sheet season"""

from __future__ import annotations

import click

from oplog.cli import _shared, _sheet


@click.command()
@click.argument("year", required=False, type=int, metavar="[YEAR]")
@_sheet.out_option
@_shared.units_option
@_shared.with_log
def command(log: _shared.Log, year: int | None, out: str | None, units: str) -> None:
    """Make the sheet of a harvest year: by day, by width, by machine, against the last.

    \b
    oplog sheet season 2027
    """
    from oplog.sheets.pages.season import season_page

    farm = _shared.farm_of(log)
    years = {s.harvest_year for s in farm.standing.values()} - {None}
    season = year or max((y for y in years if y), default=_shared.today(farm).year)
    _sheet.put(season_page(farm, season, log.seal(), system=units), out, "season", season)
