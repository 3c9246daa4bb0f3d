"""oplog say"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("visits", nargs=-1, required=True, metavar="VISIT...")
@click.option("--implement", metavar="NAME", help="What was pulled or carried.")
@click.option("--operation", metavar="NAME", help="What was done, if not its usual work.")
@click.option("--driver", metavar="NAME", help="Who drove.")
@click.option("--job", metavar="NAME", help="The planned job that it belongs to.")
@click.option("--because", metavar="TEXT", help="Why, where it corrects what was said before.")
@_shared.units_option
@_shared.with_log
def command(log: _shared.Log, visits: tuple[str, ...], units: str, **words: str | None) -> None:
    """Say with what, by whom, for which job; or correct it.

    VISIT is the handle that 'oplog day' shows. What is said now replaces what anybody said of it
    before, and a strike: so it also settles what two people said apart.

    \b
    oplog say k3f9a --implement roller
    oplog say k3f9a 7mq2d --driver Anna --because "Anna took over at noon"
    """
    from oplog.flow.history import read
    from oplog.flow.saying import Words, say
    from oplog.fold import of_subject, of_visits
    from oplog.sheets.day import visit_lines, visit_now

    before = read(log)
    told = [before.visit(v) for v in visits]
    say(log, [(v, Words(**words)) for v in visits], command=_shared.typed())
    farm = _shared.farm_of(log, detail=False)
    now = [v for visit in told for v in visit_now(farm, visit)]
    click.echo(visit_lines(farm, now, units, _shared.columns()))
    _shared.end(_shared.beside(farm, of_subject(farm, of_visits(farm, now))), units)
