"""The page of tables and questions says what is there. `python -m tests.test_views` prints it."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from oplog import log, query
from oplog.errors import OplogError
from oplog.fold import fold
from oplog.query.of_log import OF_LOG
from oplog.query.page import PURPOSES, page
from oplog.query.question import BASE_TABLES
from oplog.query.tables import TABLES
from tests.evening import Run, day_gpx
from tests.test_fold import EVENTS

PAGE = Path(__file__).resolve().parents[1] / "queries" / "README.md"


def test_the_page_is_what_the_declarations_make() -> None:
    assert PAGE.read_text("utf-8") == page(), "python -m tests.test_views > queries/README.md"


def test_every_table_is_told_of() -> None:
    assert set(PURPOSES) == set(BASE_TABLES) == set(TABLES) | set(OF_LOG)


def test_the_question_on_the_page_runs(tmp_path: Path) -> None:
    found = re.search(r"```sql\n(.*?)```", page(), re.S)
    assert found
    (tmp_path / "mine.sql").write_text(found[1])
    answer = query.ask(fold(EVENTS), query.read(tmp_path / "mine.sql"))
    assert (answer.columns, answer.units) == (("driver", "worked_ha"), ("", "ha"))


def test_own_questions_beside_ours(
    farm: log.Log, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(farm.path)
    (farm.path.parent / "day.gpx").write_bytes(day_gpx())
    run("import", "../day.gpx", "--implement", "drill")
    (farm.path / "queries").mkdir()
    own = "SELECT count(*) AS fixes, min(lat) > 0 AS north FROM fixes WHERE machine = 'blue'"
    (farm.path / "queries" / "how_many.sql").write_text(own)
    (farm.path / "queries" / "visits.sql").write_text("SELECT 1 AS mine")
    assert "how_many" in run("ask").out
    lines = run("ask", "how_many", "--csv").out.splitlines()
    assert lines[0] == "fixes,north"
    assert int(lines[1].split(",")[0]) > 100
    assert "mine" not in run("ask", "visits", "--csv").out, "a name of ours stays ours"
    (farm.path / "kinds.sql").write_text("SELECT type, counts FROM events ORDER BY type")
    assert "work.measured" in run("ask", "--sql", "kinds.sql").out
    wrong = farm.path / "wrong.sql"
    wrong.write_text("SELECT hectares FROM visits")
    said = run("ask", "--sql", wrong)
    assert said.code == 1
    assert "does not run" in said.err
    assert "hectares" in said.err
    assert "oplog ask --sql wrong.sql" in run("ask", "wrong.sql").err


@pytest.mark.parametrize(
    "sql",
    [
        "COPY (SELECT 1) TO 'events/out.csv'",
        "COPY (SELECT 1) TO 'out.csv'",
        "WITH out AS (COPY visits TO 'out.csv') SELECT 1",
        "ATTACH 'out.db'",
        "SELECT * FROM read_parquet('events/*.parquet')",
        "SELECT * FROM read_csv('/etc/passwd')",
        "SELECT getenv('HOME')",
        "SELECT 1; SELECT 2",
        "SELECT",
    ],
)
def test_a_question_of_ones_own_that_does_more_is_refused(
    farm: log.Log, run: Run, monkeypatch: pytest.MonkeyPatch, sql: str
) -> None:
    """In the log's own folder, where a question's file may well lie."""
    monkeypatch.chdir(farm.path)
    Path("mine.sql").write_text(sql)
    held = {p for p in farm.path.rglob("*") if p.name != "lock"}
    said = run("ask", "--sql", "mine.sql")
    assert (said.code, said.out) == (1, "")
    assert said.err.startswith("The question mine ")
    assert "Traceback" not in said.err
    assert {p for p in farm.path.rglob("*") if p.name != "lock"} == held


def test_a_question_of_ones_own_takes_values(
    farm: log.Log, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(farm.path)
    head = "-- param: part varchar, required: of a name\n"
    Path("mine.sql").write_text(head + "SELECT name FROM kit WHERE contains(name, $part)")
    assert run("ask", "--sql", "mine.sql", "part=dr", "--csv").out.splitlines() == ["name", "drill"]


def test_events_say_which_count() -> None:
    class Held:
        def events(self) -> list[object]:
            return list(EVENTS)

    asked = query.Question(
        "own", "", ("events",), (), (), (), "SELECT event_id, counts, stated_at FROM events"
    )
    rows = query.ask(fold(EVENTS), asked, source=Held()).rows  # type: ignore[arg-type]
    gone = {name for e in EVENTS for name in e.supersedes}
    assert {r[0]: r[1] for r in rows} == {e.event_id: e.event_id not in gone for e in EVENTS}
    assert datetime(2026, 1, 1, tzinfo=UTC) in {r[2] for r in rows}


def test_an_own_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(OplogError, match=r"none\.sql cannot be read: no such file"):
        query.read(tmp_path / "none.sql")


if __name__ == "__main__":
    print(page(), end="")
