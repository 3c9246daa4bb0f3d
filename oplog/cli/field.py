"""oplog field"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("field", metavar="NAME")
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Only work for this harvest.")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, field: str, year: int | None, output: _shared.Output) -> None:
    """Show a field's season: operations in order, and what comes next.

    With what each got, the days between them, and the notes.
    """
    from oplog.query import ask, records
    from oplog.season.sequence import stages
    from oplog.sheets.questions import answer_table
    from oplog.sheets.season import field_sheet
    from oplog.sheets.unsettled import of_field

    farm = _shared.farm_of(log)
    name = farm.field(field).name
    answer = ask(farm, "field_season", {"field": name, "harvest_year": year})
    aside = _shared.beside(farm, of_field(farm, name))
    if output.form != "text":
        _shared.put(answer_table(answer), output, _shared.zone_of(farm), aside)
        return
    notes = records(ask(farm, "notes", {"field": name}))
    next_up = [s for s in stages(farm, year) if s.field == name]
    if not answer.rows and not notes:
        when = f" for harvest {year}" if year else ""
        click.echo(f"{name}: no work is on file{when}.")
        _shared.end(aside, output.units)
        return
    click.echo(
        field_sheet(
            name, records(answer), notes, next_up, system=output.units, width=_shared.columns()
        )
    )
    _shared.end(aside, output.units)
