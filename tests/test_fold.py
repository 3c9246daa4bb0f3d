"""The fold: the meaning of the set of events, whatever way they come."""

from __future__ import annotations

import random
from dataclasses import fields, replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oplog.errors import OplogError, UnknownName
from oplog.events import (
    CustomerStated,
    DeviceAssigned,
    DrillCalibrated,
    EntryStruck,
    EntryWritten,
    Event,
    InputApplied,
    InputPlanned,
    JobClosed,
    JobPlanned,
    NoteWritten,
    PriceStated,
    SequencePlanned,
    VisitSaid,
    WorkMeasured,
    WorkReplaced,
)
from oplog.fold import Farm, Standing, fold
from oplog.fold.farm import handles
from tests.factory import (
    STATED,
    at,
    crop,
    drawn,
    implement,
    opened,
    tractor,
    whole_day,
    work,
)


def meaning(farm: Farm) -> dict[str, Any]:
    """A farm as values that can be compared: geometries by the event that drew them."""
    values = {c.name: getattr(farm, c.name) for c in fields(farm)}
    values["fields"] = {k: [d.event_id for d in v] for k, v in farm.fields.items()}
    return values


def said(visit: WorkMeasured, **more: Any) -> VisitSaid:
    values = {
        "visit": visit.visit,
        "machine": visit.machine,
        "field": visit.field,
        "day": visit.day,
        "started_at": visit.started_at,
        "ended_at": visit.ended_at,
        **STATED,
    }
    return VisitSaid(**(values | more))


def struck(visit: WorkMeasured, **more: Any) -> EntryStruck:
    values = {
        "visit": visit.visit,
        "machine": visit.machine,
        "field": visit.field,
        "started_at": visit.started_at,
        "ended_at": visit.ended_at,
        "supersedes": (visit.event_id,),
        "because": "Not ours.",
        **STATED,
    }
    return EntryStruck(**(values | more))


def inputs_and_prices() -> list[Event]:
    """What was stated beside the work."""
    seed = {"product": "bean seed", "kind": "seed", "unit": "kg"}
    sprayed = {"product": "Herbex", "kind": "spray", "unit": "l", "amount": 4.0}
    return [
        InputPlanned(job="Beans in", per_ha=240.0, **seed, **STATED),
        InputApplied(job="Beans in", amount=500.0, left_over=20.0, **seed, **STATED),
        InputApplied(field="Top Piece", day=date(2026, 5, 1), **sprayed, **STATED),
        DrillCalibrated(
            implement="drill", product="bean seed", day=date(2026, 4, 10), rate_kg_ha=240.0,
            calibrated_m2=100.0, caught_kg=2.5, **STATED,
        ),
        CustomerStated(customer="Brook Farm", fields=("Long Acre",), **STATED),
        PriceStated(
            operation="drilling", price=60.0, currency="GBP", per="ha", basis="field", **STATED
        ),
        SequencePlanned(crop="beans", operations=("drilling", "combining"), **STATED),
    ]  # fmt: skip


def year_of_events() -> list[Event]:
    """A log with corrections, strikes, rivals and every type of event."""
    morning = work("2026-04-10", "08:00")
    evening = work("2026-04-10", "14:00", field="Top Piece")
    first, second = work("2026-04-11"), work("2026-04-11", tracks=("t1", "t2"), hours=3)
    harvest = work("2026-08-10", operation="combining", implement="header", machine="red")
    struck_one = work("2026-04-12")
    correction = said(evening, implement="roller", supersedes=(evening.event_id,))
    rolled = replace(evening, implement="roller", operation="rolling", said=(correction.event_id,))
    rival = work("2026-04-13", "08:30", tracks=("t9",))
    return [
        opened(),
        drawn(),
        drawn("Top Piece"),
        drawn("Top Piece", valid_from=date(2027, 1, 1), nonce="2"),
        crop("beans", 2026),
        crop("wheat", 2027),
        tractor(),
        tractor("red", kind="combine"),
        implement(),
        implement("roller", kind="roller", operation="rolling", width_m=6.0),
        implement("roller", kind="roller", operation="rolling", width_m=9.0, nonce="2"),
        DeviceAssigned(device="stick", machine="blue", **STATED),
        JobPlanned(job="Beans in", operation="drilling", fields=("Long Acre",), **STATED),
        JobClosed(job="Beans in", **STATED),
        NoteWritten(note="Wet corner.", field="Long Acre", **STATED),
        *inputs_and_prices(),
        morning,
        evening,
        whole_day(morning, evening),
        first,
        second,
        WorkReplaced(
            machine="blue",
            day=first.day,
            measured=(second.event_id,),
            supersedes=(first.event_id,),
        ),
        struck_one,
        struck(struck_one),
        correction,
        rolled,
        work("2026-04-13"),
        rival,
        harvest,
        work("2026-10-01", machine="red"),
        EntryWritten(
            writer="w1",
            writer_name="tester",
            number=1,
            previous=None,
            events=(morning.event_id,),
            written_at=at("2026-04-10"),
        ),
    ]


EVENTS = year_of_events()
EXPECTED = meaning(fold(EVENTS))


@given(st.randoms(use_true_random=False), st.lists(st.sampled_from(EVENTS), max_size=40))
def test_order_and_doubles_make_no_difference(chance: random.Random, doubled: list[Event]) -> None:
    events = EVENTS + doubled
    chance.shuffle(events)
    assert meaning(fold(events)) == EXPECTED


@given(st.sets(st.sampled_from(range(len(EVENTS)))), st.sets(st.sampled_from(range(len(EVENTS)))))
def test_two_logs_mean_the_same_however_they_are_brought_together(
    here: set[int], there: set[int]
) -> None:
    a, b = [EVENTS[i] for i in here], [EVENTS[i] for i in there]
    whole = [EVENTS[i] for i in sorted(here | there)]
    assert meaning(fold(a + b)) == meaning(fold(b + a)) == meaning(fold(whole))


@given(st.sets(st.sampled_from(range(len(EVENTS)))))
def test_no_instant_of_a_machine_counts_twice(some: set[int]) -> None:
    for kind in ("visits", "days"):
        measured = getattr(fold(EVENTS[i] for i in some), kind)
        for one in measured:
            for other in measured:
                if one is not other and one.machine == other.machine:
                    assert one.ended_at <= other.started_at or other.ended_at <= one.started_at


def test_an_empty_log_is_an_empty_farm() -> None:
    farm = fold([])
    assert (farm.name, farm.visits, farm.unsettled) == ("", (), ())


def test_what_is_superseded_does_not_count() -> None:
    old = work()
    new = replace(old, width_m=6.0, supersedes=(old.event_id,))
    assert fold([old, new]).visits == (new,)
    assert fold([new]).visits == (new,)


def test_a_struck_visit_stays_struck_when_its_day_is_measured_again() -> None:
    old = work(hours=2.0)
    again = work(hours=2.2, tracks=("t1", "t2"))
    elsewhere = work(hours=2.2, tracks=("t1", "t2"), field="Top Piece", clock="12:00")
    farm = fold([old, struck(old), again, elsewhere])
    assert farm.visits == (elsewhere,)


def test_a_longer_stay_is_not_struck_by_a_short_one_within_it() -> None:
    short, stay = work(hours=0.5), work(hours=2.0, tracks=("t1", "t2"))
    assert fold([short, struck(short), stay]).visits == (stay,)


class TestUnsettled:
    def test_more_tracks_stand_in_place_of_fewer(self) -> None:
        part, whole = work(hours=1), work(hours=3, tracks=("t1", "t2"))
        farm = fold([part, whole_day(part), whole, whole_day(whole)])
        assert farm.visits == (whole,)
        assert farm.days == (whole_day(whole),)
        assert farm.unsettled == ()

    def test_a_visit_that_the_fuller_measurement_no_longer_has_is_gone(self) -> None:
        passing = work(clock="12:00", field="Top Piece")
        fuller = work(tracks=("t1", "t2"))
        farm = fold([passing, whole_day(passing), fuller, whole_day(fuller)])
        assert farm.visits == (fuller,)

    def test_an_open_visit_yields_to_one_that_was_said(self) -> None:
        said_one = work()
        open_one = work(implement=None, operation=None, worked_m2=None)
        farm = fold([open_one, said_one])
        assert farm.visits == (said_one,)
        assert farm.unsettled == ()

    def test_two_that_say_different_things_are_both_listed_and_one_is_kept(self) -> None:
        drilled, rolled = work(), work(implement="roller", operation="rolling")
        farm = fold([drilled, rolled])
        assert farm.visits == (max(drilled, rolled, key=lambda v: v.event_id),)
        (unsettled,) = farm.unsettled
        assert {e.event_id for e in unsettled.events} == {drilled.event_id, rolled.event_id}
        assert (unsettled.machine, unsettled.day) == ("blue", date(2026, 4, 10))
        assert unsettled.what == "blue in Long Acre on 2026-04-10 is told in two ways."

    def test_parts_of_a_day_from_two_laptops_both_count_where_they_do_not_overlap(self) -> None:
        morning = work(clock="08:00", tracks=("t1",))
        evening = work(clock="14:00", tracks=("t2",))
        farm = fold([morning, whole_day(morning), evening, whole_day(evening)])
        assert farm.visits == (morning, evening)
        (unsettled,) = farm.unsettled
        assert "measured in parts" in unsettled.what
        assert len(unsettled.events) == 4

    def test_a_third_that_names_both_settles_it(self) -> None:
        a, b = work(), work(implement="roller", operation="rolling")
        third = work(hours=2.1, supersedes=(a.event_id, b.event_id))
        farm = fold([a, b, third])
        assert (farm.visits, farm.unsettled) == ((third,), ())

    def test_what_was_said_but_not_measured_with_asks_for_measuring_again(self) -> None:
        whole = work(tracks=("t1", "t2"))
        statement = said(work(), implement="roller")
        (unsettled,) = fold([whole, statement]).unsettled
        assert (unsettled.machine, unsettled.day) == ("blue", whole.day)
        heard = replace(whole, said=(statement.event_id,))
        assert fold([heard, statement]).unsettled == ()

    def test_different_things_said_of_one_visit(self) -> None:
        one = said(work(), implement="roller")
        other = said(work(), implement="drill")
        assert [u.events for u in fold([one, other]).unsettled] == [
            tuple(sorted((one, other), key=lambda s: s.event_id))
        ]
        driver = said(work(), driver="Ann")
        assert fold([one, driver]).unsettled == ()

    def test_kit_listed_differently_on_two_laptops(self) -> None:
        farm = fold([implement(width_m=4.0), implement(width_m=3.0)])
        assert [u.what for u in farm.unsettled] == [
            "drill is listed more than once for the same time."
        ]
        assert fold([implement(nonce="1"), implement(nonce="2")]).unsettled == ()


def standing(*events: Event) -> list[tuple[str | None, int | None]]:
    farm = fold(events)
    return [
        (farm.standing[v.event_id].crop, farm.standing[v.event_id].harvest_year)
        for v in farm.visits
    ]


class TestCropOfAVisit:
    beans, wheat = crop("beans", 2026), crop("wheat", 2027)
    harvest = work("2026-08-10", operation="combining", implement="header")

    def test_none_stated_is_stubble(self) -> None:
        assert standing(work(), crop("beans", 2026, "Top Piece")) == [(None, None)]

    def test_work_after_harvest_counts_to_the_next_crop(self) -> None:
        drilled = work("2026-10-01")
        assert standing(work(), self.harvest, drilled, self.beans, self.wheat) == [
            ("beans", 2026),
            ("beans", 2026),
            ("wheat", 2027),
        ]

    def test_after_the_last_harvest_it_is_stubble(self) -> None:
        assert standing(self.harvest, work("2026-10-01"), self.beans)[1] == (None, None)

    def test_the_second_day_of_a_harvest_is_the_same_harvest(self) -> None:
        next_day = work("2026-08-11", operation="combining", machine="red")
        stubble_between = work("2026-08-10", "18:00", operation="cultivating", machine="green")
        crops = (self.beans, self.wheat)
        assert standing(self.harvest, next_day, stubble_between, *crops) == [
            ("beans", 2026),
            ("wheat", 2027),
            ("beans", 2026),
        ]

    def test_straw_belongs_to_the_crop_it_came_from(self) -> None:
        baled = work("2026-08-12", operation="baling")
        assert standing(self.harvest, baled, self.beans, self.wheat)[1] == ("beans", 2026)

    def test_mowing_ends_no_crop(self) -> None:
        cuts = [work(d, operation="mowing") for d in ("2026-05-20", "2026-07-10")]
        crops = (crop("grass", 2026), crop("grass", 2027))
        assert standing(*cuts, *crops) == [("grass", 2026)] * 2

    def test_driving_through_with_the_combine_is_no_harvest(self) -> None:
        through = work("2026-07-10", operation="combining", working_s=0.0)
        later = work("2026-07-20", operation="spraying")
        assert standing(through, later, self.beans, self.wheat)[1] == ("beans", 2026)

    def test_the_stated_first_day_of_a_later_crop_ends_the_one_before(self) -> None:
        wheat = crop("wheat", 2027, valid_from=date(2026, 9, 1))
        visits = [work("2026-08-31"), work("2026-09-01")]
        assert standing(*visits, self.beans, wheat) == [("beans", 2026), ("wheat", 2027)]

    def test_only_a_later_crop_stated(self) -> None:
        wheat = crop("wheat", 2027, valid_from=date(2026, 9, 1))
        assert standing(work("2026-08-20"), wheat) == [("wheat", 2027)]

    def test_a_harvest_of_something_unstated_does_not_use_up_the_next_crop(self) -> None:
        drilled = work("2026-10-01")
        assert standing(self.harvest, drilled, self.wheat) == [(None, None), ("wheat", 2027)]

    def test_harvest_year_is_as_stated_whatever_the_calendar_says(self) -> None:
        """A harvest at the turn of the year, as south of the equator."""
        wheat = crop("wheat", 2026)
        combined = work("2027-01-05", operation="combining")
        assert standing(work("2026-06-01"), combined, wheat) == [("wheat", 2026)] * 2


class TestJobOfAVisit:
    def job(self, *events: Event) -> str | None:
        farm = fold(events)
        return farm.standing[farm.visits[0].event_id].job

    def planned(self, name: str = "Beans in", **more: Any) -> JobPlanned:
        values = {"job": name, "operation": "drilling", "fields": ("Long Acre",), **STATED}
        return JobPlanned(**(values | more))

    def test_the_planned_job_that_fits(self) -> None:
        assert self.job(work(), self.planned()) == "Beans in"
        assert self.job(work(), self.planned(operation="rolling")) is None
        assert self.job(work(), self.planned(fields=("Top Piece",))) is None

    def test_crop_and_harvest_year_must_fit_where_stated(self) -> None:
        job = self.planned(crop="Beans", harvest_year=2026)
        assert self.job(work(), job, crop("beans", 2026)) == "Beans in"
        assert self.job(work(), job, crop("beans", 2027)) is None
        assert self.job(work(), job) is None

    def test_what_was_said_goes_first(self) -> None:
        visit = work()
        statement = said(visit, job="Trial strips")
        assert self.job(visit, self.planned(), statement) == "Trial strips"
        assert self.job(replace(visit, job="Headlands"), statement) == "Headlands"

    def test_of_several_the_one_due_next(self) -> None:
        jobs = [
            self.planned("late", by=date(2026, 5, 1)),
            self.planned("next", by=date(2026, 4, 15)),
            self.planned("past", by=date(2026, 4, 1)),
        ]
        assert self.job(work("2026-04-10"), *jobs) == "next"
        assert self.job(work("2026-06-10"), *jobs) == "late"


class TestLookups:
    farm = fold(EVENTS)

    def test_a_field_as_it_was_on_a_day(self) -> None:
        assert self.farm.field("top piece", date(2026, 6, 1)).valid_from is None
        assert self.farm.field("Top Piece").valid_from == date(2027, 1, 1)
        with pytest.raises(UnknownName, match=r"No field is called 'Top Pice'.*'?Top Piece'?"):
            self.farm.field("Top Pice")

    def test_kit(self) -> None:
        assert self.farm.kit_item("DRILL").width_m == 4.0
        assert self.farm.kit_item("blue", machine=True).kind == "tractor"
        with pytest.raises(UnknownName, match=r"No implement is called 'blue'.*oplog kit add"):
            self.farm.kit_item("blue", machine=False)

    def test_a_visit_by_its_handle(self) -> None:
        visit = self.farm.visits[0]
        handle = self.farm.standing[visit.event_id].handle
        assert self.farm.visit(handle.upper()) is visit
        with pytest.raises(OplogError, match="too short"):
            self.farm.visit(handle[:2])
        with pytest.raises(UnknownName, match="No visit is called 'uuuuu'"):
            self.farm.visit("uuuuu")

    def test_a_handle_that_two_visits_share(self) -> None:
        one = replace(work(), visit="abcdefg")
        other = replace(work("2026-04-11"), visit="abcdeff")
        farm = fold([one, other])
        assert farm.standing[one.event_id] == Standing("abcdefg")
        with pytest.raises(OplogError, match=r"could be any of 2 visits: .*2026-04-1"):
            farm.visit("abcde")

    def test_handles_are_short_and_tell_visits_apart(self) -> None:
        ids = ["abcdefg", "abcdeff", "abcdxyz", "zzzzzzz"]
        assert handles(ids) == {
            "abcdefg": "abcdefg",
            "abcdeff": "abcdeff",
            "abcdxyz": "abcdx",
            "zzzzzzz": "zzzzz",
        }

    def test_a_job(self) -> None:
        assert self.farm.job("beans in").operation == "drilling"
        with pytest.raises(UnknownName):
            self.farm.job("peas in")
