"""What can go wrong, and how it is said.

Two kinds. A *problem* is found in data: it is a value, returned beside what could be read, so
that one bad line never costs a good one. An *error* is a request that cannot be met: it is
raised, and its message is written for the person in the yard (what is wrong, where, what was
kept, what to do next).

    OplogError                exit code 1
    ├── UnknownName           a field, machine, implement, job or visit that the log does not know
    ├── UnreadableFile        a file from which nothing could be read
    ├── NotALog               a folder that holds no log, or none found
    ├── CannotWrite           read-only disk, full disk, a log from a newer version
    ├── LogBusy               another program holds the log
    └── LogDamaged            exit code 4
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from oplog.records import dataclass

DONE, FAILED, MISUSE, DONE_WITH_PROBLEMS, DAMAGED = 0, 1, 2, 3, 4
"""Exit codes of the command."""

NEAR = 3
"""So many names are offered in place of one that is not known."""


@dataclass(frozen=True)
class Problem:
    """Something found in data, told to the person and kept with the import.

    source: file it was found in (member of an archive after a colon), or "" for no file.
    line: 1-based line of the first case, None where lines mean nothing.
    message: what was found, e.g. "checksum does not match".
    count: how many such cases.
    done: what was done about it, e.g. "dropped".
    """

    source: str
    line: int | None
    message: str
    count: int = 1
    done: str = ""

    def __str__(self) -> str:
        where = self.source + (f", line {self.line}" if self.line is not None else "")
        times = f" ({self.count} times)" if self.count > 1 else ""
        done = f"; {self.done}" if self.done else ""
        return f"{where}: {self.message}{times}{done}" if where else f"{self.message}{times}{done}"


class OplogError(Exception):
    """A request that cannot be met. The message is complete sentences for the user."""

    exit_code = FAILED


class UnknownName(OplogError):
    """A name that the log does not know; near names and the way to add one are offered."""

    def __init__(self, kind: str, name: str, known: Iterable[str], how_to_add: str = "") -> None:
        names = sorted(known)
        message = f"No {kind} is called {name!r}."
        if near := _near(name, names):
            message += f" Did you mean {_listed(near, 'or')}?"
        elif names:
            message += f" Known: {_listed(names[:12], 'and')}" + (
                f" and {len(names) - 12} more." if len(names) > 12 else "."
            )
        else:
            message += f" There is no {kind} in this log yet."
        super().__init__(f"{message} {how_to_add}".strip())


def _near(name: str, known: Sequence[str]) -> list[str]:
    """Names like one that was typed, in whatever case: those that have it in them ("nine" for
    "Nine Lands"), then those spelled much like it."""
    typed = name.strip().casefold()
    within = [k for k in known if len(typed) >= 3 and typed in k.casefold()]
    by_key = {k.casefold(): k for k in known}
    from difflib import get_close_matches

    spelled = [by_key[k] for k in get_close_matches(typed, list(by_key), n=NEAR, cutoff=0.6)]
    return list(dict.fromkeys((*within, *spelled)))[:NEAR]


class UnreadableFile(OplogError):
    """A file from which nothing could be read."""


class NotALog(OplogError):
    """A folder that holds no log, or no log found at all."""


class CannotWrite(OplogError):
    """The log cannot be written to: nothing was changed."""


class LogBusy(OplogError):
    """Another program holds the log for longer than the time limit."""


class LogDamaged(OplogError):
    """The log on disk is not what was written."""

    exit_code = DAMAGED


def _listed(names: Sequence[str], last: str) -> str:
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} {last} {names[-1]}"
