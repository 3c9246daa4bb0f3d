"""Events of which only what the fold needs is read at once, and the rest when it is asked for.

A season has tens of thousands of measurements with fifty columns each, of which a question looks
at three and the fold at a dozen. Each such event knows the rows of the file it came from; a column
is read there, for all of them, the first time that anybody asks one of them for it. To everybody
else it is an event like any other: it equals, copies and pickles as one that was read as a whole.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import cache
from typing import Any, Protocol

from oplog.events import TYPES, DayMeasured, Event, WorkMeasured, columns

AT_ONCE: dict[type[Event], tuple[str, ...]] = {
    WorkMeasured: (
        "supersedes", "visit", "machine", "field", "day", "started_at", "ended_at", "tracks",
        "said", "implement", "operation", "job", "working_s",
    ),
    DayMeasured: ("supersedes", "machine", "day", "started_at", "ended_at", "tracks"),
}  # fmt: skip
"""Types of which there are many, and their columns that the fold looks at."""


class Rows(Protocol):
    """Where events of one type come from: rows of a file, or of a log.

    held: columns that are there, read or not; others hold their default.
    """

    @property
    def held(self) -> Collection[str]:
        """As above."""
        ...

    def cells(self, name: str) -> Sequence[Any]:
        """A column as Python values."""
        ...

    def cell(self, name: str, row: int) -> Any:
        """What a row holds in a column."""
        ...


class _Cell:
    """A column of an event that is read when it is first asked for."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __get__(self, event: Any, owner: Any = None) -> Any:
        if event is None:
            raise AttributeError(self.name)
        held = event.__dict__
        value = held[self.name] = held["_part"].cell(self.name, held["_row"])
        return value


@cache
def _lazy(type_string: str) -> type[Event]:
    """A type whose events are in every respect those of an event type, and read as needed."""
    event_type = TYPES[type_string]

    def reduce(self: Any) -> Any:
        return _whole, (
            event_type,
            {n: getattr(self, n) for n in columns(event_type)},
            self.event_id,
        )

    body: dict[str, Any] = {name: _Cell(name) for name in columns(event_type)}
    body |= {"__class__": property(lambda self: event_type), "__reduce__": reduce}
    return type(event_type.__name__, (event_type,), body)


def _whole(event_type: type[Event], cells: dict[str, Any], known_id: str) -> Event:
    event = event_type(**cells)
    event.__dict__["event_id"] = known_id
    return event


def events(part: Rows, event_type: type[Event], ids: Sequence[str]) -> list[Event]:
    """The events of some rows, all of one of the types in `AT_ONCE`."""
    made = _lazy(event_type.TYPE)
    names = [n for n in AT_ONCE[event_type] if n in part.held]
    cells = zip(*(part.cells(n) for n in names), strict=True)
    new = object.__new__
    found: list[Event] = []
    for row, (known_id, values) in enumerate(zip(ids, cells, strict=True)):
        event = new(made)
        held = event.__dict__
        held.update(zip(names, values, strict=True))
        held["event_id"], held["_part"], held["_row"] = known_id, part, row
        found.append(event)
    return found
