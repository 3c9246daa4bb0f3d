"""A whole day measured: figures of a square, and what must change nothing."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon, box

from oplog.events import Span
from oplog.geodesy import Plane, area_m2
from oplog.kit import Rig
from oplog.land import Field
from oplog.track import Track, concat
from oplog.work.idle import NAMES
from oplog.work.measure import measure_day
from oplog.work.model import DayWork, Visit
from tests.simulator.scenarios import placed
from tests.simulator.scene import Place, Scenario
from tests.work_days import (
    HERE,
    PLAIN,
    carries,
    day_in_the_square,
    field,
    leg,
    recorded,
    up_and_down,
)

SQUARE = box(0, 0, 100, 100)
Positions = tuple[np.ndarray, np.ndarray]


def day_of(track: Track, *fields: Field, rig: Rig = PLAIN) -> DayWork:
    return measure_day(track, list(fields), carries(rig))  # type: ignore[arg-type]


@cache
def noisy_day(length_m: float = 200.0, noise_m: float = 0.03) -> Positions:
    """Two hectares in ten bouts of 200 m, with noise."""
    x, y = day_in_the_square(length_m=length_m)
    rng = np.random.default_rng(8)
    return x + rng.normal(0, noise_m, len(x)), y + rng.normal(0, noise_m, len(x))


def the_visit(
    positions: Positions, ground: Polygon, plane: Plane = HERE, seconds: np.ndarray | None = None
) -> Visit:
    (visit,) = day_of(recorded(*positions, seconds, plane), field(ground, plane=plane)).visits
    return visit


def figures(v: Visit) -> dict[str, float]:
    return {
        "worked": v.worked_m2 or 0.0, "gross": v.gross_m2 or 0.0, "working": v.working_s,
        "turning": v.turning_s, "metres": v.working_m, "speed": v.speed_m_s or 0.0,
    }  # fmt: skip


def same(a: Visit, b: Visit, rel: float) -> None:
    assert figures(b) == pytest.approx(figures(a), rel=rel, abs=2.0)


def length_s(spans: tuple[Span, ...]) -> float:
    return sum((s.ended_at - s.started_at).total_seconds() for s in spans)


# --- figures of a square


def test_rounds_along_the_edge_alone_are_work_though_no_bouts_lie_side_by_side() -> None:
    """Opening cuts of a round field, a strip left between them, from the gate and back to it."""
    turn = np.linspace(0.0, 2 * math.pi, 181)
    rounds = [
        (r * math.cos(a), r * math.sin(a)) for r, way in ((145, turn), (123, turn)) for a in way
    ]
    around = [(150 * math.cos(a), 150 * math.sin(a)) for a in turn[:-1]]
    visit = the_visit(leg([(190, 0), *rounds, (190, 0)]), Polygon(around))
    assert visit.worked_m2 == pytest.approx(2 * math.pi * (145 + 123) * 10, rel=0.02)


def test_a_second_operation_after_a_way_to_the_yard_begins_with_its_lap() -> None:
    """Its first side comes right after the gate, and laps are over ground done long before."""
    lap = [(-300.0, 5.0), (95.0, 5.0), (95.0, 195.0), (5.0, 195.0), (5.0, 5.0)]
    once = [
        *lap,
        *((x + 10.0, y + 20.0) for x, y in up_and_down(8, length_m=160.0)),
        (85.0, -300.0),
    ]
    x, y = leg(once)
    seconds = np.arange(len(x), dtype=np.float64)
    twice = np.tile(x, 2), np.tile(y, 2), np.concatenate([seconds, seconds + len(x) + 1800])
    first, second = day_of(recorded(*twice), field(box(0, 0, 100, 200))).visits
    assert second.working_s == pytest.approx(first.working_s, rel=0.01)
    assert second.worked_m2 == pytest.approx(first.worked_m2, rel=0.005)


def test_a_hectare_in_ten_bouts() -> None:
    visit = the_visit(day_in_the_square(), SQUARE)
    assert visit.worked_m2 == pytest.approx(10_000, rel=0.01)
    assert visit.overlap_m2 == pytest.approx(0, abs=60)
    assert visit.missed_m2 == pytest.approx(0, abs=60)
    assert visit.bout_width_m == pytest.approx(10.0, abs=0.05)
    assert len(visit.bouts.geoms) == 10
    assert visit.speed_m_s == pytest.approx(2.0, rel=0.01)
    # Ten bouts of 100 m at 2 m/s, up to 4 m beyond either end.
    assert 490 <= visit.working_s <= 560
    assert visit.width_used_m == 10.0
    assert visit.doubts == ()


def test_entry_and_exit_lie_on_the_boundary() -> None:
    visit = the_visit(day_in_the_square(), SQUARE)
    # 65 m along the road and 150 m up to the edge, at 2 m/s.
    entered = (visit.started_at - datetime.fromisoformat("2026-04-14T06:00:00+00:00")).seconds
    assert entered == pytest.approx((65 + 150) / 2, abs=0.6)


def test_times_add_up_and_the_day_has_no_holes() -> None:
    x, y = noisy_day()
    keep = np.ones(len(x), dtype=bool)
    keep[400:480] = False
    track = recorded(x[keep], y[keep], np.flatnonzero(keep))
    day = day_of(track, field(box(0, 0, 100, 200)))
    (visit,) = day.visits
    stay = (visit.ended_at - visit.started_at).total_seconds()
    assert sum(getattr(visit, f"{name}_s") for name in NAMES) == pytest.approx(stay, abs=1e-3)
    assert length_s(visit.spans) == pytest.approx(stay, abs=1e-3)
    assert visit.unrecorded_s == pytest.approx(81, abs=1.5)
    assert day.field_s + day.road_s + day.elsewhere_s == pytest.approx(day.tracked_s, abs=1e-3)


def test_a_field_on_the_other_side_of_the_farm_is_named_as_the_nearest() -> None:
    day = day_of(recorded(*leg([(0, 0), (900, 0)])), field(box(0, 300, 100, 400), "far side"))
    assert day.visits == ()
    assert day.nearest_field == "far side"
    assert day.nearest_m == pytest.approx(300, abs=0.5)


def test_driving_through_a_field_works_nothing() -> None:
    through = leg([(-200, 30), (50, 30), (60, 180), (60, 300)], speed=3.0)
    assert day_of(recorded(*through), field()).visits == ()


@pytest.mark.parametrize(
    "way",
    [
        pytest.param([(-150, 30), (120, 30), (130, 40), (-150, 40)], id="in, turned and out"),
        pytest.param([(200, -150), (200, 200), (300, 250), (550, 260)], id="with a bend"),
        pytest.param(
            [(-150, 30), (1500, 30), (1500, 40), (-150, 40)], id="there and back, side by side"
        ),
    ],
)
def test_nor_does_a_way_that_looks_like_two_bouts(way: list[tuple[float, float]]) -> None:
    big = field(box(0, 0, 400, 400))
    assert day_of(recorded(*leg(way, speed=3.0)), big).visits == ()


def worked_ha(way: list[tuple[float, float]], width_m: float, ground: Polygon) -> float:
    track, rig = recorded(*leg(way)), replace(PLAIN, width_m=width_m)
    return sum(v.worked_m2 or 0.0 for v in day_of(track, field(ground), rig=rig).visits) / 1e4


def test_who_goes_here_and_there_in_a_field_works_nothing() -> None:
    ground = Polygon([(0, 178), (117, 243), (198, 57), (41, 0)])
    way = [
        (-60.0, 60.0), (33.0, 40.0), (170.0, 75.0), (176.0, 84.0), (130.0, 146.0), (120.0, 146.0),
        (138.0, 76.0), (138.0, 44.0), (50.0, 12.0), (42.0, 18.0), (46.0, 40.0), (-60.0, 60.0),
    ]  # fmt: skip
    assert worked_ha(way, 23.0, ground) == 0


@pytest.mark.parametrize("stops", [0, 1])
def test_a_track_that_is_all_one_straight_run_or_none_is_measured(stops: int) -> None:
    """Recorded from one edge to the other, with no second before, between or after the runs; or
    where nothing moves."""
    x, y = leg([(50.0, 1.0), (50.0, 99.0)])
    later = np.arange(len(x)) + 400.0 * stops * (np.arange(len(x)) > len(x) // 2)
    day_of(recorded(x, y, later), field(SQUARE))
    still = np.full(60, 50.0)
    assert not sum(v.working_s for v in day_of(recorded(still, still), field(SQUARE)).visits)


def test_two_bouts_side_by_side_are_work_however_little_of_the_field() -> None:
    bouts = [(200.0, 10.0), (200.0, 290.0), (205.0, 294.0), (210.0, 290.0), (210.0, 10.0)]
    way = [(20.0, -60.0), *bouts, (60.0, 40.0), (20.0, -60.0)]
    assert worked_ha(way, 10.0, box(0, 0, 300, 300)) > 0.5


def test_a_last_bout_after_a_tank_is_filled_in_the_yard_is_work() -> None:
    """Too little by itself, but the rest of what was worked before."""
    first, last = up_and_down(9, length_m=60.0), [(95, 64), (95, -4), (95, -20)]
    yard = [(85, 80), (85, 150), (-1500, 150), (95, 150)]
    x, y = leg([(5, -150), (5, -20), *first, *yard, *last, (95, -150)])
    before, after = day_of(recorded(x, y), field(box(0, 0, 100, 60))).visits
    assert before.worked_m2 == pytest.approx(5400, rel=0.02)
    assert after.worked_m2 == pytest.approx(600, rel=0.05)


def test_a_field_as_narrow_as_a_swath_is_worked_in_passing() -> None:
    strip = field(box(0, 0, 300, 12))
    (visit,) = day_of(recorded(*leg([(-100, 6), (400, 6)], speed=2.0)), strip).visits
    assert visit.worked_m2 == pytest.approx(3000, rel=0.05)


def test_bouts_far_apart_are_told_and_the_ground_between_them_is_not_worked() -> None:
    rig = replace(PLAIN, implement="baler", width_m=2.0)
    track = recorded(*day_in_the_square())
    (visit,) = day_of(track, field(), rig=rig).visits
    assert visit.worked_m2 == pytest.approx(2000, rel=0.05)
    assert visit.doubts == (
        "The bouts are 10.0 m apart, but the baler is stated as 2.0 m wide: ground between them is "
        "not counted as worked.",
    )


def test_a_width_that_the_bouts_do_not_fit_is_told() -> None:
    bouts = up_and_down(width_m=6.0, bouts=16, length_m=150.0)
    x, y = leg([(3, -150), *bouts, (93, -150)])
    narrow = replace(PLAIN, width_m=4.0)
    (visit,) = day_of(recorded(x, y), field(box(0, 0, 96, 150)), rig=narrow).visits
    assert visit.width_used_m == 4.0
    assert visit.bout_width_m == pytest.approx(6.0, abs=0.1)
    assert any("6.0 m apart" in doubt for doubt in visit.doubts)


def test_without_an_implement_the_width_is_that_of_the_bouts() -> None:
    day = day_of(recorded(*day_in_the_square()), field(), rig=Rig())
    (visit,) = day.visits
    assert visit.width_used_m == pytest.approx(10.0, abs=0.1)
    assert visit.worked_m2 == pytest.approx(10_000, rel=0.02)
    assert any("No implement is stated" in doubt for doubt in visit.doubts)


@pytest.mark.parametrize(("each_s", "worked"), [(40, False), (10, True)])
def test_bales_collected_row_by_row_are_no_bouts(each_s: int, worked: bool) -> None:
    """A stop every 50 m: of 40 s to load a bale, or of 10 s to tie one."""
    x, y = leg([(5, -100), *up_and_down(length_m=200.0), (95, -100)])
    stops = np.ones(len(x), dtype=int)
    stops[[k for k in range(50, len(x) - 50, 25) if 0 < y[k] < 200]] = each_s
    stopping = recorded(np.repeat(x, stops), np.repeat(y, stops))
    visits = day_of(stopping, field(box(0, 0, 100, 200)), rig=Rig()).visits
    assert sum(v.working_s for v in visits) == pytest.approx(1000 if worked else 0, rel=0.1)


def test_bad_reception_is_told_and_costs_no_ground() -> None:
    x, y = day_in_the_square()
    y_thrown = y.copy()
    middle = len(y) // 2
    for k in range(5):
        y_thrown[middle + 20 * k : middle + 20 * k + 3] += 12.0
    whole, thrown = (
        measure_day(recorded(x, north), [field()], lambda *_: PLAIN) for north in (y, y_thrown)
    )
    assert whole.doubts == ()
    assert [d for d in thrown.doubts if "15 positions" in d] == list(thrown.doubts) != []
    assert thrown.visits[0].worked_m2 == pytest.approx(whole.visits[0].worked_m2, rel=0.002)


def written_to(places: int, day: Track) -> Track:
    return replace(day, lat=np.round(day.lat, places), lon=np.round(day.lon, places))


def test_places_written_to_some_metres_only_are_told_and_measured_as_they_can_be() -> None:
    """To four decimals, 11 m north and 7 m east; bouts of 10 m are a third of the width off."""
    coarse = written_to(4, recorded(*day_in_the_square(length_m=200.0)))
    day = measure_day(coarse, [field(box(0, 0, 100, 200))], carries(PLAIN))
    assert any("places only to 11 m" in d for d in day.doubts)
    (visit,) = day.visits
    assert visit.worked_m2 == pytest.approx(20_000, rel=0.1)
    assert not any("another implement" in d for d in visit.doubts)


def test_places_written_to_a_hundred_metres_are_told_and_nothing_is_made_of_them() -> None:
    coarse = written_to(3, recorded(*day_in_the_square(length_m=200.0)))
    day = measure_day(coarse, [field(box(0, 0, 100, 200))], carries(PLAIN))
    assert [d for d in day.doubts if "places only to 111 m" in d] == list(day.doubts) != []
    assert not sum(v.working_s for v in day.visits)


def wandering(seconds: int, size_m: float, rng: np.random.Generator) -> np.ndarray:
    """What a receiver strays over minutes, smooth from second to second. [m]"""
    knots = np.arange(0, seconds + 121, 60)
    return np.interp(np.arange(seconds), knots, rng.normal(0, size_m, len(knots)))


@pytest.mark.parametrize("seed", range(4))
def test_a_receiver_that_filters_well_and_wanders_costs_no_ground(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x, y = day_in_the_square()
    n = len(x)
    x = x + wandering(n, 0.5, rng) + rng.normal(0, 0.035, n)
    y = y + wandering(n, 0.5, rng) + rng.normal(0, 0.035, n)
    (visit,) = measure_day(recorded(x, y), [field()], carries(PLAIN)).visits
    assert visit.worked_m2 == pytest.approx(10_000, rel=0.02)
    assert visit.overlap_m2 is not None
    assert visit.overlap_m2 < 200, "edge to edge: what wandering laps over it leaves elsewhere"


def test_bouts_without_a_headland_end_at_the_boundary() -> None:
    """The turn is driven beyond it, and the implement is 4 m behind."""
    behind = replace(PLAIN, line_m=-4.0)
    (visit,) = measure_day(recorded(*day_in_the_square()), [field()], carries(behind)).visits
    assert visit.working_s == pytest.approx(500, abs=10 * 1.5)


def test_a_pond_is_left_out() -> None:
    pond = Polygon(SQUARE.exterior, [box(42, 40, 58, 60).exterior])
    visit = the_visit(day_in_the_square(), pond)
    assert visit.worked_m2 <= area_m2(visit.field.boundary) + 1
    assert visit.worked_m2 == pytest.approx(10_000 - 16 * 20, rel=0.015)


# --- what always holds


@settings(max_examples=12, deadline=None)
@given(st.floats(2.0, 14.0), st.integers(4, 12), st.floats(0.0, 0.5), st.integers(0, 99))
def test_net_is_within_the_boundary_and_without_closed_gaps_within_gross(
    width: float, bouts: int, noise: float, seed: int
) -> None:
    x, y = leg([(5, -60), *up_and_down(bouts=bouts), (60, -60)])
    rng = np.random.default_rng(seed)
    x, y = x + rng.normal(0, noise, len(x)), y + rng.normal(0, noise, len(x))
    day = day_of(recorded(x, y), field(), rig=replace(PLAIN, width_m=width))
    for v in day.visits:
        assert v.worked_m2 is not None
        assert v.gross_m2 is not None
        assert v.worked_m2 <= v.field.area_m2 + 1.0
        # What drift explains is closed: at most a strip along each bout and along the boundary.
        closed = 0.7 * width * (sum(1 for _ in v.bouts.geoms) + 4) * 110.0
        assert v.worked_m2 <= v.gross_m2 + (closed if noise > 0.03 else 0.01 * v.gross_m2 + 60)
        assert v.worked_low_m2 is not None
        assert v.worked_high_m2 is not None
        assert v.worked_low_m2 <= v.worked_m2 <= v.worked_high_m2 + 1e-6


@settings(max_examples=6, deadline=None)
@given(st.floats(0.0, 2 * math.pi))
def test_turning_it_changes_nothing(angle: float) -> None:
    x, y = noisy_day()
    c, s = math.cos(angle), math.sin(angle)
    ground = box(0, 0, 100, 200)
    turned = affinity.rotate(ground, angle, origin=(0, 0), use_radians=True)
    same(the_visit((x, y), ground), the_visit((x * c - y * s, x * s + y * c), turned), 0.005)


def test_mirroring_it_changes_nothing() -> None:
    x, y = noisy_day()
    same(the_visit((x, y), box(0, 0, 100, 200)), the_visit((-x, y), box(-100, 0, 0, 200)), 0.005)


def test_twice_as_many_fixes_change_nothing() -> None:
    x, y = noisy_day(noise_m=0.0)
    at = np.arange(0.0, len(x) - 1 + 0.25, 0.5)
    dense = np.interp(at, np.arange(len(x)), x), np.interp(at, np.arange(len(x)), y)
    ground = box(0, 0, 100, 200)
    same(the_visit((x, y), ground), the_visit(dense, ground, seconds=at), 0.01)


def test_a_track_in_parts_in_any_order_and_some_twice_is_the_same_track() -> None:
    track = recorded(*noisy_day())
    ground = field(box(0, 0, 100, 200))
    (whole,) = day_of(track, ground).visits
    n = len(track)
    parts = [track.take(slice(a, b)) for a, b in ((700, n), (0, 400), (350, 700), (600, 650))]
    (parted,) = day_of(concat(parts), ground).visits
    assert figures(parted) == pytest.approx(figures(whole), rel=1e-5)


def test_the_order_of_the_fixes_is_of_no_matter() -> None:
    track = recorded(*noisy_day())
    ground = field(box(0, 0, 100, 200))
    (whole,) = day_of(track, ground).visits
    mixed = np.random.default_rng(9).permutation(len(track))
    (shuffled,) = day_of(track.take(mixed), ground).visits
    assert figures(shuffled) == figures(whole)
    assert shuffled.spans == whole.spans
    assert shuffled.worked.equals(whole.worked)


def test_road_before_and_after_changes_nothing_in_the_field() -> None:
    x, y = noisy_day()
    before, after = leg([(-3000, -150), (-60, -150)], 8.0), leg([(-60, -150), (2000, -900)], 8.0)
    long = tuple(np.concatenate(p) for p in zip(before, (x, y), after, strict=True))
    ground = box(0, 0, 100, 200)
    same(the_visit((x, y), ground), the_visit(long, ground), 0.002)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "plane", [Plane(148.1, -35.9), Plane(24.0, 60.0), Plane(-180.0, -16.8), Plane(179.9995, 52.0)]
)
def test_the_square_is_the_same_anywhere(plane: Plane) -> None:
    day, ground = noisy_day(), box(0, 0, 100, 200)
    same(the_visit(day, ground), the_visit(day, ground, plane), 0.001)


# --- a simulated day, the same in every place


PLACES = {
    "Europe": Place(-1.2, 52.4, 0.0),
    "the southern hemisphere": Place(147.5, -36.2, 0.9),
    "60 degrees north": Place(24.1, 60.1, 2.2),
    "the date line": Place(180.0, -16.8, 4.0),
}


@cache
def corner_in(place: str) -> tuple[Scenario, Visit]:
    scenario = placed("corner_2ha", 11, PLACES[place])
    fields = [Field(f["name"], "", f["boundary"], area_m2(f["boundary"])) for f in scenario.fields]
    (visit,) = day_of(scenario.track(), *fields, rig=Rig(**scenario.rig)).visits
    return scenario, visit


@pytest.mark.parametrize("place", list(PLACES)[1:])
def test_a_simulated_day_is_the_same_in(place: str) -> None:
    scenario, there = corner_in(place)
    _, here = corner_in("Europe")
    (truth,) = scenario.visits_truth
    assert there.worked_m2 == pytest.approx(truth.in_boundary_m2, rel=0.04)
    assert there.worked_m2 == pytest.approx(here.worked_m2, rel=0.005)
    assert there.speed_m_s == pytest.approx(here.speed_m_s, rel=0.005)
    in_field = (here.ended_at - here.started_at).total_seconds()
    for name in NAMES:
        here_s, there_s = (getattr(v, f"{name}_s") for v in (here, there))
        assert there_s == pytest.approx(here_s, abs=0.015 * in_field)
