"""oplog merge"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("other", metavar="DIR")
@_shared.with_log
def command(log: _shared.Log, other: str) -> None:
    """Bring in what another log of the same farm holds.

    In any order, any number of times: what both hold is there once. Days that were measured in
    parts are then measured again as a whole.

    \b
    oplog merge /media/stick/farm-log
    """
    from pathlib import Path

    from oplog.flow.remeasuring import settle
    from oplog.log import open_log

    new = log.merge(open_log(Path(other)))
    _shared.say(f"{new} events were new." if new else "Nothing was new.")
    if settle(log, command=_shared.typed()) is not None:
        _shared.say("Days that had been measured in parts were measured again as a whole.")
    _shared.tell_unsettled(_shared.farm_of(log, detail=False))
