"""At a terminal the program asks; in a pipe it never does."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.cli import _shared
from oplog.flow import Told
from oplog.kit import KitItem
from tests.evening import DRILLED, Run, in_field, now
from tests.tracks import gpx


@pytest.fixture
def track(farm: log.Log, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A track of a day, in the log's folder."""
    monkeypatch.chdir(farm.path)
    path = farm.path.parent / "track.gpx"
    path.write_bytes(gpx(DRILLED))
    return path


def answers(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    """A person at a terminal who types these."""
    monkeypatch.setattr(_shared, "at_terminal", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{x}\n" for x in lines)))


def test_an_open_visit_is_asked_once(
    farm: log.Log, run: Run, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers(monkeypatch, "dril", "DRILL")
    said = run("import", track)
    assert said.code == 0
    assert "'dril' is not one of them" in said.err
    assert "drilling with drill" in said.out
    assert in_field(farm, "Long Acre").implement == "drill"


def test_return_leaves_it_open(
    farm: log.Log, run: Run, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers(monkeypatch, "")
    assert "work not said yet" in run("import", track).out
    assert in_field(farm, "Long Acre").implement is None


def test_a_machine_is_asked_where_nothing_tells(
    farm: log.Log, run: Run, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flow.add_kit(farm, KitItem("red", "tractor", True))
    answers(monkeypatch, "red", "drill")
    assert run("import", track).code == 0
    assert now(farm).days[0].machine == "red"


def test_a_driver_is_asked_where_drivers_are_known(
    farm: log.Log, run: Run, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = gpx([(t.replace(day=20), x, y) for t, x, y in DRILLED])
    flow.import_file(farm, before, "b.gpx", Told("blue", "drill", driver="Anna"))
    answers(monkeypatch, "drill", "Bob")
    run("import", track)
    assert {v.driver for v in now(farm).visits} == {"Anna", "Bob"}


def test_a_pipe_is_never_asked(
    farm: log.Log, run: Run, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flow.add_kit(farm, KitItem("red", "tractor", True))
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    said = run("import", track)
    assert said.code == 1
    assert "--machine NAME, one of: blue, red" in " ".join(said.err.split())
    assert run("import", track, "--machine", "red").code == 0


def test_ctrl_c_keeps_nothing_half_done(
    farm: log.Log, run: Run, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*args: object, **kwargs: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("oplog.flow.importing.in_place", interrupted)
    before = {e.event_id for e in farm.events()}
    said = run("import", track, "--machine", "blue")
    assert said.code == 1
    assert "Stopped" in said.err
    assert {e.event_id for e in farm.events()} == before


def test_a_fault_of_ours_is_told_without_a_traceback(
    farm: log.Log, run: Run, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: object, **kwargs: object) -> None:
        raise ZeroDivisionError("odd")

    monkeypatch.setattr("oplog.flow.importing.in_place", broken)
    said = run("import", track, "--machine", "blue")
    assert said.code == 1
    assert "fault in oplog itself" in said.err
    assert "Traceback" not in said.err
    monkeypatch.setenv("OPLOG_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        run("import", track, "--machine", "blue")
