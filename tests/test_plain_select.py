"""The README's plain SELECT over the folder says what `oplog` says, whatever befell the log."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path

import duckdb
import pytest

from oplog import log
from oplog.events import EntryStruck, Event, WorkReplaced
from oplog.fold import fold
from oplog.log import Log
from oplog.query import ask
from tests.factory import crop, drawn, implement, opened, tractor, whole_day, work
from tests.test_fold import said, struck

README = Path(__file__).resolve().parents[1] / "README.md"


@pytest.fixture(autouse=True)
def own_configuration(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OPLOG_CONFIG", str(tmp_path / "configuration"))


def plain_select() -> str:
    """The very text that the README shows."""
    found = re.search(r"<!-- plain-select -->.*?```sql\n(.*?)```", README.read_text("utf-8"), re.S)
    assert found, "README.md shows no SELECT after <!-- plain-select -->"
    return found[1]


def both_ways(farm_log: Log, monkeypatch: pytest.MonkeyPatch) -> list[tuple[object, ...]]:
    """The rows of the plain SELECT, once they are found to be those of `oplog`."""
    monkeypatch.chdir(farm_log.path)
    plain = duckdb.connect(":memory:").execute(plain_select()).fetchall()
    told = ask(fold(farm_log.events()), "hectares_per_day").rows
    assert [r[:4] for r in plain] == [r[:4] for r in told]
    assert [r[4] for r in plain] == pytest.approx([r[4] for r in told], abs=0.005001)
    return plain


def fresh(tmp_path: Path, *events: Event) -> Log:
    farm_log = log.create(tmp_path / "farm", "Hill Farm", "Europe/London")
    farm_log.append([drawn(), drawn("Top Piece"), crop("beans", 2026), tractor(), implement()])
    if events:
        farm_log.append(events)
    return farm_log


def day_of(*visits: Event) -> list[Event]:
    return [*visits, whole_day(*visits)]


def test_a_plain_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    events = day_of(work(), work(clock="14:00", field="Top Piece", machine="blue"))
    assert len(both_ways(fresh(tmp_path, *events), monkeypatch)) == 2


def test_work_of_unknown_width(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    visit = work(implement=None, operation=None, worked_m2=None)
    farm_log = fresh(tmp_path, *day_of(visit, work(clock="12:00")))
    monkeypatch.chdir(farm_log.path)
    plain = duckdb.connect(":memory:").execute(plain_select()).fetchall()
    assert [r[2:] for r in plain] == [("drilling", "Long Acre", 4.1), (None, "Long Acre", None)]


def test_files_that_are_there_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    farm_log = fresh(tmp_path, *day_of(work()))
    for path in list((farm_log.path / "events").glob("*.parquet")):
        shutil.copy(path, path.with_name(f"copy-of-{path.name}"))
    assert both_ways(farm_log, monkeypatch)[0][4] == 4.1


def test_corrections_and_strikes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wrong, doubtful, kept = work(), work("2026-04-11"), work("2026-04-12")
    statement = said(wrong, implement="roller", supersedes=(wrong.event_id,))
    right = replace(
        wrong, implement="roller", operation="rolling", worked_m2=9e3, said=(statement.event_id,)
    )
    farm_log = fresh(tmp_path, wrong, doubtful, kept)
    farm_log.append([statement, right])
    farm_log.append([struck(doubtful)])
    farm_log.append([work("2026-04-11", hours=2.1, tracks=("t1", "t2"))])
    rows = both_ways(farm_log, monkeypatch)
    assert [r[2:] for r in rows] == [
        ("rolling", "Long Acre", 0.9),
        ("drilling", "Long Acre", 4.1),
    ]


def test_a_strike_that_was_struck(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    visit = work()
    strike = struck(visit)
    again = replace(visit, supersedes=(visit.event_id,))
    unstruck = EntryStruck(supersedes=(strike.event_id,), because="It was ours.", nonce="x")
    farm_log = fresh(tmp_path, visit)
    farm_log.append([strike])
    assert both_ways(farm_log, monkeypatch) == []
    farm_log.append([unstruck, again])
    assert len(both_ways(farm_log, monkeypatch)) == 1


def test_a_day_measured_again_with_more_tracks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = work(), work(hours=3, tracks=("t1", "t2"))
    farm_log = fresh(tmp_path, *day_of(first))
    replaced = WorkReplaced(
        machine="blue",
        day=first.day,
        measured=(second.event_id,),
        supersedes=tuple(e.event_id for e in day_of(first)),
    )
    farm_log.append([*day_of(second), replaced])
    assert [r[4] for r in both_ways(farm_log, monkeypatch)] == [6.16]


def test_two_laptops_that_did_not_know_of_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One held more of the day's tracks; one knew the implement; both held the rest."""
    part, whole = work(), work(hours=3, tracks=("t1", "t2"))
    passing_by = work(clock="12:00", field="Top Piece")
    unsaid = work("2026-04-11", implement=None, operation=None)
    heard = work("2026-04-11")
    here = fresh(tmp_path, *day_of(part, passing_by), *day_of(unsaid))
    there = shutil.copytree(here.path, tmp_path / "there")
    other = log.open_log(there)
    other.append([*day_of(whole), heard, work("2026-04-12", machine="red")])
    here.merge(other)
    assert [r[4] for r in both_ways(here, monkeypatch)] == [6.16, 4.1, 4.1]


def test_after_tidying(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    farm_log = fresh(tmp_path, *day_of(work()))
    farm_log.append([opened(farm_name="Another"), *day_of(work("2026-04-11"))])
    before = both_ways(farm_log, monkeypatch)
    farm_log.tidy()
    assert both_ways(farm_log, monkeypatch) == before
