"""oplog ask"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from oplog.cli import _shared

if TYPE_CHECKING:
    from datetime import tzinfo

    from oplog.log.shelf import Shelf
    from oplog.query import Answer, Question


@click.command()
@click.argument("question", required=False, metavar="[NAME]")
@click.argument("values", nargs=-1, metavar="[VALUE=...]")
@click.option("--sql", "file", metavar="FILE", help="Ask one of your own: a file with one SELECT.")
@_shared.customer_options
@_shared.table_options
@click.pass_context
def command(
    ctx: click.Context, question: str | None, values: tuple[str, ...], file: str | None,
    output: _shared.Output, customer: str | None, drivers: bool,
) -> None:  # fmt: skip
    """Ask a question of the log; without a name, list the questions.

    NAME is one of ours, or one of your own in the log's folder queries/. Any other is given as a
    file with --sql: one SELECT over the log's tables, which reads and does nothing else.

    \b
    oplog ask
    oplog ask hectares_per_day
    oplog ask season_summary harvest_year=2027 --csv
    oplog ask --sql mine.sql
    """
    from oplog import query
    from oplog.sheets.questions import questions_table

    own = _own(ctx)
    if file is not None:
        values = values if question is None else (question, *values)
        asked = query.read(Path(file))
    elif question is None:
        _shared.put(questions_table(query.questions(own).values()), output)
        return
    elif question.endswith(".sql"):
        raise click.BadParameter(f"a file is asked with --sql: oplog ask --sql {question}")
    else:
        asked = query.find(question, own)
    given = dict(_pair(v) for v in values)
    if customer is not None:
        _ask(_shared.log_of(ctx), asked, given, output, customer, drivers)
    else:
        _ask_all(ctx, asked, given, output)


def _ask_all(
    ctx: click.Context, asked: Question, given: Mapping[str, str], output: _shared.Output
) -> None:
    """Answer from the tables that are kept; or from the log, and keep them. From the log by the
    database alone where that can be, which is quicker."""
    from zoneinfo import ZoneInfo

    from oplog.log.shelf import shelf_of
    from oplog.query import kept

    shelf = shelf_of(_shared.path_of(ctx))
    held = shelf.contents() if shelf else None
    if held and (answer := kept.answer(held, asked, given)) is not None:
        _tell(answer, output, ZoneInfo(held.zone), _shared.Beside(None, held.seal, ()))
        return
    if shelf and _ask_fresh(shelf, asked, given, output):
        return
    log = _shared.log_of(ctx)
    farm, aside = _ask(log, asked, given, output)
    if shelf and not log.problems:
        from oplog.query.asking import encoded

        kept.keep(shelf, farm, asked, given, aside.seal, lambda name: encoded(farm, name))


def _ask_fresh(
    shelf: Shelf, asked: Question, given: Mapping[str, str], output: _shared.Output
) -> bool:
    """Answer from the log by the database alone. Returns: whether that can be."""
    from oplog.fold import of_tables
    from oplog.query import fresh

    found = fresh.answer(shelf, asked, given)
    if found is None:
        return False
    answer, farm = found
    aside = _shared.beside(farm, of_tables(farm, asked.reads))
    _tell(answer, output, _shared.zone_of(farm), aside)
    return True


def _ask(
    log: _shared.Log, asked: Question, given: Mapping[str, str], output: _shared.Output,
    customer: str | None = None, drivers: bool = False,
) -> tuple[_shared.FarmType, _shared.Beside]:  # fmt: skip
    """Answer from the log. Returns: the farm that was asked, and what stands beside the answer."""
    from oplog import query
    from oplog.fold import of_tables

    whole = _shared.farm_of(log)
    farm = _shared.seen_by(whole, customer, drivers)
    # Of a customer's ground only what is on it: not the log's own events and fixes.
    answer = query.ask(farm, asked, given, source=log if customer is None else None)
    aside = _shared.beside(farm, of_tables(farm, asked.reads), whole)
    _tell(answer, output, _shared.zone_of(farm), aside)
    return farm, aside


def _tell(answer: Answer, output: _shared.Output, zone: tzinfo, aside: _shared.Beside) -> None:
    """Print an answer with what stands beside it."""
    from oplog.sheets.questions import answer_table

    _shared.put(answer_table(answer), output, zone, aside)
    if output.form == "text":
        _shared.end(aside, output.units)


def _own(ctx: click.Context) -> Path | None:
    """The folder of the log's own questions, where there is a log."""
    from oplog.errors import NotALog
    from oplog.query import own_folder

    try:
        return own_folder(_shared.path_of(ctx))
    except NotALog:
        return None


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals:
        raise click.BadParameter(f"{text!r}: write values as NAME=VALUE, as harvest_year=2027.")
    return name.strip().replace("-", "_"), value
