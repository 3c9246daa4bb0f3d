"""oplog season"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("year", type=int)
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, year: int, output: _shared.Output) -> None:
    """Show a season by harvest year: hectares, hours, fuel, against the one before."""
    from oplog.query import ask, records
    from oplog.sheets.questions import answer_table
    from oplog.sheets.season import season_sheet
    from oplog.sheets.unsettled import of_season

    farm = _shared.farm_of(log)
    answer = ask(farm, "season", {"harvest_year": year})
    aside = _shared.beside(farm, of_season(farm, year))
    if output.form != "text":
        _shared.put(answer_table(answer), output, aside=aside)
        return
    if not answer.rows:
        years = sorted({s.harvest_year for s in farm.standing.values() if s.harvest_year})
        known = f" There is for {', '.join(map(str, years))}." if years else ""
        click.echo(f"No work counts to harvest {year}.{known}")
        _shared.end(aside, output.units)
        return
    days = records(ask(farm, "season_days", {"harvest_year": year}))
    click.echo(
        season_sheet(
            records(answer), days, year, system=output.units, width=_shared.columns(),
            bold=_shared.bold(),
        )
    )  # fmt: skip
    _shared.end(aside, output.units)
