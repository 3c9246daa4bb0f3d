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

    from oplog.cli import _forget
    from oplog.flow.remeasuring import settle
    from oplog.log import open_log
    from oplog.sheets.unsettled import open_choices

    there = open_log(Path(other))
    before = {e.event_id for e in log.forgotten().stretches}
    new = log.merge(there)
    came = "1 event was new." if new == 1 else f"{new:,} events were new."
    _shared.say(came if new else "Nothing was new.")
    _tell_of_forgotten(log, there, before)
    if settle(log, command=_shared.typed()) is not None:
        _shared.say("Days that had been measured in parts were measured again as a whole.")
    farm = _shared.farm_of(log, detail=False)
    if new:
        _forget.tell_of_older(log, sorted({p.place for p in farm.private}, key=str.casefold))
    _shared.tell_unsettled(farm, open_choices(farm))


def _tell_of_forgotten(log: _shared.Log, there: _shared.Log, before: set[str]) -> None:
    """Say what was forgotten there and is now gone here, and what the other log still holds."""
    from oplog.sheets.privacy import forgotten_line

    known = log.forgotten()
    if not known:
        return
    farm = _shared.farm_of(log, detail=False)
    for stretch in known.stretches:
        if stretch.event_id not in before:
            _shared.say(f"Forgotten there, and now here too: {forgotten_line(farm, stretch)}")
    if there.still_holds(known):
        _shared.say(
            f"The log in {there.path} still holds what was forgotten here, and it was not brought "
            "in. To take it out there too, merge this log into that one."
        )
