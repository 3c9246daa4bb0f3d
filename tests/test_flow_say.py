"""What is said of visits, before and after they are measured."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.errors import OplogError, UnknownName
from oplog.events import VisitSaid, WorkMeasured
from oplog.flow import Told, Words
from oplog.flow.jobs import close, plan
from oplog.kit import KitItem
from oplog.sheets.unsure import fitting
from tests.evening import (
    DAY,
    DRILLED,
    ROLLED,
    day_gpx,
    day_log,
    every,
    in_field,
    measured,
    now,
)
from tests.tracks import gpx

DRILL = Told(machine="blue", implement="drill")


@pytest.fixture
def open_day(tmp_path: Path) -> log.Log:
    """A day of which nobody has said with what it was done."""
    return day_log(tmp_path / "log")


def handle(of: log.Log, field: str) -> str:
    return now(of).standing[in_field(of, field).event_id].handle


def test_what_nobody_said_stays_open(open_day: log.Log) -> None:
    visit = in_field(open_day, "Mill")
    assert (visit.implement, visit.operation, visit.width_m) == (None, None, None)
    assert visit.working_s > 0
    assert any("No implement is stated" in d for d in visit.doubts)


def test_the_bouts_tell_which_implement_would_fit(open_day: log.Log) -> None:
    # drilled 4 m apart, rolled 6 m apart
    assert fitting(now(open_day), in_field(open_day, "Long Acre")) == ["drill"]
    assert fitting(now(open_day), in_field(open_day, "Mill")) == ["roller"]


def test_one_file_comes_out_as_two_operations(open_day: log.Log) -> None:
    flow.say(open_day, [(handle(open_day, "Long Acre"), Words(implement="drill"))])
    flow.say(open_day, [(handle(open_day, "Mill"), Words(implement="roller"))])
    assert in_field(open_day, "Long Acre").operation == "drilling"
    assert in_field(open_day, "Mill").operation == "rolling"
    assert in_field(open_day, "Mill").worked_m2 == pytest.approx(24_000, rel=0.05)


def test_the_handle_stays_when_the_visit_is_said(open_day: log.Log) -> None:
    before = handle(open_day, "Mill")
    flow.say(open_day, [(before, Words(implement="roller"))])
    assert handle(open_day, "Mill") == before


def test_saying_leaves_other_visits_alone(open_day: log.Log) -> None:
    other = in_field(open_day, "Long Acre").event_id
    flow.say(open_day, [(handle(open_day, "Mill"), Words(implement="roller"))])
    assert in_field(open_day, "Long Acre").event_id == other
    assert not now(open_day).unsettled


def test_a_correction_names_what_it_replaces_and_why(open_day: log.Log) -> None:
    flow.say(open_day, [(handle(open_day, "Mill"), Words(implement="drill"))])
    wrong = in_field(open_day, "Mill").event_id
    flow.say(open_day, [(handle(open_day, "Mill"), Words(implement="roller", because="rolled"))])
    said = [s for s in every(open_day, VisitSaid) if isinstance(s, VisitSaid) and s.because]
    assert wrong in said[0].supersedes
    assert said[0].because == "rolled"
    assert wrong in {e.event_id for e in every(open_day, WorkMeasured)}, "old figures stay readable"
    assert len(now(open_day).said) == 1


def test_what_was_said_before_of_other_things_stays(open_day: log.Log) -> None:
    flow.say(open_day, [(handle(open_day, "Mill"), Words(driver="Anna"))])
    flow.say(open_day, [(handle(open_day, "Mill"), Words(implement="roller"))])
    visit = in_field(open_day, "Mill")
    assert (visit.driver, visit.implement) == ("Anna", "roller")


def test_back_and_forth_ends_where_it_was_said_last(open_day: log.Log) -> None:
    for implement in ("drill", "roller", "drill", "roller"):
        flow.say(open_day, [(handle(open_day, "Mill"), Words(implement=implement))])
        assert in_field(open_day, "Mill").implement == implement


def test_what_was_said_holds_when_the_day_grows(farm: log.Log) -> None:
    flow.import_file(farm, gpx(ROLLED), "b.gpx", Told("blue", "drill"))
    flow.say(farm, [(handle(farm, "Mill"), Words(implement="roller"))])
    flow.import_file(farm, gpx(DRILLED), "a.gpx", DRILL)
    assert in_field(farm, "Mill").implement == "roller"
    assert in_field(farm, "Long Acre").implement == "drill"
    assert not now(farm).unsettled


def test_the_usual_implement_is_taken(farm: log.Log) -> None:
    flow.add_kit(farm, KitItem("blue", "", True, carries="roller"))
    flow.import_file(farm, day_gpx(), "a.gpx")
    assert in_field(farm, "Mill").implement == "roller"


def test_the_usual_implement_gives_way_to_another_operation(farm: log.Log) -> None:
    flow.add_kit(farm, KitItem("blue", "", True, carries="roller"))
    flow.import_file(farm, day_gpx(), "a.gpx", Told(operation="spreading"))
    visit = in_field(farm, "Mill")
    assert (visit.implement, visit.operation) == (None, "spreading")


def test_nothing_said_and_names_unknown(open_day: log.Log) -> None:
    with pytest.raises(OplogError, match="Say something"):
        flow.say(open_day, [(handle(open_day, "Mill"), Words())])
    with pytest.raises(UnknownName, match="roller"):
        flow.say(open_day, [(handle(open_day, "Mill"), Words(implement="rolller"))])
    with pytest.raises(UnknownName):
        flow.say(open_day, [("zzzzz", Words(implement="roller"))])


def test_a_struck_visit_counts_no_more_and_stays_struck(farm: log.Log) -> None:
    flow.import_file(farm, gpx(ROLLED), "b.gpx", DRILL)
    flow.strike(farm, [handle(farm, "Mill")], "turned round there")
    assert not now(farm).visits
    later = [(t + timedelta(hours=3), x, y) for t, x, y in DRILLED]
    flow.import_file(farm, gpx(later), "a.gpx", DRILL)
    assert [v.field for v in now(farm).visits] == ["Long Acre"]


def test_a_width_changes_from_a_day_on(farm: log.Log) -> None:
    flow.add_kit(farm, KitItem("drill", "", False, width_m=3.0, valid_from=DAY + timedelta(days=1)))
    flow.import_file(farm, day_gpx(), "a.gpx", DRILL)
    later = [(t + timedelta(days=2), x, y) for t, x, y in DRILLED]
    flow.import_file(farm, gpx(later), "b.gpx", DRILL)
    widths = {v.day: v.width_m for v in now(farm).visits}
    assert widths == {DAY: 4.0, DAY + timedelta(days=2): 3.0}


def test_a_corrected_width_moves_no_figure_by_itself(farm: log.Log) -> None:
    flow.import_file(farm, day_gpx(), "a.gpx", DRILL)
    before = measured(farm)
    flow.add_kit(farm, KitItem("drill", "", False, width_m=3.0))
    assert measured(farm) == before
    flow.add_kit(farm, KitItem("drill", "", False, width_m=4.0))
    assert now(farm).kit_item("drill").width_m == 4.0, "listed as it once was, and counts again"


def test_a_job_over_the_fields_of_a_crop(farm: log.Log) -> None:
    flow.state_crop(farm, ["mill", "long acre"], "spring beans", 2024)
    planned = plan(farm, "beans", "drilling", today=DAY, crop="Spring Beans")
    assert (planned.fields, planned.harvest_year) == (("Long Acre", "Mill"), 2024)
    flow.import_file(farm, day_gpx(), "a.gpx", DRILL)
    assert {s.job for s in now(farm).standing.values()} == {"beans"}
    close(farm, "BEANS")
    assert now(farm).closed == {"beans"}
    with pytest.raises(OplogError, match="closed already"):
        close(farm, "beans")


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({}, "Say which ground"),
        ({"farm": "Nowhere"}, "No field fits"),
        ({"fields": ["Long Acer"]}, "Did you mean Long Acre"),
        ({"fields": ["Mill"], "by": DAY - timedelta(days=1)}, "is past"),
    ],
)
def test_jobs_that_cannot_be(farm: log.Log, asked: dict[str, object], why: str) -> None:
    with pytest.raises(OplogError, match=why):
        plan(farm, "x", "drilling", today=DAY, **asked)  # type: ignore[arg-type]


def test_an_operation_said_with_a_slip_is_asked_for(farm: log.Log) -> None:
    """Work as 'driling' is found by no job, price or question that says drilling."""
    said = flow.Told(machine="blue", implement="drill", operation="driling")
    with pytest.raises(UnknownName, match="Did you mean drilling"):
        flow.import_file(farm, day_gpx(), "d.gpx", said)
    flow.import_file(farm, day_gpx(), "d.gpx", flow.Told(machine="blue", operation="sowing"))
    visit = now(farm).visits[0]
    with pytest.raises(UnknownName, match="Did you mean drilling"):
        flow.say(farm, [(now(farm).standing[visit.event_id].handle, Words(operation="driling"))])
    with pytest.raises(UnknownName, match="Did you mean drilling"):
        flow.add_kit(farm, KitItem("new drill", "drill", False, operation="driling"))
