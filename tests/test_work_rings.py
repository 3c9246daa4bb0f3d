"""Laps round a hole of the field."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from shapely.geometry import MultiPolygon, Point, box

from oplog.work.line import working_line
from oplog.work.motion import Path
from oplog.work.rings import round_holes
from oplog.work.ways import rings_done_before
from tests.test_work_turns import bend
from tests.work_days import PLAIN, driven, leg

WIDTH_M, POND_M, LAP_M = 10.0, 25.0, 31.0
FIELD = box(-200, -200, 200, 200).difference(Point(0, 0).buffer(POND_M))


def round_pond(begin: float, swing: float, back_deg: float = 0.0) -> Path:
    """From the south to a pond, round it by so many degrees, back on that by others, and off."""
    way = [(0.0, -200.0), *bend((0, 0), LAP_M, begin, swing)]
    if back_deg:
        way += [(-10.0, 75.0), (20.0, 75.0), *bend((0, 0), LAP_M, begin + swing, -back_deg)]
    off = np.radians(begin + swing - back_deg)
    return driven(*leg([*way, (float(180 * np.cos(off)), float(180 * np.sin(off)))]))


def degrees_round(p: Path) -> float:
    ring = round_holes(p, working_line(p, PLAIN), FIELD, WIDTH_M)
    return float(np.degrees(np.abs(np.diff(np.unwrap(np.arctan2(p.y, p.x))))[ring[1:]].sum()))


def test_a_lap_is_found_and_ends_where_it_has_come_round() -> None:
    assert degrees_round(round_pond(-90, 360)) == pytest.approx(360, abs=25)
    assert degrees_round(round_pond(-90, 500)) == pytest.approx(360, abs=25)
    assert degrees_round(round_pond(-90, -360)) == pytest.approx(360, abs=25)


def in_the_ring(*legs: tuple[float, float]) -> list[float]:
    """How far round the lap is found to begin and to end, of arcs of so many degrees at speeds."""
    x, y, begin = [], [], -90.0
    for swing, speed in legs:
        some = leg(bend((0, 0), LAP_M, begin, swing), speed)
        x, y, begin = [*x, *some[0]], [*y, *some[1]], begin + swing
    p = driven(np.array(x), np.array(y))
    ring = np.flatnonzero(round_holes(p, working_line(p, PLAIN), FIELD, WIDTH_M))
    gone = np.degrees(np.unwrap(np.arctan2(p.y, p.x)))
    return [float(gone[k] - gone[0]) for k in ring[[0, -1]]]


def test_of_what_is_gone_over_twice_the_pace_of_the_lap_tells() -> None:
    assert in_the_ring((110, 2.0), (360, 3.0)) == pytest.approx([110, 470], abs=15)
    assert in_the_ring((360, 3.0), (110, 2.0)) == pytest.approx([0, 360], abs=15)
    assert in_the_ring((110, 3.0), (360, 2.0)) == pytest.approx([110, 470], abs=15)


def test_who_goes_over_it_twice_at_one_pace_looked_first() -> None:
    assert in_the_ring((110, 3.0), (360, 3.0)) == pytest.approx([110, 470], abs=15)
    with np.errstate(all="raise"):
        assert in_the_ring((400, 2.0), (400, 3.0)) == pytest.approx([440, 800], abs=15)


def test_to_pass_a_pond_on_one_side_is_no_lap() -> None:
    assert degrees_round(round_pond(-90, 200)) == 0


def test_a_lap_may_be_broken_off_to_fill_and_gone_on_with() -> None:
    x, y = leg(bend((0, 0), LAP_M, -90, 370))
    stop, stands_s, back_s = 50, 60, 3
    rows = [*range(stop), *[stop] * stands_s, *range(stop, stop - back_s, -1)]
    rows += range(stop - back_s, len(x))
    p = driven(x[rows], y[rows])
    ring = round_holes(p, working_line(p, PLAIN), FIELD, WIDTH_M)
    assert ring[10 : stop - 10].all()
    assert ring[stop + stands_s + 3 * back_s : -10].all()
    assert not ring[stop + 10 : stop + stands_s - 10].any()


def test_a_lap_is_one_piece_of_work_where_bouts_left_little_of_one_side() -> None:
    p = round_pond(-90, 360)
    ring = round_holes(p, working_line(p, PLAIN), FIELD, WIDTH_M)
    rows = np.flatnonzero(ring)
    new = np.where(np.arange(len(p)) < rows[len(rows) // 3], 0.0, 0.9)
    done = rings_done_before(ring, new, p)
    assert done[rows[10] : rows[-10]].all()
    assert not done[~ring].any()
    assert not rings_done_before(ring, new / 3, p).any()


def test_who_only_stands_beside_a_pond_goes_round_nothing() -> None:
    p = driven(np.full(60, LAP_M), np.linspace(0.0, 0.5, 60))
    with np.errstate(all="raise"), warnings.catch_warnings(action="error"):
        assert not round_holes(p, working_line(p, PLAIN), FIELD, WIDTH_M).any()


def test_half_round_and_back_is_no_part_of_the_lap_that_follows() -> None:
    p = round_pond(-90, 170, 360)
    ring = round_holes(p, working_line(p, PLAIN), FIELD, WIDTH_M)
    turned = int(np.argmax(np.unwrap(np.arctan2(p.y, p.x))[: len(p) - 60]))
    assert not ring[: turned - 5].any()
    assert ring[turned + 40 : turned + 130].all()


def test_a_field_of_two_parts_and_none_at_all() -> None:
    p = round_pond(-90, 360)
    line = working_line(p, PLAIN)
    parts = MultiPolygon([FIELD, box(300, 0, 400, 100)])
    assert np.array_equal(
        round_holes(p, line, parts, WIDTH_M), round_holes(p, line, FIELD, WIDTH_M)
    )
    assert not round_holes(p, line, None, WIDTH_M).any()
    assert not round_holes(p, line, box(-200, -200, 200, 200), WIDTH_M).any()
