"""oplog output"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Only work for this harvest.")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, year: int | None, output: _shared.Output) -> None:
    """Show output by width: speed, rates, efficiency, and where the time goes."""
    from oplog.fold import of_tables
    from oplog.query import ask, find, records
    from oplog.sheets.output import output_sheet
    from oplog.sheets.questions import answer_table

    farm = _shared.farm_of(log)
    answer = ask(farm, "output_by_width", {"harvest_year": year})
    aside = _shared.beside(farm, of_tables(farm, find(answer.name).reads))
    if output.form != "text":
        _shared.put(answer_table(answer), output, aside=aside)
        return
    if not answer.rows:
        click.echo("No work with a known width is on file" + (f" for {year}." if year else "."))
        _shared.end(aside, output.units)
        return
    kinds = {name: versions[-1].kind for name, versions in farm.kit.items()}
    click.echo(output_sheet(records(answer), kinds, system=output.units, width=_shared.columns()))
    _shared.end(aside, output.units)
