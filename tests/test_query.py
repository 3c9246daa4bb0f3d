"""How questions are found, read and run."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from oplog.errors import OplogError, UnknownName
from oplog.fold import Farm, fold
from oplog.query import Column, Param, Question, ask, find, questions
from oplog.query.question import read
from oplog.query.tables import TABLES
from tests.factory import work
from tests.test_fold import EVENTS

HEADER = """\
-- purpose: what was worked
-- reads:   visits
-- param:   field varchar, required: its name
-- param:   least double, optional
-- column:  field varchar
-- column:  worked_ha double [ha]: net
-- order:   field
"""


def asked(sql: str, reads: tuple[str, ...] = (), farm: Farm | None = None, **params: object):
    types = {int: "integer", float: "double", date: "date", str: "varchar"}
    question = Question(
        name="own",
        purpose="",
        reads=reads,
        params=tuple(Param(n, types[type(v)], True) for n, v in params.items()),
        columns=(),
        order=(),
        sql=sql,
    )
    return ask(farm or fold([]), question, params)


class TestHeader:
    def test_is_read(self, tmp_path: Path) -> None:
        (tmp_path / "worked.sql").write_text(HEADER + "SELECT 1;")
        question = read(tmp_path / "worked.sql")
        assert question.name == "worked"
        assert question.purpose == "what was worked"
        assert question.reads == ("visits",)
        assert question.params == (
            Param("field", "varchar", True, "its name"),
            Param("least", "double", False),
        )
        assert question.columns == (
            Column("field", "varchar"),
            Column("worked_ha", "double", "ha", "net"),
        )
        assert question.order == ("field",)

    def test_one_that_cannot_be_read_names_file_and_line(self, tmp_path: Path) -> None:
        (tmp_path / "own.sql").write_text("-- purpose: x\n-- param: year\nSELECT 1")
        with pytest.raises(OplogError, match=r"own\.sql, line 2: 'year'"):
            read(tmp_path / "own.sql")


class TestFinding:
    def test_in_any_spelling(self) -> None:
        assert find("Hectares-per-day") is find("hectares_per_day")

    def test_near_names_are_offered(self) -> None:
        with pytest.raises(UnknownName, match=r"Did you mean season_summary"):
            find("season_sumary")

    @pytest.mark.parametrize("name", ["../visits", "/etc/passwd", "", "visits.sql"])
    def test_a_path_is_no_name(self, name: str) -> None:
        with pytest.raises(UnknownName):
            find(name)


class TestValues:
    question = find("job_completion")

    def test_text_is_read_as_the_type_that_is_stated(self) -> None:
        assert self.question.values({"harvest_year": "2026"}) == {"harvest_year": 2026}
        assert self.question.values({}) == {"harvest_year": None}
        assert find("visits").values({"day": "2026-04-10"}) == {"day": date(2026, 4, 10)}

    def test_what_is_not_of_that_type(self) -> None:
        message = "harvest_year is to be a whole number, not 'soon'"
        with pytest.raises(OplogError, match=message):
            self.question.values({"harvest_year": "soon"})
        with pytest.raises(OplogError, match="day is to be a day such as 2027-04-10"):
            find("visits").values({"day": "Tuesday"})

    def test_unknown_and_missing(self) -> None:
        with pytest.raises(OplogError, match=r"takes no 'year'. It takes: harvest_year."):
            self.question.values({"year": 2026})
        needs = Question("own", "", (), (Param("year", "integer", True),), (), (), "")
        with pytest.raises(OplogError, match=r"needs year \(a whole number\): give year="):
            needs.values({})


class TestDatabase:
    @pytest.mark.parametrize("table", TABLES)
    def test_each_table_has_the_columns_it_declares_with_rows_and_without(self, table: str) -> None:
        schema = TABLES[table][0]
        declared = {
            n: t.replace("TIMESTAMPTZ", "TIMESTAMP WITH TIME ZONE") for n, t in schema.items()
        }
        sql = f"SELECT column_name, column_type FROM (DESCRIBE {table})"
        for farm in (fold([]), fold(EVENTS)):
            assert dict(asked(sql, (table,), farm).rows) == declared

    @pytest.mark.parametrize("table", sorted(set(TABLES) - {"ground", "tracks"}))
    def test_each_table_has_the_farms_facts(self, table: str) -> None:
        ((count,),) = asked(f"SELECT count(*) FROM {table}", (table,), fold(EVENTS)).rows
        assert count > 0

    def test_only_what_is_read_is_there(self) -> None:
        with pytest.raises(OplogError, match="question own does not run"):
            asked("SELECT * FROM visits", ("days",))
        with pytest.raises(UnknownName, match="No table is called 'visit'"):
            asked("SELECT 1", ("visit",))

    def test_times_are_utc(self) -> None:
        answer = asked("SELECT started_at FROM visits", ("visits",), fold([work()]))
        assert answer.rows == ((datetime(2026, 4, 10, 8, tzinfo=UTC),),)
        assert asked("SELECT NULL::TIMESTAMPTZ AS t").rows == ((None,),)
        assert asked("SELECT current_setting('TimeZone')").rows == (("UTC",),)

    @pytest.mark.parametrize(
        "sql",
        [
            "SELECT * FROM read_text('{path}')",
            "SELECT * FROM '{path}'",
            "SELECT * FROM local_secret",
            "SELECT 1); SET enable_external_access = true; SELECT (1",
        ],
    )
    def test_nothing_outside_is_reached(self, sql: str, tmp_path: Path) -> None:
        local_secret = {"a": [1]}
        (tmp_path / "secret.csv").write_text(str(local_secret))
        with pytest.raises(OplogError, match=r"does not run|was not run"):
            asked(sql.format(path=tmp_path / "secret.csv"))

    def test_settings_are_locked(self) -> None:
        with pytest.raises(OplogError, match="not one SELECT"):
            asked("SELECT 1; SET TimeZone = 'Asia/Tokyo'")

    def test_units_are_those_of_the_program(self) -> None:
        sql = "SELECT to_ha(25000) AS a, to_h(5400) AS b, to_kmh(2.5) AS c, to_ha_h(1.0) AS d"
        assert asked(sql).rows[0] == pytest.approx((2.5, 1.5, 9.0, 0.36), rel=1e-15)

    def test_values_go_in_by_name(self) -> None:
        assert asked("SELECT $n + 1 AS n", n=2).rows == ((3,),)
        with pytest.raises(OplogError, match="does not run"):
            asked("SELECT 1", n=2)

    def test_an_answer_says_its_units(self) -> None:
        answer = ask(fold(EVENTS), "hectares_per_day")
        assert answer.columns == ("day", "machine", "operation", "field", "worked_ha")
        assert answer.units == ("", "", "", "", "ha")
        assert answer.purpose == find("hectares_per_day").purpose


def test_the_database_is_loaded_only_when_something_is_asked() -> None:
    code = (
        "import sys; import oplog.query; oplog.query.questions();"
        "print([m for m in ('duckdb', 'pyarrow', 'pandas') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_promised_questions_are_there() -> None:
    promised = {
        "hectares_per_day",
        "output_by_width",
        "job_completion",
        "season_summary",
        "visits",
    }
    assert promised <= set(questions())
