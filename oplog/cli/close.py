"""oplog close"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("job")
@click.option("--because", metavar="TEXT", help="Why, where it is closed undone.")
@_shared.with_log
def command(log: _shared.Log, job: str, because: str | None) -> None:
    """Close a job, done or not."""
    from oplog.flow.jobs import close

    name = _shared.farm_of(log, detail=False).job(job).job
    close(log, name, because, command=_shared.typed())
    _shared.say(f"Closed: {name}.")
