"""oplog forget"""

from __future__ import annotations

from datetime import datetime

import click

from oplog.cli import _shared


@click.command()
@click.argument("handle", required=False, metavar="[IMPORT]")
@click.option("--machine", metavar="NAME", help="Whose track; with --from and --to.")
@click.option("--from", "begin", type=click.DateTime(["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"]),
              metavar="TIME", help="By the farm's clock: 2026-04-07T18:00.")  # fmt: skip
@click.option("--to", "end", type=click.DateTime(["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"]),
              metavar="TIME", help="By the farm's clock: 2026-04-07T19:30.")  # fmt: skip
@click.option("--place", metavar="NAME", help="All that lies within a private place.")
@click.option("--because", metavar="TEXT", help="Why; it stays in the log.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@_shared.table_options
@_shared.with_log
def command(
    log: _shared.Log, output: _shared.Output, handle: str | None, machine: str | None,
    begin: datetime | None, end: datetime | None, place: str | None, because: str | None,
    yes: bool,
) -> int:  # fmt: skip
    """Take a stretch of track out of the log for good; or show what was.

    The positions go, and the imported files that hold them. Who, when and why stay, and figures
    that were measured from them. What another copy of the log still has does not come back.

    \b
    oplog forget
    oplog forget --machine blue --from 2026-04-07T18:00 --to 2026-04-07T19:30 --because "private"
    oplog forget --place home --because "nobody's business"
    """
    from oplog.cli import _forget

    period = (machine, begin, end)
    ways = sum((handle is not None, place is not None, any(period)))
    if not ways:
        _forget.show(log, output)
        return 0
    if output.form != "text":
        raise click.UsageError(
            "--csv and --json are for the list of what was forgotten, without anything to forget."
        )
    if ways > 1 or (any(period) and not all(period)):
        raise click.UsageError(
            "Say what: an import's handle, or --machine, --from and --to, or --place."
        )
    if because is None:
        raise click.UsageError("Say why: --because TEXT.")
    found = _forget.found(log, handle, machine, begin, end, place)
    return _forget.forget(log, found, because, yes)
