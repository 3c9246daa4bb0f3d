"""Counting what was found wrong: one Problem per reason, with its first line and how many."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field

import numpy as np

from oplog.errors import Problem
from oplog.records import dataclass

NO_POSITION = "position is missing or not on earth"
NULL_ISLAND = "position is 0, 0 (a receiver without a fix)"
NO_TIME = "time is missing"
NOT_A_TIME = "time cannot be read, or there is no such day"
ASTRAY = "date is more than ten years from the rest of the file (a clock that was not set)"
LEAP_SECOND = "second 60"
LOCAL_TIME = "times are local times without a zone"
REPEATED = "the same time and place again"
BACKWARDS = "time steps backwards"
ROLLED_OVER = "dates jump by 1024 weeks (the receiver's week counter ran over)"
NO_FIX = "the receiver had no fix"
NOT_MEASURED = "position was not measured (estimated, typed in or simulated)"

DONE = {
    NO_POSITION: "set aside",
    NULL_ISLAND: "set aside",
    NO_TIME: "place kept, no work can be measured from it",
    NOT_A_TIME: "set aside",
    ASTRAY: "set aside",
    LEAP_SECOND: "taken as the last moment of its minute",
    LOCAL_TIME: "say which zone with --zone; places kept without times",
    REPEATED: "kept once",
    BACKWARDS: "a new segment begins there",
    ROLLED_OVER: "left as they are; a new segment begins there",
    NO_FIX: "set aside",
    NOT_MEASURED: "set aside",
}
"""What is done about each kind of damage that any track format can have."""


@dataclass
class Tally:
    """Reasons in the order found. line_of turns a place in the file into a 1-based line."""

    source: str = ""
    line_of: Callable[[int], int] | None = None
    found: dict[tuple[str, str], list[int | None]] = field(default_factory=dict)

    def add(self, message: str, line: int | None = None, count: int = 1, done: str = "") -> None:
        """Count a reason; the line of the first case is kept."""
        if count <= 0:
            return
        key = (message, done or DONE.get(message, ""))
        if key in self.found:
            self.found[key][1] = (self.found[key][1] or 0) + count
        else:
            self.found[key] = [line, count]

    def add_at(self, message: str, place: int, done: str) -> None:
        """Count one case; its line is worked out only for the first."""
        known = (message, done) in self.found
        line = None if known or self.line_of is None else self.line_of(place)
        self.add(message, line, 1, done)

    def add_rows(self, message: str, bad: object, where: object, done: str = "") -> None:
        """Count the rows where the mask `bad` is true; `where` holds each row's place."""
        rows = np.flatnonzero(np.asarray(bad))
        if len(rows):
            line = 0
            if (message, done or DONE.get(message, "")) not in self.found:  # all before is counted
                place = int(np.asarray(where)[rows[0]])
                line = self.line_of(place) if self.line_of else place
            self.add(message, line if line > 0 else None, len(rows), done)

    def problems(self) -> list[Problem]:
        """What was counted, as Problems."""
        return [
            Problem(self.source, line, message, count or 0, done)
            for (message, done), (line, count) in self.found.items()
        ]
