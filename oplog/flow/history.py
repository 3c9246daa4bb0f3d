"""All that a log holds, read once: what counts, and which events are there already."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, TypeVar

from oplog.events import DayMeasured, DeviceAssigned, Event, WorkMeasured
from oplog.fold import Farm, fold
from oplog.log import Entry, Log, writer_name
from oplog.track import Track

E = TypeVar("E", bound=Event)

DETAIL = ("spans", "missed", "overlap", "bouts")
"""Columns that only drawing a visit, or asking for its fixes, needs: most of what there is."""


@dataclass(frozen=True, eq=False)
class History:
    """A log as it was read.

    replaced_by: for each event id, an event that supersedes it. current_*: all events of a type
    that nothing supersedes, those included that the fold did not settle on.
    """

    log: Log
    farm: Farm
    ids: frozenset[str]
    replaced_by: Mapping[str, str]
    current_visits: tuple[WorkMeasured, ...]
    current_days: tuple[DayMeasured, ...]
    current_devices: tuple[DeviceAssigned, ...]

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
        fixes: Mapping[str, Track] | None = None,
        raw: Mapping[str, bytes] | None = None,
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
    now = [e for e in events if e.event_id not in replaced_by]
    return History(
        log,
        fold(events),
        frozenset(e.event_id for e in events),
        replaced_by,
        tuple(e for e in now if isinstance(e, WorkMeasured)),
        tuple(e for e in now if isinstance(e, DayMeasured)),
        tuple(e for e in now if isinstance(e, DeviceAssigned)),
    )


def stated() -> dict[str, Any]:
    """The columns of an event that someone states now: who, when, and a random value."""
    return {
        "stated_by": writer_name(),
        "stated_at": datetime.now(UTC),
        "nonce": secrets.token_hex(8),
    }
