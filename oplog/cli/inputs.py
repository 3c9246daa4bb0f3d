"""oplog inputs"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Only work for this harvest.")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, year: int | None, output: _shared.Output) -> None:
    """Show what went out: rates, loads, refills, and drill settings."""
    from oplog.fold import of_tables
    from oplog.query import ask, find, records
    from oplog.sheets.inputs import inputs_sheet, seed_lines
    from oplog.sheets.questions import answer_table

    farm = _shared.farm_of(log)
    answer = ask(farm, "inputs", {"harvest_year": year})
    aside = _shared.beside(farm, of_tables(farm, (*find("inputs").reads, *find("seed_used").reads)))
    if output.form != "text":
        _shared.put(answer_table(answer), output, aside=aside)
        return
    settings = records(ask(farm, "seed_used"))
    if not answer.rows and not settings:
        click.echo("No input is stated. State one: oplog apply PRODUCT AMOUNT UNIT --to FIELD")
    if answer.rows:
        click.echo(inputs_sheet(records(answer), system=output.units, width=_shared.columns()))
    if settings:
        click.echo("\nDrill settings\n" + seed_lines(settings, width=_shared.columns()))
    _shared.end(aside, output.units)
