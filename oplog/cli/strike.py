"""oplog strike"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("visits", nargs=-1, required=True, metavar="VISIT...")
@click.option("--because", required=True, metavar="TEXT", help="Why it does not count.")
@_shared.with_log
def command(log: _shared.Log, visits: tuple[str, ...], because: str) -> None:
    """Strike visits out, for a reason. They stay in the log and count no more.

    Inputs, notes and drill settings are struck the same way, by their handles.

    \b
    oplog strike k3f9a --because "turned round on the neighbour's land"
    """
    from oplog.flow.saying import strike
    from oplog.flow.striking import statement, strike_statement

    farm = _shared.farm_of(log, detail=False)
    for handle in [v for v in visits if statement(farm, v)]:
        said = strike_statement(log, handle, because, command=_shared.typed())
        _shared.say(f"Struck out: {said} ({because}).")
    visits = tuple(v for v in visits if not statement(farm, v))
    if not visits:
        return
    told = [farm.visit(v) for v in visits]
    strike(log, visits, because, command=_shared.typed())
    for visit in told:
        _shared.say(f"Struck out: {visit.machine} in {visit.field} on {visit.day} ({because}).")
