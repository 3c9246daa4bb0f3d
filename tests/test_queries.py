"""Each question: its header held against its result, and its figures worked out a second way."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any

import pytest
from shapely.geometry import box

from oplog.events import JobClosed, JobPlanned, WorkMeasured
from oplog.fold import Farm, fold
from oplog.query import Question, ask, asking, database, questions
from tests.factory import STATED, crop, drawn, work
from tests.test_fold import EVENTS

QUESTIONS = questions()
FARM = fold(EVENTS)


def column(name: str, answer_of: Any) -> list[Any]:
    return [row[answer_of.columns.index(name)] for row in answer_of.rows]


def records(farm: Farm, name: str, **params: Any) -> list[dict[str, Any]]:
    answer = ask(farm, name, params)
    return [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]


@pytest.mark.parametrize("question", QUESTIONS.values(), ids=list(QUESTIONS))
class TestHeaders:
    def body(self, question: Question) -> str:
        return re.sub(r"--.*", "", question.sql)

    def test_says_what_it_is_for(self, question: Question) -> None:
        assert question.purpose
        assert question.order

    def test_names_used_are_the_parameters_stated(self, question: Question) -> None:
        assert set(re.findall(r"\$(\w+)", self.body(question))) == {p.name for p in question.params}

    def test_columns_are_those_stated(self, question: Question) -> None:
        connection = asking.base_of(FARM)
        values = {p.name: None for p in question.params}
        database.show(
            connection, question, values, lambda t: asking.put_in(connection, FARM, t, values)
        )
        described = connection.execute(f"DESCRIBE {question.sql}", values or None).fetchall()
        found = [(d[0], d[1]) for d in described]
        database.hide(connection, question)
        types = {"timestamptz": "TIMESTAMP WITH TIME ZONE"}
        stated = [(c.name, types.get(c.type, c.type.upper())) for c in question.columns]
        assert found == stated

    def test_each_figure_has_the_unit_that_its_name_says(self, question: Question) -> None:
        ends = {"_ha": "ha", "_h": "h", "_kmh": "km/h", "_m": "m", "_ha_h": "ha/h"}
        ends |= {"_ha_h_m": "ha/h/m"}
        for c in question.columns:
            fitting = [e for e in ends if c.name.endswith(e)]
            if fitting:
                assert c.unit == ends[max(fitting, key=len)], c.name

    def test_an_empty_log_gives_no_rows(self, question: Question) -> None:
        assert ask(fold([]), question).rows == ()

    def test_rows_are_in_the_order_stated_and_no_two_share_a_place(
        self, question: Question
    ) -> None:
        answer = ask(FARM, question)
        places = [
            tuple((v is None, v) for v in (row[answer.columns.index(c)] for c in question.order))
            for row in answer.rows
        ]
        assert all(a < b for a, b in pairwise(places))

    def test_only_what_is_read_is_stated(self, question: Question) -> None:
        for table in question.reads:
            assert re.search(rf"\b(FROM|JOIN)\s+{table}\b", self.body(question)), table


def field_s(v: WorkMeasured) -> float:
    return v.working_s + v.turning_s + v.filling_s + v.standing_s + v.travelling_s + v.unrecorded_s


def test_hectares_per_day_by_hand() -> None:
    expected: dict[tuple[Any, ...], float] = defaultdict(float)
    for v in FARM.visits:
        expected[v.day, v.machine, v.operation, v.field] += (v.worked_m2 or 0) / 10_000
    rows = ask(FARM, "hectares_per_day").rows
    assert {r[:4]: r[4] for r in rows} == pytest.approx(expected)


def test_hectares_of_one_day() -> None:
    rows = ask(FARM, "hectares_per_day", {"day": "2026-04-11"}).rows
    assert [r[0] for r in rows] == [date(2026, 4, 11)]


def test_work_of_unknown_width_has_no_hectares_rather_than_none() -> None:
    open_visit = work(
        implement=None, operation=None, width_m=None, width_used_m=None, worked_m2=None
    )
    farm = fold([open_visit])
    assert ask(farm, "hectares_per_day").rows[0][2:] == (None, "Long Acre", None)
    assert ask(farm, "output_by_width").rows == ()
    assert records(farm, "visits")[0]["rate_ha_h"] is None
    assert records(farm, "season_summary")[0]["worked_ha"] is None


def test_season_summary_by_hand() -> None:
    expected: dict[tuple[Any, ...], list[float]] = defaultdict(lambda: [0.0] * 7)
    places: dict[tuple[Any, ...], list[set[Any]]] = defaultdict(lambda: [set(), set()])
    for v in FARM.visits:
        key = (FARM.standing[v.event_id].harvest_year, v.operation, v.machine)
        figures = (
            (v.worked_m2 or 0) * 0.36,
            v.working_s,
            v.turning_s,
            v.filling_s,
            v.standing_s,
            v.travelling_s,
            v.unrecorded_s,
        )
        expected[key] = [e + f / 3600 for e, f in zip(expected[key], figures, strict=True)]
        places[key][0].add(v.field)
        places[key][1].add(v.day)
    rows = ask(FARM, "season_summary").rows
    assert len(rows) == len(expected)
    for row in rows:
        assert list(row[3:10]) == pytest.approx(expected[row[:3]])
        assert list(row[10:]) == [len(s) for s in places[row[:3]]]


def test_a_season_is_that_of_the_harvest() -> None:
    """Autumn drilling belongs to the next year's harvest."""
    rows = records(FARM, "season_summary", harvest_year=2027)
    assert [(r["operation"], r["days"]) for r in rows] == [("drilling", 1)]
    (v,) = [v for v in FARM.visits if FARM.standing[v.event_id].harvest_year == 2027]
    assert v.day.year == 2026


def test_visits_by_hand() -> None:
    for row, v in zip(records(FARM, "visits"), FARM.visits, strict=True):
        at = FARM.standing[v.event_id]
        assert (row["visit"], row["crop"], row["harvest_year"], row["job"]) == (
            at.handle,
            at.crop,
            at.harvest_year,
            at.job,
        )
        assert (row["started_at"], row["ended_at"]) == (v.started_at, v.ended_at)
        for name in ("worked", "worked_low", "worked_high", "gross", "overlap", "missed"):
            assert row[f"{name}_ha"] == pytest.approx(getattr(v, f"{name}_m2") / 10_000)
        hours = [
            row[f"{s}_h"]
            for s in ("working", "turning", "filling", "standing", "travelling", "unrecorded")
        ]
        assert sum(hours) == pytest.approx(field_s(v) / 3600)
        assert row["speed_kmh"] == pytest.approx(v.speed_m_s * 3.6)
        assert row["rate_ha_h"] == pytest.approx(v.worked_m2 * 0.36 / field_s(v))


def test_visits_has_the_columns_that_scripts_rest_on() -> None:
    assert ask(FARM, "visits").columns == (
        *("visit", "day", "machine", "implement", "driver", "operation", "job", "crop"),
        *("harvest_year", "field", "started_at", "ended_at", "boundary_ha", "worked_ha"),
        *("worked_low_ha", "worked_high_ha", "gross_ha", "overlap_ha", "missed_ha"),
        *("working_h", "turning_h", "filling_h", "standing_h", "travelling_h"),
        *("unrecorded_h", "speed_kmh", "width_m", "rate_ha_h", "unseen_ha"),
    )


class TestOutputByWidth:
    def test_by_hand(self) -> None:
        groups: dict[tuple[Any, ...], list[WorkMeasured]] = defaultdict(list)
        for v in FARM.visits:
            groups[v.machine, v.implement, v.operation, v.width_m].append(v)
        rows = records(FARM, "output_by_width")
        assert len(rows) == len(groups)
        for row in rows:
            some = groups[row["machine"], row["implement"], row["operation"], row["width_m"]]
            speed_kmh = sum(v.working_m for v in some) / sum(v.working_s for v in some) * 3.6
            overall = sum(v.worked_m2 for v in some) * 0.36 / sum(field_s(v) for v in some)
            spot = speed_kmh * row["width_m"] / 10
            assert row["visits"] == len(some)
            assert row["speed_kmh"] == pytest.approx(speed_kmh)
            assert row["spot_ha_h"] == pytest.approx(spot)
            assert row["overall_ha_h"] == pytest.approx(overall)
            assert row["overall_ha_h_m"] == pytest.approx(overall / row["width_m"])
            assert row["field_efficiency"] == pytest.approx(overall / spot)

    def test_long_breaks_are_left_out_and_shown(self) -> None:
        plain, broken = work(), work(standing_s=4050.0, break_s=3600.0)
        with_break = records(fold([broken]), "output_by_width")[0]
        without = records(fold([plain]), "output_by_width")[0]
        assert with_break["break_h"] == 1.0
        assert with_break["overall_ha_h"] == pytest.approx(without["overall_ha_h"])

    @pytest.mark.parametrize(
        ("width_m", "speed_kmh", "efficiency", "ha_h", "tolerance"),
        [
            # GRDC (Australia) e-library, "Machinery - deciding whether to replace or repair?":
            # air seeder.
            (18.33, 8.0, 0.8, 11.73, 0.005),
            # "Lesson 6, Field capacity, efficiency, economics of machinery use", Q.1,
            # ICAR-IASRI e-course: theoretical, then effective capacity of a 20 m machine.
            (20.0, 5.0, 1.0, 10.0, 1e-9),
            (20.0, 5.0, 0.925, 9.25, 1e-9),
            # W. Edwards, "Estimating the Field Capacity of Farm Machines", A3-24, Iowa State
            # University Extension, table 1: fertilizer spreader 60 ft, 6 mph, 68 %: 29.7 acre/h.
            (60 * 0.3048, 6 * 1.609344, 0.68, 29.7 * 0.40468564224, 0.05 * 0.405),
            # The same, plough of 6 x 16 in, 5 mph, 85 %: 4.1 acre/h.
            (8 * 0.3048, 5 * 1.609344, 0.85, 4.1 * 0.40468564224, 0.05 * 0.405),
        ],
    )
    def test_published_capacities(
        self, width_m: float, speed_kmh: float, efficiency: float, ha_h: float, tolerance: float
    ) -> None:
        """A day whose working time is the efficiency's share of it gives the published rate."""
        day_s = 36_000.0
        speed_m_s, working_s = speed_kmh / 3.6, day_s * efficiency
        visit = work(
            hours=10,
            width_m=width_m,
            width_used_m=width_m,
            speed_m_s=speed_m_s,
            working_s=working_s,
            turning_s=day_s - working_s,
            filling_s=0.0,
            standing_s=0.0,
            worked_m2=speed_m_s * working_s * width_m,
        )
        (row,) = records(fold([visit]), "output_by_width")
        assert row["overall_ha_h"] == pytest.approx(ha_h, abs=tolerance)
        assert row["field_efficiency"] == pytest.approx(efficiency)
        assert row["spot_ha_h"] * efficiency == pytest.approx(ha_h, abs=tolerance)

    def test_field_efficiency_from_lost_time(self) -> None:
        """0.75 h lost of 10 h: 0.925. "Lesson 6" as above, Q.1, ICAR-IASRI e-course."""
        visit = work(
            hours=10,
            working_s=9.25 * 3600,
            turning_s=0.75 * 3600,
            filling_s=0.0,
            standing_s=0.0,
            worked_m2=9.25 * 3600 * 2 * 4,
        )
        assert records(fold([visit]), "output_by_width")[0]["field_efficiency"] == pytest.approx(
            0.925
        )

    @pytest.mark.parametrize(
        "nothing",
        [
            {"working_s": 0.0},
            {"worked_m2": 0.0},
            {"width_m": 0.0, "width_used_m": 0.0},
            {"width_m": None, "width_used_m": None},
        ],
    )
    def test_nothing_measured_is_no_row_rather_than_a_rate_of_nothing(
        self, nothing: dict[str, Any]
    ) -> None:
        assert ask(fold([work(**nothing)]), "output_by_width").rows == ()

    @pytest.mark.parametrize("speed_m_s", [None, 0.0])
    def test_a_speed_that_is_not_known_gives_no_efficiency(self, speed_m_s: float | None) -> None:
        (row,) = records(fold([work(speed_m_s=speed_m_s)]), "output_by_width")
        assert (row["spot_ha_h"], row["field_efficiency"]) == (None, None)
        assert row["overall_ha_h"] == pytest.approx(2.052)

    def test_a_visit_without_time_in_the_field_gives_no_rate(self) -> None:
        visit = work(turning_s=0.0, filling_s=0.0, standing_s=0.0, working_s=10.0, break_s=10.0)
        assert records(fold([visit]), "visits")[0]["rate_ha_h"] is None
        assert records(fold([visit]), "output_by_width")[0]["overall_ha_h"] is None


class TestJobCompletion:
    half = work("2026-04-10", worked=box(0, 0, 100, 100))
    whole = work("2026-04-11", field="Top Piece", worked=box(0, 0, 200, 100))
    land = (drawn(), drawn("Top Piece"), drawn("Far End"), crop("beans", 2026))
    job = JobPlanned(
        job="Beans in",
        operation="Drilling",
        fields=("long acre", "Top Piece", "Far End", "Gone"),
        **STATED,
    )

    def test_half_a_field_a_whole_one_and_one_not_begun(self) -> None:
        rows = records(fold([*self.land, self.half, self.whole, self.job]), "job_completion")
        figures = {
            r["field"]: [round(r[c], 3) for c in ("boundary_ha", "done_ha", "left_ha", "percent")]
            for r in rows
        }
        assert figures == {
            "Long Acre": [2.0, 1.0, 1.0, 50.0],
            "Top Piece": [2.0, 2.0, 0.0, 100.0],
            "Far End": [2.0, 0.0, 2.0, 0.0],
        }
        assert {r["field"]: r["harvest_year"] for r in rows}["Long Acre"] == 2026

    def test_of_one_harvest_year(self) -> None:
        farm = fold([*self.land, self.half, self.whole])
        assert [r["field"] for r in records(farm, "job_completion", harvest_year=2026)] == [
            "Long Acre"
        ]
        assert records(farm, "job_completion", harvest_year=2025) == []

    def test_areas_add_up(self) -> None:
        for r in records(fold([*self.land, self.half, self.whole]), "job_completion"):
            parts = r["done_ha"] + r["left_ha"] + r["missed_ha"]
            assert parts == pytest.approx(r["croppable_ha"], abs=1e-4)

    def test_a_closed_job_waits_for_nothing(self) -> None:
        closed = JobClosed(job="beans in", **STATED)
        rows = records(fold([*self.land, self.half, self.job, closed]), "job_completion")
        assert [r["field"] for r in rows] == ["Long Acre"]

    def test_a_second_pass(self) -> None:
        again = replace(self.whole, started_at=self.whole.ended_at, visit="second")
        again = replace(again, ended_at=again.started_at.replace(hour=20))
        rows = records(fold([*self.land, self.whole, again]), "job_completion")
        assert [(r["field"], r["pass"]) for r in rows] == [("Top Piece", 1), ("Top Piece", 2)]

    def test_work_of_unknown_width_is_not_nothing_done(self) -> None:
        unknown = work(field="Far End", worked_m2=None, width_m=None, width_used_m=None)
        rows = records(fold([*self.land, unknown, self.job]), "job_completion")
        (far,) = [r for r in rows if r["field"] == "Far End"]
        assert (far["done_ha"], far["left_ha"], far["percent"]) == (None, None, None)
