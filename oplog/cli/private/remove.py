"""oplog private remove"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("name")
@click.option("--because", required=True, metavar="TEXT", help="Why it is private no more.")
@_shared.with_log
def command(log: _shared.Log, name: str, because: str) -> None:
    """Take back that a place is private: tracks imported from now on are kept whole there.

    \b
    oplog private remove home --because "sold the house"
    """
    from oplog.flow.private import remove

    place = remove(log, name, because, command=_shared.typed())
    _shared.say(
        f"{place} is private no more. What was cut from tracks imported until now was never kept "
        "and does not come back by itself; importing the files again adds it."
    )
