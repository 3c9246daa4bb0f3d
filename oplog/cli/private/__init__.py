"""oplog private"""

from __future__ import annotations

from pathlib import Path

import click

from oplog.cli import Commands, _shared


@click.command(
    cls=Commands, package=__name__, folder=Path(__file__).parent, invoke_without_command=True
)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Show the places that are cut from every track before it is kept; or add to them.

    \b
    oplog private
    oplog private add home --at 52.3009,0.1720 --radius 150m
    oplog private remove home --because "sold the house"
    """
    if ctx.invoked_subcommand is None:
        _show(_shared.log_of(ctx))


def _show(log: _shared.Log) -> None:
    from oplog.cli import _forget
    from oplog.sheets.privacy import place_lines

    farm = _shared.farm_of(log, detail=False)
    for line in place_lines(farm):
        _shared.say(line)
    _forget.tell_of_older(log, sorted({p.place for p in farm.private}, key=str.casefold))
