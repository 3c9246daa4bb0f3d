"""Questions: one SQL file each, asked of a farm. The only user of duckdb.

queries/NAME.sql -> Question (its header read) -> ask(farm, NAME, params) -> Answer
"""

from oplog.query.asking import Answer, ask, records
from oplog.query.question import Column, Param, Question, find, own_folder, questions, read

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
