"""Questions: one SQL file each, asked of a farm. The only user of duckdb.

queries/NAME.sql -> Question (its header read) -> ask(farm, NAME, params) -> Answer

What works tables out of a farm is imported when it is first asked for: a question of which the
tables are kept (kept.py) needs none of it.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from oplog.query.question import Column, Param, Question, find, own_folder, questions, read

if TYPE_CHECKING:
    from oplog.query.asking import ask
    from oplog.query.database import Answer, records

__all__ = [
    "Answer",
    "Column",
    "Param",
    "Question",
    "ask",
    "find",
    "own_folder",
    "questions",
    "read",
    "records",
]

_MODULE_OF = {"ask": "asking", "Answer": "database", "records": "database"}


def __getattr__(name: str) -> Any:
    if name not in _MODULE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULE_OF[name]}"), name)
