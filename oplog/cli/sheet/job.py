"""oplog sheet job"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared, _sheet
from oplog.errors import OplogError


@click.command()
@click.argument("job", metavar="JOB")
@click.option("--from", "first", type=_shared.DAY, metavar="DATE",
              help="Reckon from the morning of this day, rather than from now.")  # fmt: skip
@_shared.customer_options
@_sheet.out_option
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, job: str, first: date | str | None, out: str | None, units: str,
    customer: str | None, drivers: bool,
) -> None:  # fmt: skip
    """Make the sheet of a job: what is done and left on a map, progress and forecast.

    \b
    oplog sheet job beans
    """
    from oplog.season.customer import jobs_called
    from oplog.sheets.pages.job import job_page

    whole = _shared.farm_of(log)
    farm = _shared.seen_by(whole, customer, drivers)
    whom = _shared.customer_in(whole, customer)
    name = whole.job(job).job
    if whom is not None:
        called = jobs_called(whole, whom).get(name.casefold())
        if called is None:
            raise OplogError(f"No field of {whom} is part of {name}. No sheet was made.")
        name = called
    now = _shared.moment_of(farm, first)
    page = job_page(farm, name, now, log.seal(), customer=whom, system=units)
    _sheet.put(page, out, "job", name, *([whom] if whom else []))
