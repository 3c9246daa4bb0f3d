"""oplog settle"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("version", required=False, metavar="[VERSION]")
@click.option("--because", metavar="TEXT", help="Why this version holds.")
@_shared.table_options
@_shared.with_log
def command(
    log: _shared.Log, output: _shared.Output, version: str | None, because: str | None
) -> None:
    """Show what two people stated apart, and choose what holds.

    Without VERSION, days that two laptops measured in parts are measured again, and every matter
    that is open is shown with its versions. With the handle of a version, that one holds from
    now on; the others stay in the log. Saying it anew (oplog say, kit add, plan) does the same.

    \b
    oplog settle
    oplog settle 7f3a90c1 --because "asked Anna"
    """
    from oplog.events import FieldDrawn, KitListed
    from oplog.flow.choosing import choose
    from oplog.flow.remeasuring import settle
    from oplog.sheets.history import FIGURES_STAY, taking_back, told
    from oplog.sheets.unsettled import choices_table, open_choices

    tell = _shared.teller(output)
    if version is not None:
        done = choose(log, version, because, command=_shared.typed())
        tell(f"Chosen: {told(done.version, None)}")
        if isinstance(done.version, KitListed | FieldDrawn):
            tell(FIGURES_STAY)
        tell(taking_back([done.written.event_id[:8]]))
    elif settle(log, command=_shared.typed()) is not None:
        tell("Days measured in parts were measured again as a whole.")
    farm = _shared.farm_of(log, detail=False)
    found = open_choices(farm)
    if output.form != "text":
        aside = _shared.beside(farm, found)
        _shared.put(choices_table(farm, found, output.units), output, aside=aside)
    elif not _shared.tell_unsettled(farm, found, output.units):
        _shared.say("Nothing is unsettled.")
