"""Tables kept between commands: the same answers, never those of another state of the log, for
this user's eyes only, and gone when something is forgotten."""

from __future__ import annotations

import json
import os
import shutil
import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pyarrow.parquet import ParquetFile

from oplog import flow, log
from oplog.fold import fold
from oplog.log import shelf
from oplog.log.tables import encoded
from oplog.query import asking, database, fresh, kept, questions
from oplog.query.of_log import OF_LOG
from oplog.query.tables import TABLES
from oplog.query.written import Written
from tests.evening import DAY, Run, day_log, farm_log
from tests.loading import loaded
from tests.test_fold import EVENTS

ASKED = ("ask", "hectares_per_day", "--json")


@pytest.fixture
def day(tmp_path: Path) -> log.Log:
    return day_log(tmp_path / "log")


@pytest.fixture
def asks(day: log.Log, run: Run, own_configuration: Path) -> Callable[..., str]:
    """Asks a question and gives what was printed."""

    def ask(*arguments: str, at: Path = day.path) -> str:
        said = run("--log", at, *(arguments or ASKED))
        assert said.code == 0, said.err
        return said.out

    return ask


def states(configuration: Path) -> list[Path]:
    """Folders of states of logs of which something is kept."""
    return sorted(p.parent for p in (configuration / "tables").glob("*/*/contents.json"))


def from_shelf_only(monkeypatch: pytest.MonkeyPatch) -> None:
    for module, name in ((asking, "base_of"), (fresh, "answer")):
        monkeypatch.setattr(module, name, lambda *given: pytest.fail("worked out again"))


def test_every_question_is_answered_alike(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = log.create(tmp_path / "log", "Hill Farm", "Europe/London")
    apart = {e.event_id for matter in fold(EVENTS).unsettled for e in matter.events}
    made.append([e for e in EVENTS if e.event_id not in apart])
    assert not fold(made.events()).unsettled
    values = {"integer": "2026", "double": "1", "date": "2026-04-10", "varchar": "North"}
    for name, question in questions().items():
        given = [f"{p.name}={values[p.type]}" for p in question.params if p.required]
        forms = [(), ("--csv",), ("--json",), ("--units", "us")] if name == "visits" else [()]
        for form in forms:
            asked = ("--log", made.path, "ask", name, *given, *form)
            with monkeypatch.context() as patch:
                patch.setattr(kept, "answer", lambda *a: None)
                fresh_out = run(*asked)
                patch.setattr(fresh, "answer", lambda *a: None)
                worked_out = run(*asked)
            assert worked_out.code == 0, worked_out.err
            assert fresh_out == worked_out, name
            assert name != "visits" or len(worked_out.out.splitlines()) > 5
            with monkeypatch.context() as patch:
                from_shelf_only(patch)
                assert run(*asked) == worked_out, name


def test_a_table_comes_back_as_it_was(tmp_path: Path) -> None:
    """Columns, types, rows and their order, of every table but the fixes."""
    made = log.create(tmp_path / "log", "Hill Farm", "Europe/London")
    made.append(EVENTS)
    farm = fold(made.events())
    base = asking.base_of(farm)
    files = {}
    for table in [*TABLES, *OF_LOG.keys() - {kept.NEVER_KEPT}]:
        asking.put_in(base, farm, table, {}, made)
        files[f"kept_{table}"] = tmp_path / f"{table}.parquet"
        files[f"kept_{table}"].write_bytes(encoded(base.table(f"kept_{table}").to_arrow_table()))
    again = database.opened({n: str(p) for n, p in files.items()})
    for name in files:
        described, rows = (
            [c.execute(f'{what} "{name}"').fetchall() for c in (base, again)]
            for what in ("DESCRIBE", "SELECT COLUMNS(*)::VARCHAR FROM")
        )
        assert described[0] == described[1], name
        assert rows[0] == rows[1], name
    assert len(base.execute("FROM kept_visits").fetchall()) > 2


def test_what_is_kept_is_used(asks: Callable[..., str], monkeypatch: pytest.MonkeyPatch) -> None:
    first = asks()
    from_shelf_only(monkeypatch)
    assert asks() == first
    assert asks("ask", "hectares_per_day", "--json", "day=2024-03-26") != first


def test_nothing_heavy_is_loaded_for_it(asks: Callable[..., str], day: log.Log) -> None:
    asks()
    heavy = ("numpy", "shapely", "pyarrow", "pandas", "pyproj", "sqlite3", "oplog.events")
    assert loaded(["--log", str(day.path), *ASKED], heavy) == []


def test_an_entry_more_is_another_state(
    asks: Callable[..., str], day: log.Log, own_configuration: Path
) -> None:
    before = asks("ask", "notes", "--json")
    (state,) = states(own_configuration)
    flow.note(day, "Stones by the gate", on=["Mill"], today=DAY)
    after = asks("ask", "notes", "--json")
    assert "Stones" in after
    assert json.loads(before)["seal"] != json.loads(after)["seal"]
    assert states(own_configuration) != [state]
    assert not state.exists()
    assert asks("ask", "notes", "--json") == after


def test_what_is_unsettled_is_told_though_tables_are_kept(
    asks: Callable[..., str], day: log.Log, tmp_path: Path, run: Run,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    shutil.copytree(day.path, tmp_path / "other")
    other = log.open_log(tmp_path / "other")
    for made, driver in ((day, "Anna"), (other, "Bob")):
        monkeypatch.setenv("OPLOG_CONFIG", str(tmp_path / driver))
        flow.say(made, [(_visit(made), flow.Words(driver=driver))])
    day.merge(other)
    for _ in range(2):
        told = json.loads(asks())
        assert told["unsettled"]
        assert told["rows"]
        assert json.loads(asks("ask", "notes", "--json"))["unsettled"] == []


def _visit(made: log.Log) -> str:
    return fold(made.events()).visits[0].visit


def _within(file: Path, column: str) -> int:
    """A place amid what a file holds of a column; what is not asked for is not looked at."""
    chunks = ParquetFile(file).metadata.row_group(0)
    (at,) = (c for c in map(chunks.column, range(chunks.num_columns)) if c.path_in_schema == column)
    return int(at.data_page_offset + at.total_compressed_size // 2)


@pytest.mark.parametrize("how", ["altered", "cut off", "renamed", "absent"])
def test_a_damaged_log_is_told_of_each_time(
    how: str, asks: Callable[..., str], day: log.Log, run: Run, own_configuration: Path
) -> None:
    asks()
    largest = max((day.path / "events").iterdir(), key=lambda p: p.stat().st_size)
    before, data = largest.stat(), bytearray(largest.read_bytes())
    if how == "renamed":
        largest.rename(largest.with_name("0" * 32 + ".parquet"))
    elif how == "absent":
        largest.unlink()
    else:
        data[_within(largest, "worked_m2")] ^= 1
        largest.write_bytes(data if how == "altered" else data[:-9])
        # As rot does it: nothing but the bytes tells.
        os.utime(largest, ns=(before.st_atime_ns, before.st_mtime_ns))
    if how in ("altered", "cut off"):
        for _ in range(2):
            assert "oplog check tells more" in run("--log", day.path, *ASKED).err
    elif how == "absent":
        assert json.loads(asks())["rows"] == []
    else:
        assert json.loads(asks())["rows"] != []


@pytest.mark.parametrize("how", ["contents", "table", "no table", "another's table", "garbage"])
def test_a_spoilt_shelf_is_no_shelf(
    how: str, asks: Callable[..., str], own_configuration: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asks("ask", "notes", "--json")
    first = asks()
    (state,) = states(own_configuration)
    assert json.loads(first)["rows"]
    contents, (table,) = state / "contents.json", state.glob("kept_visits-*")
    (other,) = state.glob("kept_notes-*")
    if how == "contents":
        contents.write_text(contents.read_text().replace("Europe", "Africa"))
    elif how == "garbage":
        contents.write_bytes(b"\xff\xfe nothing\n[]")
    elif how == "table":
        table.write_bytes(table.read_bytes().replace(b"drill", b"drilk"))
    elif how == "no table":
        table.unlink()
    else:
        table.write_bytes(other.read_bytes())
    assert asks() == first
    from_shelf_only(monkeypatch)
    assert asks() == first


def test_the_program_is_part_of_the_state(
    asks: Callable[..., str], own_configuration: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asks()
    before = states(own_configuration)
    monkeypatch.setattr(shelf, "_program", lambda: ["fold.py 1 2"])
    asks()
    assert len(states(own_configuration)) == 1
    assert states(own_configuration) != before


def test_a_customer_is_not_answered_from_the_whole(
    asks: Callable[..., str], day: log.Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    flow.state_customer(day, "Brook", fields=["Mill"])
    whole = json.loads(asks())["rows"]
    part = json.loads(asks(*ASKED, "--customer", "Brook"))["rows"]
    assert len(part) < len(whole)
    assert json.loads(asks())["rows"] == whole


def test_fixes_are_never_kept(asks: Callable[..., str], own_configuration: Path) -> None:
    mine = own_configuration.parent / "mine.sql"
    mine.write_text("-- purpose: Fixes\n-- reads: fixes, visits\nSELECT count(*) AS n FROM fixes")
    for _ in range(2):
        assert json.loads(asks("ask", "--sql", str(mine), "--json"))["rows"][0]["n"] > 100
    assert not list(own_configuration.rglob("*fixes*"))


def test_only_this_user_can_read_it(asks: Callable[..., str], own_configuration: Path) -> None:
    asks()
    if sys.platform == "win32":
        return
    for path in (own_configuration / "tables", *(own_configuration / "tables").rglob("*")):
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600)


@pytest.mark.parametrize(
    "command",
    [
        ("private", "add", "home", "--at", "52.0,0.0", "--radius", "50m"),
        ("forget", "--machine", "blue", "--from", f"{DAY}T00:00", "--to", f"{DAY}T23:59",
         "--because", "mine", "--yes"),
    ],
    ids=["private", "forget"],
)  # fmt: skip
def test_nothing_is_left_once_something_is_private_or_forgotten(
    command: tuple[str, ...], asks: Callable[..., str], own_configuration: Path, tmp_path: Path
) -> None:
    """Of other logs neither: one may be a copy of this."""
    farm_log(tmp_path / "second")
    asks(at=tmp_path / "second")
    asks()
    assert len(states(own_configuration)) == 2
    asks(*command)
    assert not (own_configuration / "tables").exists()


def test_what_another_copy_forgot_goes_as_it_is_merged(
    asks: Callable[..., str], day: log.Log, own_configuration: Path, tmp_path: Path
) -> None:
    shutil.copytree(day.path, tmp_path / "other")
    asks("forget", "--machine", "blue", "--from", f"{DAY}T00:00", "--to", f"{DAY}T23:59",
         "--because", "mine", "--yes", at=tmp_path / "other")  # fmt: skip
    asks()
    asks("merge", str(tmp_path / "other"))
    assert not (own_configuration / "tables").exists()


def test_it_does_not_grow_without_bound(
    asks: Callable[..., str], own_configuration: Path, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    for name in ("a", "b", "c"):
        farm_log(tmp_path / name)
        asks(at=tmp_path / name)
    asks()
    assert len(states(own_configuration)) == 4
    monkeypatch.setattr(shelf, "LARGEST_SHELF_BYTES", 1)
    asks("ask", "notes", "--json")
    assert len(states(own_configuration)) == 1
    monkeypatch.setattr(shelf, "LARGEST_BYTES", 1)
    shelf.clear()
    assert asks()
    assert not states(own_configuration)


@pytest.mark.parametrize("way", [log.Log, Written])
def test_a_log_that_changes_meanwhile_is_not_kept(
    way: Any, asks: Callable[..., str], day: log.Log, own_configuration: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    read = way.events
    if way is log.Log:
        monkeypatch.setattr(fresh, "answer", lambda *given: None)

    def another_writes(self: Any, **how: object) -> object:
        found = read(self, **how)
        monkeypatch.setattr(way, "events", read)
        flow.note(log.open_log(day.path), "Meanwhile", on=["Mill"], today=DAY)
        return found

    monkeypatch.setattr(way, "events", another_writes)
    assert "Meanwhile" not in asks("ask", "notes", "--json")
    assert not states(own_configuration)
    assert "Meanwhile" in asks("ask", "notes", "--json")


def test_where_it_cannot_be_kept_it_is_answered_all_the_same(
    asks: Callable[..., str], own_configuration: Path
) -> None:
    own_configuration.mkdir(exist_ok=True)
    (own_configuration / "tables").write_text("in the way")
    assert asks() == asks()
