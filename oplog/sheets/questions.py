"""The questions on file, and their answers, as tables."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from oplog.sheets.table import Column, Table, from_answer

if TYPE_CHECKING:
    from oplog.query import Answer, Question


def questions_table(questions: Iterable[Question]) -> Table:
    """Name, purpose and values of each question."""
    columns = (
        Column("question", "question"),
        Column("purpose", "what it answers"),
        Column("values", "values"),
    )
    rows = tuple(
        (q.name, q.purpose, ", ".join(p.name + ("" if p.required else "?") for p in q.params))
        for q in questions
    )
    return Table("", columns, rows)


def answer_table(answer: Answer) -> Table:
    """An answer as a table, headings from its column names."""
    return from_answer(answer.purpose, answer.columns, answer.rows, answer.units)
