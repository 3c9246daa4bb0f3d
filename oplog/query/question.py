"""A question: an SQL file, its header, and the values that it takes.

The header is data, held against the result by a test:

    -- purpose: one sentence
    -- reads:   visits, fields              base tables, see oplog.query.tables
    -- param:   harvest_year integer, optional: only this harvest year
    -- column:  field varchar: name of the field
    -- column:  worked_ha double [ha]: overlap counted once
    -- order:   field

A value left out of an optional parameter is NULL in the SQL.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from oplog.errors import OplogError, UnknownName, UnreadableFile
from oplog.records import dataclass

_LINE = re.compile(r"--\s*(purpose|reads|param|column|order):\s*(.*\S)\s*")
_PARAM = re.compile(r"(\w+)\s+(\w+),\s*(required|optional)(?::\s*(.*))?")
_COLUMN = re.compile(r"(\w+)\s+(\w+)(?:\s+\[([^\]]+)\])?(?::\s*(.*))?")

BASE_TABLES = (
    "visits", "days", "fields", "crops", "kit", "jobs", "ground", "tracks", "inputs",
    "input_visits", "needs", "calibrations", "notes", "customers", "prices", "entries", "events",
    "fixes",
)  # fmt: skip
"""Names of all tables that a question can read (see tables.py and of_log.py)."""

_IN_WORDS = {
    "integer": "a whole number",
    "double": "a number",
    "date": "a day such as 2027-04-10",
    "varchar": "text",
}


@dataclass(frozen=True)
class Param:
    """One value that a question takes. type: integer, double, date or varchar."""

    name: str
    type: str
    required: bool
    meaning: str = ""


@dataclass(frozen=True)
class Column:
    """One column of an answer. unit: "" for text, dates and counts."""

    name: str
    type: str
    unit: str = ""
    meaning: str = ""


@dataclass(frozen=True)
class Question:
    """A question as its file states it."""

    name: str
    purpose: str
    reads: tuple[str, ...]
    params: tuple[Param, ...]
    columns: tuple[Column, ...]
    order: tuple[str, ...]
    sql: str

    @property
    def unread(self) -> tuple[str, ...]:
        """Columns of the events that the answer does not rest on: most of what a log holds."""
        drawings = ("geometry", "bouts") if "ground" not in self.reads else ()
        spans = () if "input_visits" in self.reads else ("spans",)
        return (*spans, "missed", "overlap", *drawings)

    def values(self, given: Mapping[str, Any]) -> dict[str, Any]:
        """A value for each parameter, of its type; text is read as that type.

        Raises: OplogError for one that is unknown, missing, or cannot be read.
        """
        names = [p.name for p in self.params]
        for name in given:
            if name not in names:
                takes = f"It takes: {', '.join(names)}." if names else "It takes no values."
                raise OplogError(f"The question {self.name} takes no {name!r}. {takes}")
        return {p.name: _value(self.name, p, given.get(p.name)) for p in self.params}


def questions(own: Path | None = None) -> dict[str, Question]:
    """Every question on file, by name. own: a folder with more, if it is there."""
    ours = {path.stem: read(path) for path in sorted(folder().glob("*.sql"))}
    theirs = sorted(own.glob("*.sql")) if own is not None and own.is_dir() else []
    return ours | {p.stem: read(p) for p in theirs if p.stem not in ours}


def find(name: str, own: Path | None = None) -> Question:
    """A question by its name, in any case and with - or _.

    own: a folder with more questions; a name of ours stays ours. Raises: UnknownName.
    """
    key = name.strip().casefold().replace("-", "_")
    for place in (folder(), own):
        if (
            place is not None
            and re.fullmatch(r"\w+", key)
            and (path := place / f"{key}.sql").is_file()
        ):
            return read(path)
    raise UnknownName("question", name, questions(own), "oplog ask lists them all.")


def own_folder(log: Path) -> Path:
    """Where a log keeps its owner's questions."""
    return log / "queries"


def folder() -> Path:
    """Where the questions are: inside an installed package, else beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "_queries"
    return installed if installed.is_dir() else package.parent / "queries"


def read(path: Path) -> Question:
    """The question in a file.

    Raises: OplogError naming file and line where the header cannot be understood.
    """
    try:
        return _parsed(path.stem, path.read_text(encoding="utf-8"))
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise UnreadableFile(f"{path} cannot be read: {why}.") from error
    except UnicodeDecodeError as error:
        raise UnreadableFile(f"{path} cannot be read as SQL: {error}.") from error


@cache
def _parsed(name: str, sql: str) -> Question:
    found: dict[str, list[tuple[int, str]]] = {
        k: [] for k in ("purpose", "reads", "param", "column", "order")
    }
    for number, line in enumerate(sql.splitlines(), start=1):
        if match := _LINE.fullmatch(line.strip()):
            found[match[1]].append((number, match[2]))
    params = [_matched(_PARAM, name, *line) for line in found["param"]]
    columns = [_matched(_COLUMN, name, *line) for line in found["column"]]
    return Question(
        name=name,
        purpose=" ".join(text for _, text in found["purpose"]),
        reads=_listed(found["reads"]) or _mentioned(sql),
        params=tuple(Param(m[1], m[2].lower(), m[3] == "required", m[4] or "") for m in params),
        columns=tuple(Column(m[1], m[2].lower(), m[3] or "", m[4] or "") for m in columns),
        order=_listed(found["order"]),
        sql=sql,
    )


def _mentioned(sql: str) -> tuple[str, ...]:
    """Base tables that a text without a `reads` header names."""
    words = set(re.findall(r"\w+", re.sub(r"--.*", "", sql).casefold()))
    return tuple(t for t in BASE_TABLES if t in words)


def _matched(pattern: re.Pattern[str], name: str, number: int, text: str) -> re.Match[str]:
    match = pattern.fullmatch(text)
    if match is None:
        raise OplogError(f"{name}.sql, line {number}: {text!r} is not a header that can be read.")
    return match


def _listed(lines: list[tuple[int, str]]) -> tuple[str, ...]:
    return tuple(word.strip() for _, text in lines for word in text.split(",") if word.strip())


def _value(question: str, param: Param, given: Any) -> Any:
    if given is None or given == "":
        if param.required:
            raise OplogError(
                f"The question {question} needs {param.name} ({_IN_WORDS[param.type]}): "
                f"give {param.name}=..."
            )
        return None
    try:
        return _read_as(param.type, given)
    except (TypeError, ValueError):
        raise OplogError(
            f"{param.name} is to be {_IN_WORDS[param.type]}, not {str(given)!r}."
        ) from None


def _read_as(type_name: str, given: Any) -> Any:
    if type_name == "integer":
        return int(str(given))
    if type_name == "double":
        return float(str(given))
    if type_name == "date":
        return given if type(given) is date else date.fromisoformat(str(given))
    return str(given)
