"""Forgetting a stretch: it is gone for good, here and wherever the log is brought together."""

from __future__ import annotations

import json
import shutil
from datetime import datetime, timedelta
from itertools import pairwise, permutations
from pathlib import Path

import numpy as np
import pytest

from oplog import flow, log
from oplog.errors import CannotWrite, OplogError, UnknownName
from oplog.events import StretchForgotten, TrackCut, TrackImported, WorkMeasured
from oplog.flow import forgetting, private
from oplog.flow.changing import Which, measure_again, would_change
from oplog.flow.history import read
from oplog.flow.restoring import fixes_again
from oplog.flow.taking import Told
from oplog.log import disk
from tests.evening import (
    DAY,
    DRILLED,
    ROLLED,
    Run,
    day_gpx,
    every,
    farm,
    farm_log,
    kept,
    own_configuration,
    run,
)
from tests.test_log_faults import Disk, PowerCut, install
from tests.test_private import EVENING, HOME, as_gpx, assert_nothing_within, stored_tracks
from tests.tracks import gpx, walk

__all__ = ["farm", "own_configuration", "run"]

BLUE = Told(machine="blue", implement="drill")
BETWEEN = (DRILLED[-1][0] + timedelta(seconds=30), ROLLED[0][0] - timedelta(seconds=30))
"""On the way between the two fields."""
ALL_DAY = (DRILLED[0][0], ROLLED[-1][0])


def whole_day() -> bytes:
    """Drilling, the way over, rolling: without a hole."""
    (t0, x0, y0), (t1, x1, y1) = DRILLED[-1], ROLLED[0]
    metres = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
    way = walk([(x0, y0), (x1, y1)], metres / (t1 - t0).total_seconds(), start=t0)
    return gpx(DRILLED + way[1:] + ROLLED)


def own_day(path: Path) -> log.Log:
    """The day, imported by the one who looks at it: what is missing then is no file on its way."""
    made = farm_log(path)
    flow.import_file(made, whole_day(), "day.gpx", BLUE)
    return made


with_day = kept(own_day)


@pytest.fixture
def day(tmp_path: Path) -> log.Log:
    return with_day(tmp_path / "log")


def forget(made: log.Log, period: tuple[datetime, datetime], why: str = "private") -> None:
    forgetting.forget(made, forgetting.in_period(made, "blue", *period), why)


def holds_any_of(made: log.Log, period: tuple[datetime, datetime]) -> bool:
    first, last = (np.datetime64(t.replace(tzinfo=None), "us") for t in period)
    tracks = list(stored_tracks(made))
    return any(((t.time >= first) & (t.time <= last)).any() for t in tracks)


def figures(made: log.Log) -> list[tuple[object, ...]]:
    return sorted((v.field, v.worked_m2, v.working_s) for v in read(made).farm.visits)


def whole(made: log.Log) -> bool:
    return log.check(made.path).exit_code == 0


def test_a_stretch_goes_with_its_file_and_leaves_who_and_why(day):
    assert holds_any_of(day, BETWEEN)
    (before,) = every(day, TrackImported)
    forget(day, BETWEEN, "nobody's business")
    assert not holds_any_of(day, BETWEEN)
    assert list((day.path / "raw").iterdir()) == []
    (event,) = every(day, StretchForgotten)
    assert isinstance(event, StretchForgotten)
    assert (event.because, event.machine) == ("nobody's business", "blue")
    assert event.files == (before.file_digest,)
    assert event.stated_by
    assert len(day.fixes(before.fixes)) == before.fix_count - event.fix_count
    report = log.check(day.path)
    assert report.exit_code == 0
    (told,) = (f for f in report.findings if f.kind == "forgotten")
    assert "nobody's business" in told.message
    assert log.mend(day.path, fixes_again(day)).after.exit_code == 0
    assert not holds_any_of(day, BETWEEN)


def test_without_a_reason_or_with_nothing_to_forget_nothing_happens(day):
    found = forgetting.in_period(day, "blue", *BETWEEN)
    with pytest.raises(OplogError, match="because"):
        forgetting.forget(day, found, "  ")
    later = BETWEEN[0] + timedelta(days=9), BETWEEN[1] + timedelta(days=9)
    with pytest.raises(OplogError, match="nothing of that"):
        forgetting.forget(day, forgetting.in_period(day, "blue", *later), "x")
    with pytest.raises(OplogError, match="ends before"):
        forgetting.in_period(day, "blue", *BETWEEN[::-1])
    with pytest.raises(UnknownName):
        forgetting.in_period(day, "drill", *BETWEEN)
    with pytest.raises(UnknownName):
        forgetting.whole_import(day, "0123456789")
    assert holds_any_of(day, BETWEEN)
    assert not every(day, StretchForgotten)


def test_an_import_is_forgotten_by_its_handle(day):
    (event,) = every(day, TrackImported)
    before = figures(day)
    forgetting.forget(day, forgetting.whole_import(day, event.event_id[:8]), "wrong farm")
    assert all(not len(t) for t in stored_tracks(day))
    assert figures(day) == before
    assert whole(day)


def test_the_same_file_again_does_not_bring_it_back(day):
    forget(day, BETWEEN)
    (again,) = flow.import_files(day, [("day.gpx", whole_day())], BLUE).files
    assert (again.new, again.refused) == (0, "")
    longer = whole_day().replace(b"</trkseg>", gpx(
        walk([(300, 0), (300, 50)], 2.0, start=ROLLED[-1][0] + timedelta(seconds=1))
    ).split(b"<trkseg>")[1].split(b"</trkseg>")[0] + b"</trkseg>")  # fmt: skip
    (more,) = flow.import_files(day, [("longer.gpx", longer)], BLUE).files
    assert more.new > 0
    assert any("forgotten" in p.message for p in more.problems)
    assert not holds_any_of(day, BETWEEN)
    assert whole(day)


def test_a_file_that_held_the_stretch_as_known_goes_too(tmp_path):
    """The second export holds the first one's fixes as well: its bytes are no hiding place."""
    made = farm_log(tmp_path / "log")
    flow.import_file(made, gpx(DRILLED), "a.gpx", BLUE)
    flow.import_file(made, day_gpx(), "b.gpx", BLUE)
    period = DRILLED[100][0], DRILLED[400][0]
    assert len(list((made.path / "raw").iterdir())) == 2
    forget(made, period)
    assert not holds_any_of(made, period)
    assert whole(made)


def test_all_within_a_place_that_was_stated_later(tmp_path):
    made = farm_log(tmp_path / "log")
    flow.import_file(made, as_gpx(EVENING), "day.gpx", BLUE)
    private.state_circle(made, "home", HOME[1], HOME[0], 150.0)
    found = forgetting.within_place(made, "HOME")
    assert found.fix_count > 60
    forgetting.forget(made, found, "home")
    assert_nothing_within(made, 150.0)
    assert not forgetting.within_place(made, "home").parts
    assert whole(made)


def test_a_file_that_only_mentions_the_place_goes_too(tmp_path):
    made = farm_log(tmp_path / "log")
    flow.import_file(made, as_gpx(DRILLED), "day.gpx", BLUE)
    private.state_circle(made, "home", HOME[1], HOME[0], 150.0)
    found = forgetting.within_place(made, "home")
    assert (found.fix_count, len(found.files)) == (0, 1)
    forgetting.forget(made, found, "home")
    assert list((made.path / "raw").iterdir()) == []
    (event,) = every(made, TrackImported)
    assert len(made.fixes(event.fixes)) == len(DRILLED)
    assert whole(made)


# -- figures --------------------------------------------------------------------------------------


def test_figures_stand_when_measured_again(day):
    before = figures(day)
    forget(day, (DRILLED[200][0], DRILLED[900][0]))
    assert figures(day) == before
    changes = would_change(day, Which())
    assert "Long Acre" not in {c.field for c in changes.changes}
    measure_again(changes, "to see")
    after = figures(day)
    assert after[0] == before[0]
    assert after[1][1] == pytest.approx(before[1][1], rel=1e-4)
    assert whole(day)


def test_remeasure_says_which_figures_rest_on_forgotten_fixes(day, run: Run):
    forget(day, (DRILLED[200][0], DRILLED[900][0]))
    said = run("--log", day.path, "remeasure")
    told = " ".join((said.out + said.err).split())
    assert "rest on fixes that were forgotten and stand as they are" in told
    assert "Long Acre" in told


def test_figures_stand_when_all_of_a_day_was_forgotten(day):
    before = figures(day)
    forget(day, ALL_DAY)
    assert would_change(day, Which()).changes == ()
    assert figures(day) == before


def test_figures_stand_when_more_of_the_day_is_imported_and_the_day_adds_up(day):
    before = {f: w for f, w, _ in figures(day)}
    forget(day, (DRILLED[200][0], DRILLED[900][0]))
    later = walk([(300, 0), (300, 100)], 2.0, start=ROLLED[-1][0] + timedelta(minutes=20))
    flow.import_file(day, gpx(later), "later.gpx", BLUE)
    after = {f: w for f, w, _ in figures(day)}
    assert after["Long Acre"] == before["Long Acre"]
    farm = read(day).farm
    assert farm.unsettled == ()
    (on,) = farm.days
    assert set(on.measured) == {v.event_id for v in farm.visits}
    assert on.tracked_s == pytest.approx(on.field_s + on.road_s + on.elsewhere_s, abs=1e-2)
    (kept,) = (e for e in every(day, type(on)) if e.event_id == on.event_id)
    stays = [(v.started_at, v.ended_at) for v in farm.visits]
    parts = sorted([*stays, *((s.started_at, s.ended_at) for s in kept.spans)])
    assert parts[0][0] == on.started_at
    assert parts[-1][1] == on.ended_at
    assert all(a[1] == b[0] for a, b in pairwise(parts))


def test_what_was_forgotten_is_told_in_the_history_of_a_visit_and_a_day(day, run: Run):
    forget(day, (DRILLED[200][0], DRILLED[900][0]), "my own affair")
    (visit,) = (v for v in read(day).farm.visits if v.field == "Long Acre")
    for subject in (visit.visit[:6], DAY.isoformat()):
        said = run("--log", day.path, "history", subject)
        assert "my own affair" in " ".join(said.out.split())


# -- bringing logs together -----------------------------------------------------------------------


def copy(made: log.Log, name: str) -> log.Log:
    shutil.copytree(made.path, made.path.parent / name)
    return log.open_log(made.path.parent / name)


def test_a_copy_that_still_holds_it_does_not_bring_it_back(day):
    other = copy(day, "other")
    forget(day, BETWEEN)
    day.merge(other)
    assert not holds_any_of(day, BETWEEN)
    assert whole(day)


def test_a_copy_that_is_told_takes_it_out_too(day):
    other = copy(day, "other")
    forget(day, BETWEEN)
    other.merge(day)
    assert not holds_any_of(other, BETWEEN)
    assert whole(other)


def test_what_another_laptop_imported_of_that_time_is_cut_as_it_comes(day, tmp_path):
    other = farm_log(tmp_path / "other")
    shift = DRILLED + walk([DRILLED[-1][1:], (250, 0)], 1.0, start=DRILLED[-1][0])[1:]
    flow.import_file(other, gpx(shift, "phone"), "phone.gpx", BLUE)
    forget(day, BETWEEN)
    assert holds_any_of(other, BETWEEN)
    for made, from_ in ((day, other), (other, day)):
        made.merge(from_)
        assert not holds_any_of(made, BETWEEN)
        assert whole(made)


PERIODS = (
    (DRILLED[100][0], DRILLED[300][0]),
    (DRILLED[200][0], DRILLED[500][0]),
    (ROLLED[50][0], ROLLED[150][0]),
)


@pytest.mark.parametrize("order", list(permutations(range(3)))[:4])
def test_three_who_forget_apart_end_with_the_same_and_with_none_of_it(day, order):
    logs = [copy(day, str(k)) for k in range(3)]
    for made, period in zip(logs, PERIODS, strict=True):
        forget(made, period)
    first, *rest = (logs[k] for k in order)
    for other in rest:
        first.merge(other)
    for other in rest:
        other.merge(first)
        first.merge(other)
    for made in logs:
        assert not any(holds_any_of(made, p) for p in PERIODS)
        assert whole(made), log.check(made.path).findings
    held = [{e.event_id for e in m.events() if e.TYPE != "entry.written"} for m in logs]
    assert held[0] == held[1] == held[2]
    (event,) = every(first, TrackImported)
    assert len({m.fixes(event.fixes).digest() for m in logs}) == 1


def test_bytes_copied_back_in_go_with_the_next_writing(day):
    other = copy(day, "other")
    forget(day, BETWEEN)
    for name in ("fixes", "raw"):
        shutil.copytree(other.path / name, day.path / name, dirs_exist_ok=True)
    report = log.check(day.path)
    assert not report.damaged
    assert "still here" in {f.kind for f in report.findings}
    flow.note(day, "rain", on=[], today=DAY)
    assert not holds_any_of(day, BETWEEN)
    assert whole(day)


def test_merge_says_what_is_gone_and_who_still_has_it(day, run: Run):
    other = copy(day, "other")
    forget(day, BETWEEN, "my own affair")
    said = run("--log", day.path, "merge", other.path)
    assert "still holds what was forgotten here" in " ".join(said.out.split())
    said = run("--log", other.path, "merge", day.path)
    assert "now here too" in " ".join(said.out.split())
    assert "my own affair" in " ".join(said.out.split())
    assert not holds_any_of(other, BETWEEN)


# -- kills and faults -----------------------------------------------------------------------------


def small(tmp_path: Path) -> log.Log:
    made = farm_log(tmp_path / "first" / "log")
    flow.import_file(made, gpx(DRILLED[:400]), "day.gpx", BLUE)
    return made


PERIOD = DRILLED[100][0], DRILLED[200][0]


@pytest.mark.parametrize(
    ("how", "renames_last"), [("full", True), ("torn", True), ("power", True), ("power", False)]
)
def test_broken_off_anywhere_the_next_writing_finishes_it(how, renames_last, tmp_path, monkeypatch):
    first = small(tmp_path)
    before = {e.event_id for e in first.events()}
    found = forgetting.in_period(first, "blue", *PERIOD)
    for fail_at in range(60):
        shutil.copytree(first.path, tmp_path / str(fail_at))
        made = log.open_log(tmp_path / str(fail_at))
        faulty, done = Disk(fail_at, how), False
        with monkeypatch.context() as patched:
            install(patched, faulty)
            try:
                forgetting.forget(made, found, "private")
                done = True
            except (CannotWrite, PowerCut):
                pass
        if how == "power":
            faulty.cut(renames_last)
        made = log.open_log(made.path)
        assert not log.check(made.path).damaged, log.check(made.path).findings
        if {e.event_id for e in made.events()} == before:
            forgetting.forget(made, found, "private")
        else:
            flow.note(made, "rain", on=[], today=DAY)
        assert not holds_any_of(made, PERIOD)
        assert whole(made), log.check(made.path).findings
        if done:
            break
    assert done
    assert fail_at > 3


def test_a_removal_that_the_system_refuses_is_made_good(tmp_path, monkeypatch):
    """As where another program holds the file open on Windows."""
    made = small(tmp_path)
    found = forgetting.in_period(made, "blue", *PERIOD)
    with monkeypatch.context() as patched:
        patched.setattr(disk, "remove", lambda path: False)
        forgetting.forget(made, found, "private")
    assert holds_any_of(made, PERIOD)
    assert not log.check(made.path).damaged
    log.mend(made.path)
    assert not holds_any_of(made, PERIOD)
    assert whole(made)


def test_what_is_left_is_held_against_the_event(tmp_path):
    day = own_day(tmp_path / "log")
    forget(day, BETWEEN)
    (cut,) = every(day, TrackCut)
    assert isinstance(cut, TrackCut)
    (file,) = (day.path / "fixes").iterdir()
    data = file.read_bytes()
    file.unlink()
    assert log.check(day.path).damaged
    (file.parent / file.name.replace(str(cut.rest), "0" * 32)).write_bytes(data)
    assert log.check(day.path).damaged
    file.write_bytes(data[:-9] + b"x" + data[-8:])
    assert log.check(day.path).damaged


# -- the command ----------------------------------------------------------------------------------


def test_the_command_shows_first_and_asks(day, run: Run):
    arguments = ("--log", day.path, "forget", "--machine", "blue", "--from", "2024-03-25T08:05",
                 "--to", "2024-03-25T08:15")  # fmt: skip
    assert run(*arguments).code == 2
    said = run(*arguments, "--because", "mine")
    assert said.code == 1
    assert "Nothing was changed" in said.err
    assert "601 positions" in said.out
    assert "Long Acre" in said.out
    assert not every(day, StretchForgotten)
    said = run(*arguments, "--because", "mine", "--yes")
    assert said.code == 0
    assert len(every(day, StretchForgotten)) == 1
    said = run("--log", day.path, "forget")
    assert "601 positions forgotten" in " ".join(said.out.split())
    assert "mine" in said.out
    (row,) = json.loads(run("--log", day.path, "forget", "--json").out)["rows"]
    assert (row["machine"], row["positions"], row["because"]) == ("blue", 601, "mine")
    assert (row["began"], row["ended"]) == ("2024-03-25T08:05:00Z", "2024-03-25T08:15:00Z")
    assert run(*arguments, "--because", "mine", "--yes", "--json").code == 2
    (found,) = json.loads(run("--log", day.path, "check", "--json").out)["rows"]
    assert (found["kind"], found["damage"]) == ("forgotten", False)


def test_the_commands_of_private_places(day, run: Run, monkeypatch):
    here = ("--log", day.path, "private")
    assert "No place is private" in run(*here).out
    assert run(*here, "add", "home").code == 2
    assert run(*here, "add", "home", "--at", "here", "--radius", "9m").code == 2
    x, y = HOME
    typed = ["oplog", "private", "add", "home", "--at", f"{y},{x}", "--radius", "150m"]
    monkeypatch.setattr("sys.argv", typed)
    said = run(*here, *typed[2:])
    assert (said.code, said.err) == (0, "")
    said = run(*here)
    assert said.out.strip() == "home: a circle of 150 m"
    assert run(*here, "--csv").out == "place,radius_m\nhome,150.0\n"
    (entry,) = (e for e in read(day).farm.entries if e.command.startswith("oplog private add"))
    assert f"{y}" not in entry.command
    assert run(*here, "remove", "home").code == 2
    assert "private no more" in run(*here, "remove", "home", "--because", "sold").out
    assert isinstance(every(day, WorkMeasured)[0], WorkMeasured)
