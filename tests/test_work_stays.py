"""When a machine is in which field: crossings, dips, absences."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from oplog.work.stays import Leave, Stay, stays
from tests.work_days import cleaned, field, leg

LEAVE = Leave(absence_s=300.0, far_m=200.0, near_m=40.0, filling_s=1200.0)
HOME = field()
NEXT = field(box(100, 0, 200, 100), "next")


def found(points: list[tuple[float, float]], *fields: object, speed: float = 2.0) -> list[Stay]:
    return stays(cleaned(*leg(points, speed)), list(fields) or [HOME], LEAVE)  # type: ignore[arg-type]


def test_entry_and_exit_lie_on_the_line() -> None:
    # From 51 m west of the edge at 2 m/s: in after 25.5 s, out 50 s later.
    (stay,) = found([(-51, 50), (149, 50)])
    assert stay.entered_s == pytest.approx(25.5, abs=0.01)
    assert stay.left_s == pytest.approx(75.5, abs=0.01)
    assert stay.came_in
    assert stay.went_out


def test_a_track_that_begins_and_ends_in_the_field() -> None:
    (stay,) = found([(20, 50), (80, 50)])
    assert (stay.entered_s, stay.left_s) == (0.0, 30.0)
    assert not stay.came_in
    assert not stay.went_out


def test_a_track_that_touches_no_field() -> None:
    assert found([(-100, -50), (200, -50)]) == []
    assert stays(cleaned(*leg([(0, 0), (100, 0)])), [], LEAVE) == []


def test_dips_into_a_neighbour_belong_to_the_field_around_them() -> None:
    turns = [(50, 10), (103, 10), (103, 20), (50, 20), (50, 30), (103, 30), (103, 40), (50, 40)]
    (stay,) = found([(-20, 10), *turns, (-20, 40)], HOME, NEXT)
    assert stay.field.name == "square"


def test_two_fields_one_after_the_other() -> None:
    one, two = found([(-51, 50), (251, 50)], HOME, NEXT)
    assert (one.field.name, two.field.name) == ("square", "next")
    assert one.left_s <= two.entered_s
    assert two.entered_s == pytest.approx(75.5, abs=1.0)


@pytest.mark.parametrize(("minutes", "visits"), [(3, 1), (6, 2)])
def test_a_short_absence_close_by_is_no_leaving(minutes: int, visits: int) -> None:
    x, y = leg([(50, 50), (-60, 50)])
    wait = np.full(minutes * 60, -60.0)
    back_x, back_y = leg([(-60, 50), (50, 50)])
    c = cleaned(
        np.concatenate([x, wait, back_x]), np.concatenate([y, np.full(len(wait), 50.0), back_y])
    )
    assert len(stays(c, [HOME], LEAVE)) == visits


def test_a_short_absence_far_away_is_a_leaving() -> None:
    assert len(found([(50, 50), (-300, 50), (50, 50)], speed=8.0)) == 2
    assert len(found([(50, 50), (-150, 50), (50, 50)], speed=8.0)) == 1


def test_a_pond_is_no_way_out() -> None:
    pond = Polygon(box(0, 0, 100, 100).exterior, [box(40, 40, 60, 60).exterior])
    (stay,) = found([(-20, 50), (120, 50)], field(pond))
    assert stay.left_s - stay.entered_s == pytest.approx(50.0, abs=0.1)


def test_a_crossing_within_a_long_silence_is_not_guessed() -> None:
    x, y = np.array([-80.0, -40.0, 40.0, 42.0, 44.0]), np.full(5, 50.0)
    (stay,) = stays(cleaned(x, y, np.array([0, 20, 620, 621, 622.0])), [HOME], LEAVE)
    assert stay.entered_s == 620.0


def test_stays_do_not_overlap_and_come_in_order() -> None:
    rng = np.random.default_rng(5)
    x = np.clip(np.cumsum(rng.normal(0, 6, 3000)), -150, 350)
    y = 50 + 20 * np.sin(np.arange(3000) / 50)
    result = stays(cleaned(x, y), [HOME, NEXT], LEAVE)
    assert len(result) >= 2
    for a, b in pairwise(result):
        assert a.entered_s < a.left_s <= b.entered_s < b.left_s


@pytest.mark.parametrize(("minutes", "metres", "visits"), [(10, 20, 1), (10, 80, 2), (30, 20, 2)])
def test_filling_on_the_road_at_the_gate_is_part_of_the_stay(
    minutes: int, metres: float, visits: int
) -> None:
    # In at work, out to a trailer at the gate, standing there, and in again.
    out, back = leg([(50, 50), (-metres, 50)]), leg([(-metres, 50), (50, 50)])
    x = np.concatenate([out[0], back[0]])
    y = np.concatenate([out[1], back[1]])
    seconds = np.arange(len(x), dtype=float)
    seconds[len(out[0]) :] += 60.0 * minutes
    assert len(stays(cleaned(x, y, seconds), [HOME], LEAVE)) == visits
