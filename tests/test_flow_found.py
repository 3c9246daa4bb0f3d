"""From an import without boundaries, by a name, to figures against a boundary."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import date, timedelta
from pathlib import Path

import pytest

from oplog import flow, ground, log
from oplog.errors import OplogError
from oplog.events import GroundFound, WorkReplaced
from oplog.flow.accepting import accept
from oplog.flow.changing import Which, measure_again, would_change
from oplog.flow.saying import Words
from oplog.flow.striking import strike
from oplog.kit import KitItem
from oplog.query import ask, records
from oplog.query.question import questions
from oplog.sheets.day import day_sheet
from tests.evening import (
    DAY,
    DRILLED,
    FIELDS,
    ROLLED,
    Run,
    day_gpx,
    every,
    farm_log,
    in_field,
    kept,
    measured,
    now,
    own_configuration,
    run,
)
from tests.tracks import geojson, gpx

__all__ = ["own_configuration", "run"]


@kept
def bare_log(path: Path) -> log.Log:
    """A log with a tractor and a drill, and no field."""
    opened = log.create(path, "Hill Farm", "Europe/London")
    flow.add_kit(opened, KitItem("blue", "tractor", True))
    flow.add_kit(opened, KitItem("green", "tractor", True))
    flow.add_kit(opened, KitItem("drill", "drill", False, width_m=4.0))
    return opened


@kept
def bare_day_log(path: Path) -> log.Log:
    """The day of two fields imported, with no boundary on file."""
    opened = bare_log(path)
    flow.import_file(opened, day_gpx(), "day.gpx", flow.Told(machine="blue"))
    return opened


@pytest.fixture
def bare(tmp_path: Path) -> log.Log:
    return bare_day_log(tmp_path / "bare")


def later(fixes: list[tuple], days: int, shift_m: float = 0.0) -> list[tuple]:  # type: ignore[type-arg]
    return [(t + timedelta(days=days), x + shift_m, y) for t, x, y in fixes]


def test_a_day_without_boundaries_is_measured_and_says_so(bare: log.Log) -> None:
    farm = now(bare)
    first, second = ground.waiting(farm)
    assert [g.number for g in (first, second)] == [1, 2]
    assert first.area_m2 == pytest.approx(20_000, rel=0.06)
    assert second.area_m2 == pytest.approx(24_000, rel=0.06)
    assert [v.boundary for v in farm.visits] == [None, None]
    assert sum(v.worked_m2 or 0.0 for v in farm.visits) == pytest.approx(44_000, rel=0.05)
    told = " ".join(day_sheet(farm, DAY).split())
    assert "new ground 1" in told
    assert "measured against no boundary" in told
    assert "oplog\N{NO-BREAK SPACE}land" in told or "oplog land accept 1 --name NAME" in told


def test_a_name_makes_it_a_field(bare: log.Log) -> None:
    before = [v.worked_m2 or 0.0 for v in now(bare).visits]
    done = accept(bare, [1], "Long Acre", farm="Home")
    farm = now(bare)
    assert done.field.boundary_m2 == pytest.approx(20_000, rel=0.06)
    assert (done.field.farm, done.field.source_name) == ("Home", "new ground 1")
    assert in_field(bare, "Long Acre").worked_m2 == pytest.approx(before[0], rel=0.02)
    assert in_field(bare, "Long Acre").boundary == done.field.event_id
    assert [g.number for g in ground.waiting(farm)] == [2]
    assert ground.waiting(farm)[0].nearest is not None
    accept(bare, [2], "Mill")
    assert ground.waiting(now(bare)) == ()
    assert {v.field for v in now(bare).visits} == {"Long Acre", "Mill"}
    assert now(bare).found == ()


def test_a_handle_leads_on_to_what_its_visit_is_called_now(bare: log.Log, run: Run) -> None:
    """The day's paper with the first handle lies in the cab when the ground has got its name."""
    first, second = (now(bare).standing[v.event_id].handle for v in now(bare).visits)
    flow.say(bare, [(first, Words(implement="drill"))])
    flow.say(bare, [(first, Words(driver="Ann"))])
    run("--log", bare.path, "apply", "bean seed", "300kg", "--to", first)
    run("--log", bare.path, "note", "stony", "--on", first)
    assert [r["went_to"] for r in records(ask(now(bare), "inputs"))] == ["new ground 1"]
    accept(bare, [1], "Long Acre")
    visit = in_field(bare, "Long Acre")
    assert not visit.visit.startswith(first)
    assert (visit.implement, visit.driver) == ("drill", "Ann")
    assert [r["went_to"] for r in records(ask(now(bare), "inputs"))] == ["Long Acre"]
    for words in (("note", "wet", "--on", first), ("apply", "seed", "9kg", "--to", first)):
        assert run("--log", bare.path, *words).code == 0
    assert {n.note: (n.visit, n.field) for n in now(bare).notes} == {
        "stony": (visit.visit, "Long Acre"), "wet": (visit.visit, "Long Acre"),
    }  # fmt: skip
    assert "2024-03-25: stony" in run("--log", bare.path, "field", "Long Acre").out
    assert sorted(str(i.field) for i in now(bare).inputs) == ["", "Long Acre"]
    told = run("--log", bare.path, "history", first, "--csv").out.replace("\xa0", " ")
    assert "ha on new ground, nothing stated" in told
    assert "said of work on new ground: drill" in told
    assert "ha in Long Acre, drilling" in told
    assert told == run("--log", bare.path, "history", visit.visit[:5], "--csv").out.replace(
        "\xa0", " "
    )
    strike(bare, [first], "not ours")
    assert [v.field for v in now(bare).visits] == [""]
    assert now(bare).visits[0].visit.startswith(second)
    assert run("--log", bare.path, "history", first).code == 0


def test_a_number_stays_when_another_machines_earlier_work_comes_in(
    bare: log.Log, tmp_path: Path
) -> None:
    """Who reads "new ground 1" and then imports the second stick still means the same ground."""
    before = {g.number: g.area_m2 for g in ground.waiting(now(bare))}
    earlier = gpx(later(DRILLED, -2, 900.0))
    flow.import_file(bare, earlier, "green.gpx", flow.Told(machine="green"))
    after = {g.number: g.area_m2 for g in ground.waiting(now(bare))}
    assert len(after) == 3
    assert {n: after[n] for n in before} == before
    other = log.create(tmp_path / "other", "Hill Farm", "Europe/London")
    assert other.merge(bare)
    assert [(g.number, g.area_m2) for g in ground.waiting(now(other))] == list(after.items())


def test_importing_again_adds_nothing_before_and_after(bare: log.Log) -> None:
    for named in (False, True):
        if named:
            accept(bare, [1], "Long Acre")
        held = measured(bare)
        assert not flow.import_file(bare, day_gpx(), "day.gpx").entries
        assert measured(bare) == held


def test_the_order_of_imports_makes_no_difference(tmp_path: Path) -> None:
    parts = [gpx(DRILLED[:1200]), gpx(DRILLED[1200:] + ROLLED)]
    ids = []
    for k, order in enumerate((parts, parts[::-1])):
        opened = bare_log(tmp_path / f"log{k}")
        for part in order:
            flow.import_file(opened, part, "part.gpx", flow.Told(machine="blue"))
        ids.append(measured(opened) | {g.event_id for g in now(opened).found})
    assert ids[0] == ids[1]
    assert every(opened, WorkReplaced)


def test_the_same_ground_is_known_again(bare: log.Log) -> None:
    again = gpx(later(DRILLED, 7, 0.5), creator="other")
    flow.import_file(bare, again, "green.gpx", flow.Told(machine="green"))
    first, _ = ground.waiting(now(bare))
    assert {v.machine for v in first.visits} == {"blue", "green"}
    done = accept(bare, [1], "Long Acre")
    assert len(done.visits) == 2
    assert {v.day for v in now(bare).visits if v.field} == {DAY, DAY + timedelta(days=7)}
    assert [g.number for g in ground.waiting(now(bare))] == [2]


def test_several_pieces_can_be_one_field(bare: log.Log) -> None:
    done = accept(bare, [1, 2], "Both")
    assert done.field.boundary_m2 == pytest.approx(44_000, rel=0.06)
    assert {v.field for v in now(bare).visits} == {"Both"}
    assert ground.waiting(now(bare)) == ()


def test_what_was_said_before_holds_after(bare: log.Log) -> None:
    farm = now(bare)
    handle = farm.standing[farm.visits[0].event_id].handle
    flow.say(bare, [(handle, Words(implement="drill", driver="Anna"))])
    (said, other) = now(bare).visits
    assert (said.field, said.implement, said.driver) == ("", "drill", "Anna")
    assert said.ground in {g.event_id for g in now(bare).found}
    assert [g.number for g in ground.waiting(now(bare))] == [1, 2]
    accept(bare, [1], "Long Acre")
    named = in_field(bare, "Long Acre")
    assert (named.implement, named.driver) == ("drill", "Anna")
    assert other.event_id in measured(bare) or now(bare).visits[1].implement is None


def test_what_was_struck_before_stays_struck(bare: log.Log) -> None:
    farm = now(bare)
    handle = farm.standing[farm.visits[0].event_id].handle
    strike(bare, [handle], "a neighbour's field")
    assert [g.visits[0].started_at for g in ground.waiting(now(bare))] == [
        farm.visits[1].started_at
    ]
    flow.add_land(bare, geojson(FIELDS), "fields.geojson", today=date(2024, 3, 1))
    measure_again(would_change(bare, Which()))
    assert {v.field for v in now(bare).visits} == {"Mill"}


def test_a_boundary_file_takes_its_place_too(bare: log.Log) -> None:
    farm = now(bare)
    handle = farm.standing[farm.visits[0].event_id].handle
    flow.say(bare, [(handle, Words(implement="drill"))])
    flow.add_land(bare, geojson(FIELDS), "fields.geojson", today=date(2024, 3, 1))
    measure_again(would_change(bare, Which()))
    assert ground.waiting(now(bare)) == ()
    assert in_field(bare, "Long Acre").implement == "drill"


def test_where_another_laptop_knew_the_field_the_field_holds(bare: log.Log, tmp_path: Path) -> None:
    other = farm_log(tmp_path / "other")
    flow.import_file(other, day_gpx(), "day.gpx", flow.Told(machine="blue"))
    bare.merge(other)
    assert {v.field for v in now(bare).visits} == {"Long Acre", "Mill"}
    assert ground.waiting(now(bare)) == ()


@pytest.mark.parametrize(
    ("number", "name", "words"),
    [(7, "Mill", "no new ground 7"), (1, "  ", "--name"), (2, "long acre", "already")],
)
def test_what_cannot_be_named_is_told(bare: log.Log, number: int, name: str, words: str) -> None:
    accept(bare, [1], "Long Acre")
    with pytest.raises(OplogError, match=re.escape(words)):
        accept(bare, [number], name)
    assert len(every(bare, GroundFound)) == 2


def test_every_question_is_answered(bare: log.Log) -> None:
    farm = now(bare)
    rows = {r["field"] for r in records(ask(farm, "visits"))}
    assert rows == {"new ground 1", "new ground 2"}
    assert {r["worked_ha"] > 1.8 for r in records(ask(farm, "hectares_per_day"))} == {True}
    for name, question in questions().items():
        if not any(param.required for param in question.params):
            ask(farm, name)


def test_the_commands(bare: log.Log, run: Run, tmp_path: Path) -> None:
    here = ("--log", str(bare.path))
    listed = run(*here, "land")
    assert listed.code == 0
    assert "new ground 1" in run(*here, "ask", "visits", "--csv").out
    assert "Waiting for a name" in listed.out
    done = run(*here, "land", "accept", "1", "--name", "Long Acre")
    assert (done.code, "Long Acre (Hill Farm): 1.9" in done.out) == (0, True)
    assert "1 visit on 1 day" in done.out
    shown = " ".join(run(*here, "day").out.split())
    assert "east of Long Acre; measured against no boundary" in shown
    assert run(*here, "land", "accept", "1", "--name", "Mill").code == 1
    sheet = tmp_path / "day.html"
    assert run(*here, "sheet", "day", str(DAY), "--out", str(sheet)).code == 0
    page = sheet.read_text("utf-8")
    assert "new ground 2" in page
    assert "Map of new ground 2" in page


def test_land_as_data_holds_what_waits_beside_the_fields(bare: log.Log, run: Run) -> None:
    here = ("--log", str(bare.path), "land")
    run(*here, "accept", "1", "--name", "Long Acre")
    rows = json.loads(run(*here, "--json").out)["rows"]
    assert [(r["field"], r["number"]) for r in rows] == [("Long Acre", None), ("new ground 2", 2)]
    (waiting,) = ground.waiting(now(bare))
    assert rows[1]["area_ha"] == pytest.approx(waiting.area_m2 / 10_000, abs=1e-4)
    assert (rows[1]["first_day"], rows[1]["machines"]) == (DAY.isoformat(), "blue")
    told = list(csv.DictReader(io.StringIO(run(*here, "--csv").out)))
    assert [r["field"] for r in told] == ["Long Acre", "new ground 2"]
    us = json.loads(run(*here, "--json", "--units", "us").out)["rows"][1]
    assert us["area_acre"] == pytest.approx(rows[1]["area_ha"] * 2.47105, rel=1e-4)


def test_accepting_says_whose_work_it_named(bare: log.Log, run: Run) -> None:
    flow.add_kit(bare, KitItem("green", "tractor", True))
    flow.import_file(bare, gpx(later(DRILLED, 1)), "next.gpx", flow.Told(machine="green"))
    out = run("--log", bare.path, "land", "accept", "1", "--name", "Long Acre").out
    said = [" ".join(line.split()) for line in out.splitlines()]
    assert any(s.startswith("blue: ") and s.endswith(" ha, 2024-03-25") for s in said), said
    assert any(s.startswith("green: ") and s.endswith(" ha, 2024-03-26") for s in said), said
