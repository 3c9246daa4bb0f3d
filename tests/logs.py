"""Made-up events and logs for the tests of the log."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import shapely

from oplog import log
from oplog.events import Event, Found, NoteWritten, Span, TrackImported, WorkMeasured, visit_id
from oplog.track import Track, track

FARM = ("Hollow Farm", "Europe/London")


@pytest.fixture(autouse=True)
def own_configuration(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Every test is a user of its own."""
    folder = tmp_path / "configuration"
    monkeypatch.setenv("OPLOG_CONFIG", str(folder))
    return folder


def moment(day: int, second: float = 0.0) -> datetime:
    return datetime(2026, 3, 1, 8, tzinfo=UTC) + timedelta(days=day, seconds=second)


def note(text: str, nonce: str = "") -> NoteWritten:
    return NoteWritten(note=text, stated_by="Ann", stated_at=moment(0), nonce=nonce or text)


def fixes(seed: int, n: int = 50) -> Track:
    """A drive along a line at 2 to 3 m/s, 1 Hz, with a little noise."""
    rng = np.random.default_rng(seed)
    seconds = np.arange(n) * np.timedelta64(1_000_000, "us")
    return track(
        np.datetime64("2026-03-01T08:00:00", "us") + seconds + np.timedelta64(seed, "D"),
        52.0 + np.cumsum(rng.normal(2.5e-5, 1e-7, n)),
        -1.5 + np.cumsum(rng.normal(0, 2e-7, n)),
        speed_m_s=rng.normal(2.7, 0.1, n),
        course_deg=rng.normal(3, 1, n),
        device="receiver 7",
    )


def imported(seed: int) -> tuple[TrackImported, Track, bytes]:
    """An import, its fixes and the bytes of its file."""
    drive = fixes(seed)
    data = b"fix " * 40 + bytes([seed % 256])
    event = TrackImported(
        machine="blue",
        fixes=drive.digest(),
        file_digest=hashlib.sha256(data).hexdigest(),
        fix_count=len(drive),
        known_fixes=0,
        first_at=moment(seed),
        last_at=moment(seed, 49),
        found=(Found("stick/a.gpx", None, "time goes back", 2, "dropped"),),
    )
    return event, drive, data


def measured(
    seed: int, *, worked_m2: float = 12_345.6, spans: int = 3, **more: object
) -> WorkMeasured:
    """A visit of one day."""
    start = moment(seed)
    day = date(2026, 3, 1) + timedelta(days=seed)
    parts = tuple(
        Span(start + timedelta(minutes=k), start + timedelta(minutes=k + 1), "working", k + 1)
        for k in range(spans)
    )
    values: dict[str, object] = {
        "visit": visit_id("blue", "Long Ground", start),
        "machine": "blue",
        "field": "Long Ground",
        "day": day,
        "started_at": start,
        "ended_at": start + timedelta(hours=2),
        "tracks": (fixes(seed).digest(),),
        "method": "1",
        "settings": {"absence_s": 300.0, "break_s": 1200.0},
        "operation": "drilling",
        "worked_m2": worked_m2,
        "working_s": 5400.0,
        "turning_s": 600.0,
        "filling_s": 300.0,
        "standing_s": 900.0,
        "travelling_s": 0.0,
        "unrecorded_s": 0.0,
        "break_s": 0.0,
        "working_m": 14_000.0,
        "doubts": ("No width is stated.",),
        "spans": parts,
        "geometry": shapely.box(-1.5, 52.0, -1.499, 52.001).wkb,
    }
    return WorkMeasured(**(values | more))  # type: ignore[arg-type]


def new_log(folder: Path) -> log.Log:
    return log.create(folder, *FARM)


def with_import(folder: Path, seed: int = 1) -> log.Log:
    """A log with one whole import."""
    made = new_log(folder)
    event, drive, data = imported(seed)
    made.append([event, measured(seed)], fixes={event.fixes: drive}, raw={event.file_digest: data})
    return made


def meaning(events: list[Event]) -> dict[str, Event]:
    """What a log says, without the records of how it was written."""
    return {e.event_id: e for e in events if e.TYPE != "entry.written"}
