"""oplog land crop"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("fields", nargs=-1, required=True, metavar="FIELD...")
@click.argument("crop")
@click.option("--harvest", "year", type=int, required=True, metavar="YEAR",
              help="The year in which it is harvested.")  # fmt: skip
@click.option("--variety", metavar="NAME", help="The variety.")
@click.option("--from", "valid_from", type=_shared.DAY, metavar="DATE",
              help="The first day whose work counts to it.")  # fmt: skip
@_shared.with_log
def command(
    log: _shared.Log, fields: tuple[str, ...], crop: str, year: int, variety: str | None,
    valid_from: date | str | None,
) -> None:  # fmt: skip
    """State which crop stands, or will stand, in fields.

    Work after one harvest counts to the next crop. Without a crop, a field is stubble or bare
    soil.

    \b
    oplog land crop "Long Acre" Mill "spring beans" --harvest 2027
    """
    from oplog.flow.listing import state_crop

    day = _shared.day_in(log, valid_from)
    names = state_crop(
        log, fields, crop, year, variety=variety, valid_from=day, command=_shared.typed()
    )
    what = f"{crop} ({variety})" if variety else crop
    _shared.say(f"{what}, harvest {year}: {', '.join(names)}.")
