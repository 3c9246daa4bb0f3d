"""The commands of a season as a person types them: what they print, and what they refuse."""

from __future__ import annotations

import csv
import io
import json
import shutil
from datetime import date, datetime
from pathlib import Path

import pytest

from oplog import log
from oplog.cli import main
from tests.evening import Run, day_gpx, farm_log, in_field, now


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A day imported: Long Acre drilled (2 ha), Mill rolled; beans in both, a job to drill them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OPLOG_CONFIG", str(tmp_path_factory.mktemp("configuration")))
        folder = tmp_path_factory.mktemp("made") / "log"
        of = farm_log(folder)
        file = folder.parent / "day.gpx"
        file.write_bytes(day_gpx())
        at = ("--log", str(folder))
        main([*at, "land", "crop", "Long Acre", "Mill", "spring beans", "--harvest", "2024"])
        main([*at, "import", str(file), "--implement", "drill"])
        main([*at, "say", handle(of, "Mill"), "--implement", "roller"])
        plan = ("plan", "beans in", "--operation", "drilling", "--crop", "spring beans")
        assert main([*at, *plan]) == 0
        return folder


@pytest.fixture
def evening(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> log.Log:
    """A copy of that log, in its folder."""
    shutil.copytree(made, tmp_path / "log")
    monkeypatch.chdir(tmp_path / "log")
    return log.open_log(tmp_path / "log")


def handle(of: log.Log, field: str) -> str:
    return now(of).standing[in_field(of, field).event_id].handle


def told(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


# --- jobs


def test_a_job_says_how_far_it_is_and_when_it_will_be_done(evening: log.Log, run: Run) -> None:
    said = run("jobs", "beans in", "--from", "2024-03-26").out
    assert "in 2 fields" in said
    assert "Not begun: Mill." in said
    assert "Part-done: Long Acre" in said
    assert "March at" in said
    assert "From one day there is no range" in said


def test_what_if(evening: log.Log, run: Run) -> None:
    def done_at(*options: str) -> datetime:
        (row,) = told(run("jobs", "--from", "2024-03-26", "--csv", *options).out)
        return datetime.fromisoformat(row["done_at"])

    assert (done_at("--days-lost", "2") - done_at()).days == 2
    assert done_at("--start", "06:30", "--stop", "20:00") < done_at()
    assert run("jobs", "--start", "25:00").code == 2
    assert run("jobs", "--start", "08:00", "--stop", "08:00").code == 2


def test_a_job_of_which_nothing_is_done(farm: log.Log, run: Run) -> None:
    run("--log", farm.path, "plan", "mow", "--operation", "mowing", "--fields", "Mill")
    said = run("--log", farm.path, "jobs").out
    assert "no work yet" in said
    assert "no day of mowing is on file yet" in said
    (row,) = told(run("--log", farm.path, "jobs", "--csv").out)
    assert (row["done_ha"], row["rate_ha_h"], row["done_at"]) == ("0.0", "", "")


def test_a_past_deadline_is_refused_and_an_old_one_told(evening: log.Log, run: Run) -> None:
    past = ("--operation", "drilling", "--fields", "Mill", "--by", "2020-01-01")
    assert "is past" in run("plan", "late", *past).err


def test_what_is_still_needed(evening: log.Log, run: Run) -> None:
    assert run("need", "beans in", "bean seed", "200kg", "--kind", "seed").code == 0
    said = run("jobs", "beans in").out
    assert "kg of bean seed still (200 kg/ha planned)" in " ".join(said.split())
    assert "seed is measured by weight" in run("need", "beans in", "x", "2l", "--kind", "seed").err
    assert (
        "No job is called 'beens in'" in run("need", "beens in", "x", "2kg", "--kind", "seed").err
    )
    assert "The rate is nothing" in run("need", "beans in", "x", "0kg", "--kind", "seed").err


# --- inputs


def test_a_correction_keeps_what_it_does_not_say(evening: log.Log, run: Run) -> None:
    """Whoever adds the wind to a spray record does not take back the water and the dose."""
    said = (
        "--kind",
        "spray",
        "--dose",
        "2l",
        "--water",
        "200",
        "--bbch",
        "31",
        "--machine",
        "blue",
    )
    run("apply", "Herbex", "4", "l", "--to", "2024-03-25", *said)
    first = told(run("inputs", "--csv").out)[0]["input"]
    done = run("apply", "Herbex", "5", "l", "--replaces", first, "--wind", "3")
    assert done.code == 0, done.err
    (event,) = now(evening).inputs
    assert (event.amount, event.wind_force) == (5.0, 3.0)
    assert (event.per_ha, event.water_l_ha, event.bbch) == (2.0, 200.0, "31")
    assert (event.day, event.machine, event.kind) == (date(2024, 3, 25), "blue", "spray")
    moved = run("apply", "Herbex", "5", "l", "--to", "Mill", "--replaces", event.event_id[:5])
    assert moved.code == 0, moved.err
    (event,) = now(evening).inputs
    assert (event.field, event.machine, event.water_l_ha) == ("Mill", "blue", 200.0)
    assert "Say what it went on" in run("apply", "Herbex", "5", "l").err


def test_a_spray_without_its_water_has_no_flow(evening: log.Log, run: Run) -> None:
    visit = handle(evening, "Long Acre")
    run("kit", "add", "sprayer", "--kind", "sprayer", "--width", "4m")
    run("say", visit, "--implement", "sprayer")
    dry = run("apply", "Herbex", "4", "l", "--to", visit, "--kind", "spray").out
    assert "l/min" not in dry
    first = told(run("inputs", "--csv").out)[0]["input"]
    assert (
        "l/min over the boom"
        in run("apply", "Herbex", "4", "l", "--replaces", first, "--water", "200").out
    )


def test_seed_to_a_visit_a_field_a_day_and_a_job(evening: log.Log, run: Run) -> None:
    visit = handle(evening, "Long Acre")
    net_ha = in_field(evening, "Long Acre").worked_m2 / 1e4
    for to in (visit, "long acre", "2024-03-25", "beans in"):
        said = run("apply", "bean seed", "400", "kg", "--to", to, "--kind", "seed")
        assert said.code == 0, said.err
        assert f"{400 / net_ha:.0f} kg/ha net ({net_ha:.2f} ha)" in " ".join(said.out.split())
    rows = told(run("inputs", "--csv").out)
    assert {(r["visits"], f"{float(r['net_ha']):.2f}") for r in rows} == {("1", f"{net_ha:.2f}")}


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("seed", "400", "l", "--to", "Mill", "--kind", "seed"), "measured by weight"),
        (("seed", "0", "kg", "--to", "Mill", "--kind", "seed"), "The amount is nothing"),
        (("seed", "-5", "kg", "--to", "Mill", "--kind", "seed"), "less than nothing"),
        (("seed", "5", "kg", "--to", "Mil", "--kind", "seed"), "Did you mean Mill?"),
        (("seed", "5", "kg", "--to", "Mill", "--kind", "sead"), "Did you mean seed?"),
        (("seed", "5", "kg", "--to", "Mill"), "Say what kind of input it is"),
        (("seed", "5", "--to", "Mill", "--kind", "seed"), "has no unit"),
        (("seed", "5", "kg", "--to", "Mill", "--kind", "seed", "--left", "6kg"), "left over"),
        (("seed", "5", "kg", "--to", "Mill", "--kind", "seed", "--left", "1l"), "does not fit"),
        (("Herbex", "5", "l", "--to", "Mill", "--kind", "spray", "--bbch", "x1"), "BBCH"),
        (("Herbex", "5", "l", "--to", "Mill", "--kind", "spray", "--wind", "13"), "Beaufort"),
        (("Herbex", "5", "l", "--to", "Mill", "--kind", "spray", "--dose", "0l"), "The dose"),
    ],
)
def test_what_cannot_be_is_refused(
    words: tuple[str, ...], message: str, evening: log.Log, run: Run
) -> None:
    said = run("apply", *words)
    assert said.code in (1, 2)
    assert message in " ".join(said.err.split())
    assert now(evening).inputs == ()


def test_an_input_before_its_work_is_kept_and_told(evening: log.Log, run: Run) -> None:
    said = run("apply", "Herbex", "5", "l", "--to", "Mill", "--kind", "spray")
    assert said.code == 0
    assert "no work fits it yet" in said.out
    assert "it will count once there is some" in " ".join(said.err.split())


def test_muck_by_the_ten_thousand(evening: log.Log, run: Run) -> None:
    visit = handle(evening, "Long Acre")
    to = ("--to", visit, "--kind", "fertiliser")
    said = run("apply", "muck", "50", "t", *to, "--dose", "20")
    shown = " ".join(run("field", "Long Acre").out.split())
    net_m2 = in_field(evening, "Long Acre").worked_m2
    assert f"muck {50_000 / (net_m2 / 1e4):.0f} kg/ha" in shown
    assert "20000 was said" in " ".join(said.err.split())


def test_a_slip_is_pointed_at(evening: log.Log, run: Run) -> None:
    said = run("apply", "bean seed", "40", "t", "--to", "beans in", "--kind", "seed")
    assert "is a great deal of seed" in " ".join(said.err.split())


def test_an_input_corrected_and_struck(evening: log.Log, run: Run) -> None:
    run("apply", "bean seed", "400", "kg", "--to", "beans in")
    first = now(evening).inputs[0].event_id[:5]
    run("apply", "bean seed", "380", "kg", "--to", "beans in", "--replaces", first)
    (only,) = now(evening).inputs
    assert only.amount == 380
    said = run("strike", only.event_id[:5], "--because", "weighed wrongly")
    assert "Struck out: bean seed, 380 kg (weighed wrongly)." in said.out
    assert now(evening).inputs == ()
    unknown = run("apply", "x", "1", "kg", "--to", "beans in", "--replaces", "zzzzz")
    assert "No input is called 'zzzzz'" in unknown.err


def test_a_spray_record_says_what_it_lacks(evening: log.Log, run: Run) -> None:
    said = run("apply", "Herbex", "4", "l", "--to", "Mill", "--kind", "spray", "--water", "200",
               "--authorisation", "N 123", "--started", "06:10", "--eppo", "VICFX", "--bbch", "12",
               "--operator", "Ann", "--wind", "2", "--wind-from", "NW", "--dose", "2l")  # fmt: skip
    assert said.code == 0
    shown = " ".join(run("sprays").out.split())
    assert "06:10: Herbex on Mill" in shown
    assert "missing: treated area, crop" in shown
    assert "the product's label, local rules and the advice of a qualified adviser" in shown
    said = run("sprays", "--json")
    (record,) = json.loads(said.out)["rows"]
    assert (record["authorisation"], record["bbch"], record["wind_from"]) == ("N 123", "12", "NW")
    assert "label" in said.err


def test_setting_a_drill(evening: log.Log, run: Run) -> None:
    said = run("calibrate", "drill", "bean seed", "--plants", "40", "--grain-weight", "520",
               "--establishment", "85", "--area", "100", "--caught", "2.4kg")  # fmt: skip
    assert "47 seeds/m2" in said.out
    assert "245 kg/ha" in " ".join(said.out.split())
    assert "2.45 kg are to fall" in said.out
    assert "1.9 % too little" in said.out
    assert "Say the rate" in run("calibrate", "drill", "seed").err
    assert "No implement is called 'dril'" in run("calibrate", "dril", "x", "--rate", "2kg").err
    assert "by weight" in run("calibrate", "drill", "x", "--rate", "2l").err
    too_many = run("calibrate", "drill", "x", "--plants", "4", "--grain-weight", "5",
                   "--establishment", "120")  # fmt: skip
    assert "at most 100 %" in too_many.err


# --- output, fields, seasons, accounts, lines


def test_output_and_comparing(evening: log.Log, run: Run) -> None:
    said = run("output").out
    assert "blue, drill: drilling" in said
    assert "few data" in said
    assert "only like operations are compared" in " ".join(
        run("compare", "drill", "roller").err.split()
    )
    assert "it takes two" in run("compare", "drill", "drill").err
    assert "Did you mean drill?" in run("compare", "dril", "roller").err
    run("kit", "add", "wide drill", "--kind", "drill", "--width", "6m")
    run("say", handle(evening, "Mill"), "--implement", "wide drill")
    shown = " ".join(run("compare", "drill", "wide drill", "--wider", "8m").out.split())
    assert (
        "To match wide drill at 9.0 km/h, drill would have to go 13.5 km/h at equal losses" in shown
    )
    assert "These are few data" in shown
    assert "With 8 m at the same speed and losses" in shown
    assert "no measured work" in run("compare", "drill", "wide drill", "--harvest", "1999").err
    asked = ("compare", "drill", "wide drill", "--wider", "8m")
    wide, narrow = json.loads(run(*asked, "--json").out)["rows"]
    assert (wide["name"], wide["to_match_kmh"], narrow["few_data"]) == ("wide drill", None, True)
    assert f"{wide['speed_kmh']:.1f} {narrow['to_match_kmh']:.1f}" == "9.0 13.5"
    needed_h = narrow["field_h"] * (1 - narrow["width_m"] / 8)
    assert narrow["saved_by_width_h"] == pytest.approx(needed_h, abs=1e-4)
    us = told(run(*asked, "--csv", "--units", "us").out)[1]
    assert float(us["to_match_mph"]) == pytest.approx(narrow["to_match_kmh"] / 1.609344, abs=1e-4)
    without = json.loads(run("compare", "drill", "wide drill", "--json").out)["rows"]
    assert without[1]["saved_by_width_h"] is None


def test_a_fields_season_and_notes(evening: log.Log, run: Run) -> None:
    run("note", "wet corner by the oak", "--on", "Long Acre")
    run("note", "new points", "--on", "drill", "--on", "2024-03-25")
    stages = run("sequence", "spring beans", "drilling", "rolling", "combining", "--csv")
    assert {row["crop"] for row in told(stages.out)} == {"spring beans"}
    assert "then rolling" in stages.err
    said = " ".join(run("field", "long acre").out.split())
    assert "spring beans, harvest 2024" in said
    net_ha = in_field(evening, "Long Acre").worked_m2 / 1e4
    assert f"{net_ha:.2f} ha at 7.2 km/h" in said
    assert "wet corner by the oak" in said
    assert "next comes rolling; 1 behind the farthest field." in said
    assert "new points" in run("notes", "POINTS").out
    assert "No note fits." in run("notes", "hail").out
    assert "says nothing" in run("note", "  ").err
    assert (
        "No field, machine or visit is called 'Lng Acre'"
        in run("note", "x", "--on", "Lng Acre").err
    )
    assert "no work is on file for harvest 1999" in run("field", "Mill", "--harvest", "1999").out
    assert "No crop is called 'oats'" in run("sequence", "oats", "drilling").err
    assert "Did you mean drilling" in run("sequence", "spring beans", "driling").err


def test_seasons(evening: log.Log, run: Run) -> None:
    said = run("season", "2024").out
    assert "by operation" in said
    assert "Nothing is on file for 2023 to compare with." in said
    none = "No work counts to harvest 2031. There is for 2024.\n"
    assert run("season", "2031").out.startswith(none)
    assert run("season", "2031", "--csv").out.count("\n") == 1


def test_work_without_a_crop_is_in_no_season_and_that_is_said(evening: log.Log, run: Run) -> None:
    """A season's figures do not leave out in silence what nobody stated a crop for."""
    assert "In no season" not in run("season").out
    (crop,) = now(evening).crops["mill"]
    run("strike", crop.event_id[:6], "--because", "not so")
    worked = in_field(evening, "Mill").worked_m2
    where = "in Mill; no crop is stated there."
    lacks = f"In no season: 1 visit, {worked / 1e4:.2f} ha {where}"
    said = " ".join(run("season").out.split())
    assert said.startswith("Season 2024")
    assert f"{lacks} oplog land crop FIELD CROP --harvest YEAR" in said
    assert f"{worked / 4046.86:.2f} acres {where}" in " ".join(
        run("season", "--units", "us").out.split()
    )
    assert lacks in " ".join(run("season", "2025").out.split()), "worked in 2024, for a later crop"
    assert "In no season" not in run("season", "2031").out
    assert lacks in " ".join(run("season", "--csv").err.split())
    assert lacks in " ".join(run("sheet", "season", "--out", "-").out.split())


def test_a_log_without_crops_says_how_work_gets_into_a_season(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm_log(tmp_path / "log")
    (tmp_path / "day.gpx").write_bytes(day_gpx())
    monkeypatch.chdir(tmp_path / "log")
    run("import", tmp_path / "day.gpx", "--implement", "drill")
    how = "in Long Acre, Mill; no crop is stated there. oplog land crop FIELD CROP --harvest YEAR"
    assert how in " ".join(run("season").out.split())
    assert how in " ".join(run("sheet", "season").err.split())


def test_an_account(evening: log.Log, run: Run) -> None:
    assert "Add one: oplog customer add" in " ".join(run("account", "Brook").err.split())
    assert run("customer", "add", "Brook Farm", "--field", "Long Acre", "--field", "Mill").code == 0
    run("customer", "price", "drilling", "60", "--currency", "GBP")
    run("customer", "price", "drilling", "50", "--currency", "GBP", "--customer", "Brook Farm")
    run("customer", "price", "rolling", "30", "--currency", "GBP", "--per", "h")
    customer, *prices = told(run("customer", "--csv").out)
    assert (customer["fields"], customer["price"]) == ("Long Acre; Mill", "")
    assert {(p["customer"], p["operation"], p["price"], p["per"]) for p in prices} == {
        ("", "drilling", "60.0", "ha"), ("Brook Farm", "drilling", "50.0", "ha"),
        ("", "rolling", "30.0", "h"),
    }  # fmt: skip
    said = run("account", "brook farm", "--vat", "20").out
    assert "Long Acre *" in said, "part-done: the ground done"
    assert "50.00 GBP" in said, "the customer's own price"
    assert "VAT 20 %" in said
    rows = told(run("account", "Brook Farm", "--csv").out)
    assert {r["visits"] for r in rows} == {handle(evening, "Long Acre"), handle(evening, "Mill")}
    assert "No work for Brook Farm" in run("account", "Brook Farm", "--from", "2025-01-01").out
    turned = ("--from", "2024-04-01", "--to", "2024-03-01")
    for words in (("account", "Brook Farm"), ("sheet", "account", "Brook Farm")):
        assert "--from 2024-04-01 is later than --to 2024-03-01" in run(*words, *turned).err
    run("sheet", "account", "Brook Farm")
    run("sheet", "account", "Brook Farm", "--from", "2024-03-25")
    pages = {p.name for p in evening.path.glob("*.html")}
    assert pages == {"account-Brook-Farm.html", "account-Brook-Farm-from-2024-03-25.html"}
    for words in (("customer", "price", "driling", "9", "--currency", "GBP"),
                  ("plan", "j", "--operation", "driling", "--fields", "Mill")):  # fmt: skip
        assert "Did you mean drilling?" in run(*words).err
    assert run("customer", "price", "sowing", "9", "--currency", "GBP").code == 0
    assert "is none" in run("customer", "price", "rolling", "0", "--currency", "GBP").err
    assert "no currency" in run("customer", "price", "rolling", "5", "--currency", "pounds").err
    by_hour = run("customer", "price", "rolling", "5", "--currency", "GBP", "--by", "hours")
    assert "A price an hour goes by hours" in by_hour.err
    assert "Say whose ground" in run("customer", "add", "Nobody").err


def test_lines_go_into_files_once(evening: log.Log, run: Run, tmp_path: Path) -> None:
    said = run("lines", "Long Acre", "--boom", "24m", "--to", tmp_path / "out")
    assert said.code == 0, said.err
    assert "not for steering" in " ".join(said.out.split())
    assert {p.suffix for p in (tmp_path / "out").iterdir()} == {".gpx", ".geojson"}
    again = run("lines", "Long Acre", "--boom", "24m", "--to", tmp_path / "out")
    assert "is there already" in again.err
    assert "no spraying or spreading with bouts is on file" in " ".join(
        run("lines", "Mill").err.split()
    )


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("seson", "x.csv"), "Did you mean season"),
        (("season", "x.doc"), "is written as .csv, .json, .parquet"),
        (("fields", "x.csv"), "is written as .geojson"),
        (("coverage", "x.gpx"), "GPX is written of bouts and left"),
        (("left", "x.gpx", "--field", "Mil"), "Did you mean Mill?"),
        (("treated", "x.geojson"), "There is nothing in treated"),
    ],
)
def test_exports_that_cannot_be(
    words: tuple[str, ...], message: str, evening: log.Log, run: Run
) -> None:
    said = run("export", *words)
    assert said.code == 1
    assert message in " ".join(said.err.split())
    assert not list(evening.path.glob("x.*"))


def test_an_empty_log_says_what_to_do(
    farm: log.Log, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(farm.path)
    for command, hint in (
        ("jobs", "oplog plan"), ("inputs", "oplog apply"), ("sprays", "oplog apply"),
        ("output", "No work with a known width"), ("notes", "oplog note"),
        ("sequence", "oplog sequence"), ("customer", "oplog customer add"),
    ):  # fmt: skip
        said = run(command)
        assert said.code == 0
        assert hint in said.out
