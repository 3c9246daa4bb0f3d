"""Logs of every earlier version in the history of this repository can be read, and mean what they
meant. Each is kept as it was written, with the ids of its events and its seal beside it. When a
version of the folder, of a file or of an event changes, a log of the new version is added here,
and none is ever changed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from oplog import log
from oplog.events import event_id
from oplog.fold import fold
from tests.logs import meaning, note, own_configuration

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
    findings = log.check(made.path).findings
    assert findings == ()
    assert made.seal() == known["seal"]
    assert log.check_seal(made.path, str(known["seal"])).holds


def test_an_old_log_is_folded_tidied_and_written_to(old):
    made, known = old
    before = repr(fold(made.events()))
    made.tidy()
    assert repr(fold(made.events())) == before
    made.append([note("one more")])
    assert len(meaning(made.events())) == len(known["events"]) + 1
