"""oplog land"""

from __future__ import annotations

from pathlib import Path

import click

from oplog.cli import Commands, _shared


@click.command(
    cls=Commands, package=__name__, folder=Path(__file__).parent, invoke_without_command=True
)
@_shared.table_options
@click.pass_context
def command(ctx: click.Context, output: _shared.Output) -> None:
    """Show the fields with their areas and crops, and ground that waits for a name; or add to
    them.

    \b
    oplog land
    oplog land add boundaries.geojson --farm Home
    oplog land accept 1 --name "Long Acre"
    oplog land crop "Long Acre" "spring beans" --harvest 2027
    """
    if ctx.invoked_subcommand is None:
        _show(ctx, output)


def _show(ctx: click.Context, output: _shared.Output) -> None:
    from oplog import units
    from oplog.fold import of_tables
    from oplog.sheets.figures import area
    from oplog.sheets.listing import land_table
    from oplog.sheets.newground import land_data, waiting_table

    farm = _shared.farm_of(_shared.log_of(ctx), detail=False)
    today = _shared.today(farm)
    table = land_table(farm, today)
    waiting = waiting_table(farm)
    aside = _shared.beside(farm, of_tables(farm, ("fields", "crops")))
    if output.form != "text":
        _shared.put(land_data(table, waiting), output, aside=aside)
        return
    if table.rows:
        _shared.put(table, output)
        total = sum(row[2] for row in table.rows) * units.HECTARE_M2
        fields = "1 field" if len(table.rows) == 1 else f"{len(table.rows)} fields"
        click.echo(f"{fields}, {area(total, output.units)}")
    else:
        click.echo("No field is on file yet. Add boundaries: oplog land add FILE")
    if waiting.rows:
        click.echo()
        _shared.put(waiting, output)
        _shared.say("To name one and take its outline: oplog land accept NUMBER --name FIELD")
    _shared.end(aside, output.units)
