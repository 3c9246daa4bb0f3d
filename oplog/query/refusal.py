"""Why a question does not run, in words for who wrote it: what is wrong, and what to do.

The database speaks of itself: of catalogs, binders and settings that questions cannot change. What
it says is read here; where it says something else, its own sentence is given, without what was put
around the question.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from oplog.query.question import BASE_TABLES

NO_SELECT = (
    "The question {} is not one SELECT, so nothing of it was run: questions read the log's tables "
    "and do nothing else."
)
OUTSIDE = (
    "The question {} reaches for something outside the log's tables, so it was not run: no "
    "question reads or writes files, or uses the network. ({})"
)
AROUND = "CREATE TEMP TABLE answer AS "
"""What is put before a question when it is run."""


def outside(name: str, error: Exception) -> str:
    """A question that reaches for something that it may not."""
    return OUTSIDE.format(name, str(error).splitlines()[0].removeprefix("Permission Error: "))


def does_not_run(name: str, error: Exception) -> str:
    """A question that the database does not take, or that fails on the way."""
    said = str(error)
    for pattern, words in _SAID:
        if found := re.search(pattern, said, re.DOTALL):
            told = words(found)
            return OUTSIDE.format(name, told) if words is _doors else (
                f"The question {name} does not run: {told}"
            )  # fmt: skip
    return f"The question {name} does not run: {_own_words(said)}"


def _doors(found: re.Match[str]) -> str:
    return "Settings of the database are locked, and it loads nothing."


def _table(found: re.Match[str]) -> str:
    return (
        f"there is no table {found[1]} that it may read. There are "
        f"{', '.join(sorted(BASE_TABLES))}; those it reads are named in its head."
    )


def _function(found: re.Match[str]) -> str:
    return (
        f"questions do not have {found[1]}(). They have the functions of DuckDB that work out "
        "values, and to_ha, to_h, to_kmh, to_ha_h and per_minute."
    )


def _column(found: re.Match[str]) -> str:
    near = re.findall(r'"([^"]+)"', found[2].split("\n\n")[0])
    known = f" Near it: {', '.join(near)}." if near else ""
    return (
        f"what it reads has no column {found[1]}.{known} queries/README.md lists the tables with "
        "their columns and units."
    )


def _values(found: re.Match[str]) -> str:
    names = [n.strip() for n in found[1].split(",")]
    heads = "; ".join(f"-- param: {n} varchar, required: what it is" for n in names)
    return (
        f"it uses ${', $'.join(names)}, which its head does not name. Write at its beginning: "
        f"{heads}"
    )


def _memory(found: re.Match[str]) -> str:
    return (
        "it needs more memory than a question may have. Ask for less: a day, a field, a year in "
        "its WHERE, or sums in place of rows."
    )


_SAID: tuple[tuple[str, Callable[[re.Match[str]], str]], ...] = (
    (r"configuration has been locked|required extension|file system operations", _doors),
    (r"Table with name (\S+) does not exist", _table),
    (r"Function with name (\S+) does not exist", _function),
    (r'Referenced column "([^"]+)" not found(.*)', _column),
    (r'does not have a column named "([^"]+)"(.*)', _column),
    (r"not provided for the following parameters: (.+)", _values),
    (r"Out of Memory", _memory),
)


def _own_words(said: str) -> str:
    """What the database says, without its kind of error and what was put around the question."""
    said = re.sub(r"^[A-Z][A-Za-z ]+ Error: ", "", said)
    lines = said.splitlines()
    for i, line in enumerate(lines):
        if AROUND in line:
            lines[i] = line.replace(AROUND, "", 1)
            if i + 1 < len(lines) and lines[i + 1].strip() == "^" * len(lines[i + 1].strip()):
                lines[i + 1] = lines[i + 1][len(AROUND) :]
    return "\n".join(lines)
