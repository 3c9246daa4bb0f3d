"""oplog season"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("year", required=False, type=int, metavar="[YEAR]")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, year: int | None, output: _shared.Output) -> None:
    """Show a season by harvest year: hectares, hours, fuel, against the one before.

    Without a year, the latest that work counts to.
    """
    from oplog.query import ask, records
    from oplog.sheets.questions import answer_table
    from oplog.sheets.season import season_sheet
    from oplog.sheets.uncounted import TO_COUNT, newest_season, uncounted
    from oplog.sheets.unsettled import of_season

    farm = _shared.farm_of(log)
    lacks = uncounted(farm, year, output.units)
    year = year or newest_season(farm) or _shared.today(farm).year
    answer = ask(farm, "season", {"harvest_year": year})
    aside = _shared.beside(farm, of_season(farm, year))
    if output.form != "text":
        _shared.put(answer_table(answer), output, aside=aside)
        if lacks:
            _shared.note(lacks)
        return
    if not answer.rows:
        years = sorted({s.harvest_year for s in farm.standing.values() if s.harvest_year})
        known = f" There is for {', '.join(map(str, years))}." if years else ""
        click.echo(f"No work counts to harvest {year}.{known}")
        if lacks:
            _shared.say(f"\n{lacks} {TO_COUNT}")
        _shared.end(aside, output.units)
        return
    days = records(ask(farm, "season_days", {"harvest_year": year}))
    click.echo(
        season_sheet(
            records(answer), days, year, system=output.units, width=_shared.columns(),
            bold=_shared.bold(),
        )
    )  # fmt: skip
    if lacks:
        _shared.say(f"\n{lacks} {TO_COUNT}")
    _shared.end(aside, output.units)
