"""Base tables that need the log itself, not only what it means: every event, and every fix."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from oplog.events import Event, TrackImported

if TYPE_CHECKING:
    from oplog.track import Track

OF_LOG: dict[str, dict[str, str]] = {
    "events": {
        "event_id": "VARCHAR",
        "type": "VARCHAR",
        "version": "INTEGER",
        "counts": "BOOLEAN",
        "supersedes": "VARCHAR[]",
        "because": "VARCHAR",
        "stated_by": "VARCHAR",
        "stated_at": "TIMESTAMPTZ",
        "day": "DATE",
        "machine": "VARCHAR",
        "field": "VARCHAR",
    },
    "fixes": {
        "track": "VARCHAR",
        "machine": "VARCHAR",
        "time": "TIMESTAMPTZ",
        "lon": "DOUBLE",
        "lat": "DOUBLE",
        "speed_m_s": "DOUBLE",
        "segment": "INTEGER",
    },
}
"""Name of each table: its columns with their types."""


def event_rows(events: Iterable[Event]) -> Iterator[tuple[Any, ...]]:
    """Rows of `events`. counts: no other event supersedes it."""
    every = list(events)
    gone = {name for e in every for name in e.supersedes}
    for e in every:
        where = (getattr(e, c, None) for c in ("day", "machine", "field"))
        yield (
            e.event_id, e.TYPE, e.VERSION, e.event_id not in gone, list(e.supersedes), e.because,
            e.stated_by, e.stated_at, *where,
        )  # fmt: skip


def fix_arrays(imported: TrackImported, fixes: Track) -> dict[str, Any]:
    """Columns of `fixes` for one imported track, (n,) each."""
    import numpy as np

    n = len(fixes)
    return {
        "track": np.full(n, imported.fixes, dtype=object),
        "machine": np.full(n, imported.machine, dtype=object),
        "time": fixes.time.astype("datetime64[us]"),
        "lon": fixes.lon,
        "lat": fixes.lat,
        "speed_m_s": fixes.speed_m_s,
        "segment": fixes.segment.astype(np.int32),
    }
