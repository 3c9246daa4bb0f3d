"""oplog sequence"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("crop", required=False)
@click.argument("operations", nargs=-1)
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Only for this harvest.")
@_shared.table_options
@_shared.with_log
def command(
    log: _shared.Log, crop: str | None, operations: tuple[str, ...], year: int | None,
    output: _shared.Output,
) -> None:  # fmt: skip
    """Show how far each field is, and what comes next; or plan a crop's operations.

    \b
    oplog sequence "spring beans" cultivating drilling rolling spraying combining
    oplog sequence
    """
    from oplog.flow.writing import plan_sequence
    from oplog.fold import of_tables
    from oplog.season.sequence import stages
    from oplog.sheets.season import stages_table

    if operations:
        assert crop is not None
        event = plan_sequence(log, crop, operations, year, command=_shared.typed())
        _shared.teller(output)(f"{event.crop}: {', then '.join(event.operations)}.")
    farm = _shared.farm_of(log)
    found = [s for s in stages(farm, year) if crop is None or s.crop.casefold() == crop.casefold()]
    aside = _shared.beside(farm, of_tables(farm, ("sequences", "crops", "visits")))
    if output.form == "text" and not found:
        click.echo("No sequence is planned. Plan one: oplog sequence CROP OPERATION OPERATION ...")
    else:
        _shared.put(stages_table(found), output, aside=aside)
    if output.form == "text":
        _shared.end(aside)
