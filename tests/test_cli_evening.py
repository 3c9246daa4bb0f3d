"""The commands as a person types them: what they print, and their exit codes."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.flow import Told
from oplog.kit import KitItem
from oplog.log import disk
from tests.evening import DRILLED, FIELDS, Run, day_gpx, in_field, now
from tests.tracks import geojson, gpx

MANY_FIELDS = 20


@pytest.fixture
def at_home(farm: log.Log, monkeypatch: pytest.MonkeyPatch) -> log.Log:
    """In the folder of a log, a day's track beside it."""
    monkeypatch.chdir(farm.path)
    (farm.path.parent / "day.gpx").write_bytes(day_gpx())
    return farm


@pytest.fixture
def evening(at_home: log.Log, run: Run) -> log.Log:
    """The day imported, with the drill."""
    assert run("import", "../day.gpx", "--implement", "drill").code == 0
    return at_home


def handle(of: log.Log, field: str) -> str:
    return now(of).standing[in_field(of, field).event_id].handle


def test_from_nothing_to_tonights_hectares(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("fields.geojson").write_bytes(geojson(FIELDS))
    Path("track.gpx").write_bytes(day_gpx())
    assert run("new", "season", "--name", "Hill Farm", "--zone", "europe/london").code == 0
    monkeypatch.chdir(tmp_path / "season")
    assert run("land", "add", "../fields.geojson", "--farm", "Home").code == 0
    assert run("kit", "add", "blue", "--kind", "tractor", "--hitch", "2m").code == 0
    assert (
        run("kit", "add", "drill", "--kind", "drill", "--width", "4m", "--behind", "1m").code == 0
    )
    said = run("import", "../track.gpx", "--machine", "blue", "--implement", "drill")
    assert said.code == 0
    for words in (
        "Monday 25 March 2024, blue",
        "Long Acre",
        "drilling with drill, 4 m",
        "of the field's 2.00 ha",
        "gross",
        "overlap",
        "ha/h over all",
        "working at 7.2 km/h",
        "turning",
        "filling",
        "standing",
        "travelling",
        "on the road",
    ):
        assert words in " ".join(said.out.split()), words
    assert "4,186 new fixes" in said.err
    assert said.out == run("day").out


def test_lines_fit_80_columns(evening: log.Log, run: Run) -> None:
    flow.state_crop(evening, ["Mill"], "spring beans for seed", 2024, variety="Vespers Long Name")
    flow.add_kit(evening, KitItem("a tractor with a long name of its own", "tractor", True))
    for command in (["day"], ["land"], ["kit"], ["jobs"], ["ask"], ["ask", "visits"], ["--help"],
                    ["ask", "output_by_width"], ["ask", "season_summary"]):  # fmt: skip
        assert max(map(len, run(*command).out.splitlines()), default=0) <= 80, command


def test_a_day_of_many_fields_comes_as_tables(farm: log.Log, run: Run) -> None:
    from tests.tracks import square

    rings = {f"Field number {i}": square(0, i * 300, 100, 200) for i in range(MANY_FIELDS)}
    flow.add_land(farm, geojson(rings), "many.geojson", today=DRILLED[0][0].date())
    start = DRILLED[0][0]
    ways = [(x, y) for t, x, y in DRILLED[: len(DRILLED) // 4]]
    fixes = []
    for i in range(MANY_FIELDS):
        fixes += [(start + timedelta(seconds=900 * i + k), x, y + 300 * i)
                  for k, (x, y) in enumerate(ways)]  # fmt: skip
    flow.import_file(farm, gpx(fixes), "many.gpx", Told("blue", "drill"))
    out = run("--log", farm.path, "day").out
    assert len(out.splitlines()) < 4 * MANY_FIELDS
    assert max(map(len, out.splitlines())) <= 80


def test_csv_and_json_say_the_same_as_the_question(evening: log.Log, run: Run) -> None:
    rows = list(csv.DictReader(io.StringIO(run("ask", "visits", "--csv").out)))
    assert [r["field"] for r in rows] == ["Long Acre", "Mill"]
    objects = json.loads(run("ask", "visits", "--json").out)["rows"]
    assert float(rows[0]["worked_ha"]) == objects[0]["worked_ha"]
    assert run("day", "--csv").out == run("ask", "visits", "--csv").out
    visit = in_field(evening, "Long Acre")
    assert objects[0]["worked_ha"] == pytest.approx((visit.worked_m2 or 0) / 1e4, abs=1e-5)


def test_the_screen_shows_the_figures_of_the_data(evening: log.Log, run: Run) -> None:
    row = json.loads(run("ask", "visits", "--json").out)["rows"][0]
    out = " ".join(run("day").out.split())
    for shown in (
        f"worked {row['worked_ha']:.2f} ha ({row['worked_low_ha']:.2f} to",
        f"gross {row['gross_ha']:.2f} ha; overlap {row['overlap_ha']:.2f}",
        f"{row['rate_ha_h']:.2f} ha/h over all",
        f"at {row['speed_kmh']:.1f} km/h",
    ):
        assert shown in out


def test_acres_on_request(evening: log.Log, run: Run) -> None:
    assert "4.94 acres" in " ".join(run("day", "--units", "us").out.split())
    metric = list(csv.DictReader(io.StringIO(run("ask", "visits", "--csv").out)))
    us = list(csv.DictReader(io.StringIO(run("ask", "visits", "--csv", "--units", "us").out)))
    # 1 acre = 4046.8564224 m2 (international yard, 1959)
    assert float(us[0]["worked_acre"]) == pytest.approx(
        float(metric[0]["worked_ha"]) / 0.40468564224, abs=1e-4
    )


def test_names_are_never_formulas_nor_escapes(at_home: log.Log, run: Run) -> None:
    nasty = "=HYPERLINK(1)"
    flow.add_land(
        at_home, geojson({nasty: FIELDS["Mill"]}), "n.geojson", today=DRILLED[0][0].date()
    )
    flow.add_land(at_home, geojson({"\x1b[31mred": FIELDS["Mill"]}), "n.geojson",
                  today=DRILLED[0][0].date())  # fmt: skip
    out = run("land", "--csv").out
    assert "'=HYPERLINK(1)" in out
    assert "'=" not in run("land", "--csv", "--raw").out
    assert "\x1b" not in run("land").out


def test_numbers_are_never_changed_in_csv(evening: log.Log, run: Run) -> None:
    flow.add_kit(evening, KitItem("left", "tractor", True, antenna_right_m=-0.5))
    assert ",-0.5," in run("kit", "--csv").out


def test_data_of_the_kit_has_the_devices_too(evening: log.Log, run: Run) -> None:
    rows = {r["name"]: r for r in json.loads(run("kit", "--json").out)["rows"]}
    shown = run("kit").out
    assert rows["blue"]["devices"]
    assert all(device in shown for device in rows["blue"]["devices"])
    assert rows["drill"]["devices"] == []


def test_the_same_file_again(evening: log.Log, run: Run) -> None:
    said = run("import", "../day.gpx", "--implement", "roller")
    assert said.code == 0
    assert "Nothing was added" in said.err
    assert "oplog say VISIT" in " ".join(said.err.split())
    assert in_field(evening, "Mill").implement == "drill"


def test_say_corrects_and_strike_takes_out(evening: log.Log, run: Run) -> None:
    mill = handle(evening, "Mill")
    said = run("say", mill, "--implement", "roller", "--because", "it was rolled")
    assert said.code == 0
    assert "rolling with roller, 6 m" in said.out
    assert run("strike", mill, "--because", "turned round").code == 0
    assert "Mill" not in run("day").out
    assert run("strike", "Mill").code == 2, "a strike needs its reason"


def test_open_visits_show_the_command_that_settles_them(at_home: log.Log, run: Run) -> None:
    said = run("import", "../day.gpx")
    out = " ".join(said.out.split())
    assert f"roller would fit. oplog say {handle(at_home, 'Mill')} --implement roller" in out
    assert "2 visits still open" in said.out
    assert "only machine in the log" in " ".join(said.err.split())


def test_a_wrong_width_shows_as_soon_as_it_is_said(evening: log.Log, run: Run) -> None:
    """What was said with a slip is told at once, with what sets it right."""
    run("kit", "add", "narrow drill", "--kind", "drill", "--width", "3m")
    said = run("say", handle(evening, "Mill"), "--implement", "roller").out
    assert "Unsure" not in said
    said = " ".join(
        run("say", handle(evening, "Long Acre"), "--implement", "narrow drill").out.split()
    )
    assert "the narrow drill is stated as 3.0 m wide: was it another implement? drill would" in said
    run("kit", "add", "drill", "--width", "5m")
    run("say", handle(evening, "Long Acre"), "--implement", "drill")
    said = " ".join(run("day", "2024-03-25").out.split())
    assert "If not, set its width right: oplog kit add drill --width WIDTH" in said


def test_the_log_is_whole_with_its_pages_beside_it(evening: log.Log, run: Run) -> None:
    run("sheet", "day")
    said = run("check")
    assert said.code == 0
    assert "The log is whole" in said.out
    assert "Also in its folder, and no part of it: 1 file, day-2024-03-25.html." in said.out


def test_every_fix_has_its_state(evening: log.Log, run: Run) -> None:
    rows = list(csv.DictReader(io.StringIO(run("fixes", "2024-03-25", "--csv").out)))
    assert list(rows[0]) == ["time", "lat", "lon", "speed_kmh", "machine", "field", "state", "bout"]
    assert len(rows) == 4186
    working = sum(r["state"] == "working" and r["field"] == "Long Acre" for r in rows)
    assert working == pytest.approx(in_field(evening, "Long Acre").working_s, rel=0.02)
    assert max(int(r["bout"] or 0) for r in rows if r["field"] == "Long Acre") > 10
    shown = run("fixes", "2024-03-25").out.splitlines()
    assert sum(":" in line for line in shown) == len(rows) + 1, "a line a fix, and the seal"
    assert sum(line.startswith("08:00:0") for line in shown) == 10, "to the second"


def test_a_folder_is_read_through(at_home: log.Log, run: Run, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    (stick / "logs").mkdir(parents=True)
    (stick / "System Volume Information").mkdir()
    (stick / "System Volume Information" / "x.gpx").write_bytes(b"no")
    (stick / "logs" / "a.gpx").write_bytes(gpx(DRILLED))
    (stick / "holiday.jpg").write_bytes(b"\xff\xd8\xff\xe0" + b"\0" * 50)
    said = run("import", stick, "--implement", "drill")
    assert said.code == 3
    assert "holiday.jpg" in said.err
    assert "Volume" not in said.err
    assert now(at_home).visits


def test_a_log_among_the_files_is_told_and_not_read(
    at_home: log.Log, run: Run, tmp_path: Path
) -> None:
    """A stick may hold a copy of a log: its parts are no tracks, whatever lies beside them."""
    other = log.create(tmp_path / "stick" / "copy", "Hill Farm", "Europe/London")
    (other.path / "tracks").mkdir()
    (other.path / "tracks" / "a.gpx").write_bytes(gpx(DRILLED))
    said = run("import", tmp_path / "stick", "--implement", "drill")
    assert said.code == 3
    assert " ".join(said.err.split()).endswith(
        "Left out: copy is a log, not a track: oplog merge brings in what another log holds. "
        "Nothing was added from it."
    )
    assert now(at_home).visits
    assert "There is no file in" in run("import", at_home.path).err


def test_of_many_files_left_out_those_to_be_helped_come_first(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stick has letters and pictures on it too: they do not push out what asks for an answer."""
    stick = tmp_path / "stick"
    stick.mkdir()
    for n in range(8):
        (stick / f"a{n}.txt").write_text("Dear Ann")
    for n in range(5):
        (stick / f"day{n}.gpx").write_bytes(day_gpx())
    log.create(tmp_path / "log", "Hill Farm", "Europe/London")
    monkeypatch.chdir(tmp_path / "log")
    said = run("import", stick)
    assert said.code == 1
    first, second = said.err.splitlines()
    assert first.startswith("day0.gpx, day1.gpx, day2.gpx and 2 more: there is no machine in this")
    assert second.startswith("a0.txt, a1.txt, a2.txt and 5 more: text without any position")


def test_a_way_through_a_field_is_told_as_one(at_home: log.Log, run: Run, tmp_path: Path) -> None:
    """And how to say that it was work, which no visit is there to be said of."""
    east = [x for _, x, _ in DRILLED]
    north = DRILLED[len(DRILLED) // 2][2]
    way = [(t, min(east) - 300 + 4.0 * i, north) for i, (t, *_) in enumerate(DRILLED[:240])]
    (tmp_path / "way.gpx").write_bytes(gpx(way))
    said = " ".join(run("import", "../way.gpx").out.split())
    assert "no boundary matched" not in said
    assert "blue: it was in Mill, but nothing like work was seen there" in said
    day = said.partition("oplog history ")[2].split()[0]
    shown = run("history", day).out.split()
    imported = shown[shown.index("yes", shown.index("imported")) + 1]
    assert run("strike", imported, "--because", "it was work").code == 0
    assert "240 new fixes" in run("import", "../way.gpx", "--implement", "drill").err


def test_exit_codes(at_home: log.Log, run: Run, tmp_path: Path) -> None:
    assert run().code == 2
    assert run("impotr").code == 2
    assert "Did you mean import" in run("impotr").err
    assert run("import", "nowhere.gpx").code == 1
    assert run("import", "../day.gpx", "--machine", "green").code == 1
    far = [(t, 9000 + 12.0 * i, y) for i, (t, _, y) in enumerate(DRILLED[:200])]
    (tmp_path / "far.gpx").write_bytes(gpx(far))
    said = run("import", "../far.gpx")
    assert said.code == 3
    assert "no boundary matched" in said.out
    assert "km away" in " ".join(said.out.split())
    assert run("check").code == 0
    for file in (at_home.path / "events").glob("*.parquet"):
        file.write_bytes(file.read_bytes()[:-40])
    assert run("check").code == 4
    said = run("check", "--json")
    assert said.code == 4
    assert "torn" in {f["kind"] for f in json.loads(said.out)["rows"] if f["damage"]}
    assert run("check", "--seal", "x", "--json").code == 2


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\x00\x01\x02\x03" * 50, "binary"),
        (b"<!DOCTYPE html><html><body>Sign in</body></html>", "web page"),
    ],
)
def test_files_that_are_none(at_home: log.Log, run: Run, content: bytes, words: str) -> None:
    before = sorted(p.name for p in at_home.path.rglob("*"))
    (at_home.path.parent / "x.gpx").write_bytes(content)
    said = run("import", "../x.gpx")
    assert said.code == 1
    assert words in said.err
    assert "Traceback" not in said.err
    assert sorted(p.name for p in at_home.path.rglob("*")) == before


def test_boundaries_taken_for_a_track_are_sent_where_they_belong(
    at_home: log.Log, run: Run
) -> None:
    (at_home.path.parent / "fields.geojson").write_bytes(geojson(FIELDS))
    said = run("import", "../fields.geojson")
    assert said.code == 1
    assert "oplog land add FILE reads boundaries" in said.err


def test_a_boundary_file_without_polygon(at_home: log.Log, run: Run) -> None:
    path = at_home.path.parent / "points.geojson"
    path.write_text('{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},'
                    '"geometry":{"type":"Point","coordinates":[0,52]}}]}')  # fmt: skip
    said = run("land", "add", path)
    assert said.code == 1
    assert "Nothing was added" in said.err


def test_no_log_and_not_a_log(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert "oplog new" in run("day").err
    assert "is not a log" in run("--log", tmp_path, "day").err
    assert run("--log", tmp_path / "gone", "day").code == 1


def test_the_log_is_found_from_below_and_by_the_environment(
    evening: log.Log, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(evening.path / "events")
    assert "Long Acre" in run("day").out
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("OPLOG_LOG", str(evening.path))
    assert "Long Acre" in run("day").out


@pytest.mark.parametrize("number", [errno.EROFS, errno.ENOSPC, errno.EACCES])
def test_a_disk_that_takes_nothing(
    at_home: log.Log, run: Run, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """Read-only, full, not ours: said in words, nothing half-written."""

    def refused(path: object, mode: str = "r", **settings: object) -> object:
        if set(mode) & set("xwa"):
            raise OSError(number, os.strerror(number), str(path))
        return open(str(path), mode, **settings)  # type: ignore[call-overload]

    before = {e.event_id for e in at_home.events()}
    monkeypatch.setattr(disk, "open", refused, raising=False)
    said = run("import", "../day.gpx", "--implement", "drill")
    monkeypatch.undo()
    assert said.code == 1
    assert "fault in oplog" not in said.err
    assert len(said.err) > 20
    assert {e.event_id for e in log.open_log(at_home.path).events()} == before


def test_a_new_log_over_an_old_one_is_refused(at_home: log.Log, run: Run) -> None:
    said = run("new", at_home.path)
    assert said.code == 1
    assert "already" in said.err


def test_unknown_zone_and_day(run: Run, tmp_path: Path) -> None:
    assert "Europe/London" in run("new", tmp_path / "a", "--zone", "Europe/Londn").err
    assert run("new", tmp_path / "a", "--day-turns-at", "25:00", "--zone", "UTC").code == 2
    assert not (tmp_path / "a").exists()


def test_dates_are_as_written(evening: log.Log, run: Run) -> None:
    assert run("day", "25.3.2024").code == 2
    assert "nothing recorded. The last day before it: oplog day 2024-03-25" in " ".join(
        run("day", "2024-03-26").out.split()
    )
    assert "first day on file: oplog day 2024-03-25" in " ".join(
        run("day", "2020-01-01").out.split()
    )


def test_the_help_comes_at_once() -> None:
    """Nothing heavy is loaded to show the help."""
    heavy = ["numpy", "shapely", "pyarrow", "duckdb", "pyproj", "rich", "jinja2"]
    script = (
        "import sys; from oplog.cli import main; main(['--help']); "
        f"print('LOADED', [m for m in {heavy!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert "LOADED []" in done.stdout


def test_every_command_explains_itself(run: Run) -> None:
    import click

    from oplog.cli import program

    def walk(group: click.Group, path: list[str]) -> None:
        context = click.Context(group)
        for name in group.list_commands(context):
            command = group.get_command(context, name)
            assert command is not None
            assert command.help, f"{path} {name} has no help"
            assert not command.get_short_help_str(120).endswith("..."), f"{name}: too long"
            said = run(*path, name, "--help")
            assert said.code == 0
            prose = [x for x in said.out.splitlines() if not x.startswith("  oplog ")]
            assert max(map(len, prose)) <= 80, f"{name}: an example may be longer, prose not"
            for option in command.params:
                if isinstance(option, click.Option):
                    assert option.help, f"{name} {option.name} has no help"
            if isinstance(command, click.Group):
                walk(command, [*path, name])

    walk(program, [])


def test_two_laptops_come_together(
    evening: log.Log, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.evening import farm_log

    other = farm_log(tmp_path / "other")
    later = [(t + timedelta(days=1), x, y) for t, x, y in DRILLED]
    flow.import_file(other, gpx(later), "b.gpx", Told("blue", "drill"))
    mine = handle(evening, "Mill")
    said = run("merge", other.path)
    assert said.code == 0
    assert "events were new" in said.out
    assert handle(evening, "Mill") == mine, "a handle stays the same after a merge"
    assert run("merge", other.path).out == "Nothing was new.\n"
    assert len(now(evening).days) == 2
    assert run("merge", tmp_path / "nowhere").code == 1


def test_problems_are_summed_up_and_shown_in_full_on_request(at_home: log.Log, run: Run) -> None:
    lines = day_gpx().decode().split("\n")
    for i in range(20, 200, 20):
        lines[i] = lines[i].replace('lat="', 'lat="x')
    (at_home.path.parent / "torn.gpx").write_text("\n".join(lines[:-1]) + "\n<trkpt lat=")
    said = run("import", "../torn.gpx", "--implement", "drill")
    assert said.code == 3
    assert "torn.gpx, line" in said.err
    assert in_field(at_home, "Long Acre").working_s > 0, "good data beside bad is kept"
    assert len(run("import", "../torn.gpx", "--problems").err) >= len(said.err) - 200


def test_a_boundary_file_with_a_bad_ring(at_home: log.Log, run: Run) -> None:
    data = json.loads(geojson({"Good": FIELDS["Mill"], "Bad": FIELDS["Mill"]}))
    data["features"][1]["geometry"]["coordinates"] = [[[0.1, 52.1], [0.2, 52.1]]]
    path = at_home.path.parent / "rings.geojson"
    path.write_text(json.dumps(data))
    said = run("land", "add", path)
    assert said.code == 3
    assert "New: Good" in said.out
    assert "Bad" in said.err


def test_jobs_from_plan_to_close(evening: log.Log, run: Run) -> None:
    flow.state_crop(evening, ["Long Acre"], "spring beans", 2024)
    said = run("plan", "beans", "--operation", "drilling", "--crop", "spring beans")
    assert said.code == 0
    assert "beans: drilling of Long Acre" in said.out
    assert "beans" in run("jobs").out
    assert run("close", "Beans").code == 0
    assert run("close", "beans").code == 1
    assert run("plan", "x", "--operation", "drilling").code == 1
    assert run("plan", "x", "--operation", "drilling", "--fields", "Mil").code == 1
