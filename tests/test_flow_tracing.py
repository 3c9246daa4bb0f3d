"""How a figure came to be, told from the events it rests on."""

from __future__ import annotations

from datetime import date
from itertools import count

import pytest

from oplog import flow, log
from oplog.errors import OplogError
from oplog.events import NoteWritten, TrackImported, VisitSaid, WorkMeasured
from oplog.flow import Told, Words
from oplog.flow.tracing import Step, trace
from tests.evening import DAY, Run, day_gpx, every, in_field, now


@pytest.fixture
def corrected(farm: log.Log) -> log.Log:
    """A day imported, and one of its visits corrected."""
    flow.import_file(farm, day_gpx(), "day.gpx", Told(machine="blue", implement="drill"))
    words = Words(implement="roller", because="rolled, not drilled")
    flow.say(farm, [(_handle(farm, "Mill"), words)])
    return farm


def _handle(of: log.Log, field: str) -> str:
    return now(of).standing[in_field(of, field).event_id].handle


def _kinds(steps: list[Step], kind: type) -> list[Step]:
    return [s for s in steps if isinstance(s.event, kind)]


def test_a_visit_is_traced_from_its_file_to_the_figure_that_counts(corrected: log.Log) -> None:
    steps = trace(corrected, _handle(corrected, "Mill"))
    first, second = _kinds(steps, WorkMeasured)
    (said,) = _kinds(steps, VisitSaid)
    (track,) = _kinds(steps, TrackImported)
    assert first.replaced_by == said.event
    assert second.replaced_by is None
    assert said.event.because == "rolled, not drilled"
    assert track.entry is not None
    assert track.entry.files == ("day.gpx",)
    assert {s.event.TYPE for s in steps} >= {"field.drawn", "kit.listed"}
    assert all(getattr(s.event, "field", None) != "Long Acre" for s in steps)


def test_a_day_a_field_and_an_entry_are_traced(corrected: log.Log) -> None:
    day = trace(corrected, str(DAY))
    assert len(_kinds(day, WorkMeasured)) == 3
    field = trace(corrected, "long acre")
    assert {s.event.TYPE for s in field} == {"field.drawn", "work.measured"}
    (imported,) = _kinds(day, TrackImported)
    assert imported.entry is not None
    entry = trace(corrected, imported.entry.event_id[:8])
    assert {s.event.event_id for s in entry} == set(imported.entry.events)


def test_an_id_that_reads_as_a_day_is_an_id(corrected: log.Log) -> None:
    """As one in a thousand does, in eight figures without dashes."""
    notes = (NoteWritten(note=f"note {k}", day=DAY) for k in count())
    odd = next(n for n in notes if is_day(n.event_id[:8]))
    corrected.append([odd])
    (step,) = trace(corrected, odd.event_id[:8])
    assert step.event == odd


def is_day(text: str) -> bool:
    try:
        return bool(date.fromisoformat(text))
    except ValueError:
        return False


def test_what_was_struck_can_still_be_traced(corrected: log.Log) -> None:
    handle = _handle(corrected, "Mill")
    flow.strike(corrected, [handle], "turned round there")
    measured = _kinds(trace(corrected, handle), WorkMeasured)
    assert all(s.replaced_by is not None for s in measured)


@pytest.mark.parametrize("subject", ["nothing", "2031-01-01", "zz"])
def test_what_is_not_on_record_is_said(corrected: log.Log, subject: str) -> None:
    with pytest.raises(OplogError, match=subject):
        trace(corrected, subject)


def test_the_command_tells_it_as_a_table(corrected: log.Log, run: Run) -> None:
    said = run("--log", corrected.path, "history", _handle(corrected, "Mill"), "--csv")
    assert said.code == 0
    assert "no: corrected" in said.out
    assert "rolled, not drilled" in said.out
    assert len(said.out.splitlines()) > len(every(corrected, WorkMeasured))
