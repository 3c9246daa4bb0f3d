"""Ground worked in no field on file, on driving whose figures can be worked out in the head."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon, box

from oplog.kit import Rig
from oplog.work.laps import laps
from oplog.work.measure import measure_day
from oplog.work.model import DayWork
from oplog.work.outline import outline
from tests.work_days import (
    HERE,
    PLAIN,
    Floats,
    day_in_the_square,
    field,
    leg,
    recorded,
    up_and_down,
)


def day_of(x: Floats, y: Floats, rig: Rig = PLAIN, seconds: Floats | None = None) -> DayWork:
    """The day of some positions, with no boundary on file."""
    return measure_day(recorded(x, y, seconds), [], lambda *_: rig)


def areas(day: DayWork) -> list[float]:
    return [f.area_m2 for f in day.found]


@pytest.mark.parametrize("rig", [PLAIN, Rig()], ids=["width said", "width not said"])
def test_a_hectare_is_found_and_measured(rig: Rig) -> None:
    day = day_of(*day_in_the_square(), rig)
    (ground,) = day.found
    true = box(0, -4, 100, 104)  # ten bouts, run on by 4 m at either end
    shape = HERE.project(ground.boundary)
    assert shape.intersection(true).area > 0.93 * true.area
    assert shape.area == pytest.approx(true.area, rel=0.08)
    (visit,) = day.visits
    assert visit.field is ground
    assert ground.name == ""
    assert visit.worked_m2 == pytest.approx(true.area, rel=0.08)
    assert day.road_s > 100


def test_nothing_is_found_in_a_field_on_file() -> None:
    day = measure_day(recorded(*day_in_the_square()), [field()], lambda *_: PLAIN)
    assert day.found == ()
    assert [v.field.name for v in day.visits] == ["square"]


def test_a_single_fix_in_a_field_is_a_day_in_which_nothing_is_found() -> None:
    day = measure_day(recorded(np.array([5.0]), np.array([5.0])), [field()], lambda *_: PLAIN)
    assert day.found == ()


@pytest.mark.parametrize("shuttles_m_s", [3.0, 7.5])
def test_ways_to_and_fro_at_twice_the_speed_of_the_work_are_no_field(shuttles_m_s: float) -> None:
    """Loads fetched by ways side by side; at the speed of the work they are another field."""
    shuttles = [(x, y - 500.0) for x, y in up_and_down(6, length_m=300.0)]
    bouts = leg(up_and_down(), speed=3.0)
    ways = leg([(95.0, -4.0), (0.0, -180.0), *shuttles[::-1]], speed=shuttles_m_s)
    x, y = (np.concatenate(both) for both in zip(bouts, ways, strict=True))
    day = measure_day(recorded(x, y), [field()], lambda *_: PLAIN)
    assert len(day.found) == (1 if shuttles_m_s < 5 else 0)


@pytest.mark.parametrize(("speed", "noise_m"), [(2.0, 0.05), (2.0, 2.0), (6.0, 2.0)])
def test_a_road_driven_all_day_is_no_field(speed: float, noise_m: float) -> None:
    rng = np.random.default_rng(3)
    ways = []
    for k in range(12):
        lane = 1.8 if k % 2 else -1.8
        way = [(0, lane), (600, lane + 2), (1200, 150 + lane)]
        ways += way if k % 2 == 0 else way[::-1]
    x, y = leg(ways, speed)
    wander = np.cumsum(rng.normal(0, 1, (2, len(x))), axis=1)
    wander -= np.linspace(0, 1, len(x)) * wander[:, -1:]
    wander *= noise_m / wander.std()
    for rig in (PLAIN, Rig(), Rig(width_m=3.0)):
        day = day_of(x + wander[0], y + wander[1], rig)
        assert day.found == ()
        assert day.visits == ()


@pytest.mark.parametrize("by", [0.7, 1.5708, 3.9])
@pytest.mark.parametrize("mirrored", [False, True])
def test_turning_and_mirroring_change_nothing(by: float, mirrored: bool) -> None:
    x, y = day_in_the_square()
    (plain,) = areas(day_of(x, y))
    x = -x if mirrored else x
    turned = x * np.cos(by) - y * np.sin(by), x * np.sin(by) + y * np.cos(by)
    (area,) = areas(day_of(*turned))
    assert area == pytest.approx(plain, rel=0.01)


def test_road_before_and_after_changes_nothing() -> None:
    x, y = day_in_the_square()
    before = leg([(3000, -900), (900, -200), (x[0], y[0])], 8.0)
    after = leg([(x[-1], y[-1]), (-900, -150), (-4000, 500)], 8.0)
    longer = day_of(*(np.concatenate([b, m, a]) for b, m, a in
                      zip(before, (x, y), after, strict=True)))  # fmt: skip
    plain = day_of(x, y)
    assert areas(longer) == pytest.approx(areas(plain), rel=0.002)
    assert longer.visits[0].worked_m2 == pytest.approx(plain.visits[0].worked_m2, rel=0.002)


def beside(gap_m: float) -> DayWork:
    """Two squares side by side, from one to the other by the road below."""
    bouts = up_and_down()
    there = [(px + 100 + gap_m, py) for px, py in bouts]
    way = [(-60, -150), (5, -150), (5, -20), *bouts, (95, -20), (95, -150), (140, -150),
           (105 + gap_m, -150), (105 + gap_m, -20), *there, (195 + gap_m, -150)]  # fmt: skip
    return day_of(*leg(way))


@pytest.mark.parametrize("gap_m", [12.0, 0.0], ids=["a road between", "an edge in common"])
def test_two_fields_are_two(gap_m: float) -> None:
    day = beside(gap_m)
    assert len(day.found) == 2
    assert [v.field for v in day.visits] == list(day.found)


def test_a_field_worked_in_two_goes_is_one() -> None:
    lap = [(5, 5), (5, 95), (195, 95), (195, 5), (5, 5)]
    inner = [(px + 10, 10 + py * 0.8) for px, py in up_and_down(18)]
    first, second = inner[: len(inner) // 2], inner[len(inner) // 2 :]
    out = [(100, -20), (100, -200), (400, -200), (100, -200), (100, -20)]
    day = day_of(*leg([(-60, -20), *lap, *first, *out, *second, (100, -60)]))
    (ground,) = day.found
    assert ground.area_m2 == pytest.approx(200 * 100, rel=0.05)


def test_one_lap_of_a_wide_boom_encloses_a_field() -> None:
    corners = [(12, 12), (388, 12), (388, 288), (12, 288), (12, 20)]
    (lap,) = laps([LineString(corners)], [], 24.0, 120.0)
    assert lap.area == pytest.approx(376 * 276, rel=0.03)
    assert laps([LineString([(0, 0), (400, 0), (400, 6), (0, 6)])], [], 6.0, 120.0) == []


def test_a_pond_is_kept_and_a_slip_is_not() -> None:
    pond = Polygon([(40, 40), (70, 40), (70, 70), (40, 70)]).exterior
    slip = box(10, 10, 12, 90).exterior
    ground = outline(Polygon(box(0, 0, 200, 100).exterior, [pond, slip]), 4.0, 0.1)
    assert ground.area == pytest.approx(200 * 100 - 30 * 30, rel=0.001)
    assert sum(len(p.interiors) for p in ground.geoms) == 1
