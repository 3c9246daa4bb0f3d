"""oplog plan"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("job", metavar="NAME")
@click.option("--operation", required=True, metavar="NAME", help="Drilling, mowing, ...")
@click.option(
    "--fields", "--field", multiple=True, metavar="FIELD", help="A field; again for more."
)
@click.option("--farm", "block", metavar="NAME", help="All fields of a block of land.")
@click.option(
    "--crop", metavar="NAME", help="All fields of a crop (of the block, if one is named)."
)
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Harvest year of the crop.")
@click.option("--by", type=_shared.DAY, metavar="DATE", help="The deadline.")
@_shared.with_log
def command(
    log: _shared.Log, job: str, operation: str, fields: tuple[str, ...], block: str | None,
    crop: str | None, year: int | None, by: date | str | None,
) -> None:  # fmt: skip
    """Plan a job: an operation over some fields.

    \b
    oplog plan beans --operation drilling --crop "spring beans" --by 2027-04-10
    oplog plan first-cut --operation mowing --fields "Low Meadow" --fields "Top Ley"
    """
    from oplog.flow.jobs import plan

    farm = _shared.farm_of(log, detail=False)
    planned = plan(
        log, job, operation, today=_shared.today(farm), fields=fields, farm=block, crop=crop,
        harvest_year=year, by=_shared.day_of(farm, by), command=_shared.typed(),
    )  # fmt: skip
    crop_text = f", {planned.crop} {planned.harvest_year or ''}".rstrip() if planned.crop else ""
    until = f", by {planned.by}" if planned.by else ""
    _shared.say(f"{planned.job}: {operation} of {', '.join(planned.fields)}{crop_text}{until}.")
