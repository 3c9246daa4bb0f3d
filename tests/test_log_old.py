"""Logs of every earlier version in the history of this repository can be read, and mean what they
meant. Each is kept as it was written, with the ids of its events and its seal beside it. When a
version of the folder, of a file or of an event changes, or a type or a column of an event is new,
a log of the new version is added here (`python -m tests.make_old_log`), and none is ever changed.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from oplog import log
from oplog.cli import main
from oplog.events import TYPES, TrackImported, WorkMeasured, columns, event_id
from oplog.fold import fold
from tests.logs import meaning, note, own_configuration
from tests.make_old_log import figures

__all__ = ["own_configuration"]

OLD = sorted(p for p in (Path(__file__).parent / "old_logs").iterdir() if p.is_dir())


@pytest.fixture(params=OLD, ids=[p.name for p in OLD])
def old(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[log.Log, dict[str, object]]:
    """A copy of an old log, and what is known of it."""
    kept = Path(request.param)
    shutil.copytree(kept, tmp_path / "log")
    return log.open_log(tmp_path / "log"), json.loads(kept.with_suffix(".json").read_text("utf-8"))


def test_there_is_one():
    assert OLD


def test_an_old_log_says_what_it_said(old):
    made, known = old
    events = made.events()
    assert made.problems == []
    assert sorted(meaning(events)) == known["events"]
    assert all(event_id(e) == e.event_id for e in events)


def test_an_old_log_is_whole_and_its_seal_holds(old):
    made, known = old
    report = log.check(made.path)
    assert [f for f in report.findings if f.kind != "forgotten"] == []
    assert report.exit_code == 0
    assert made.seal() == known["seal"]
    assert log.check_seal(made.path, str(known["seal"])).holds


def test_an_old_log_comes_to_the_same_figures(old):
    made, known = old
    if "figures" in known:
        assert figures(fold(made.events())) == known["figures"]


def test_an_old_log_is_shown_and_its_check_is_clean(old, capsys):
    made, _ = old
    assert main(["--log", str(made.path), "check"]) == 0
    assert main(["--log", str(made.path), "ask", "visits"]) == 0
    assert "Seal: " in capsys.readouterr().out


def test_every_type_and_every_late_column_is_in_one_of_them():
    """Where a type or a column is new, the day of the first log without it is past: add a log."""
    held = [e for kept in OLD for e in log.open_log(kept).events()]
    assert {e.TYPE for e in held} == set(TYPES)
    assert {name for e in held for name in columns(type(e)) if getattr(e, name)} >= {
        "stored", "files", "unseen", "ground", "supersedes", "because", "found", "place", "rest",
    }  # fmt: skip
    assert any(e.kept for e in held if isinstance(e, TrackImported))
    assert any(e.unseen for e in held if isinstance(e, WorkMeasured))


def test_an_old_log_is_folded_tidied_and_written_to(old):
    made, known = old
    before = repr(fold(made.events()))
    made.tidy()
    assert repr(fold(made.events())) == before
    made.append([note("one more")])
    assert len(meaning(made.events())) == len(known["events"]) + 1
