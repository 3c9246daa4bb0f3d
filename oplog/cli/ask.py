"""oplog ask"""

from __future__ import annotations

from pathlib import Path

import click

from oplog.cli import _shared


@click.command()
@click.argument("question", required=False, metavar="[NAME]")
@click.argument("values", nargs=-1, metavar="[VALUE=...]")
@_shared.customer_options
@_shared.table_options
@click.pass_context
def command(
    ctx: click.Context, question: str | None, values: tuple[str, ...], output: _shared.Output,
    customer: str | None, drivers: bool,
) -> None:  # fmt: skip
    """Ask a question of the log; without a name, list the questions.

    NAME is one of ours, one of your own in the log's folder queries/, or a .sql file.

    \b
    oplog ask
    oplog ask hectares_per_day
    oplog ask season_summary harvest_year=2027 --csv
    oplog ask ./mine.sql
    """
    from oplog import query
    from oplog.sheets.questions import answer_table, questions_table

    own = _own(ctx)
    if question is None:
        _shared.put(questions_table(query.questions(own).values()), output)
        return
    is_file = question.endswith(".sql")
    asked = query.read(Path(question)) if is_file else query.find(question, own)
    given = dict(_pair(v) for v in values)
    log = _shared.log_of(ctx)
    farm = _shared.seen_by(_shared.farm_of(log), customer, drivers)
    # Of a customer's ground only what is on it: not the log's own events and fixes.
    answer = query.ask(farm, asked, given, source=log if customer is None else None)
    _shared.put(answer_table(answer), output, _shared.zone_of(farm))


def _own(ctx: click.Context) -> Path | None:
    """The folder of the log's own questions, where there is a log."""
    from oplog.errors import NotALog
    from oplog.query import own_folder

    try:
        return own_folder(_shared.log_of(ctx).path)
    except NotALog:
        return None


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals:
        raise click.BadParameter(f"{text!r}: write values as NAME=VALUE, as harvest_year=2027.")
    return name.strip().replace("-", "_"), value
