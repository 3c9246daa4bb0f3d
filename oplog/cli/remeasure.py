"""oplog remeasure"""

from __future__ import annotations

from typing import Any

import click

from oplog.cli import _shared


@click.command()
@click.option("--field", metavar="FIELD", help="Only days on which work in this field changes.")
@click.option("--day", type=_shared.DAY, metavar="DATE", help="Only this working day.")
@click.option("--machine", metavar="MACHINE", help="Only this machine.")
@click.option("--forgotten", is_flag=True, help="Work too of which a private place was forgotten.")
@click.option("--because", metavar="TEXT", help="Why, for the record.")
@click.option("--yes", is_flag=True, help="Do it; otherwise it is only shown, or asked for.")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, output: _shared.Output, **asked: Any) -> None:
    """Measure work again, after a boundary, a width or the method changed.

    Shows first what would change, and why. Old figures stay in the log and readable; without
    this command no figure ever moves. Work of which positions were forgotten stands as it is;
    with --forgotten, where that was for a private place, it is measured from what is left, and
    the ground there is told as not looked at.

    \b
    oplog remeasure --field "Long Acre" --because "boundary walked again"
    """
    from oplog.cli._remeasure import run

    run(log, output, **asked)
