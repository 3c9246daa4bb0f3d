"""All that a log holds, read once: what counts, and which events are there already."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import cached_property
from typing import Any, TypeVar

from oplog.errors import UnknownName
from oplog.events import DayMeasured, EntryStruck, Event, WorkMeasured
from oplog.fold import Farm, fold, now_called
from oplog.fold.farm import HANDLE_LENGTH
from oplog.fold.settle import struck_by
from oplog.log import Entry, Log, Packed, writer_name
from oplog.records import dataclass
from oplog.track import Track

E = TypeVar("E", bound=Event)

DETAIL = ("spans", "missed", "overlap", "bouts")
"""Columns that only drawing a visit, or asking for its fixes, needs: most of what there is."""


@dataclass(frozen=True, eq=False)
class History:
    """A log as it was read.

    events: all of them by id. replaced_by: for each event id, an event that supersedes it.
    current: all events that nothing supersedes, those included that the fold did not settle on.
    """

    log: Log
    farm: Farm
    events: Mapping[str, Event]
    replaced_by: Mapping[str, str]
    current: tuple[Event, ...]

    def of(self, kind: type[E]) -> tuple[E, ...]:
        """All current events of a type."""
        return tuple(e for e in self.current if isinstance(e, kind))

    @cached_property
    def current_visits(self) -> tuple[WorkMeasured, ...]:
        """All current measurements of visits."""
        return self.of(WorkMeasured)

    @cached_property
    def current_days(self) -> tuple[DayMeasured, ...]:
        """All current measurements of days."""
        return self.of(DayMeasured)

    def visit(self, handle: str) -> WorkMeasured:
        """The visit of a handle, one that it had before it was measured again, and one that was
        struck out included.

        Raises: as Farm.visit.
        """
        try:
            return self.farm.visit(handle)
        except UnknownName:
            if again := now_called(self.farm, self.events.values(), handle):
                return again
            typed = handle.strip().casefold()
            was = [
                e
                for e in self.events.values()
                if isinstance(e, WorkMeasured) and e.visit.startswith(typed) and self.strikes(e)
            ]
            if len(typed) < HANDLE_LENGTH or len({e.visit for e in was}) != 1:
                raise
            return max(
                was, key=lambda e: (e.event_id not in self.replaced_by, len(e.tracks), e.event_id)
            )

    def strikes(self, visit: WorkMeasured) -> list[EntryStruck]:
        """The strikes that keep a visit from counting."""
        return struck_by(visit, self.farm.struck)

    def anew(self, event: E) -> E:
        """The event, told apart from an equal one that was replaced or struck before.

        What was once superseded stays so; the same fact stated or measured again must be another
        event. The mark it gets follows from what replaced it, so that it is the same everywhere.
        """
        while event.event_id in self.replaced_by:
            event = replace(event, nonce=self.replaced_by[event.event_id])
        return event

    def append(
        self,
        events: Iterable[Event],
        *,
        fixes: Mapping[str, Track | Packed] | None = None,
        raw: Mapping[str, bytes | Packed] | None = None,
        command: str = "",
        files: Sequence[str] = (),
    ) -> Entry:
        """Write events as one entry (see Log.append)."""
        return self.log.append(
            events, fixes=fixes or {}, raw=raw or {}, command=command, files=files
        )


def read(log: Log) -> History:
    """Read a log, but for the columns of DETAIL: those of what it holds are empty."""
    events = log.events(without=DETAIL)
    replaced_by: dict[str, str] = {}
    for event in events:
        for name in event.supersedes:
            replaced_by[name] = min(event.event_id, replaced_by.get(name, event.event_id))
    return History(
        log,
        fold(events),
        {e.event_id: e for e in events},
        replaced_by,
        tuple(e for e in events if e.event_id not in replaced_by),
    )


def stated() -> dict[str, Any]:
    """The columns of an event that someone states now: who, when, and a random value."""
    return {
        "stated_by": writer_name(),
        "stated_at": datetime.now(UTC),
        "nonce": os.urandom(8).hex(),
    }
