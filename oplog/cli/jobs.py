"""oplog jobs"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, output: _shared.Output) -> None:
    """Show the jobs: what is done, and what is left."""
    from oplog.sheets.jobs import jobs_table

    farm = _shared.farm_of(log)
    if output.form == "text" and not farm.jobs:
        click.echo("No job is planned. Plan one: oplog plan NAME --operation drilling --crop CROP")
        return
    _shared.put(jobs_table(farm, _shared.today(farm)), output)
