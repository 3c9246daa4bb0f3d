"""oplog jobs"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("job", required=False)
@click.option("--days-lost", type=click.IntRange(0, 365), default=0, metavar="N",
              help="What if so many days are lost to the weather?")  # fmt: skip
@click.option("--start", metavar="HH:MM", help="What if each day starts at this time?")
@click.option("--stop", metavar="HH:MM", help="What if each day ends at this time?")
@click.option("--from", "first", type=_shared.DAY, metavar="DATE",
              help="Reckon from the morning of this day, rather than from now.")  # fmt: skip
@_shared.table_options
@_shared.with_log
def command(
    log: _shared.Log, output: _shared.Output, job: str | None, days_lost: int, start: str | None,
    stop: str | None, first: date | str | None,
) -> None:  # fmt: skip
    """Show the jobs: what is done, what is left, and when it will be done.

    \b
    oplog jobs
    oplog jobs beans --days-lost 1
    oplog jobs beans --start 06:30 --stop 20:00
    """
    from oplog.query.progress import progress
    from oplog.sheets.jobs import jobs_sheet, jobs_table
    from oplog.sheets.unsettled import of_jobs

    farm = _shared.farm_of(log)
    zone = _shared.zone_of(farm)
    now = _shared.moment_of(farm, first)
    clocks = {k: _shared.clock_time(v) for k, v in (("start", start), ("stop", stop)) if v}
    if len(clocks) == 2 and clocks["start"] == clocks["stop"]:
        raise click.BadParameter("a day that stops when it starts has no hours in it.")
    found = progress(farm, now, zone, job=job, days_lost=days_lost, **clocks)
    aside = _shared.beside(farm, of_jobs(farm, [p.job["job"] for p in found]))
    if output.form != "text":
        _shared.put(jobs_table(found, zone), output, aside=aside)
        return
    if not found:
        click.echo("No job is planned. Plan one: oplog plan NAME --operation drilling --crop CROP")
    else:
        click.echo(
            jobs_sheet(
                found, now, zone, days_lost=days_lost, system=output.units,
                width=_shared.columns(), bold=_shared.bold(),
            )
        )  # fmt: skip
    _shared.end(aside, output.units)
