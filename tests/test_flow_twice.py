"""One file that two people took in for two machines: told, and set right by choosing."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.events import TrackImported
from oplog.flow import Told
from oplog.fold import Unsettled
from oplog.kit import KitItem
from oplog.sheets.unsettled import open_choices, unsettled_lines
from tests.evening import DAY, Said, day_gpx, farm_log, kept, now, own_configuration

__all__ = ["own_configuration"]


@kept
def two_tractors(path: Path) -> log.Log:
    made = farm_log(path)
    flow.add_kit(made, KitItem("red", "tractor", True))
    return made


@kept
def for_blue(path: Path) -> log.Log:
    made = two_tractors(path)
    flow.import_file(made, day_gpx(), "day.gpx", Told(machine="blue"))
    return made


@kept
def for_red(path: Path) -> log.Log:
    made = two_tractors(path)
    flow.import_file(made, day_gpx(), "day.gpx", Told(machine="red"))
    return made


@pytest.fixture
def two(tmp_path: Path) -> tuple[log.Log, log.Log]:
    """Two copies of a log; a file was taken in for blue in the one and for red in the other."""
    return for_blue(tmp_path / "log"), for_red(tmp_path / "other")


def of_files(of: log.Log) -> list[Unsettled]:
    return [u for u in open_choices(now(of)) if isinstance(u.events[0], TrackImported)]


def machines(of: log.Log) -> list[str]:
    return sorted(v.machine for v in now(of).visits)


def test_it_is_told_whoever_merges_first(two: tuple[log.Log, log.Log], tmp_path: Path) -> None:
    one, other = two
    alone = log.open_log(shutil.copytree(other.path, tmp_path / "alone"))
    one.merge(other)
    alone.merge(one)
    other.merge(alone)
    for end in (one, other, alone):
        told = [u for u in now(end).unsettled if isinstance(u.events[0], TrackImported)]
        assert [len(u.events) for u in told] == [2]
        assert "blue and red: its work counts twice" in told[0].what
        assert machines(end) == ["blue", "blue", "red", "red"]
        assert log.check(end.path).findings == ()
    assert now(one).unsettled == now(other).unsettled == now(alone).unsettled


@pytest.mark.parametrize("keeps", ["blue", "red"])
def test_choosing_one_leaves_its_work_alone(two: tuple[log.Log, log.Log], keeps: str) -> None:
    one, other = two
    one.merge(other)
    (matter,) = of_files(one)
    shown = "\n".join(unsettled_lines(now(one), [matter]))
    chosen = next(e for e in matter.events if e.machine == keeps)  # type: ignore[attr-defined]
    assert f"{chosen.event_id[:8]} {keeps} (" in shown
    flow.choose(one, chosen.event_id[:8], "it was on the roof")
    other.merge(one)
    for end in two:
        assert machines(end) == [keeps, keeps]
        assert not any(isinstance(u.events[0], TrackImported) for u in now(end).unsettled)
        assert [t.because for t in now(end).tracks] == ["it was on the roof"]


def test_two_who_choose_apart_are_asked_again(two: tuple[log.Log, log.Log]) -> None:
    one, other = two
    one.merge(other)
    other.merge(one)
    for end, keeps in ((one, "blue"), (other, "red")):
        (held,) = (t for t in now(end).tracks if t.machine == keeps)
        flow.choose(end, held.event_id[:8])
    one.merge(other)
    assert any(isinstance(u.events[0], TrackImported) for u in now(one).unsettled)


def test_striking_one_settles_it_too(two: tuple[log.Log, log.Log]) -> None:
    one, other = two
    one.merge(other)
    (red,) = (t for t in now(one).tracks if t.machine == "red")
    flow.strike(one, [red.event_id[:8]], "it was blue")
    assert machines(one) == ["blue", "blue"]
    assert not any(isinstance(u.events[0], TrackImported) for u in now(one).unsettled)


@pytest.fixture
def struck_apart(two: tuple[log.Log, log.Log]) -> tuple[log.Log, log.Log]:
    """Both saw the matter, and each struck out another machine's, on a copy of his own."""
    one, other = two
    one.merge(other)
    other.merge(one)
    for end, wrong in ((one, "blue"), (other, "red")):
        (held,) = (t for t in now(end).tracks if t.machine == wrong)
        flow.strike(end, [held.event_id[:8]], f"it was not {wrong}")
    one.merge(other)
    other.merge(one)
    return one, other


def test_struck_for_each_by_two_apart_is_told(
    struck_apart: tuple[log.Log, log.Log], run: Callable[..., Said]
) -> None:
    one, other = struck_apart
    for end in struck_apart:
        assert machines(end) == []
        (matter,) = of_files(end)
        assert "blue and red, and struck out for both" in matter.what
        shown = "\n".join(unsettled_lines(now(end), [matter]))
        assert "it was not blue" in shown
        assert "it was not red" in shown
    assert now(one).unsettled == now(other).unsettled
    said = run("--log", one.path, "day", DAY.isoformat())
    assert "its work counts for none" in " ".join(said.out.split())


@pytest.mark.parametrize("keeps", ["blue", "red", None])
def test_one_machine_or_none_is_chosen_after_that(
    struck_apart: tuple[log.Log, log.Log], keeps: str | None
) -> None:
    one, other = struck_apart
    (matter,) = of_files(one)
    chosen = next(e for e in matter.events if getattr(e, "machine", None) == keeps)
    flow.choose(one, chosen.event_id[:8], "asked the drivers")
    other.merge(one)
    for end in struck_apart:
        assert machines(end) == ([keeps, keeps] if keeps else [])
        assert of_files(end) == []


def test_who_strikes_both_himself_is_not_asked(two: tuple[log.Log, log.Log]) -> None:
    one, other = two
    one.merge(other)
    for track in now(one).tracks:
        flow.strike(one, [track.event_id[:8]], "a lawn mower")
    assert machines(one) == []
    assert of_files(one) == []
    last = max(now(one).struck, key=lambda s: len(s.supersedes))
    flow.strike(one, [last.event_id[:8]], "no, it was red after all")
    assert len(machines(one)) == 2
    assert of_files(one) == []


def test_the_same_file_for_another_machine_is_said_at_import(
    farm: log.Log, run: Callable[..., Said], tmp_path: Path
) -> None:
    flow.add_kit(farm, KitItem("red", "tractor", True))
    file = tmp_path / "day.gpx"
    file.write_bytes(day_gpx())
    run("--log", farm.path, "import", file, "--machine", "blue")
    said = run("--log", farm.path, "import", file, "--machine", "red")
    assert "it was blue's in the log until now" in said.out + said.err
    assert machines(farm) == ["red", "red"]


def test_every_sheet_that_hangs_on_it_says_so(
    two: tuple[log.Log, log.Log], run: Callable[..., Said]
) -> None:
    one, other = two
    merged = run("--log", one.path, "merge", other.path)
    assert "its work counts twice" in " ".join(merged.out.split())
    for command in (["settle"], ["check"], ["day", DAY.isoformat()], ["field", "Mill"]):
        said = run("--log", one.path, *command)
        assert "its work counts twice" in " ".join(said.out.split()), command


def about_imports(end: log.Log) -> list[Unsettled]:
    return [u for u in now(end).unsettled if any(isinstance(e, TrackImported) for e in u.events)]


def of(end: log.Log, machine: str) -> TrackImported:
    (held,) = (t for t in now(end).tracks if t.machine == machine)
    return held


def test_every_sheet_that_it_may_be_missing_from_says_so(
    struck_apart: tuple[log.Log, log.Log], run: Callable[..., Said]
) -> None:
    one, _ = struck_apart
    for command in (
        ["settle"], ["check"], ["season", "2024"], ["field", "Mill"], ["output"],
        ["ask", "hectares_per_day"],
    ):  # fmt: skip
        said = run("--log", one.path, *command)
        assert "its work counts for none" in " ".join(said.out.split()), command
    for other_time in (["season", "2021"], ["day", "2024-05-01"]):
        assert "counts for none" not in run("--log", one.path, *other_time).out
    assert log.check(one.path).exit_code == 0


def test_struck_with_the_other_in_one_command_both_come_back(two: tuple[log.Log, log.Log]) -> None:
    one, other = two
    one.merge(other)
    done = flow.strike(one, [of(one, m).event_id[:8] for m in ("blue", "red")], "a slip")
    assert len(done.undo) == 1
    flow.strike(one, done.undo, "no slip")
    assert machines(one) == ["blue", "blue", "red", "red"]


def test_imported_again_after_both_were_struck_it_counts(
    struck_apart: tuple[log.Log, log.Log],
) -> None:
    one, _ = struck_apart
    flow.import_file(one, day_gpx(), "day.gpx", Told(machine="red"))
    assert machines(one) == ["red", "red"]
    assert about_imports(one) == []


@pytest.mark.parametrize("keeps", [True, False])
def test_chosen_by_one_and_struck_by_the_other_is_told(
    two: tuple[log.Log, log.Log], keeps: bool
) -> None:
    one, other = two
    one.merge(other)
    other.merge(one)
    flow.choose(one, of(one, "red").event_id[:8], "red was there")
    flow.strike(other, [of(other, "red").event_id[:8]], "red was not")
    one.merge(other)
    (matter,) = about_imports(one)
    assert "was taken in for red by one and struck out by another" in matter.what
    chosen = next(e for e in matter.events if isinstance(e, TrackImported) == keeps)
    flow.choose(one, chosen.event_id[:8], "asked both")
    other.merge(one)
    for end in two:
        flow.settle(end)
        assert about_imports(end) == []
        assert set(machines(end)) <= {"red"}
        assert bool(machines(end)) == keeps
