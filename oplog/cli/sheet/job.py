"""oplog sheet job"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared, _sheet


@click.command()
@click.argument("job", metavar="JOB")
@click.option("--from", "first", type=_shared.DAY, metavar="DATE",
              help="Reckon from the morning of this day, rather than from now.")  # fmt: skip
@_sheet.out_option
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, job: str, first: date | str | None, out: str | None, units: str
) -> None:
    """Make the sheet of a job: what is done and left on a map, progress and forecast.

    \b
    oplog sheet job beans
    """
    from oplog.sheets.pages.job import job_page

    farm = _shared.farm_of(log)
    name = farm.job(job).job
    now = _shared.moment_of(farm, first)
    _sheet.put(job_page(farm, name, now, log.seal(), system=units), out, "job", name)
