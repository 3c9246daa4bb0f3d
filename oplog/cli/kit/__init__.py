"""oplog kit"""

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
    """Show machines and implements; or add to them.

    \b
    oplog kit
    oplog kit add blue --kind tractor --hitch 2.5m --carries drill
    oplog kit add drill --kind drill --width 4m --behind 2m --trailed
    """
    if ctx.invoked_subcommand is None:
        _show(ctx, output)


def _show(ctx: click.Context, output: _shared.Output) -> None:
    from oplog.fold import of_tables
    from oplog.sheets.listing import implements_table, kit_table, machines_table

    farm = _shared.farm_of(_shared.log_of(ctx), detail=False)
    today = _shared.today(farm)
    aside = _shared.beside(farm, of_tables(farm, ["kit"]))
    if output.form != "text":
        _shared.put(kit_table(farm, today), output, aside=aside)
        return
    if not farm.kit:
        click.echo("No machine and no implement yet. Add one: oplog kit add NAME --kind KIND")
    else:
        _shared.put(machines_table(farm, today), output)
        click.echo()
        _shared.put(implements_table(farm, today), output)
    _shared.end(aside, output.units)
