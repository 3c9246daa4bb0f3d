"""oplog settle"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@_shared.with_log
def command(log: _shared.Log) -> None:
    """Measure again days that two laptops measured in parts.

    Shows what is still unsettled. What two people said differently of one visit is settled by
    saying it again: oplog say.
    """
    from oplog.flow.remeasuring import settle

    entry = settle(log, command=_shared.typed())
    _shared.say("Measured again as a whole." if entry else "There was nothing to measure again.")
    for unsettled in _shared.farm_of(log, detail=False).unsettled:
        _shared.say(f"Unsettled: {unsettled.what}")
