"""oplog ask"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("question", required=False, metavar="[NAME]")
@click.argument("values", nargs=-1, metavar="[VALUE=...]")
@_shared.table_options
@click.pass_context
def command(
    ctx: click.Context, question: str | None, values: tuple[str, ...], output: _shared.Output
) -> None:
    """Ask a question of the log; without a name, list the questions.

    \b
    oplog ask
    oplog ask hectares_per_day
    oplog ask season_summary harvest_year=2027 --csv
    """
    from oplog import query
    from oplog.sheets.questions import answer_table, questions_table

    if question is None:
        _shared.put(questions_table(query.questions().values()), output)
        return
    asked = query.find(question)
    given = dict(_pair(v) for v in values)
    farm = _shared.farm_of(_shared.log_of(ctx))
    _shared.put(answer_table(query.ask(farm, asked, given)), output, _shared.zone_of(farm))


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals:
        raise click.BadParameter(f"{text!r}: write values as NAME=VALUE, as harvest_year=2027.")
    return name.strip().replace("-", "_"), value
