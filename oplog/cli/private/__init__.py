"""oplog private"""

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
    """Show the places that are cut from every track before it is kept; or add to them.

    \b
    oplog private
    oplog private add home --at 52.3009,0.1720 --radius 150m
    oplog private remove home --because "sold the house"
    """
    if ctx.invoked_subcommand is None:
        _show(_shared.log_of(ctx), output)


def _show(log: _shared.Log, output: _shared.Output) -> None:
    from oplog.cli import _forget
    from oplog.sheets.privacy import place_lines, places_table

    farm = _shared.farm_of(log, detail=False)
    if output.form != "text":
        _shared.put(places_table(farm), output, aside=_shared.beside(farm, ()))
    else:
        for line in place_lines(farm):
            _shared.say(line)
    places = sorted({p.place for p in farm.private}, key=str.casefold)
    _forget.tell_of_older(log, places, _shared.teller(output))
