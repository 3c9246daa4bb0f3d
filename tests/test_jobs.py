"""Jobs and inputs on events made by hand: whose ground is whose, and what went where."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from shapely.geometry import box

from oplog.events import (
    Event,
    InputApplied,
    InputPlanned,
    JobPlanned,
    SequencePlanned,
    WorkMeasured,
    visit_id,
)
from oplog.fold import Farm, fold
from oplog.query import ask, records
from oplog.query.progress import progress
from oplog.season.inputs import shares, visits_with
from oplog.season.sequence import stages
from tests.factory import STATED, at, crop, drawn, implement, work

WHOLE = box(0, 0, 200, 100)
LAND = (drawn(), drawn("Top Piece"), drawn("Far End"), crop("wheat", 2026))
NOW = at("2026-05-01", "20:00")


def job(name: str, operation: str, *fields: str, **more: Any) -> JobPlanned:
    return JobPlanned(job=name, operation=operation, fields=fields, **more, **STATED)


def rows(farm: Farm, name: str, **values: Any) -> dict[str, dict[str, Any]]:
    return {r["job"]: r for r in records(ask(farm, name, values))}


def sprayed(day: str, **more: Any) -> WorkMeasured:
    return work(day, operation="spraying", implement="sprayer", worked=WHOLE, **more)


class TestWhoseGround:
    def test_two_sprayings_of_one_crop_are_two_jobs(self) -> None:
        """The second goes over the first's ground: it is not done before it is done."""
        first = job("T1", "spraying", "Long Acre", by=date(2026, 4, 20))
        second = job("T2", "spraying", "Long Acre", by=date(2026, 5, 20))
        begun = fold([*LAND, first, second, sprayed("2026-04-14")])
        found = rows(begun, "jobs")
        assert (found["T1"]["state"], found["T2"]["state"]) == ("finished", "open")
        assert found["T2"]["left_ha"] == pytest.approx(2.0)
        both = fold([*LAND, first, second, sprayed("2026-04-14"), sprayed("2026-05-10")])
        assert {r["state"] for r in rows(both, "jobs").values()} == {"finished"}
        assert [r["done_ha"] for r in rows(both, "jobs").values()] == pytest.approx([2.0, 2.0])

    def test_a_field_said_to_belong_to_a_job_counts_to_it(self) -> None:
        planned = job("beans", "drilling", "Long Acre")
        elsewhere = work(field="Far End", worked=WHOLE, job="beans")
        found = rows(fold([*LAND, planned, elsewhere]), "jobs")["beans"]
        assert (found["fields"], found["fields_finished"]) == (2, 1)

    def test_work_of_unknown_width_is_told_and_not_counted(self) -> None:
        unknown = work(worked_m2=None, width_m=None, width_used_m=None)
        farm = fold([*LAND, job("beans", "drilling", "Long Acre", "Far End"), unknown])
        found = rows(farm, "jobs")["beans"]
        assert (found["fields_unmeasured"], found["done_ha"]) == (1, 0.0)
        assert found["area_ha"] == pytest.approx(2.0), "Far End only"
        assert found["rate_ha_h"] is None
        states = {r["field"]: r["state"] for r in records(ask(farm, "job_fields"))}
        assert states == {"Long Acre": "not measured", "Far End": "not begun"}


class TestProgress:
    half = work("2026-04-10", worked=box(0, 0, 100, 100), hours=1.0)
    planned = job("beans", "drilling", "Long Acre", "Far End", by=date(2026, 5, 3))

    def test_half_a_field_in_an_hour(self) -> None:
        """1 ha an hour from eight to nine: 3 ha left are three such days."""
        (found,) = progress(fold([*LAND, self.half, self.planned]), NOW, UTC)
        assert found.job["left_ha"] == pytest.approx(3.0)
        assert found.job["left_h"] == pytest.approx(3.0)
        assert found.forecast is not None
        assert found.forecast.done_at == datetime(2026, 5, 4, 9, tzinfo=UTC)
        assert found.deadline_at is not None
        assert found.forecast.done_at > found.deadline_at

    def test_a_longer_day_is_in_time(self) -> None:
        farm = fold([*LAND, self.half, self.planned])
        (found,) = progress(farm, NOW, UTC, start="08:00", stop="12:00")
        assert found.forecast is not None
        assert found.forecast.done_at == datetime(2026, 5, 2, 11, tzinfo=UTC)

    def test_a_job_not_begun_goes_by_the_same_operation_elsewhere(self) -> None:
        other = job("more beans", "drilling", "Top Piece")
        found = {p.job["job"]: p for p in progress(fold([*LAND, self.half, other]), NOW, UTC)}
        assert found["more beans"].like == 1
        assert found["more beans"].forecast is not None
        assert found["more beans"].forecast.done_at == datetime(2026, 5, 3, 9, tzinfo=UTC)

    def test_open_jobs_come_first_by_deadline(self) -> None:
        done = job("done", "drilling", "Long Acre", by=date(2026, 4, 1))
        late = job("late", "rolling", "Far End", by=date(2026, 9, 1))
        soon = job("soon", "rolling", "Top Piece", by=date(2026, 6, 1))
        farm = fold([*LAND, work(worked=WHOLE), done, late, soon])
        assert [p.job["job"] for p in progress(farm, NOW, UTC)] == ["soon", "late", "done"]

    def test_what_the_ground_left_needs(self) -> None:
        need = InputPlanned(
            job="beans", product="bean seed", kind="seed", per_ha=200.0, unit="kg", **STATED
        )
        water = InputApplied(
            product="water", kind="water", amount=150.0, unit="l", job="beans",
            operation="drilling", **STATED,
        )  # fmt: skip
        (found,) = progress(fold([*LAND, self.half, self.planned, need, water]), NOW, UTC)
        needed = {n.product: (n.needed, n.planned) for n in found.needs}
        assert needed["bean seed"] == (pytest.approx(600.0), True)
        assert needed["water"] == (pytest.approx(450.0), False)


class TestWhereItWent:
    early, late = work("2026-04-10"), work("2026-04-11", hours=6.0)
    rolled = work("2026-04-12", operation="rolling", implement="roller")

    def given(self, **more: Any) -> InputApplied:
        values = {"product": "x", "kind": "seed", "amount": 300.0, "unit": "kg", **STATED}
        return InputApplied(**(values | more))

    def farm(self, *more: Event) -> Farm:
        return fold([*LAND, implement(), self.early, self.late, self.rolled, *more])

    @pytest.mark.parametrize(
        ("said", "days"),
        [
            ({"field": "long acre"}, [10, 11]),
            ({"field": "Long Acre", "day": date(2026, 4, 11)}, [11]),
            ({"day": date(2026, 4, 10)}, [10]),
            ({"day": date(2026, 4, 12)}, []),
            ({"kind": "fuel", "field": "Long Acre"}, [10, 11, 12]),
            ({"kind": "fuel", "machine": "red"}, []),
            ({"kind": "spray", "field": "Long Acre"}, []),
            ({"operation": "rolling", "field": "Long Acre"}, [12]),
        ],
    )
    def test_by_what_was_said(self, said: dict[str, Any], days: list[int]) -> None:
        found = visits_with(self.farm(), self.given(**said))
        assert [v.day.day for v in found] == days

    def test_a_visit_measured_again_keeps_what_it_got(self) -> None:
        given = self.given(
            visit=self.early.visit, field="Long Acre", machine="blue",
            started_at=self.early.started_at, ended_at=self.early.ended_at,
        )  # fmt: skip
        begun = at("2026-04-10", "07:50")
        again = replace(
            self.early, started_at=begun, visit=visit_id("blue", "Long Acre", begun),
            tracks=("t1", "t2"), supersedes=(self.early.event_id,),
        )  # fmt: skip
        assert visits_with(self.farm(again, given), given) == [again]

    def test_shares_go_by_ground_and_of_fuel_by_time(self) -> None:
        seed, fuel = self.given(field="Long Acre"), self.given(kind="fuel", unit="l", nonce="2")
        found = list(shares(self.farm(seed, fuel)))
        of_seed = [s for g, _, s in found if g is seed]
        of_fuel = [s for g, _, s in found if g is fuel]
        assert of_seed == pytest.approx([0.25, 0.75])
        assert of_fuel == pytest.approx([0.2, 0.6, 0.2])


def test_what_comes_next_and_who_is_behind() -> None:
    planned = SequencePlanned(
        crop="Wheat", operations=("drilling", "rolling", "spraying"), **STATED
    )
    land = (*LAND, crop("wheat", 2026, field="Far End"), crop("oats", 2026, field="Top Piece"))
    work_done = (work("2026-04-10"), work("2026-04-12", operation="rolling"),
                 work("2026-04-11", field="Far End", operation="spraying"))  # fmt: skip
    found = {s.field: s for s in stages(fold([*land, planned, *work_done]))}
    assert set(found) == {"Long Acre", "Far End"}
    assert (found["Long Acre"].done, found["Long Acre"].next) == (2, "spraying")
    assert (found["Far End"].done, found["Far End"].next) == (3, None)
    assert (found["Long Acre"].behind, found["Far End"].behind) == (1, 0)


def test_a_season_against_the_one_before() -> None:
    crops = [
        crop("beans", 2025, valid_from=date(2025, 1, 1)),
        crop("oats", 2026, valid_from=date(2026, 1, 1)),
    ]
    farm = fold([drawn(), *crops, work("2025-04-10", hours=2.0), work("2026-04-10", hours=4.0)])
    found = {
        (r["harvest_year"], r["name"]): r
        for r in records(ask(farm, "season"))
        if r["grouped_by"] == "operation"
    }
    this, last = found[2026, "drilling"], found[2025, "drilling"]
    assert this["before_ha"] == pytest.approx(last["worked_ha"])
    assert this["before_h"] == pytest.approx(2.0)
    assert (last["before_ha"], last["before_h"]) == (None, None)
    assert this["worked_ha"] == pytest.approx(2 * last["worked_ha"])
