"""Striking out anything that was stated or imported, and striking the strike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from oplog import flow, log
from oplog.errors import OplogError, UnknownName
from oplog.events import EntryStruck, EntryWritten, Event, TrackImported, VisitSaid, WorkMeasured
from oplog.flow import Told, Words
from oplog.flow.history import read
from oplog.flow.jobs import close, plan
from oplog.flow.tracing import trace
from oplog.kit import KitItem
from tests.evening import DAY, DRILLED, ROLLED, Run, day_gpx, day_log, every, in_field, kept, now
from tests.tracks import geojson, gpx, square

TODAY = date(2024, 3, 25)
DRILL = Told(machine="blue", implement="drill")


@kept
def stated_log(path: Path) -> log.Log:
    """A day's work, and one of each thing that is stated, some of them twice."""
    farm = day_log(path)
    flow.apply(farm, "bean seed", 100, "kg", "Mill", kind="seed", today=TODAY)
    flow.note(farm, "wet corner", on=["Mill"], today=TODAY)
    flow.calibrate(farm, "drill", "bean seed", TODAY, rate_kg_ha=240)
    plan(farm, "Roll", "rolling", fields=["Mill"], today=TODAY)
    flow.plan_need(farm, "Roll", "bean seed", 240, "kg", "seed")
    flow.state_crop(farm, ["Mill"], "beans", 2024)
    flow.plan_sequence(farm, "beans", ["drilling", "rolling"])
    flow.state_customer(farm, "Brook Farm", fields=["Mill"])
    flow.state_price(farm, "rolling", 11, "GBP", "ha")
    close(farm, "Roll")
    return farm


@pytest.fixture
def worked(tmp_path: Path) -> log.Log:
    return stated_log(tmp_path / "log")


def meaning(of: log.Log) -> dict[str, Any]:
    """What counts, without who stated it, when, and in place of what."""
    farm = now(of)
    return {
        c.name: _plain(getattr(farm, c.name))
        for c in fields(farm)
        if c.name not in ("entries", "struck", "standing", "memory")
    }


def _plain(value: Any) -> Any:
    if isinstance(value, Event):
        envelope = {c.name for c in fields(Event)} | {"said", "kit", "boundary", "measured"}
        return {c.name: getattr(value, c.name) for c in fields(value) if c.name not in envelope}
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if hasattr(value, "event_id"):
        return {c.name: getattr(value, c.name) for c in fields(value) if c.name != "event_id"}
    return value


def newest(of: log.Log, event_type: str) -> Event:
    """The current event of a type that the last entry holding one wrote."""
    entries = (e for e in of.events() if isinstance(e, EntryWritten))
    order = {i: e.written_at for e in entries for i in e.events}
    able = [e for e in read(of).current if event_type == e.TYPE]
    return max(able, key=lambda e: order[e.event_id])


def strike_of(of: log.Log) -> str:
    return newest(of, "entry.struck").event_id


STATED = [
    "input.applied", "note.written", "drill.calibrated", "job.planned", "input.planned",
    "crop.stated", "sequence.planned", "customer.stated", "price.stated", "job.closed",
]  # fmt: skip


@pytest.mark.parametrize("event_type", STATED)
def test_a_statement_is_struck_and_the_strike_too(event_type: str, worked: log.Log) -> None:
    before = meaning(worked)
    struck = newest(worked, event_type)
    done = flow.strike(worked, [struck.event_id[:8]], "a slip")
    assert done.out == (struck,)
    assert meaning(worked) != before
    assert not [e for e in read(worked).current if event_type == e.TYPE]
    flow.strike(worked, list(done.undo), "no slip")
    assert meaning(worked) == before
    assert len([e for e in read(worked).current if event_type == e.TYPE]) == 1
    assert now(worked).unsettled == ()


CORRECTIONS: dict[str, Callable[[log.Log], object]] = {
    "job.planned": lambda of: plan(of, "Roll", "rolling", fields=["Long Acre"], today=TODAY),
    "kit.listed": lambda of: flow.add_kit(of, KitItem("roller", "", False, width_m=5.5)),
    "field.drawn": lambda of: flow.add_land(
        of, geojson({"Mill": square(300, 0, 125, 200)}), "new.geojson", today=TODAY
    ),
    "crop.stated": lambda of: flow.state_crop(of, ["Mill"], "wheat", 2024),
    "price.stated": lambda of: flow.state_price(of, "rolling", 12, "GBP", "ha"),
    "visit.said": lambda of: flow.say(of, [(mill(of), Words(driver="Bob"))]),
}


def mill(of: log.Log) -> str:
    return now(of).standing[in_field(of, "Mill").event_id].handle


@pytest.mark.parametrize("event_type", CORRECTIONS)
def test_a_struck_correction_leaves_what_was_there_before_it(
    event_type: str, worked: log.Log
) -> None:
    flow.say(worked, [(mill(worked), Words(implement="roller", driver="Anna"))])
    before = meaning(worked)
    CORRECTIONS[event_type](worked)
    corrected = meaning(worked)
    assert corrected != before
    flow.strike(worked, [newest(worked, event_type).event_id], "it was right")
    assert meaning(worked) == before
    flow.strike(worked, [strike_of(worked)], "it was wrong after all")
    assert meaning(worked) == corrected
    assert now(worked).unsettled == ()


def test_a_visit_is_struck_and_back_with_its_figures_and_what_was_said(worked: log.Log) -> None:
    flow.say(worked, [(mill(worked), Words(implement="roller", driver="Anna"))])
    before, handle = meaning(worked), mill(worked)
    done = flow.strike(worked, [handle], "turned round there")
    assert [v.field for v in now(worked).visits] == ["Long Acre"]
    with pytest.raises(OplogError, match="struck out already"):
        flow.strike(worked, [handle], "again")
    with pytest.raises(OplogError, match="--because"):
        flow.say(worked, [(handle, Words(driver="Bob"))])
    flow.strike(worked, list(done.undo), "it was ours")
    assert meaning(worked) == before
    assert now(worked).unsettled == ()
    assert flow.settle(worked) is None


def test_a_struck_visit_counts_again_once_it_is_said_with_a_reason(worked: log.Log) -> None:
    handle = mill(worked)
    flow.strike(worked, [handle], "turned round there")
    flow.say(worked, [(handle, Words(implement="roller", because="rolled it"))])
    assert in_field(worked, "Mill").implement == "roller"
    assert now(worked).struck == ()


def test_a_struck_visit_whose_day_grew_is_back_with_the_larger_day(farm: log.Log) -> None:
    flow.import_file(farm, gpx(ROLLED[: len(ROLLED) * 3 // 4]), "a.gpx", Told(machine="blue"))
    flow.say(farm, [(mill(farm), Words(implement="roller"))])
    small = in_field(farm, "Mill").worked_m2 or 0.0
    done = flow.strike(farm, [mill(farm)], "turned round there")
    flow.import_file(farm, gpx(DRILLED + ROLLED), "b.gpx", Told(machine="blue"))
    assert all(v.field != "Mill" for v in now(farm).visits)
    flow.strike(farm, list(done.undo), "it was ours")
    visit = in_field(farm, "Mill")
    assert visit.implement == "roller"
    assert (visit.worked_m2 or 0.0) > small * 1.2
    assert now(farm).unsettled == ()


def test_an_import_is_struck_with_its_work_and_back(worked: log.Log) -> None:
    before = meaning(worked)
    track = newest(worked, TrackImported.TYPE)
    done = flow.strike(worked, [track.event_id[:8]], "somebody else's tractor")
    assert done.measured == (("blue", DAY),)
    assert now(worked).visits == now(worked).days == now(worked).tracks == ()
    flow.strike(worked, list(done.undo), "it was ours")
    assert meaning(worked) == before
    assert isinstance(in_field(worked, "Mill"), WorkMeasured)


def test_a_struck_import_can_be_imported_again(worked: log.Log) -> None:
    before = meaning(worked)
    flow.strike(worked, [newest(worked, TrackImported.TYPE).event_id], "not ours")
    flow.import_file(worked, day_gpx(), "day.gpx", Told(machine="blue"))
    assert {**meaning(worked), "tracks": 0} == {**before, "tracks": 0}


def test_one_import_of_two_is_struck_and_the_other_stays(farm: log.Log) -> None:
    flow.import_file(farm, gpx(DRILLED), "a.gpx", DRILL)
    flow.import_file(farm, gpx(ROLLED), "b.gpx", DRILL)
    flow.strike(farm, [newest(farm, TrackImported.TYPE).event_id], "not ours")
    assert [v.field for v in now(farm).visits] == ["Long Acre"]


def test_an_entry_is_struck_with_all_that_it_holds(farm: log.Log) -> None:
    flow.import_files(farm, [("a.gpx", gpx(DRILLED)), ("b.gpx", gpx(ROLLED))], Told(machine="blue"))
    tracks = {e.event_id for e in every(farm, TrackImported)}
    (entry,) = [e for e in every(farm, EntryWritten) if tracks & set(e.events)]
    done = flow.strike(farm, [entry.event_id[:8]], "wrong stick")
    assert {type(e) for e in done.out} >= {TrackImported}
    assert now(farm).tracks == now(farm).visits == ()


def test_what_cannot_be_struck_is_told(worked: log.Log) -> None:
    drawn, listed = (newest(worked, t).event_id for t in ("field.drawn", "kit.listed"))
    with pytest.raises(OplogError, match="on record once"):
        flow.strike(worked, [newest_of_name(worked, "Mill")], "why not")
    with pytest.raises(OplogError, match="on record once"):
        flow.strike(worked, [newest_of_name(worked, "blue")], "why not")
    with pytest.raises(OplogError, match="worked out, not stated"):
        flow.strike(worked, [newest(worked, "day.measured").event_id], "why not")
    with pytest.raises(UnknownName):
        flow.strike(worked, ["zzzzzz"], "why not")
    with pytest.raises(OplogError, match="too short"):
        flow.strike(worked, ["a"], "why not")
    with pytest.raises(OplogError, match="Say why"):
        flow.strike(worked, [drawn], " ")
    note = newest(worked, "note.written").event_id
    flow.strike(worked, [note], "a slip")
    with pytest.raises(OplogError, match="counts no more"):
        flow.strike(worked, [note], "again")
    flow.strike(worked, [strike_of(worked)], "no slip")
    with pytest.raises(OplogError, match="took a strike back"):
        flow.strike(worked, [strike_of(worked)], "again")
    assert listed


def newest_of_name(of: log.Log, name: str) -> str:
    return next(
        e.event_id
        for e in read(of).current
        if e.TYPE in ("field.drawn", "kit.listed")
        and name in (getattr(e, "field", None), getattr(e, "name", None))
    )


def test_a_strike_names_all_that_it_takes_away(worked: log.Log) -> None:
    flow.say(worked, [(mill(worked), Words(implement="roller"))])
    visit, said = in_field(worked, "Mill"), newest(worked, VisitSaid.TYPE)
    flow.strike(worked, [mill(worked)], "turned round there")
    strike = newest(worked, EntryStruck.TYPE)
    assert set(strike.supersedes) == {visit.event_id, said.event_id}
    assert strike.because == "turned round there"
    assert strike.stated_by


def test_the_history_of_a_statement_tells_who_struck_it(worked: log.Log) -> None:
    note = newest(worked, "note.written")
    flow.strike(worked, [note.event_id], "a slip")
    flow.strike(worked, [strike_of(worked)], "no slip")
    first, second, third = trace(worked, note.event_id[:8])
    assert first.event == note
    assert isinstance(second.event, EntryStruck)
    assert second.replaced == (note,)
    assert third.replaced == (second.event,)


def test_the_command_says_how_to_take_it_back(worked: log.Log, run: Run) -> None:
    said = run("--log", worked.path, "strike", mill(worked), "--because", "turned round")
    assert said.code == 0
    command = said.out.splitlines()[-1].removeprefix("To take that back: ").split()
    assert command[:2] == ["oplog", "strike"]
    back = run("--log", worked.path, *command[1:-1], "it was ours")
    assert (back.code, in_field(worked, "Mill").field) == (0, "Mill")
