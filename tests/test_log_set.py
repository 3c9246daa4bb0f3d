"""The meaning of a log is the set of its events, however it was written, brought together, cut
up, doubled, tidied or copied under other names."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from oplog import log
from oplog.errors import OplogError
from oplog.events import Event
from oplog.fold import fold
from tests.logs import (
    FARM,
    imported,
    meaning,
    measured,
    note,
    own_configuration,
    with_import,
)

__all__ = ["own_configuration"]

POOL: list[Event] = [
    *(measured(k, worked_m2=1000.0 * k) for k in range(6)),
    *(note(f"note {k}") for k in range(5)),
    note("note 1", "said once more"),
    imported(1)[0],
    replace(imported(1)[0], machine="red"),
]

chosen = st.lists(st.sampled_from(POOL), max_size=8)
entries = st.lists(chosen, max_size=4)


def written(folder: Path, parts: list[list[Event]]) -> log.Log:
    made = log.create(folder, *FARM)
    for part in parts:
        made.append(part)
    return made


@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(a=entries, b=entries, data=st.data())
def test_a_log_is_the_set_of_its_events(a, b, data, own_configuration):
    expected = {e.event_id: e for part in a + b for e in part}
    with tempfile.TemporaryDirectory() as place:
        left = written(Path(place, "left"), a)
        right = written(Path(place, "right"), b)
        farm = meaning(log.create(Path(place, "none"), *FARM).events())
        for step in data.draw(st.lists(st.sampled_from("mnrtcd"), min_size=1, max_size=6)):
            changed(step, left, right, data)
        left.merge(right)
        assert meaning(log.open_log(left.path).events()) == expected | farm
        assert meaning(left.events()) == expected | farm
        assert said(left.events()) == said((expected | farm).values())
        report = log.check(left.path)
        # That the events of imports come without their tracks is this test's doing.
        findings = [f for f in report.findings if f.damage and f.file not in ("fixes", "raw")]
        assert findings == []


def said(events: Iterable[Event]) -> str:
    """What follows from events, all but how they were written down."""
    return repr(fold(e for e in events if e.TYPE != "entry.written"))


def changed(step: str, left: log.Log, right: log.Log, data: st.DataObject) -> None:
    """One of the things that may happen to two copies of a log and must not matter."""
    files = sorted((right.path / "events").glob("*.parquet"))
    if step == "m":
        left.merge(right)
    elif step == "n":
        right.merge(left)
    elif step == "t":
        left.tidy()
    elif step == "r":
        file = data.draw(st.sampled_from(files))
        file.rename(file.with_name(f"Copy ({len(files)}) of {file.name}"))
    elif step == "d":
        file = data.draw(st.sampled_from(files))
        shutil.copy(file, file.with_name(f"{len(files)} {file.name}"))
    elif step == "c":
        for file in files:
            shutil.copy(file, left.path / "events")


def test_merging_brings_fixes_and_files_along_and_counts_what_is_new(tmp_path):
    left = with_import(tmp_path / "left", 1)
    right = with_import(tmp_path / "right", 2)
    assert left.merge(right) == 2
    assert left.merge(right) == 0
    event, drive, data = imported(2)
    assert left.fixes(event.fixes).digest() == drive.digest()
    assert left.raw(event.file_digest) == data
    assert log.check(left.path).findings == ()


def test_two_people_who_import_the_same_track_have_it_once(tmp_path):
    left, right = with_import(tmp_path / "left"), with_import(tmp_path / "right")
    assert left.merge(right) == 0
    assert len(meaning(left.events())) == 3
    assert log.check(left.path).findings == ()


def test_another_farm_is_not_merged(tmp_path):
    left = log.create(tmp_path / "left", *FARM)
    right = log.create(tmp_path / "right", "Quarry Farm", "Europe/London")
    before = meaning(left.events())
    with pytest.raises(OplogError, match="not of the same farm"):
        left.merge(right)
    assert meaning(log.open_log(left.path).events()) == before
