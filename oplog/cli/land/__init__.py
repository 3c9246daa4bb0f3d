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
    """Show the fields with their areas and crops; or add to them.

    \b
    oplog land
    oplog land add boundaries.geojson --farm Home
    oplog land crop "Long Acre" "spring beans" --harvest 2027
    """
    if ctx.invoked_subcommand is None:
        _show(ctx, output)


def _show(ctx: click.Context, output: _shared.Output) -> None:
    from oplog import units
    from oplog.sheets.figures import area
    from oplog.sheets.listing import land_table

    farm = _shared.farm_of(_shared.log_of(ctx), detail=False)
    today = _shared.today(farm)
    table = land_table(farm, today)
    if output.form == "text" and not table.rows:
        click.echo("No field is on file yet. Add boundaries: oplog land add FILE")
        return
    _shared.put(table, output)
    if output.form == "text":
        total = sum(row[2] for row in table.rows) * units.HECTARE_M2
        click.echo(f"{len(table.rows)} fields, {area(total, output.units)}")
