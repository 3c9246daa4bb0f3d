"""Events that are read when they are used are in every respect those that were written."""

from __future__ import annotations

import copy
import pickle
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from oplog import log
from oplog.events import DayMeasured, Event, NoteWritten, WorkMeasured, columns, event_id
from oplog.log import lazy, parts, schema, tables
from oplog.log.reading import decode
from tests.logs import imported, measured, new_log, note, own_configuration
from tests.test_events import full, least

__all__ = ["own_configuration"]

MIXED = [
    measured(1),
    note("a"),
    measured(2, geometry=None, doubts=()),
    full(DayMeasured),
    imported(1)[0],
    full(WorkMeasured),
    least(DayMeasured),
    least(WorkMeasured),
]


@pytest.fixture(params=["whole", "in parts", "all after the first"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Small files are read whole, large ones column by column, the largest columns row by row."""
    if request.param != "whole":
        monkeypatch.setattr(parts, "LARGE", 0)
    if request.param == "all after the first":
        monkeypatch.setattr(parts, "MANY", 1)


@cache
def stored() -> bytes:
    return schema.encode(MIXED)


def read() -> list[Event]:
    return decode(stored())


@pytest.mark.usefixtures("way")
def test_they_equal_copy_pickle_and_name_themselves_as_what_was_written():
    for event, written in zip(read(), MIXED, strict=True):
        assert event.event_id == written.event_id == event_id(event)
        assert event == written
        assert written == event
        assert repr(event).startswith(f"{type(written).__name__}(")
        assert isinstance(event, written.__class__)
        assert event.__class__ is written.__class__
    for event, written in zip(read(), MIXED, strict=True):
        for again in (pickle.loads(pickle.dumps(event)), copy.copy(event), replace(event)):
            assert type(again) is type(written)
            assert again == written
            assert again.event_id == written.event_id


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("name", sorted(columns(WorkMeasured)))
def test_each_column_can_be_the_first_that_is_asked_for(name):
    for event, written in zip(read(), MIXED, strict=True):
        if isinstance(written, WorkMeasured):
            assert getattr(event, name) == getattr(written, name)


@pytest.mark.usefixtures("way")
def test_what_is_left_out_is_not_there():
    lean = decode(stored(), without=("spans", "geometry", "worked_m2"))
    assert [getattr(e, "spans", ()) for e in lean] == [()] * len(MIXED)
    assert {getattr(e, "worked_m2", None) for e in lean} == {None}
    assert lean[0].bouts == MIXED[0].bouts  # type: ignore[attr-defined]


@pytest.mark.usefixtures("way")
def test_a_log_of_them_can_be_written_again(tmp_path):
    made = new_log(tmp_path / "log")
    made.append(MIXED)
    other = new_log(tmp_path / "other")
    other.append(made.events())
    assert {e.event_id for e in other.events()} >= {e.event_id for e in MIXED}
    assert "altered" not in {f.kind for f in log.check(other.path).findings}


@pytest.mark.usefixtures("way")
def test_tables_hold_what_the_events_hold():
    work = [e for e in read() if isinstance(e, WorkMeasured)]
    work = [work[3], replace(work[0], driver="Zoë"), work[1], measured(7), work[0]]
    names = [n for n, h in columns(WorkMeasured).items() if h in (str, float)] + ["day"]
    rows: list[dict[str, Any]] = tables.of_events(
        work, WorkMeasured, ["event_id", "started_at", *names]
    ).to_pylist()
    by_position = {r[tables.POSITION]: r for r in rows}
    for position, event in enumerate(work):
        row = by_position[position]
        assert {n: row[n] for n in names} == {n: getattr(event, n) for n in names}
        assert (row["event_id"], row["started_at"]) == (event.event_id, event.started_at)


def test_no_events_are_a_table_without_rows():
    assert tables.of_events([], NoteWritten, ["event_id", "note", "day"]).num_rows == 0


def test_lists_become_columns_of_their_type():
    table = tables.of_lists({"a": (str, ["é", None, ""]), "b": (int, [None, 2, 3])})
    assert table.to_pylist() == [{"a": "é", "b": None}, {"a": None, "b": 2}, {"a": "", "b": 3}]


def test_nobody_asks_an_event_for_its_type():
    """An event that is read as it is used has a type of its own; its `__class__` is what it is."""
    asks = re.compile(r"[(\[]type\((?:e|v|event|visit|one|other|target|chosen)\)[)\],]")
    allowed = re.compile(r"columns\(type\((?:e|event)\)\)")  # goes by its TYPE
    house = Path(lazy.__file__).parents[1]
    wrong = [
        f"{path.name}: {line.strip()}"
        for path in house.rglob("*.py")
        for line in path.read_text("utf-8").splitlines()
        if asks.search(allowed.sub("", line))
    ]
    assert wrong == []
