"""oplog strike"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("handles", nargs=-1, required=True, metavar="HANDLE...")
@click.option("--because", required=True, metavar="TEXT", help="Why it does not count.")
@_shared.with_log
def command(log: _shared.Log, handles: tuple[str, ...], because: str) -> None:
    """Strike out visits, imports, or anything that was stated.

    HANDLE is a visit's, as 'oplog day' shows it, or the first letters of an event or entry, as
    'oplog history' shows them: an input, a note, a job, a boundary, a width, a correction, an
    import. What is struck stays in the log and counts no more; what it had taken the place of
    counts again. A strike is struck the same way, and what it struck is back.

    \b
    oplog strike k3f9a --because "turned round on the neighbour's land"
    """
    from oplog.flow.striking import strike
    from oplog.sheets.history import struck_lines

    struck = strike(log, handles, because, command=_shared.typed())
    for line in struck_lines(struck.out, struck.back, struck.measured, struck.undo, because):
        _shared.say(line)
