"""oplog history"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("subject", metavar="VISIT|FIELD|DAY|ENTRY")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, output: _shared.Output, subject: str) -> None:
    """Show how a figure came to be: from the raw file on, with who and when.

    What was replaced, corrected or struck stays in the log and is shown with what took its place.

    \b
    oplog history k3f9a
    """
    from oplog.flow.tracing import trace
    from oplog.sheets.history import history_table
    from oplog.sheets.unsettled import open_choices

    farm = _shared.farm_of(log, detail=False)
    steps = trace(log, subject)
    found = [u for u in open_choices(farm) if any(s.event in u.events for s in steps)]
    open_ids = {e.event_id for u in found for e in u.events}
    aside = _shared.beside(farm, found)
    _shared.put(history_table(steps, _shared.zone_of(farm), open_ids), output, aside=aside)
    if output.form == "text":
        _shared.end(aside)
