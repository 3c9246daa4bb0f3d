"""What is worked out from a log's files by DuckDB alone is what is worked out in the ordinary way,
and where it would not be, the ordinary way is taken."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from oplog import log
from oplog.events import (
    TYPES,
    EntryWritten,
    Event,
    FieldDrawn,
    NoteWritten,
    WorkMeasured,
    columns,
)
from oplog.fold import fold
from oplog.log import schema
from oplog.log.disk import digest, write_whole
from oplog.log.shelf import Shelf, shelf_of
from oplog.query import asking, database, find, fresh
from oplog.query.written import Written, written
from tests.evening import Run, day_log, kept, own_configuration, run
from tests.loading import loaded
from tests.test_events import full, least
from tests.test_fold import EVENTS, meaning

__all__ = ["own_configuration", "run"]


@kept
def all_types(path: Path) -> log.Log:
    opened = log.create(path, "Hill Farm", "Europe/London")
    opened.append(EVENTS[:20])
    opened.append(EVENTS[20:])
    # These have shapes that are none, and numbers of entries that were never written.
    others = [t for t in TYPES.values() if t not in (EntryWritten, FieldDrawn)]
    opened.append([of(t) for t in others for of in (full, least)])
    return opened


@pytest.fixture
def made(tmp_path: Path) -> log.Log:
    """A log in several files, of differing columns, with every type of event in it: as much stated
    of it as can be, and as little."""
    return all_types(tmp_path / "log")


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Written, dict[str, Event]]:
    """Its files, which give other events each time they are asked, and its events by their ids."""
    opened = all_types(tmp_path_factory.mktemp("all-types") / "log")
    return files(opened), by_id(opened.events())


def shelf(of: log.Log) -> Shelf:
    found = shelf_of(of.path)
    assert found is not None
    return found


def files(of: log.Log) -> Written:
    return written(database.unlocked(), shelf(of))


def by_id(events: list[Event]) -> dict[str, Event]:
    return {e.event_id: e for e in events}


def test_the_events_are_those_of_the_log(made: log.Log) -> None:
    here, there = by_id(files(made).events()), by_id(made.events())
    assert here.keys() == there.keys()
    for event_id, event in here.items():
        assert event.__class__ is there[event_id].__class__
        assert event == there[event_id]
        assert repr(event) == repr(there[event_id])


@pytest.mark.parametrize("name", sorted(columns(WorkMeasured)))
def test_any_column_can_be_the_first_that_is_asked_for(
    name: str, both: tuple[Written, dict[str, Event]]
) -> None:
    found, there = both
    here = [e for e in found.events() if isinstance(e, WorkMeasured)]
    assert len(here) > 5
    assert all(getattr(e, name) == getattr(there[e.event_id], name) for e in here)


def test_every_table_is_the_same_to_the_last_value(made: log.Log) -> None:
    """Columns, types, rows and their order; of what counts, and of a farm without any."""
    empty = log.create(made.path.with_name("empty"), "Hill Farm", "Europe/London")
    for one in (made, empty):
        farm = fold(one.events())
        ordinary, alone = asking.base_of(farm), database.unlocked()
        found = written(alone, shelf(one))
        own = fold(found.events())
        assert meaning(own) == meaning(farm)
        for table in fresh.BUILT:
            asking.put_in(ordinary, farm, table, {}, one)
            fresh.put_in(alone, found, own, table, {})
        for name in (f"kept_{table}" for table in fresh.BUILT):
            for what in ("DESCRIBE", "SELECT COLUMNS(*)::VARCHAR FROM"):
                asked = f'{what} "{name}"'
                assert ordinary.execute(asked).fetchall() == alone.execute(asked).fetchall(), name
    assert len(farm.visits) == 0


def test_nothing_heavy_is_loaded_for_it(tmp_path: Path) -> None:
    day = day_log(tmp_path / "log")
    heavy = ("numpy", "shapely", "pyarrow", "pandas", "pyproj", "sqlite3", "pytz", "duckdb")
    assert loaded(["--log", str(day.path), "ask", "hectares_per_day", "--json"], heavy) == []


def test_it_is_kept_and_told_as_ever(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    day = day_log(tmp_path / "log")
    for form in ((), ("--csv",), ("--json",), ("--units", "us")):
        asked = ("--log", day.path, "ask", "visits", *form)
        with monkeypatch.context() as patch:
            patch.setattr(fresh, "answer", lambda *a: None)
            ordinary = run(*asked)
        assert ordinary.code == 0
        assert run(*asked) == ordinary


def another_version(made: log.Log, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(WorkMeasured, "VERSION", 0)


def of_no_known_type(made: log.Log, patch: pytest.MonkeyPatch) -> None:
    patch.delitem(TYPES, NoteWritten.TYPE)


def twice(made: log.Log, patch: pytest.MonkeyPatch) -> None:
    put(made, schema.encode([EVENTS[0]]))


def no_events(made: log.Log, patch: pytest.MonkeyPatch) -> None:
    put(made, b"nothing that can be read")


def large(made: log.Log, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(fresh, "LARGEST_BYTES", 1)


def put(made: log.Log, data: bytes) -> None:
    write_whole(made.path / "events", f"{digest(data)}.parquet", data)


@pytest.mark.parametrize("how", [another_version, of_no_known_type, twice, no_events, large])
def test_what_is_not_as_usual_is_left_to_the_ordinary_way(
    how: Callable[[log.Log, Any], None], made: log.Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    question = find("hectares_per_day")
    assert fresh.answer(shelf(made), question, {}) is not None
    how(made, monkeypatch)
    assert fresh.answer(shelf(made), question, {}) is None


def test_ground_is_left_to_the_ordinary_way(made: log.Log) -> None:
    assert fresh.answer(shelf(made), find("jobs"), {}) is None


def test_a_file_that_goes_meanwhile(made: log.Log) -> None:
    before = shelf(made)
    (made.path / "events" / before.files[0]).unlink()
    assert fresh.answer(before, find("hectares_per_day"), {}) is None
    with pytest.raises(database.engine().Error):
        written(database.unlocked(), before)
