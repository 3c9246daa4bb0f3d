"""Questions answered from tables that are kept between commands (see oplog.log.shelf).

Nothing else of the log is read then, and neither NumPy nor Arrow is needed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from oplog.log.shelf import Contents, Shelf, whole_table
from oplog.query import database
from oplog.query.database import Answer
from oplog.query.question import BASE_TABLES, Question

if TYPE_CHECKING:
    from oplog.fold import Farm

NEVER_KEPT = "fixes"
"""A table that is as large as the log itself."""


def answer(kept: Contents, question: Question, params: Mapping[str, Any]) -> Answer | None:
    """The answer to a question over a whole farm; None where it is not kept, is no longer what was
    written, or something unsettled bears on it. Raises: OplogError as `ask` does."""
    values = question.values(params)
    wanted = {t: database.kept_name(t, values) for t in question.reads}
    if not wanted or not kept.settled.issuperset(wanted):
        return None
    files = {name: kept.tables.get(name) for name in wanted.values()}
    there = {name: str(file) for name, file in files.items() if file and whole_table(file)}
    if len(there) < len(files):
        return None
    try:
        base = database.opened(there)
    except database.engine().Error:
        return None
    return database.answered(base, question, values, lambda table: None)


def keep(
    shelf: Shelf, farm: Farm, question: Question, params: Mapping[str, Any], seal: str,
    encoded: Callable[[str], bytes],
) -> None:  # fmt: skip
    """Keep the tables that a question read, of a farm that was asked it.

    seal: of its log. encoded: gives a table of the farm's database as Parquet, by its kept name.
    """
    from oplog.fold import of_tables

    values = question.values(params)
    settled = frozenset(t for t in BASE_TABLES if not of_tables(farm, [t]))
    wanted = {t: database.kept_name(t, values) for t in question.reads if t != NEVER_KEPT}
    tables = {n: encoded(n) for t, n in wanted.items() if t in settled}
    shelf.keep(Contents(farm.zone, seal, settled), tables)
