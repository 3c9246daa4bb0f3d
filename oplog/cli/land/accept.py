"""oplog land accept"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("numbers", nargs=-1, required=True, type=int, metavar="NUMBER...")
@click.option("--name", required=True, metavar="FIELD", help="What the field is called.")
@click.option("--farm", metavar="NAME", help="The block of land it belongs to.")
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, numbers: tuple[int, ...], name: str, farm: str | None, units: str
) -> None:
    """Name ground that was worked and lies in no field: it becomes a field.

    Its boundary is the outline of the work there. All work done there is measured against it.
    Several numbers are taken together as one field.

    \b
    oplog land
    oplog land accept 1 --name "Long Acre"
    """
    from oplog.flow.accepting import accept
    from oplog.sheets.newground import accepted_lines

    with _shared.Progress() as progress:
        done = accept(
            log, numbers, name, farm=farm, command=_shared.typed(),
            step=lambda machine, day: progress(f"{machine}, {day}", 0, 1),
        )  # fmt: skip
    for line in accepted_lines(done.field, done.visits, done.taken, units):
        _shared.say(line)
