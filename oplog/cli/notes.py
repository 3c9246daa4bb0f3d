"""oplog notes"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("text", required=False)
@click.option("--field", metavar="NAME", help="Only notes on this field.")
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, text: str | None, field: str | None, output: _shared.Output) -> None:
    """Find notes: all, those of a field, or those with a text in them.

    \b
    oplog notes
    oplog notes blocked --field "Long Acre"
    """
    from oplog.fold import of_tables
    from oplog.query import ask, records
    from oplog.sheets.questions import answer_table
    from oplog.sheets.season import notes_lines

    farm = _shared.farm_of(log)
    name = farm.field(field).name if field else None
    answer = ask(farm, "notes", {"text": text, "field": name})
    zone = _shared.zone_of(farm)
    aside = _shared.beside(farm, of_tables(farm, ["notes"]))
    if output.form != "text":
        _shared.put(answer_table(answer), output, zone, aside)
        return
    if not answer.rows:
        click.echo("No note fits." if text or field else "No note is written yet: oplog note TEXT")
    else:
        click.echo(notes_lines(records(answer), zone, _shared.columns()))
    _shared.end(aside, output.units)
