"""Measuring again: nothing moves without it, and what it moves stays readable."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.errors import UnknownName
from oplog.events import WorkReplaced
from oplog.flow import Told, measuring
from oplog.flow.changing import Which, measure_again, would_change
from oplog.kit import KitItem
from oplog.work.model import METHOD
from tests.evening import DAY, FIELDS, ROLLED, Run, day_gpx, every, in_field, measured, now
from tests.tracks import geojson, gpx, square

DRILL = Told(machine="blue", implement="drill")
LATER = str(int(METHOD) + 1)


@pytest.fixture
def worked(farm: log.Log) -> log.Log:
    flow.import_file(farm, day_gpx(), "day.gpx", DRILL)
    return farm


def test_nothing_changes_where_nothing_did(worked: log.Log) -> None:
    assert would_change(worked, Which()).changes == ()


def test_a_new_method_moves_no_figure_until_it_is_asked_for(
    worked: log.Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = measured(worked)
    monkeypatch.setattr(measuring, "METHOD", LATER)
    flow.import_file(worked, day_gpx(), "day.gpx", DRILL)
    assert measured(worked) == before
    found = would_change(worked, Which())
    assert {c.why for c in found.changes} == {f"method {METHOD} is now {LATER}"}
    assert measured(worked) == before
    measure_again(found)
    assert measured(worked).isdisjoint(before)
    assert {e.event_id for e in worked.events()} >= before
    assert would_change(worked, Which()).changes == ()


def test_a_day_or_a_machine_is_measured_again_alone(
    worked: log.Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    flow.add_kit(worked, KitItem("red", "tractor", True))
    next_day = [(t + timedelta(days=1), x, y) for t, x, y in ROLLED]
    flow.import_file(worked, gpx(next_day, "another"), "next.gpx", Told(machine="red"))
    monkeypatch.setattr(measuring, "METHOD", LATER)

    def changed(which: Which) -> set[tuple[str, date]]:
        return {(c.machine, c.day) for c in would_change(worked, which).changes}

    blue, red = ("blue", DAY), ("red", DAY + timedelta(days=1))
    assert changed(Which(day=DAY)) == {blue}
    assert changed(Which(machine="RED")) == {red}
    assert changed(Which(day=DAY, machine="red")) == set()
    measure_again(would_change(worked, Which(day=DAY)))
    assert changed(Which()) == {red}


def test_a_boundary_drawn_again_is_used_when_asked_and_says_why(worked: log.Log) -> None:
    old = in_field(worked, "Long Acre")
    smaller = geojson({"Long Acre": square(0, 0, 50, 200)})
    flow.add_land(
        worked, smaller, "again.geojson", today=date(2024, 4, 1), valid_from=date(2024, 1, 1)
    )
    assert in_field(worked, "Long Acre") == old
    found = would_change(worked, Which(field="long acre"))
    (change,) = [c for c in found.changes if c.field == "Long Acre"]
    assert change.why == "the boundary was drawn anew"
    measure_again(found, because="walked again")
    new = in_field(worked, "Long Acre")
    assert new.worked_m2 == pytest.approx((old.worked_m2 or 0) / 2, rel=0.05)
    assert [e.because for e in every(worked, WorkReplaced)] == ["walked again"]


def test_work_imported_before_any_field_was_drawn_is_found(tmp_path: Path) -> None:
    bare = log.create(tmp_path / "bare", "Bare Farm", "Europe/London")
    flow.add_kit(bare, KitItem("blue", "tractor", True))
    flow.add_kit(bare, KitItem("drill", "drill", False, width_m=4.0))
    flow.import_file(bare, day_gpx(), "day.gpx", DRILL)
    assert {v.field for v in now(bare).visits} == {""}
    flow.add_land(bare, geojson(FIELDS), "fields.geojson", today=date(2024, 4, 1))
    found = would_change(bare, Which(day=DAY))
    assert {(c.field, c.why) for c in found.changes} == {
        (n, "the boundary was drawn since") for n in FIELDS
    }
    measure_again(found)
    assert {v.field for v in now(bare).visits} == set(FIELDS)


def test_an_unknown_field_is_named(worked: log.Log) -> None:
    with pytest.raises(UnknownName, match="Long Acre"):
        would_change(worked, Which(field="Long Akre"))


def test_the_command_shows_first_and_writes_when_told(
    worked: log.Log, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = ("--log", str(worked.path), "remeasure")
    assert "Nothing would change" in run(*here).out
    monkeypatch.setattr(measuring, "METHOD", LATER)
    before = measured(worked)
    shown = run(*here)
    assert f"method {METHOD} is now {LATER}" in " ".join(shown.out.split())
    assert "--yes" in shown.err
    assert measured(worked) == before
    assert "Measured again: 2 visits" in run(*here, "--yes").err
    assert measured(worked).isdisjoint(before)
