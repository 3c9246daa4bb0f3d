"""oplog sprays"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Only work for this harvest.")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, year: int | None, output: _shared.Output) -> None:
    """Show the spray records, field by field, and what each lacks."""
    from oplog.fold import of_tables
    from oplog.query import ask, find, records
    from oplog.sheets.inputs import CAUTION, TO_ADD, records_sheet
    from oplog.sheets.questions import answer_table

    farm = _shared.farm_of(log)
    answer = ask(farm, "spray_records", {"harvest_year": year})
    aside = _shared.beside(farm, of_tables(farm, find(answer.name).reads))
    if output.form != "text":
        _shared.put(answer_table(answer), output, aside=aside)
        _shared.note(CAUTION)
        return
    if not answer.rows:
        click.echo("No spraying is recorded. oplog apply PRODUCT AMOUNT l --to VISIT records it.")
    else:
        found = records(answer)
        click.echo(
            records_sheet(
                found, zone=_shared.zone_of(farm), system=output.units,
                width=_shared.columns(),
            )
        )  # fmt: skip
        if any(r["missing"] for r in found):
            _shared.say(TO_ADD)
    _shared.end(aside, output.units)
