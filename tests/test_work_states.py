"""Claims on ground, the sequence model, ends of bouts, and ground done over again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import box

from oplog.kit import Rig
from oplog.track import Floats
from oplog.work import claims, ends, evidence, header, mend, runs, states
from oplog.work.clean import Noise
from oplog.work.crossing import crossings as crossings_of
from oplog.work.evidence import Evidence
from oplog.work.line import in_front, working_line
from oplog.work.mend import mended
from oplog.work.motion import Path
from oplog.work.passes import _ways, done_again
from oplog.work.sidestep import sidesteps
from oplog.work.visit import _like_work
from oplog.work.ways import Lie, fitting, lie_of
from tests.work_days import PLAIN, driven, leg, up_and_down

SQUARE = box(0, 0, 100, 100)
Flags = np.ndarray


def labelled(p: Path, ground: object = SQUARE) -> Flags:
    line = working_line(p, PLAIN)
    return states.label(p, line, laid(p), 10.0, 0.5, ground, (0, len(p)), Evidence()).work


def laid(p: Path) -> claims.Swath:
    line = working_line(p, PLAIN)
    return claims.swath(claims.way_of(line.x, line.y, line.heading, p.piece, 10.0), 10.0)


# --- claims


def test_a_swath_covers_its_width_times_its_length() -> None:
    p = driven(*leg([(0, 0), (200, 0)]))
    lay = laid(p)
    covered = claims.first_claims(lay, np.ones(len(p), dtype=bool)) != claims.never(lay.second)
    assert covered.sum() * lay.raster.size_m**2 == pytest.approx(200 * 10, rel=0.03)


def test_first_and_last_second_on_a_spot() -> None:
    p = driven(*leg([(0, 0), (100, 0), (100, 3), (0, 3)], speed=1.0))
    lay = laid(p)
    all_work = np.ones(len(p), dtype=bool)
    (spot,) = lay.raster.cell(np.array([50.0]), np.array([1.0]))
    assert claims.first_claims(lay, all_work)[spot] == pytest.approx(50, abs=2)
    assert claims.ground_of(lay, all_work).last[spot] == pytest.approx(153, abs=3)
    assert claims.ground_of(lay, ~all_work).last[spot] == -1


def test_ground_is_new_once() -> None:
    p = driven(*leg([(0, 0), (100, 0), (110, 5), (100, 0), (0, 0)]))
    lay, rank = laid(p), np.zeros(len(p), dtype=np.int8)
    new = claims.novelty(lay, lay, np.ones(len(p), dtype=bool), rank)
    assert new[5:45].min() > 0.95
    assert new[-40:-5].max() < 0.05


def test_the_better_claim_wins_though_it_comes_later() -> None:
    p = driven(*leg([(0, 0), (100, 0), (110, 5), (100, 0), (0, 0)]))
    lay, rank = laid(p), np.zeros(len(p), dtype=np.int8)
    rank[-45:] = 1
    new = claims.novelty(lay, lay, np.ones(len(p), dtype=bool), rank)
    assert new[5:40].max() < 0.05
    assert new[-40:-5].min() > 0.95


def test_ground_over_the_hedge_is_not_new() -> None:
    p = driven(*leg([(0, 4), (100, 4)]))
    lay, rank = laid(p), np.zeros(len(p), dtype=np.int8)
    field = claims.within(lay, SQUARE, np.zeros(len(p), dtype=bool))
    new = claims.novelty(field, lay, np.ones(len(p), dtype=bool), rank)
    assert new[5:-5] == pytest.approx(0.9, abs=0.07), "a boom of 10 m, 1 m of it over the edge"
    sure = claims.within(lay, SQUARE, np.ones(len(p), dtype=bool))
    assert sure.field.all(), "seconds that are sure are not asked again"


def test_turning_along_the_hedge_on_a_finished_headland_is_no_work() -> None:
    lap = [(-30, 5), (130, 5), (130, -30), (5, -30), (5, 2), (95, 2), (95, -40)]
    work = labelled(driven(*leg(lap)), box(0, 0, 100, 100))
    p = driven(*leg(lap))
    assert work[(p.y > 4.5) & (p.y < 5.5) & (p.x > 8) & (p.x < 92)].all()
    assert not work[(p.y > 1.5) & (p.y < 2.5) & (p.x > 15) & (p.x < 85)].any()


def test_what_lies_beside() -> None:
    p = driven(*leg([(0, 0), (100, 0), (105, 5), (100, 10), (0, 10)]))
    lay = laid(p)
    line = working_line(p, PLAIN)
    left = lay.raster.cell(line.x - np.sin(line.heading) * 8, line.y + np.cos(line.heading) * 8)
    ground = claims.ground_of(lay, np.ones(len(p), dtype=bool))
    flanked = claims.beside(ground, [left])
    assert flanked[5:40].all()
    right = lay.raster.cell(line.x + np.sin(line.heading) * 8, line.y - np.cos(line.heading) * 8)
    assert not claims.beside(ground, [right])[5:40].any()


def test_a_raster_of_a_county_is_made_coarser_rather_than_larger() -> None:
    grid = claims.raster(np.array([0.0, 60_000.0]), np.array([0.0, 60_000.0]), 3.0)
    assert grid.rows * grid.columns <= 1.01 * claims.MOST_CELLS


# --- the sequence model


def test_single_seconds_do_not_flicker() -> None:
    score = np.full(60, 2.0)
    score[30] = -3.0
    assert states.decode(score, 3.0, 3.0).all()
    score[20:40] = -3.0
    assert states.decode(score, 3.0, 3.0).tolist() == [True] * 20 + [False] * 20 + [True] * 20


def test_nothing_that_speaks_for_work_is_no_work() -> None:
    assert not states.decode(np.full(50, -1.0), 3.0, 3.0).any()


def test_bouts_are_work_and_turns_are_not() -> None:
    p = driven(*leg([(5, -40), *up_and_down(), (95, -40)]))
    work = labelled(p)
    inside = (p.y > 2) & (p.y < 98)
    assert work[inside].mean() > 0.99
    assert not work[(p.y > 107) | (p.y < -16)].any()


def lap(side_m: float, in_m: float) -> list[tuple[float, float]]:
    """Corners of a lap round a square, so far inside its edge."""
    a, b = in_m, side_m - in_m
    return [(a, a), (b, a), (b, b), (a, b), (a, a)]


def two_laps(first_in_m: float, first_m_s: float, second_in_m: float, second_m_s: float) -> Path:
    """Round a square of 200 m twice, from a gate and back to it."""
    begin, end = (
        leg([(-20, first_in_m), *lap(200, first_in_m), (first_in_m, second_in_m)], first_m_s),
        leg([*lap(200, second_in_m), (second_in_m + 4, -20)], second_m_s),
    )
    return driven(np.concatenate([begin[0], end[0]]), np.concatenate([begin[1], end[1]]))


@pytest.mark.parametrize("in_m", [5.0, 7.5])
def test_a_look_round_the_field_before_its_first_lap_is_no_work(in_m: float) -> None:
    p = two_laps(in_m, 2.3, 5.0, 2.0)
    work = labelled(p, box(0, 0, 200, 200))
    half = 4 * (200 - 2 * in_m) / 2.3 + 15
    straight = runs.heading_change(p.heading) < 0.1
    assert not work[p.seconds < half - 20].any()
    assert work[(p.seconds > half + 20) & (p.seconds < half + 360) & straight].mean() > 0.97


def test_a_lap_driven_again_on_the_way_to_the_trailer_was_work_the_first_time() -> None:
    p = two_laps(5.0, 2.0, 5.0, 4.0)
    work = labelled(p, box(0, 0, 200, 200))
    straight = runs.heading_change(p.heading) < 0.1
    assert work[(p.seconds > 20) & (p.seconds < 360) & straight].mean() > 0.97
    assert not work[p.seconds > 420].any()


def test_ways_along_a_lap_to_be_filled_do_not_make_it_a_look_round() -> None:
    """Round the field, then along each of its sides again, with a stop after each."""
    sides = [leg(list(side), 2.1) for side in pairwise(lap(200, 5.0))]
    parts = [leg([(-20, 5), *lap(200, 5.0)])]
    for x, y in sides:
        stood = np.full(60, x[-1]), np.full(60, y[-1])
        parts += [(x, y), stood]
    p = driven(*(np.concatenate(both) for both in zip(*parts, strict=True)))
    work = labelled(p, box(0, 0, 200, 200))
    straight = runs.heading_change(p.heading) < 0.1
    first = (p.seconds > 20) & (p.seconds < 360) & straight
    assert work[first].mean() > 0.97


def test_the_lap_inside_the_first_one_is_no_second_look() -> None:
    p = two_laps(5.0, 2.0, 14.5, 2.0)
    work = labelled(p, box(0, 0, 200, 200))
    straight = runs.heading_change(p.heading) < 0.1
    assert work[(p.seconds > 20) & (p.seconds < 690) & straight].mean() > 0.95


def stepped_over(over_m: float, speed: float) -> Path:
    """Round a square of 200 m, over to the next lap 20 m on, at a speed of its own, and round
    again."""
    begin = leg([(60, 5), (195, 5), (195, 195), (5, 195), (5, 5), (60, 5)])
    share = np.linspace(0, 1, round(float(np.hypot(25, over_m)) / speed) + 1)[1:-1]
    over = 60 + 25 * share, 5 + over_m * share
    b = 5 + over_m
    end = leg([(85, b), (200 - b, b), (200 - b, 200 - b), (b, 200 - b), (b, b), (60, b)])
    parts = (begin, over, end)
    return driven(*(np.concatenate([part[k] for part in parts]) for k in (0, 1)))


@pytest.mark.parametrize("speed", [1.4, 2.7])
def test_a_step_over_from_a_lap_that_has_closed_is_no_work(speed: float) -> None:
    p = stepped_over(10.0, speed)
    work = labelled(p, box(0, 0, 200, 200))
    over = (p.y > 7) & (p.y < 13) & (p.x > 60) & (p.x < 85) & (p.seconds > 300)
    assert over.sum() > 3
    assert not work[over].any()
    assert work[(p.y < 6) & (p.x > 70) & (p.x < 180)].all()
    assert work[(p.y > 14) & (p.y < 16) & (p.x > 90) & (p.x < 170)].all()


def stepped(p: Path) -> bool:
    """Whether a step over is seen in what was all work."""
    work = np.ones(len(p), dtype=bool)
    ground = box(0, 0, 200, 200)
    line, lay = working_line(p, PLAIN), laid(p)
    covered = claims.ground_of(lay, work)
    return bool(sidesteps(p, line, lay, covered, work, ground, 2.0, 10.0).any())


@pytest.mark.parametrize(("speed", "lifted"), [(1.4, True), (2.7, True), (2.0, False)])
def test_who_keeps_his_pace_slides_over_as_he_works(speed: float, lifted: bool) -> None:
    assert stepped(stepped_over(10.0, speed)) == lifted


def test_a_bout_that_swings_aside_for_a_pole_steps_over_to_no_lap() -> None:
    assert not stepped(
        driven(*leg([(5, 5), (60, 5), (85, 15), (120, 15), (145, 5), (195, 5)], 1.5))
    )


@pytest.mark.parametrize(("laps", "lifted"), [(3, True), (7, False)])
def test_who_works_round_and_round_slides_over_as_he_goes(laps: int, lifted: bool) -> None:
    corners: list[tuple[float, float]] = []
    for k in range(laps):
        a, b = 5 + 10.0 * k, 195 - 10.0 * k
        start = (60 + 10.0 * k, a)
        corners += [start, (b, a), (b, b), (a, b), (a, a), start]
    assert stepped(driven(*leg(corners, 1.5))) == lifted


def last_lap(shift_m: float, on: Sequence[tuple[float, float]]) -> Path:
    """Nine bouts in a field of 100 by 200 m, moved to the right, a lap about them, and on."""
    bouts = [(x + shift_m, y + 10.0) for x, y in up_and_down(9, length_m=180.0)]
    around = [(95.0, 198.0), (95.0, 5.0), (5.0, 5.0), (5.0, 195.0), (95.0, 195.0)]
    return driven(*leg([*bouts, *around, *on]))


def test_a_side_of_a_last_lap_that_bouts_left_nothing_of_is_work() -> None:
    p = last_lap(0.5, [(130.0, 195.0)])
    work = labelled(p, box(0, 0, 100, 200))
    late = np.arange(len(p)) > len(p) - 190
    assert work[late & (p.x < 7) & (p.y > 20) & (p.y < 180)].all()


def test_of_two_runs_over_the_same_ground_the_faster_was_the_way_in() -> None:
    """Along the line of the last bout to where the first begins; bouts keep to 2.0 m/s."""
    way = leg([(5.0, -30.0), (5.0, 206.0), (195.0, 206.0)], 2.4)
    bouts = leg([(200.0 - x, 200.0 - y) for x, y in up_and_down(20, length_m=200.0)])
    p = driven(*(np.concatenate(both) for both in zip(way, bouts, strict=True)))
    work = labelled(p, box(0, 0, 200, 200))
    along = (p.x < 6) & (p.y > 10) & (p.y < 190)
    first = np.arange(len(p)) < len(way[0])
    assert work[along & first].mean() < 0.05
    assert work[along & ~first].mean() > 0.95


def test_the_way_to_a_trailer_along_a_headland_that_is_worked_later_is_none() -> None:
    bouts = [(x, y + 10.0) for x, y in up_and_down(9, length_m=180.0)]
    to_x, to_y = leg([*bouts, (95.0, 198.0), (95.0, 3.0)])
    on_x, on_y = leg(
        [(95.0, 3.0), (95.0, 198.0), (95.0, 3.0), (5.0, 5.0), (5.0, 195.0), (95.0, 195.0)]
    )
    p = driven(
        np.concatenate([to_x, np.full(90, to_x[-1]), on_x]),
        np.concatenate([to_y, np.full(90, to_y[-1]), on_y]),
    )
    work = labelled(p, box(0, 0, 100, 200))
    side = (p.x > 94) & (p.y > 20) & (p.y < 180)
    up, row = np.sin(p.heading) > 0, np.arange(len(p))
    first = row < len(to_x)
    assert work[side & ~up & ~first].all()
    assert not work[side & (up | first)].any()


@pytest.mark.parametrize(("speed", "works"), [(2.6, False), (2.0, True)])
def test_a_way_in_along_the_ends_of_bouts_is_none_if_it_is_faster_than_they_are(
    speed: float, works: bool
) -> None:
    way = leg([(110, -9), (12, -9)], speed)
    bouts = leg([(10, -9), (6, -8), *up_and_down(10, length_m=100.0)])
    p = driven(*(np.concatenate([way[k], bouts[k]]) for k in (0, 1)))
    work = labelled(p, box(0, -14, 100, 104))
    along = (p.seconds < 98 / speed - 4) & (p.x < 90)
    assert work[along].mean() == pytest.approx(float(works), abs=0.15)
    assert work[(p.y > 5) & (p.y < 95)].mean() > 0.98


def at_speeds(*parts: tuple[Sequence[tuple[float, float]], float]) -> Path:
    """Straight legs one after the other, each part of them at a speed of its own. [m/s]"""
    ways = [leg(corners, speed) for corners, speed in parts]
    return driven(*(np.concatenate([way[k] for way in ways]) for k in (0, 1)))


def test_a_bout_on_ground_of_its_own_is_work_however_slowly_it_is_driven() -> None:
    corners = up_and_down(10, length_m=200.0)
    begin, end = corners.index((45.0, -4.0)), corners.index((45.0, 204.0))
    p = at_speeds((corners[:begin], 2.0), (corners[begin : end + 1], 0.8), (corners[end:], 2.0))
    work = labelled(p, box(0, 0, 100, 200))
    slow = (np.abs(p.x - 45) < 1) & (p.y > 5) & (p.y < 195)
    assert slow.sum() > 200
    assert work[slow].all()


@pytest.mark.parametrize("apart_m", [[7.0] * 9, [7.0, 5.5, 8.0, 6.0, 8.5, 6.0, 8.0, 5.5, 7.0]])
def test_a_slow_bout_that_its_neighbours_lap_over_is_work(apart_m: list[float]) -> None:
    """At even distances bouts are a comb; by eye they lie beside their like all the same."""
    corners = [(5.0, -4.0), (5.0, 204.0)]
    for k, step in enumerate(apart_m):
        x = corners[-1][0] + step
        corners += [(x, 204.0), (x, -4.0)] if k % 2 == 0 else [(x, -4.0), (x, 204.0)]
    x = corners[9][0]
    p = at_speeds((corners[:8], 2.0), (corners[8:10], 0.9), (corners[10:], 2.0))
    work = labelled(p, box(0, 0, 75, 200))
    slow = (np.abs(p.x - x) < 1) & (p.y > 10) & (p.y < 190)
    assert slow.sum() > 180
    assert work[slow].mean() > 0.98


def test_a_slow_first_lap_keeps_its_ground_from_a_way_along_it_at_the_speed_of_the_bouts() -> None:
    bouts = [(x, y + 20.0) for x, y in up_and_down(8, length_m=160.0)]
    home = [(85.0, 194.0), (95.0, 194.0), (95.0, -30.0)]
    around = [(95.0, 0.0), (95.0, 195.0), (5.0, 195.0), (5.0, 5.0), (95.0, 5.0)]
    p = at_speeds((around, 1.1), ([(95.0, 5.0), *((x + 10, y) for x, y in bouts), *home], 2.0))
    work = labelled(p, box(0, 0, 100, 200))
    side, lap = (p.x > 94) & (p.y > 20) & (p.y < 180), p.seconds < 180
    assert work[side & lap].mean() > 0.95
    assert not work[side & ~lap].any()


@pytest.mark.parametrize(("laps", "speed", "works"), [(1, 1.5, True), (0.5, 1.5, False)])
def test_who_goes_all_round_a_finished_headland_again_has_lowered_for_it(
    laps: float, speed: float, works: bool
) -> None:
    around = [(95.0, 0.0), (95.0, 195.0), (5.0, 195.0), (5.0, 5.0), (95.0, 5.0)]
    bouts = [(x + 10.0, y + 20.0) for x, y in up_and_down(8, length_m=160.0)]
    again = around[: 5 if laps == 1 else 3]
    p = at_speeds((around, speed), ([(95.0, 5.0), *bouts, (95.0, 5.0)], 2.0), (again, speed))
    work = labelled(p, box(0, 0, 100, 200))
    last = (p.x > 94) & (p.y > 20) & (p.y < 180) & (p.seconds > p.seconds[-1] - 400)
    last &= p.seconds > 900
    assert last.sum() > 90
    assert work[last].mean() == pytest.approx(float(works), abs=0.05)


@pytest.mark.parametrize(("lap_m", "in_m", "works"), [(9.0, 1.0, False), (15.0, 5.0, True)])
def test_who_drives_along_the_hedge_does_not_work_over_it(
    lap_m: float, in_m: float, works: bool
) -> None:
    """The lap leaves a margin. The way home is half over it, and four metres over the hedge; who
    works the margin does so within the field."""
    far = 200.0 - lap_m
    bouts = [(x + 25.0, y + 40.0) for x, y in up_and_down(5, length_m=120.0)]
    around = [(100.0 - lap_m, 0.0), (100.0 - lap_m, far), (lap_m, far)]
    around += [(lap_m, lap_m), (100.0 - lap_m, lap_m)]
    p = at_speeds(
        (around, 2.0), ([around[-1], *bouts, (100 - in_m, 165.0), (100 - in_m, -30.0)], 2.0)
    )
    work = labelled(p, box(0, 0, 100, 200))
    last = (p.x > 98 - in_m) & (p.y > 20) & (p.y < 150) & (p.seconds > 300)
    assert last.sum() > 50
    assert work[last].mean() == pytest.approx(float(works), abs=0.1)


def test_the_way_home_over_a_side_of_the_lap_itself_is_no_work() -> None:
    p = last_lap(5.0, [(95.0, 188.0), (95.0, -30.0)])
    work = labelled(p, box(0, 0, 100, 200))
    assert not work[-105:][(p.y[-105:] > 20) & (p.y[-105:] < 180)].any()


def test_the_way_home_over_finished_ground_is_no_work() -> None:
    bouts = up_and_down()
    p = driven(*leg([(5, -40), *bouts, (95, -15), (60, -15), (20, 100), (20, 160)]))
    work = labelled(p)
    home = (p.seconds > p.seconds[-1] - 85) & (p.y > 15) & (p.y < 85)
    assert home.sum() > 30
    assert not work[home].any()


@pytest.mark.parametrize("enclosed", [True, False])
def test_a_last_strip_has_worked_ground_at_both_its_sides(enclosed: bool) -> None:
    """A way home half over the last bout is as long, as fast and as parallel."""
    p = driven(*leg([*up_and_down(bouts=6, length_m=200.0), (55, -14), (60, -22), (60, 204)]))
    run = runs.running(p)
    known = runs.runs_of(p, working_line(p, PLAIN), run, None, 10.0)
    home = (p.x > 59) & (p.y > 20) & (p.y < 180)
    new = np.where(p.x > 59, 0.4, 1.0)
    lie, shut = (
        lie_of(p, run, known, np.zeros(len(known.x), dtype=bool), (), 10.0),
        (p.x > 59) & enclosed,
    )
    _, last = fitting(p, run, known, lie, p.x < 59, shut, new, 2.0, 10.0, False, True)
    assert last[home].all() == enclosed
    assert last[home].any() == enclosed
    leads = replace(lie, led=np.isin(np.arange(len(lie.led)), run[home]))
    for share, is_last in ((0.4, enclosed), (0.05, False)):
        new = np.where(p.x > 59, share, 1.0)
        _, last = fitting(p, run, known, leads, p.x < 59, shut, new, 2.0, 10.0, False, True)
        assert last[home].any() == is_last


def six_bouts_and(x_m: float, until_m: float) -> tuple[Path, Flags, runs.Runs, Lie]:
    """Six bouts of 200 m and one more run so far over: the path, its runs, and how these lie."""
    way = [*up_and_down(bouts=6, length_m=200.0), (55, -14), (x_m, -22), (x_m, until_m)]
    p = driven(*leg(way))
    run = runs.running(p)
    known = runs.runs_of(p, working_line(p, PLAIN), run, None, 10.0)
    return p, run, known, lie_of(p, run, known, np.zeros(len(known.x), dtype=bool), (), 10.0)


@pytest.mark.parametrize(
    ("tooth", "usual", "is_last"), [(True, 2.0, True), (True, 1.85, False), (False, 2.0, False)]
)
def test_a_strip_from_a_stop_is_one_as_a_tooth_of_the_comb_at_its_pace(
    tooth: bool, usual: float, is_last: bool
) -> None:
    """Nearly all of it was done before, and it leads from a stop, as a way home does."""
    p, run, known, lie = six_bouts_and(60, 204)
    home = (p.x > 59) & (p.y > 20) & (p.y < 180)
    mine = np.isin(np.arange(len(lie.led)), run[home])
    lie = replace(lie, led=mine, teeth=mine & tooth)
    new = np.where(p.x > 59, 0.05, 1.0)
    _, last = fitting(p, run, known, lie, p.x < 59, p.x > 59, new, usual, 10.0, False, True)
    assert last[home].any() == is_last


@pytest.mark.parametrize(
    ("left", "until_m", "is_last"), [(0.12, 300, True), (0.05, 300, False), (0.3, 60, False)]
)
def test_a_short_strip_is_one_by_what_is_left_of_it_all_along(
    left: float, until_m: float, is_last: bool
) -> None:
    """It is not as long as the bouts beside it, as along a slanted edge."""
    p, run, known, lie = six_bouts_and(60, 120)
    strip = (p.x > 59) & (p.y > 0) & (p.y < 100)
    lie = replace(lie, teeth=np.isin(np.arange(len(lie.led)), run[strip]))
    new = np.where(p.x > 59, left * (p.y < until_m), 1.0)
    _, last = fitting(p, run, known, lie, p.x < 59, p.x > 59, new, 2.0, 10.0, False, True)
    assert last[strip].any() == is_last


def test_who_goes_round_and_round_from_the_gate_is_on_no_way() -> None:
    angle = np.linspace(0, 4 * np.pi, 100)
    round_and_round = [(60 * np.cos(a), 60 * np.sin(a)) for a in angle]
    for way, led in ((round_and_round, False), ([(60, 0), (60, 700)], True)):
        p = driven(*leg(way))
        run = runs.running(p)
        known = runs.runs_of(p, working_line(p, PLAIN), run, None, 4.0)
        lie = lie_of(p, run, known, np.zeros(len(known.x), dtype=bool), (0,), 4.0)
        assert lie.led.any() == led


@pytest.mark.parametrize(("paced", "fits"), [(True, False), (False, True)])
def test_a_way_between_worked_ground_and_the_edge_is_no_last_strip_in_a_hurry(
    paced: bool, fits: bool
) -> None:
    """It is as long as the bouts and partly new all along; but who keeps his pace keeps it here."""
    p = driven(*leg([*up_and_down(bouts=6, length_m=200.0), (55, -14), (60, -22), (60, 204)]))
    run = runs.running(p)
    known = runs.runs_of(p, working_line(p, PLAIN), run, None, 10.0)
    home = (p.x > 59) & (p.y > 20) & (p.y < 180)
    lie = lie_of(p, run, known, np.zeros(len(known.x), dtype=bool), (), 10.0)
    new = np.where(p.x > 59, 0.4, 1.0)
    for usual, fitting_at_all in ((2.0, True), (1.75, fits)):
        share, _ = fitting(
            p, run, known, lie, p.x < 59, p.x > 59, new, usual, 10.0, False, paced
        )  # fmt: skip
        assert (share[home] > 0.5).all() == fitting_at_all


def alike_at(x_m: float, fit: bool, new: float) -> tuple[bool, bool]:
    """Whether a run like the bouts beside it, so far over, fits and is taken for a last strip."""
    way = [*up_and_down(bouts=6, length_m=200.0), (55, -14), (x_m, -22), (x_m, 204)]
    p = driven(*leg(way))
    run = runs.running(p)
    known = runs.runs_of(p, working_line(p, PLAIN), run, None, 10.0)
    here = (p.x > 57) & (p.y > 20) & (p.y < 180)
    lie = lie_of(p, run, known, np.zeros(len(known.x), dtype=bool), (), 10.0)
    fits, of_new = (p.x < 57) | fit, np.where(p.x > 57, new, 1.0)
    share, last = fitting(p, run, known, lie, fits, p.x < 0, of_new, 2.0, 10.0, False, True)
    return bool((share[here] > 0.5).all()), bool(last[here].all())


def test_a_lone_bout_some_widths_away_is_known_by_its_likeness() -> None:
    assert alike_at(85.0, fit=False, new=1.0)[0]
    assert not alike_at(85.0, fit=False, new=0.5)[0]
    assert not alike_at(155.0, fit=False, new=1.0)[0]


def test_a_last_strip_that_fits_is_one_if_its_neighbours_lap_over_nearly_all_of_it() -> None:
    assert alike_at(61.0, fit=True, new=0.1)[1]
    assert not alike_at(61.0, fit=True, new=0.5)[1]
    assert not alike_at(61.0, fit=True, new=0.005)[1]


def test_reversing_is_no_work() -> None:
    p = driven(*leg([(5, -40), (5, 60), (5, 30), (5, 100), (5, 140)], speed=1.0))
    assert p.reverse.sum() > 20
    assert not (labelled(p) & p.reverse).any()


def test_what_lies_well_outside_is_no_work() -> None:
    p = driven(*leg([(-300, 50), (0, 50), (100, 50), (400, 50)]))
    work = labelled(p)
    assert not work[(p.x < -20) | (p.x > 120)].any()


def test_a_lap_outside_a_boundary_that_was_drawn_too_small_is_work() -> None:
    lap = [(-3, -60), (-3, 103), (103, 103), (103, -3), (-3, -3)]
    inner = [(15, 20), (15, 80), (25, 80), (25, 20), (35, 20), (35, 80)]
    p = driven(*leg([*lap, *inner]))
    work = labelled(p)
    side = (p.x > 102) & (p.y > 10) & (p.y < 90)
    assert side.sum() > 30
    assert work[side].all()


@pytest.mark.parametrize(
    ("back", "speed", "through"), [(90, 2.0, True), (90, 0.6, False), (175, 2.0, False)]
)
def test_a_bend_at_full_speed_between_two_long_runs_is_driven_through(
    back: float, speed: float, through: bool
) -> None:
    """back: how far it turns. [degrees]"""
    angle = np.radians(back)
    x, y = leg([(0, 0), (60, 0)])
    turn = np.linspace(0, angle, 12)[1:]
    bend = [(60 + 8 * np.sin(a), 8 - 8 * np.cos(a)) for a in turn]
    bx, by = leg([(60, 0), *bend], speed)
    ox, oy = leg([bend[-1], (bend[-1][0] + 60 * np.cos(angle), bend[-1][1] + 60 * np.sin(angle))])
    p = driven(np.concatenate([x, bx[1:], ox[1:]]), np.concatenate([y, by[1:], oy[1:]]))
    run = runs.running(p)
    known = runs.runs_of(p, working_line(p, PLAIN), run, None, 10.0)
    fit, new = np.ones(len(p)), np.ones(len(p))
    found = runs.driven_through(p, run, known, fit, new, 2.0, 10.0)
    on_a_road = runs.driven_through(p, run, known, 0 * fit, new, 2.0, 10.0)
    assert not on_a_road.any(), "a road fits nothing"
    assert found.any() == through
    assert not found[:20].any()


def up_and_back(hands: Sequence[int], speed: float) -> Path:
    """Runs of 100 m with half circles of 8 m radius between, to the left (1) or right (-1)."""
    x, y = [np.arange(0.0, 100.0, 2.0)], [np.zeros(50)]
    for k, hand in enumerate(hands):
        along, end_x, end_y = 1 - 2 * (k % 2), x[-1][-1], y[-1][-1]
        a = np.arange(speed / 8, np.pi, speed / 8)
        x.append(end_x + along * 8 * np.sin(a))
        y.append(end_y + along * hand * 8 * (1 - np.cos(a)))
        x.append(end_x - along * np.arange(0.0, 100.0, 2.0))
        y.append(np.full(50, end_y + along * hand * 16.0))
    return driven(np.concatenate(x), np.concatenate(y))


@pytest.mark.parametrize(
    ("hands", "speed", "new", "through"),
    [
        ((1, 1, 1, 1), 1.6, 1.0, True),
        ((1, -1, 1, -1), 1.6, 1.0, False),
        ((1, 1, 1, 1), 1.0, 1.0, False),
        ((1, 1, 1, 1), 1.6, 0.1, False),
    ],
)
def test_ends_are_driven_through_only_round_and_round_on_new_ground(
    hands: tuple[int, ...], speed: float, new: float, through: bool
) -> None:
    p = up_and_back(hands, speed)
    run = runs.running(p)
    known = runs.runs_of(p, working_line(p, PLAIN), run, None, 10.0)
    share = np.full(len(p), new)
    found = runs.driven_through(p, run, known, np.ones(len(p)), share, 2.0, 10.0)
    assert found[p.seconds > p.seconds[-1] / 2].any() == through


@pytest.mark.parametrize(("across", "closed"), [(False, True), (True, False)])
def test_a_break_beside_an_earlier_bout_is_closed_and_one_across_it_is_not(
    across: bool, closed: bool
) -> None:
    before = [(50, -60), (50, 60)] if across else [(0, 0), (100, 0)]
    p = driven(*leg([*before, (150, 60), (150, 30), (120, 4), (0, 4)]))
    line, work = working_line(p, PLAIN), np.ones(len(p), dtype=bool)
    gap = (np.abs(p.y - 4) < 0.5) & (p.x > 45) & (p.x < 55) & (p.seconds > 60)
    assert 3 <= gap.sum() <= 6
    lay = claims.swath(claims.way_of(line.x, line.y, line.heading, p.piece, 10.0), 10.0)
    ground = claims.ground_of(lay, work & ~gap)
    out = mended(p, line, lay, ground, work & ~gap, 2.0)
    assert out[gap].all() == closed
    assert out[~gap].all()


@pytest.mark.parametrize(
    ("headland_m", "stands_s", "level_m"), [(15.0, 0, 15.0), (0.0, 0, 0.0), (15.0, 8, 0.0)]
)
def test_who_comes_in_over_the_boundary_begins_level_with_where_others_ended(
    headland_m: float, stands_s: int, level_m: float
) -> None:
    """The field lies above y = 0; the turn is driven below it. Who stands there only shunts."""
    bend = np.linspace(0, np.pi / 2, 8)
    turn = [(18 - 8 * np.cos(a), headland_m - 8 * np.sin(a)) for a in bend]
    turn += [(30, headland_m - 8), (30, -25), (0, -25)]
    first = [(20, 100), (20, headland_m), (15, headland_m - 5), (15, 100)]
    x, y = leg([*first, (10, 100), *turn, (0, 100)])
    stop = int(np.flatnonzero((x < 1) & (y < -3))[-1])
    x, y = (np.insert(v, stop, np.full(stands_s, v[stop])) for v in (x, y))
    p = driven(x, y)
    into = (p.x < 2) & (p.y > 0)
    work = (p.x < 21) & (p.y > headland_m) & ((p.x < 11) | (p.x > 19)) | into
    inland = np.asarray(p.y > 0, dtype=np.float64)
    inmost = p.y > 4
    out = ends.trim(
        p, working_line(p, PLAIN), work, crossings(inland, inland), inland, 2.0, inmost, 10.0, False
    )
    assert p.y[out & into].min() == pytest.approx(level_m, abs=4.0)


@pytest.mark.parametrize(("trembles_m", "row"), [(0.02, 36), (0.5, 32)])
def test_where_positions_wander_the_model_tells_ends_and_not_the_ground(
    trembles_m: float, row: int
) -> None:
    p = driven(*leg([(0, 0), (300, 0)]), noise=Noise(trembles_m, trembles_m))
    rows = np.arange(len(p))
    inland, new = np.ones(len(p)), np.asarray(rows >= 36, dtype=np.float64)
    out = ends.trim(
        p, working_line(p, PLAIN), rows >= 31, crossings(new, new), inland, 2.0, inland > 0, 10.0,
        False,
    )  # fmt: skip
    assert int(np.argmax(out)) == pytest.approx(row, abs=1)


def test_with_a_phone_who_slows_for_the_corners_of_his_laps_works_on() -> None:
    sides = [(-5, 5), (215, 5), (215, 125), (5, 125), (5, 15), (205, 15), (205, 115), (15, 115)]
    x, y = leg(sides, 3.0)
    near = np.min([np.hypot(x - a, y - b) for a, b in sides[1:-1]], axis=0) < 7
    times = np.concatenate([[0.0], np.cumsum(np.where(near, 1 / 0.6, 1.0)[1:])])
    even = np.arange(times[-1])
    p = driven(np.interp(even, times, x), np.interp(even, times, y), noise=Noise(0.3, 0.3))
    assert labelled(p, box(0, 0, 220, 130))[10:-10].all()


def test_work_round_and_round_goes_on_through_bends_at_full_speed() -> None:
    x, y = leg([(0, 0), (80, 0), (86, 6), (86, 60)])
    p = driven(x, y)
    fits = np.ones(len(p), dtype=bool)
    kept = states._kept_on(p.speed, 1.0, fits)
    assert kept[20:-20].min() == pytest.approx(1.2)
    assert states._kept_on(p.speed, 4.0, fits).max() == 0.0
    assert states._kept_on(p.speed, 1.0, ~fits).max() == 0.0


def test_a_run_that_goes_on_into_the_next_lap_still_keeps_to_the_edge() -> None:
    lap = [(-4, 4), (96, 4), (96, 96), (4, 96), (4, 14), (14, 14), (40, 14)]
    p = driven(*leg(lap))
    found = runs.runs_of(p, working_line(p, PLAIN), runs.running(p), SQUARE, 10.0)
    assert np.isfinite(found.edge_m).sum() >= 4
    assert found.around.sum() >= 4


def test_the_speed_at_work_is_that_of_its_middle() -> None:
    speed = np.array([0.1, 2.0, 2.1, 2.2, 8.0])
    assert states.working_speed(speed, speed < 5) == pytest.approx(2.05)
    assert states.working_speed(speed, speed > 99) == 2.0


def test_runs_are_numbered_and_bends_part_them() -> None:
    p = driven(*leg([(0, 0), (80, 0), (80, 80)]))
    numbers = np.unique(runs.running(p))
    assert numbers.tolist() == [0, 1, 2]


def test_true_runs_do_not_span_pieces() -> None:
    flags = np.array([0, 1, 1, 1, 0, 1], dtype=bool)
    pieces = np.array([0, 0, 0, 1, 1, 1], dtype=np.int32)
    assert runs.true_runs(flags, pieces) == [(1, 2), (3, 3), (5, 5)]


def slowed(corners: Sequence[tuple[float, float]], stand_s: int) -> tuple[Floats, Floats]:
    """Positions along a straight way once a second: up to 2 m/s and down again at 0.4 m/s2, with a
    stand at its end."""
    (x0, y0), (x1, y1) = corners
    whole_m = float(np.hypot(x1 - x0, y1 - y0))
    slow_s = np.arange(0.0, 5.0)
    up = 0.2 * slow_s**2
    even = np.arange(5.0, whole_m - 5.0, 2.0)
    gone = np.concatenate([up, even, np.sort(whole_m - up), np.full(stand_s, whole_m)]) / whole_m
    return x0 + (x1 - x0) * gone, y0 + (y1 - y0) * gone


@pytest.mark.parametrize("halts_m", [(150.0,), (60.0, 240.0)])
def test_work_goes_on_up_to_a_halt_in_mid_bout_and_from_it(halts_m: tuple[float, ...]) -> None:
    x, y = leg(up_and_down(6, 10.0, 300.0))
    stops = [-4.0, *halts_m, 304.0]
    last = [slowed([(65.0, a), (65.0, b)], 40) for a, b in pairwise(stops)]
    p = driven(*(np.concatenate([at, *(way[k] for way in last)]) for k, at in enumerate((x, y))))
    work = labelled(p, box(0, 0, 70, 300))
    creeps = (p.x > 64) & (p.y > 20) & (p.y < 280) & (p.speed > 0.25)
    assert (creeps & (p.speed < 1.0)).sum() >= 4
    assert work[creeps].all()


def test_to_and_fro_in_a_corner_are_strokes_and_one_reversing_is_not() -> None:
    shunt = [(0, 0), (40, 0), (30, 0), (43, 1), (33, 0), (46, 2), (36, 0), (80, 20)]
    p = driven(*leg(shunt, speed=1.0))
    assert header.strokes(p).sum() > 20
    assert not (header.strokes(p) & p.reverse).any()
    assert not header.strokes(driven(*leg([(0, 0), (40, 0), (30, 0), (80, 20)], 1.0))).any()


def test_a_stroke_is_no_faster_than_the_work_and_a_way_back_between_two_is() -> None:
    shunt = [(0, 0), (40, 0), (30, 0), (43, 1), (33, 0), (46, 2), (36, 0), (80, 20)]
    p = driven(*leg(shunt, speed=1.0))
    inside = np.ones(len(p), dtype=bool)
    for usual, told in ((1.0, True), (0.8, False)):
        fixed = evidence.fixed_evidence(p, inside, usual, Evidence(), cuts=True)
        assert (fixed[header.strokes(p) & (p.speed > 0.97)] > 0).all() == told


def test_what_a_harvester_does_slowly_straight_on_and_evenly_is_cutting() -> None:
    """Between two bouts at 2 m/s: at 0.9 m/s evenly, in fits and starts, and for a few seconds; and
    as a gap looks that is bridged from one bout to the next."""
    fits = np.tile([0.3, 0.3, 0.3, 1.6, 1.6], 5)
    bridged = np.full(25, 0.35)
    for slow, told in (
        (np.full(25, 0.9), True),
        (fits, False),
        (np.full(6, 0.9), False),
        (bridged, False),
    ):
        bout = np.full(30, 2.0)
        ahead_m = np.concatenate([[0.0], np.cumsum(np.concatenate([bout, slow, bout]))])
        corner = np.concatenate([0 * bout, 0 * slow + 90, 0 * bout + 180])
        turned = np.radians(np.concatenate([[0.0], corner]))
        step = np.diff(ahead_m, prepend=0.0)
        p = driven(np.cumsum(step * np.cos(turned)), np.cumsum(step * np.sin(turned)))
        run = runs.running(p, keeps_pace=False)
        known = runs.runs_of(p, working_line(p, PLAIN), run, None, 10.0)
        found = header.slow_cuts(p, run, known, usual=2.0, width_m=10.0)
        assert bool(found[36:48].all()) is told
        assert not found[:25].any()


def test_who_opens_a_corner_in_slow_cuts_drives_back_between_them() -> None:
    """A bout at 2 m/s, 22 m back at 2.2 m/s, and a slow cut of 20 m at 0.9 m/s, loops between."""
    bout, back, cut = (leg([(0, 0), (m, 0)], m_s) for m, m_s in ((120, 2.0), (22, 2.2), (20, 0.9)))
    loop = [(8 * np.sin(a), 8 - 8 * np.cos(a)) for a in np.linspace(0, np.pi, 9)[1:]]
    x, y = list(bout[0]), list(bout[1])
    ahead = 1 + 0j
    for way in (back, cut):
        at = complex(x[-1], y[-1])
        for u, v in loop:
            x.append((at + ahead * complex(u, v)).real)
            y.append((at + ahead * complex(u, v)).imag)
        at, ahead = complex(x[-1], y[-1]), -ahead
        x += [(at + ahead * m).real for m in way[0][1:]]
        y += [(at + ahead * m).imag for m in way[0][1:]]
    p = driven(np.array(x), np.array(y))
    run = runs.running(p, keeps_pace=False)
    known = runs.runs_of(p, working_line(p, PLAIN), run, None, 10.0)
    slow = header.slow_cuts(p, run, known, usual=2.0, width_m=10.0)
    found = header.back_to_cut(p, run, known, slow, usual=2.0, width_m=10.0)
    assert slow[-15:-3].all()
    assert found[72:76].all()
    assert not found[:55].any()
    assert not found[slow].any()


def test_a_slow_stroke_is_seen_through_the_trembling_of_a_phone() -> None:
    rng = np.random.default_rng(5)
    bout, slow = leg([(0, 0), (60, 0)], 2.0), leg([(60, 0), (60, 20)], 0.8)
    x = np.concatenate([bout[0], slow[0][1:], 60 - bout[0][1:]])
    y = np.concatenate([bout[1], slow[1][1:], 20 + 0 * bout[0][1:]])
    p = driven(x + rng.normal(0, 0.4, len(x)), y + rng.normal(0, 0.4, len(x)))
    found = header.creeping(p, usual=2.0)
    assert found[38:48].all()
    assert not found[:25].any()
    assert not found[-25:].any()
    stands = driven(rng.normal(0, 0.4, 60), rng.normal(0, 0.4, 60))
    assert not header.creeping(stands, usual=2.0).any()
    assert not header.creeping(driven(x[:10], y[:10]), usual=2.0).any()


@pytest.mark.parametrize(
    ("breaks_s", "speed", "stays_down"),
    [(20, 1.0, True), (20, 1.4, True), (20, 2.0, False), (45, 1.0, False)],
)
def test_a_header_stays_down_where_it_runs_straight_on_and_finds_nothing_to_cut(
    breaks_s: int, speed: float, stays_down: bool
) -> None:
    begin, end = leg([(0, 0), (60, 0)], 1.0), leg([(0, 0), (60, 0)], 1.0)
    between = leg([(0, 0), (breaks_s * speed, 0)], speed)
    x = np.concatenate([begin[0], 60 + between[0][1:], 60 + breaks_s * speed + end[0][1:]])
    p = driven(x, 0 * x)
    work = (p.seconds < 60) | (p.seconds > 60 + breaks_s)
    assert header.down_all_along(p, work)[~work].all() == stays_down


def test_a_header_is_up_where_it_stops_or_turns_between_two_cuts() -> None:
    p = driven(*leg([(0, 0), (60, 0), (60, 20), (120, 20)], 1.0))
    work = (p.seconds < 60) | (p.seconds > 80)
    assert (header.down_all_along(p, work) == work).all()


def cut(p: Path, work: Flags, stated: bool, new: float = 0.0) -> Flags:
    """When the header is down, of work that its line was over the crop; new: share at the ends."""
    return header.ahead(p, working_line(p, PLAIN), work, np.full(len(p), new), stated)


def test_a_header_is_down_a_second_before_the_crop_and_a_second_after_it() -> None:
    p = driven(*leg([(0, 0), (200, 0)]))
    work = (p.seconds >= 20) & (p.seconds < 60)
    assert np.flatnonzero(cut(p, work, stated=True)).tolist() == list(range(19, 61))


@pytest.mark.parametrize(("speed", "sooner_s", "ends_s"), [(3.0, 2, 0), (1.0, 4, 2)])
def test_a_header_of_which_nothing_is_said_is_some_metres_ahead_of_the_antenna(
    speed: float, sooner_s: int, ends_s: int
) -> None:
    p = driven(*leg([(0, 0), (200, 0)], speed))
    work = (p.seconds >= 20) & (p.seconds < 60)
    unsaid = np.flatnonzero(cut(p, work, stated=False))
    assert unsaid.tolist() == list(range(20 - sooner_s, 60 - ends_s))


def test_a_header_is_down_to_the_end_of_a_record_that_ends_with_the_work() -> None:
    p = driven(*leg([(0, 0), (100, 0)], 1.0))
    p = replace(p, piece=(p.seconds >= 60).astype(np.int32))
    work = (p.seconds >= 20) & (p.seconds < 60)
    assert np.flatnonzero(cut(p, work, stated=False))[-1] == 59


def test_a_header_that_was_down_for_the_first_second_alone_is_down_still() -> None:
    p = driven(*leg([(0, 0), (100, 0)]))
    assert cut(p, np.arange(len(p)) < 1, stated=False)[0]


@pytest.mark.parametrize("stated", [True, False])
def test_a_header_that_comes_to_a_stand_in_the_crop_is_down_until_then(stated: bool) -> None:
    x, y = leg([(0, 0), (100, 0)])
    p = driven(np.append(x, np.full(20, 100.0)), np.append(y, np.zeros(20)))
    stands = int(np.flatnonzero(p.speed < header.GOES_M_S)[0])
    work = (p.seconds >= 20) & (np.arange(len(p)) < stands - 2)
    assert np.flatnonzero(cut(p, work, stated, new=1.0))[-1] == stands - 1
    assert np.flatnonzero(cut(p, work, stated, new=0.1))[-1] < stands - 1


@pytest.mark.parametrize(("way_m", "found"), [(8.0, True), (60.0, False)])
def test_a_header_that_backed_to_line_up_goes_down_as_it_sets_off(
    way_m: float, found: bool
) -> None:
    p = driven(*leg([(0, 0), (40, 0), (30, 0), (200, 2)], 1.0))
    off = int(np.flatnonzero(p.reverse)[-1]) + 1
    work = (p.seconds > p.seconds[off]) & (p.x > p.x[off] + way_m)
    longer = cut(p, work, stated=True)
    assert bool(longer[off]) == found
    assert not longer[p.reverse].any()


def test_a_bout_on_untouched_ground_begins_level_with_where_its_neighbours_ended() -> None:
    p = driven(*leg([(0, 0), (0, 80), (0, 100), (10, 112), (10, 40), (10, 0)]))
    line = working_line(p, PLAIN)
    ended = [int(np.flatnonzero(p.y > y)[0]) for y in (80, 78)]
    turned = int(np.flatnonzero(p.x > 9.9)[0]) + 3

    def begin(others: list[int], width_m: float = 10.0) -> int:
        return ends._at_neighbours_end(turned, line, np.array(others, dtype=np.intp), width_m, 20)

    assert p.y[begin(ended)] == pytest.approx(80, abs=2.5)
    assert begin([]) == turned
    assert begin(ended[:1]) == turned, "one end alone may be a lap's"
    assert begin([ended[0], ended[0] - 10]) == turned, "two that do not agree tell nothing"
    assert begin(ended, 1.0) == turned, "ten widths aside is no neighbour"


def test_who_comes_from_elsewhere_lowers_once_he_is_in_line_with_his_bout() -> None:
    p = driven(*leg([(0, 0), (20, 0), (38, 5), (200, 5)]))
    bend, bent = np.abs(np.diff(p.heading)), np.radians(5)
    aslant, straight = (int(np.flatnonzero(p.x > x)[0]) for x in (31, 60))
    end = len(p) - 2
    begin = ends._when_in_line(aslant, end, p.heading, bend, bent)
    assert 36 < p.x[begin] < 42
    assert ends._when_in_line(straight, end, p.heading, bend, bent) == straight
    assert ends._when_in_line(aslant, aslant + 12, p.heading, bend, bent) == aslant


def test_a_headland_worked_last_is_spared_by_the_bouts_that_run_up_to_it() -> None:
    p = driven(*leg([*up_and_down(6, 10.0, 82.0), (55, -25), (80, -25), (80, 85), (-15, 85)]))
    work = labelled(p, box(0, -20, 60, 90))
    lap = (p.seconds > p.seconds[-1] - 36) & (p.x > 1) & (p.x < 59)
    assert work[lap].all()
    midst = ~lap & (p.x > 20) & (p.x < 40)
    assert (work & midst & (p.y > 82)).sum() == 0, "the lap covers all from 80 to 90"
    assert work[midst & (p.y < 78) & (p.y > 4)].all()


def test_short_work_at_the_very_start_has_no_midst() -> None:
    work = np.zeros(60, dtype=bool)
    work[1:5] = work[20:50] = True
    deep = runs.midst(work, np.zeros(60, dtype=np.int32))
    assert np.flatnonzero(deep).tolist() == list(range(28, 42))


def test_ways_side_by_side_that_bouts_are_worked_across_are_no_bouts() -> None:
    """To and fro from a corner to a pond before the first bout, as bouts are driven."""
    ways = [(2, -30), (2, 5), (95, 45), (99, 54), (6, 14), (-6, 18), (-3, 27), (90, 66), (96, 40)]
    bouts = [(95, -15), (-30, -15), (-30, 5), *up_and_down()[1:]]
    p = driven(*leg([*ways, (140, 40), (140, -15), *bouts]))
    work = labelled(p)
    before = p.seconds < p.seconds[np.flatnonzero(p.x > 139)[0]]
    inside = (p.y > 2) & (p.y < 98) & (p.x > 0) & (p.x < 100)
    assert (before & inside).sum() > 120
    assert not work[before & inside].any()
    assert work[~before & inside].mean() > 0.97


@pytest.mark.parametrize(("cuts", "least"), [(True, 0.95), (False, 0.0)])
def test_a_header_that_creeps_into_standing_crop_cuts_it(cuts: bool, least: float) -> None:
    """Another implement that creeps may be lifted."""
    x, y = leg([(5, -4), (5, 20)], 0.45)
    ox, oy = leg([(5, 20), *up_and_down()[1:]])
    p = driven(np.concatenate([x, ox[1:]]), np.concatenate([y, oy[1:]]))
    line = working_line(p, PLAIN)
    work = states.label(
        p, line, laid(p), 10.0, 0.5, SQUARE, (0, len(p)), Evidence(), cuts=cuts
    ).work
    creeping = (p.y > 2) & (p.y < 18) & (p.x < 6)
    assert creeping.sum() > 30
    assert (work[creeping].mean() >= least) if cuts else (work[creeping].mean() < 0.7)


def test_a_header_that_hurries_along_the_edge_of_the_field_is_lifted() -> None:
    """Over ground that another machine cut, for all that the day of this one tells."""
    x, y = leg(up_and_down(bouts=20))
    ox, oy = leg([(195, -4), (205, -12), (215, 5), (330, 5), (360, 5)], 3.4)
    p = driven(np.concatenate([x, ox[1:]]), np.concatenate([y, oy[1:]]))
    line, ground = working_line(p, PLAIN), box(0, 0, 340, 100)
    work = states.label(
        p, line, laid(p), 10.0, 0.5, ground, (0, len(p)), Evidence(), cuts=True
    ).work
    assert not work[(p.x > 220) & (p.x < 320)].any()


# --- where the line is


def test_a_mounted_implement_is_square_behind_and_an_antenna_to_the_right_puts_it_left() -> None:
    p = driven(*leg([(0, 0), (100, 0)]))
    line = working_line(p, Rig(width_m=3.0, line_m=-4.0, right_m=0.5))
    assert line.x == pytest.approx(p.x - 4.0, abs=0.05)
    assert line.y == pytest.approx(p.y + 0.5, abs=0.05)


def test_a_trailed_implement_cuts_the_corner_and_swings_straight() -> None:
    p = driven(*leg([(0, 0), (60, 0), (60, 100)]))
    line = working_line(p, Rig(width_m=3.0, line_m=-6.0, drag_m=5.0))
    assert line.x[-1] == pytest.approx(60.0, abs=0.1)
    assert p.y[-1] - line.y[-1] == pytest.approx(6.0, abs=0.1)
    assert ((line.x < 58) & (line.y > 1)).any()


# --- done over again


def test_a_field_done_once_is_not_done_again() -> None:
    p = driven(*leg(up_and_down()))
    assert done_again(p, working_line(p, PLAIN), laid(p), 10.0) is None


def test_a_field_done_twice_is_seen_from_where_the_second_begins() -> None:
    once = up_and_down(length_m=150.0)
    between = [(110.0, -12.0), (110.0, -30.0), (5.0, -30.0)]
    x, y = leg([*once, *between, *once])
    p = driven(x, y)
    again = done_again(p, working_line(p, PLAIN), laid(p), 10.0)
    assert again is not None
    assert again.share > 0.9
    half = len(leg(once)[0])
    assert half - 30 < again.first < half + 110
    assert again.last == len(p) - 1


def test_ways_to_and_fro_that_cross_each_other_are_no_second_pass() -> None:
    """Bits left at either end, fetched one after the other."""
    bits = [(10, 0), (40, 200), (25, 200), (28, 0), (40, 0), (10, 200), (30, 200), (20, 0), (45, 0)]
    p = driven(*leg([*up_and_down(6, length_m=200.0), *bits]))
    assert done_again(p, working_line(p, PLAIN), laid(p), 10.0) is None


def test_some_ways_across_do_not_hide_a_second_pass() -> None:
    """Most of its bouts are crossed by one of them, aslant."""
    once = up_and_down(bouts=12, length_m=200.0)
    second = []
    for k in range(12):
        x = 5.0 + 10.0 * k
        second += [(x, -4.0), (x, 204.0)][:: 1 if k % 2 == 0 else -1]
        if k in (3, 7):
            second += [(x + 4.0, -4.0), (x - 28.0, 204.0), (x + 6.0, -4.0)]
    p = driven(*leg([*once, (130.0, -30.0), (5.0, -30.0), *second]))
    again = done_again(p, working_line(p, PLAIN), laid(p), 10.0)
    assert again is not None
    assert again.share > 0.9


def test_ways_along_a_done_headland_are_no_second_pass() -> None:
    """Every second run is one: from a bout to one some widths on, over ground that laps cover."""
    lap = [(5.0, 5.0), (295.0, 5.0), (295.0, 295.0), (5.0, 295.0), (5.0, 5.0)]
    bouts = []
    for k in range(12):
        x = 15.0 + (k // 2) * 10.0 + (k % 2) * 150.0
        bouts += [(x, 12.0), (x, 288.0)][:: 1 if k % 2 == 0 else -1]
    x, y = leg([*lap, (5.0, 12.0), *bouts])
    p = driven(x, y)
    assert done_again(p, working_line(p, PLAIN), laid(p), 10.0) is None


@pytest.mark.parametrize(
    ("led", "done", "ways"),
    [
        # To a stop and back over finished ground, to new ground at either end.
        ("..x.x..", ".xxxxx.", ".xxxxx."),
        # A second pass that begins after a stop goes on to the end.
        ("..x....", "...xxxx", "..x...."),
        # And one that goes on for long has its ways taken out alone.
        ("x........x.", "xxxxxxxxxx.", "x........x."),
    ],
)
def test_ways_to_a_stop_are_a_few_runs_over_finished_ground(led: str, done: str, ways: str) -> None:
    flags = [np.array([c == "x" for c in text]) for text in (led, done, ways)]
    assert _ways(flags[0], flags[1]).tolist() == flags[2].tolist()


def test_a_second_pass_in_many_loads_is_seen() -> None:
    """With a stop after every third bout, beside which no other is left to ask."""
    once = up_and_down(15, length_m=200.0)
    parts, begin = [leg(once), leg([once[-1], (160.0, -30.0), (5.0, -30.0), once[0]])], 0
    for k in range(2, 15, 3):
        end = once.index((5.0 + 10.0 * k, 204.0 if k % 2 == 0 else -4.0)) + 1
        x, y = leg(once[begin:end])
        parts += [(x, y), (np.full(60, x[-1]), np.full(60, y[-1]))]
        begin = end - 1
    p = driven(*(np.concatenate(both) for both in zip(*parts, strict=True)))
    again = done_again(p, working_line(p, PLAIN), laid(p), 10.0)
    assert again is not None
    assert again.share > 0.3
    assert again.first < len(parts[0][0]) + 250


def test_two_runs_elsewhere_do_not_end_a_second_pass() -> None:
    once = up_and_down(length_m=150.0)
    elsewhere = [(5.0, -60.0), (145.0, -60.0), (145.0, -75.0), (5.0, -75.0)]
    half = len(once) // 4 * 2
    x, y = leg([*once, (110.0, -30.0), *once[:half], *elsewhere, *once[half:]])
    p = driven(x, y)
    again = done_again(p, working_line(p, PLAIN), laid(p), 10.0)
    assert again is not None
    assert again.share > 0.9
    assert again.last == len(p) - 1


def test_ways_to_the_gate_for_load_after_load_are_no_second_pass() -> None:
    """They lie side by side over finished ground, with a short bout between two of them."""
    done = leg(up_and_down(12, 10.0, 300.0))
    loads = []
    for k in range(3):
        x, there, back = 125.0 + 10.0 * k, 50.0 + 20.0 * k, 60.0 + 20.0 * k
        loads.append(leg([(0, there), (x, there), (x, there + 30), (x - 8, back), (0, back)]))
    parts = [done, *loads]
    away_s = np.repeat(400.0 * np.arange(len(parts)), [len(x) for x, _ in parts])
    x, y = (np.concatenate(both) for both in zip(*parts, strict=True))
    p = driven(x, y, np.arange(len(x)) + away_s)
    assert len(set(p.piece.tolist())) == len(parts)
    assert done_again(p, working_line(p, PLAIN), laid(p), 10.0) is None


@pytest.mark.parametrize(
    ("stated", "ahead_m"),
    [
        (Rig(width_m=4.0), -4.0),
        (Rig(width_m=4.0, line_m=0.0), 0.0),
        (Rig(width_m=6.0, operation="combining"), 0.0),
        (Rig(), -4.0),
    ],
)
def test_where_nobody_said_a_tractor_works_behind_its_antenna(stated: Rig, ahead_m: float) -> None:
    p = driven(*leg([(0, 0), (200, 0)]))
    line = working_line(p, stated)
    assert np.allclose(line.x - p.x, ahead_m, atol=0.05)
    assert np.allclose(line.y, p.y, atol=0.05)


@pytest.mark.parametrize(
    ("operation", "line_m", "is_header"),
    [
        ("combining", None, True), ("chopping", 4.0, True), (None, 4.0, True), (None, -4.0, False),
        ("mowing", 3.0, False), ("hoeing", 2.0, False),
    ],
)  # fmt: skip
def test_a_mower_in_front_is_no_header(
    operation: str | None, line_m: float | None, is_header: bool
) -> None:
    assert in_front(Rig(operation=operation, width_m=3.0, line_m=line_m)) is is_header


def crossings(right: list[float], left: list[float]) -> ends.Crossings:
    r, b = np.asarray(right), np.asarray(left)
    return ends.Crossings((r + b) / 2, r, b)


def corner(right: list[float], left: list[float], near: int, inward: int) -> int:
    (row,) = ends._first_corner(crossings(right, left), np.array([near]), inward)
    return int(row)


def test_a_start_is_when_the_first_corner_comes_onto_new_ground() -> None:
    square = [0.0, 0.0, 0.0, 0.0, 0.5, 1.0, 1.0, 1.0, 1.0]
    late = [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 1.0, 1.0]
    assert corner(square, square, 5, 1) == 5
    # The middles of the halves cross two seconds apart, the corners four.
    assert corner(square, late, 5, 1) == 4


def test_an_edge_well_aslant_takes_seconds_to_cross() -> None:
    """Its halves cross four seconds apart, so that its ends do eight: four either side."""
    first, then = ([0.0] * n + [1.0] * (30 - n) for n in (13, 17))
    assert corner(first, then, 13, 1) == 11
    assert corner(first[::-1], then[::-1], 16, -1) == 18


def test_ground_that_a_neighbour_took_is_no_slant() -> None:
    whole = [1.0, 1.0, 1.0, 1.0, 0.5, 0.0, 0.0, 0.0, 0.0]
    tail = [1.0, 1.0, 1.0, 1.0, 0.5, 0.15, 0.1, 0.12, 0.0]
    assert corner(whole, whole, 4, -1) == 4
    assert corner(tail, tail, 4, -1) == 4


def test_a_line_of_one_sample_has_no_halves_and_is_no_trouble() -> None:
    p = driven(*leg([(0, 0), (200, 0)]))
    line = working_line(p, PLAIN)
    way = claims.way_of(line.x, line.y, line.heading, p.piece, 10.0)
    thin = claims.swath(way, way.raster.size_m)
    work = np.ones(len(p), dtype=bool)
    seen = crossings_of(thin, work, p.piece)
    assert np.array_equal(seen.left, seen.whole)
    assert np.array_equal(seen.right, seen.whole)


@pytest.mark.parametrize("steady", [True, False])
def test_a_lap_that_a_phone_puts_off_the_edge_is_like_work(steady: bool) -> None:
    """Its sides lie one to eight metres off, which a steady receiver would have from a drive."""
    sides = [(1, -40), (1, 192), (199, 192), (198, 8), (-20, 8)]
    p = replace(driven(*leg(sides)), steady=steady)
    ground, work = box(0, 0, 200, 200), np.ones(len(p), dtype=bool)
    work &= (p.y > 0) & (p.x > 0)
    assert _like_work(p, working_line(p, PLAIN), work, ground, 3.0) is not steady


@pytest.mark.parametrize(
    ("speed", "new", "closed"),
    [(0.9, 0.5, True), (0.9, 0.1, False), (2.6, 0.5, False), (0.2, 0.5, False)],
    ids=["slow on new ground", "over worked ground", "faster than the work", "at a crawl"],
)
def test_a_slow_stretch_in_the_midst_of_a_bout_is_work(
    speed: float, new: float, closed: bool
) -> None:
    p = at_speeds(
        ([(0, 0), (100, 0)], 2.0), ([(100, 0), (150, 0)], speed), ([(150, 0), (250, 0)], 2.0)
    )
    slow = (p.x > 105) & (p.x < 145)
    found = mend.slowed(p, working_line(p, PLAIN), np.where(slow, new, 1.0), ~slow, 2.0)
    assert found[slow].all() == closed
    assert found[~slow].all()


def test_a_slow_stretch_that_bends_or_ends_the_bout_is_left_as_it_was() -> None:
    corners = [(0, 0), (100, 0)], [(100, 0), (100, 50)], [(100, 50), (200, 50)]
    p = at_speeds((corners[0], 2.0), (corners[1], 0.9), (corners[2], 2.0))
    slow = (p.x > 99) & (p.x < 101) & (p.y > 2) & (p.y < 48)
    new = np.ones(len(p))
    assert not mend.slowed(p, working_line(p, PLAIN), new, ~slow, 2.0)[slow].any()
    last = at_speeds(([(0, 0), (100, 0)], 2.0), ([(100, 0), (150, 0)], 0.9))
    end = last.x > 102
    found = mend.slowed(last, working_line(last, PLAIN), np.ones(len(last)), ~end, 2.0)
    assert not found[end].any()
