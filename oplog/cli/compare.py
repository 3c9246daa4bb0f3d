"""oplog compare"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("one", metavar="A")
@click.argument("other", metavar="B")
@click.option("--operation", metavar="NAME", help="Compare this operation.")
@click.option("--wider", type=_shared.LENGTH, metavar="LENGTH",
              help="What would this width have saved?")  # fmt: skip
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Only work for this harvest.")
@_shared.table_options
@_shared.with_log
def command(
    log: _shared.Log, output: _shared.Output, one: str, other: str, operation: str | None,
    wider: float | None, year: int | None,
) -> None:  # fmt: skip
    """Compare two implements (or machines) at the same operation.

    \b
    oplog compare header "wide header"
    oplog compare mower "wide mower" --wider 6m
    """
    from oplog.fold import of_subject, of_visits
    from oplog.season.match import match, output_of
    from oplog.sheets.output import match_sheet, match_table

    farm = _shared.farm_of(log)
    names = [farm.kit_item(n).name for n in (one, other)]
    if len({n.casefold() for n in names}) == 1:
        raise click.BadParameter("it takes two to compare.")
    if wider is not None and wider <= 0:
        raise click.BadParameter("a width is more than nothing.")
    visits = [v for v in farm.visits if year in (None, farm.standing[v.event_id].harvest_year)]
    found = match(*(output_of(visits, n, operation) for n in names))
    keys = {n.casefold() for n in names}
    own = [v for v in visits if {v.machine.casefold(), (v.implement or "").casefold()} & keys]
    aside = _shared.beside(farm, of_subject(farm, of_visits(farm, own)))
    if output.form != "text":
        _shared.put(match_table(found, wider), output, aside=aside)
        return
    click.echo(match_sheet(found, wider, system=output.units, width=_shared.columns()))
    _shared.end(aside, output.units)
