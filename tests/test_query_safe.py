"""A question of the user's own reads the farm's tables and can do nothing else: not write, not
read other files, not reach out, not see the program's own values, not change its doors."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from oplog import query
from oplog.errors import OplogError
from oplog.fold import Farm, fold
from oplog.log import disk, tables
from oplog.log.shelf import Contents
from oplog.query import asking, database, kept
from tests.factory import drawn, opened, work

HEADER = "-- purpose: Anything\n-- reads:   visits\n"

NOT_ONE_SELECT = [
    "COPY (SELECT 1) TO '{place}/out.csv'",
    "COPY visits TO '{place}/out.parquet'",
    "SELECT 1; COPY (SELECT 1) TO '{place}/out.csv'",
    "SELECT 1; DROP VIEW visits",
    "SELECT 1; DELETE FROM kept_visits",
    "SELECT 1; INSERT INTO kept_visits FROM kept_visits",
    "SELECT 1; SELECT 2",
    "ATTACH '{place}/out.db'",
    "ATTACH '{place}/out.db' AS other; SELECT 1",
    "INSTALL httpfs",
    "LOAD httpfs",
    "EXPORT DATABASE '{place}/out'",
    "IMPORT DATABASE '{place}'",
    "SET enable_external_access = true",
    "SET lock_configuration = false",
    "RESET lock_configuration",
    "PRAGMA enable_profiling",
    "CALL pragma_version()",
    "CREATE TABLE mine AS SELECT 1",
    "CREATE SECRET mine (TYPE http)",
    "INSERT INTO kept_visits FROM kept_visits",
    "UPDATE kept_visits SET worked_m2 = 0",
    "DELETE FROM kept_visits",
    "DROP TABLE kept_visits",
    "CHECKPOINT",
    "USE memory",
    "EXPLAIN ANALYZE SELECT 1",
    "WITH one AS (SELECT 1) INSERT INTO kept_visits FROM one",
    "WITH gone AS (DELETE FROM kept_visits RETURNING *) SELECT * FROM gone",
    "SELECT 1 /* ; */; COPY (SELECT 1) TO '{place}/out.csv' --",
    "WITH kept AS (UPDATE kept_visits SET worked_m2 = 0 RETURNING *) SELECT * FROM kept",
    "PREPARE mine AS SELECT 1",
    "PIVOT visits ON machine USING sum(worked_m2)",
    "BEGIN TRANSACTION",
    "",
]

REACHING_OUT = [
    "WITH out AS (COPY visits TO '{place}/out.csv') SELECT 1",
    "FROM enable_logging(storage = 'file', storage_path = '{place}/out')",
    "FROM enable_profiling(save_location = '{place}/out.json')",
    "SELECT * FROM read_csv('/etc/passwd')",
    "SELECT * FROM duckdb_extensions() WHERE install_path > (SELECT content FROM "
    "read_text('/etc/hostname'))",
    "SELECT * FROM read_csv('{place}/there.csv')",
    "SELECT * FROM read_text('{place}/there.csv')",
    "SELECT * FROM read_blob('{place}/there.csv')",
    "SELECT * FROM read_json('{place}/there.csv')",
    "SELECT * FROM read_parquet('{place}/there.parquet')",
    "SELECT * FROM sniff_csv('{place}/there.csv')",
    "SELECT * FROM glob('{place}/*')",
    "FROM '{place}/there.csv'",
    "FROM '{place}/there.parquet'",
    "FROM 'https://example.org/there.parquet'",
    "SELECT * FROM secret_values",
    "SELECT getenv('HOME')",
    "SELECT * FROM duckdb_secrets()",
    "SELECT * FROM query('COPY (SELECT 1) TO ''{place}/out.csv''')",
    "SELECT * FROM query('SELECT * FROM read_text(''{place}/there.csv'')')",
    "SELECT * FROM query_table('{place}/there.csv')",
]


@dataclass(frozen=True)
class Asked:
    """A farm that is asked: its tables worked out, or kept between commands."""

    farm: Farm
    tables: Contents | None

    def __call__(
        self, question: query.Question, params: Mapping[str, str] | None = None
    ) -> query.Answer:
        if self.tables is None:
            return query.ask(self.farm, question, params)
        answer = kept.answer(self.tables, question, params or {})
        assert answer is not None
        return answer


EVENTS = [opened(), drawn(), work("2026-04-10")]


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Contents:
    """The farm's visits as they are kept between commands."""
    farm = fold(EVENTS)
    base = asking.base_of(farm)
    asking.put_in(base, farm, "visits", {})
    data = tables.encoded(base.table("kept_visits").to_arrow_table())
    file = tmp_path_factory.mktemp("shelf") / f"kept_visits-{disk.digest(data)}.parquet"
    file.write_bytes(data)
    return Contents(farm.zone, "", frozenset({"visits"}), {"kept_visits": file})


@pytest.fixture(scope="module")
def standing() -> Farm:
    """A farm that all ask: what one breaks, the next one finds."""
    return fold(EVENTS)


@pytest.fixture(params=["worked out", "kept"])
def farm(
    request: pytest.FixtureRequest, shelf: Contents, standing: Farm, monkeypatch: pytest.MonkeyPatch
) -> Asked:
    if request.param == "worked out":
        return Asked(standing, None)
    monkeypatch.delitem(sys.modules, "duckdb")  # as in a command, which loads its core alone
    return Asked(standing, shelf)


@pytest.fixture
def small(farm: Asked, monkeypatch: pytest.MonkeyPatch) -> Asked:
    """A farm that was asked nothing yet, and that is not given much memory."""
    monkeypatch.setattr(database, "MEMORY", "100MB")
    return replace(farm, farm=fold(EVENTS))


def asked(farm: Asked, place: Path, sql: str) -> query.Answer:
    (place / "there.csv").write_text("a\n1\n", "utf-8")
    file = place / "mine.sql"
    file.write_text(HEADER + sql.format(place=place.as_posix()) + "\n", "utf-8")
    return farm(query.read(file))


@pytest.mark.parametrize("sql", NOT_ONE_SELECT)
def test_what_is_not_one_select_is_not_run(sql: str, farm: Asked, tmp_path: Path) -> None:
    with pytest.raises(OplogError):
        asked(farm, tmp_path, sql)
    left_alone(farm, tmp_path)


@pytest.mark.parametrize("sql", REACHING_OUT)
def test_a_select_reaches_nothing_but_the_tables(sql: str, farm: Asked, tmp_path: Path) -> None:
    secret_values = np.arange(3)
    with pytest.raises(OplogError):
        asked(farm, tmp_path, sql)
    assert secret_values.any()
    left_alone(farm, tmp_path)


@pytest.mark.parametrize(
    ("sql", "told"),
    [("SELECT getenv('HOME')", "questions do not have getenv()"),
     ("SELECT * FROM secret_values", "no table secret_values that it may read. There are "),
     ("FROM enable_logging(storage = 'file')", "outside the log's tables"),
     ("SELECT * FROM sqlite_scan('a', 'b')", "outside the log's tables"),
     ("SELECT worked_ha FROM visits", "no column worked_ha. Near it: worked_m2"),
     ("SELECT v.worked_ha FROM visits v", "no column worked_ha. queries/README"),
     ("SELECT * FROM visits WHERE field = $f", "-- param: f varchar, required"),
     ("SELECT * FROM range(100_000_000_000)", "more memory than a question may have"),
     ("SELECT * FROM visits WHERE field = 5", "does not run: Could not convert string")],
)  # fmt: skip
def test_why_it_does_not_run_is_said_in_words_of_the_log(
    sql: str, told: str, small: Asked, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(OplogError) as error:
        asked(small, tmp_path, sql)
    assert told in str(error.value)
    words = ("Did you mean", "Candidate", "Binder", "CREATE", "temp_directory", "extension")
    assert not [w for w in words if w in str(error.value)]
    left_alone(small, tmp_path)


def test_a_mistake_is_shown_where_it_stands(farm: Asked, tmp_path: Path) -> None:
    with pytest.raises(OplogError) as error:
        asked(farm, tmp_path, "SELECT day FROM visits WHERE field = 5")
    *_, line, mark = str(error.value).rstrip().splitlines()
    assert line[mark.index("^") :].startswith("field")


def test_what_is_too_large_for_memory_goes_to_no_disk(
    small: Asked, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """DuckDB would put it into a folder .tmp where it runs, up to nine tenths of the disk."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(OplogError, match="Ask for less"):
        asked(small, tmp_path, "SELECT * FROM range(100_000_000) ORDER BY hash(range)")
    left_alone(small, tmp_path)


def left_alone(farm: Asked, place: Path) -> None:
    """Nothing was written, and questions are answered as before."""
    assert {p.name for p in place.iterdir()} <= {"there.csv", "mine.sql", "configuration"}
    answer = asked(farm, place, "SELECT count(*) AS visits FROM visits;")
    assert answer.rows == ((1,),)
    if farm.tables is not None:  # each question has a database of its own then
        return
    with pytest.raises(OplogError):
        asked(farm, place, "SELECT * FROM read_csv('{place}/there.csv')")


@pytest.mark.parametrize("value", ["x'; DROP TABLE kept_visits; --", "' OR '1'='1", "{}", "$day"])
def test_values_are_bound_and_never_part_of_the_text(
    value: str, farm: Asked, tmp_path: Path
) -> None:
    file = tmp_path / "mine.sql"
    file.write_text(
        HEADER + "-- param:   machine varchar, required: whose\n"
        "SELECT count(*) AS visits FROM visits WHERE machine = $machine\n",
        "utf-8",
    )
    assert farm(query.read(file), {"machine": value}).rows == ((0,),)
    assert farm(query.read(file), {"machine": "blue"}).rows == ((1,),)


@pytest.mark.parametrize("name", ["'); DROP TABLE visits; --", '"quoted"', "../../etc", "=cmd()"])
def test_names_never_become_sql(name: str, tmp_path: Path) -> None:
    farm = fold([opened(), drawn(name), work("2026-04-10", field=name, machine=name)])
    answer = query.ask(farm, "hectares_per_day")
    shown = dict(zip(answer.columns, answer.rows[0], strict=True))
    assert (shown["field"], shown["machine"]) == (name, name)
