"""Last strips and ways home, laps of the headland, and what a run is like."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from oplog.work import claims, states
from oplog.work.evidence import Evidence, keeps_pace, off_pace
from oplog.work.line import working_line
from oplog.work.motion import Path
from oplog.work.pace import pace_kept, pace_of_bouts
from oplog.work.runs import (
    abreast,
    among_likes,
    comb,
    least_quarter,
    likeness,
    lone,
    repeated,
    running,
    runs_of,
    under_a_lap,
    whole_runs,
)
from tests.work_days import PLAIN, driven, leg, up_and_down

WIDTH_M = 10.0
LONG_M = 300.0
BOUTS = 7
WORKED_M = BOUTS * WIDTH_M


def ending(*way: tuple[float, float], speed: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """Bouts side by side, then one more way; its rows as a mask, and what is taken for work."""
    loop = [(WORKED_M + 10.0, LONG_M + 20.0), (WORKED_M, LONG_M + 40.0), way[0]]
    x, y = leg([*up_and_down(BOUTS, WIDTH_M, LONG_M), *loop])
    last_x, last_y = leg(way, speed)
    p = driven(np.concatenate([x, last_x[1:]]), np.concatenate([y, last_y[1:]]))
    ground = box(0, 0, WORKED_M + 5.0, LONG_M)
    line = working_line(p, PLAIN)
    lay = claims.swath(claims.way_of(line.x, line.y, line.heading, p.piece, WIDTH_M), WIDTH_M)
    work = states.label(p, line, lay, WIDTH_M, 0.3, ground, (0, len(p)), Evidence()).work
    on_the_way = (np.arange(len(p)) >= len(x)) & (p.y > 15) & (p.y < LONG_M - 15)
    return on_the_way, work


def test_a_last_strip_of_a_metre_is_work() -> None:
    strip_x = WORKED_M + 1.0 - WIDTH_M / 2
    rows, work = ending((strip_x, LONG_M + 25), (strip_x, -4.0))
    assert rows.sum() > 100
    assert work[rows].mean() > 0.95


@pytest.mark.parametrize(
    ("foot_m", "speed"), [(-9.0, 2.0), (0.0, 2.8)], ids=["askew", "faster than the bouts"]
)
def test_a_way_home_over_the_same_ground_is_none(foot_m: float, speed: float) -> None:
    strip_x = WORKED_M + 1.0 - WIDTH_M / 2
    rows, work = ending((strip_x, LONG_M + 25), (strip_x + foot_m, -4.0), speed=speed)
    assert rows.sum() > 60
    assert work[rows].mean() < 0.05


def test_runs_are_measured_by_their_middle_halves() -> None:
    p = driven(*leg([(0, 20), (200, 20), (200, 60), (0, 80)]))
    run = running(p)
    runs = runs_of(p, working_line(p, PLAIN), run, box(0, 0, 300, 300), WIDTH_M)
    first, last = run[50], run[-50]
    assert (runs.x[first], runs.y[first]) == pytest.approx((100, 20), abs=5)
    assert np.degrees(runs.angle[first]) == pytest.approx(0, abs=0.05)
    assert np.degrees(runs.angle[last]) == pytest.approx(-np.degrees(np.arctan(0.1)), abs=0.05)
    assert runs.length_m[first] == pytest.approx(200, abs=8)
    assert runs.edge_m[first] == pytest.approx(20, abs=0.1)
    assert np.isinf(runs.edge_m[last])


def test_the_sides_of_a_lap_belong_together_and_bouts_do_not() -> None:
    around = [(5.0, 5.0), (295.0, 5.0), (295.0, 295.0), (5.0, 295.0), (5.0, 12.0)]
    p = driven(*leg([*around, (60.0, 60.0), (240.0, 70.0), (240.0, 84.0), (60.0, 74.0)]))
    run = running(p)
    lap = runs_of(p, working_line(p, PLAIN), run, box(0, 0, 300, 300), WIDTH_M).lap
    sides = [
        run[np.argmin(np.hypot(p.x - x, p.y - y))] for x, y in [(150, 5), (295, 150), (5, 150)]
    ]
    assert len({int(lap[k]) for k in sides}) == 1
    bouts = [run[np.argmin(np.hypot(p.x - x, p.y - y))] for x, y in [(150, 65), (150, 79)]]
    assert len({int(lap[k]) for k in [*bouts, sides[0]]}) == 3


@pytest.mark.parametrize(("inward_m", "is_lap"), [(10.0, True), (48.0, False)])
def test_a_side_on_which_the_next_lap_begins_is_of_both(inward_m: float, is_lap: bool) -> None:
    """It keeps 5 m from the edge, and then a width more; far from it, it is a way of its own."""
    one = [(5.0, 150.0), (5.0, 5.0), (295.0, 5.0), (295.0, 295.0), (5.0, 295.0), (5.0, 170.0)]
    on = [(5.0 + inward_m, 140.0), (5.0 + inward_m, 15.0), (285.0, 15.0), (285.0, 285.0)]
    p = driven(*leg([*one, *on]))
    run = running(p)
    lap = runs_of(p, working_line(p, PLAIN), run, box(0, 0, 300, 300), WIDTH_M).lap
    first, side, last = (
        run[np.argmin(np.hypot(p.x - x, p.y - y))] for x, y in [(150, 5), (5, 250), (285, 150)]
    )
    assert (lap[first] == lap[side] == lap[last]) is np.bool_(is_lap)


def test_there_and_back_along_an_edge_is_no_lap() -> None:
    """The edge lies now to the one hand, now to the other; whoever goes over it is still inside."""
    bouts = [(15.0, 5.0), (285.0, 5.0), (292.0, 12.0), (285.0, 15.0), (15.0, 15.0)]
    narrow = [(5.0, 5.0), (295.0, 5.0), (295.0, 35.0), (5.0, 35.0)]
    over = [(5.0, -1.0), (295.0, -1.0), (295.0, 295.0), (5.0, 295.0)]
    for way, ground, together in (
        (bouts, box(0, 0, 300, 300), False),
        (narrow, box(0, 0, 300, 40), True),
        (over, box(0, 0, 300, 300), True),
    ):
        p = driven(*leg(way))
        run = running(p)
        lap = runs_of(p, working_line(p, PLAIN), run, ground, WIDTH_M).lap
        first, last = run[np.argmin(np.hypot(p.x - 150, p.y - way[0][1]))], run[-30]
        assert (lap[first] == lap[last]) is np.bool_(together)


@pytest.mark.parametrize(("corners", "is_round"), [(5, True), (2, False)])
def test_only_a_lap_of_most_of_the_field_goes_round_it(corners: int, is_round: bool) -> None:
    lap = [(5.0, 5.0), (295.0, 5.0), (295.0, 295.0), (5.0, 295.0), (5.0, 12.0)]
    p = driven(*leg(lap[:corners]))
    run = running(p)
    for pond in (Polygon(), box(100, 100, 200, 200)):
        ground = box(0, 0, 300, 300).difference(pond)
        around = runs_of(p, working_line(p, PLAIN), run, ground, WIDTH_M).around
        assert bool(around[run[np.argmin(np.hypot(p.x - 150, p.y - 5))]]) is is_round
    assert not runs_of(p, working_line(p, PLAIN), run, None, WIDTH_M).around.any()


def test_alone_in_a_field_nothing_is_like_anything() -> None:
    p = driven(*leg([(50, 50), (250, 50)]))
    run = running(p)
    runs = runs_of(p, working_line(p, PLAIN), run, None, WIDTH_M)
    alike, askew = likeness(runs, np.ones(len(runs.x)), 2.0, WIDTH_M, 0.02)
    assert not alike.any()
    assert not askew.any()


def every(
    offsets: list[float], lengths: list[float], width_m: float = WIDTH_M, stop_m: float = 0.0
) -> np.ndarray:
    """Of parallel runs at some offsets [m], up and down by turns: which are teeth of a comb.

    stop_m: where the machine stands for a while in each of them; 0 for nowhere.
    """
    xs = np.repeat(offsets, 2)
    ends = [e for k, m in enumerate(lengths) for e in ((0, m) if k % 2 == 0 else (m, 0))]
    x, y = leg([(float(x), float(y)) for x, y in zip(xs, ends, strict=True)])
    at = np.diff(y > stop_m, prepend=y[0] > stop_m) & (stop_m > 0)
    p = driven(x, y, np.arange(len(x)) + 20.0 * np.cumsum(at))
    run = running(p)
    teeth = comb(runs_of(p, working_line(p, PLAIN), run, None, width_m), width_m)
    bouts = np.abs(np.sin(p.heading)) > 0.95
    return np.array([teeth[run[bouts & (np.abs(p.x - x) < 2.0)]].mean() > 0.5 for x in offsets])


def test_bouts_two_widths_apart_are_a_comb() -> None:
    assert every([0, 20, 40, 60], [200, 200, 190, 200]).all()


def test_bouts_further_apart_than_they_are_wide_are_a_comb_in_any_order() -> None:
    assert every([0, 16, 32, 48], [200, 200, 190, 200]).all()
    assert every([0, 32, 16, 48], [200, 200, 190, 200]).all()


def test_tramlines_and_windrows_are_a_comb_though_the_implement_is_narrow() -> None:
    assert every([0, 24, 48, 72], [200, 200, 190, 200], width_m=2.5).all()
    assert every([0, 7.2, 14, 21], [200, 200, 190, 200], width_m=2.2, stop_m=130.0).all()
    in_an_l = every([0, 24, 48, 72, 96], [200, 200, 90, 85, 90], width_m=2.5)
    assert in_an_l.all()
    assert not every([0, 50, 100, 150], [200, 200, 200, 200], width_m=2.5).any()


def test_ways_at_odd_distances_or_of_odd_lengths_are_none() -> None:
    assert not every([0, 25, 41, 56], [200, 200, 200, 200]).any()
    assert not every([0, 20, 40, 60], [200, 90, 200, 90]).any()
    assert not every([0, 20], [200, 200]).any()


def test_a_long_way_beside_which_nothing_lies_is_alone_where_others_are_not() -> None:
    x, y = leg([*up_and_down(BOUTS, WIDTH_M, LONG_M), (WORKED_M, 0.0), (300.0, LONG_M)])
    p = driven(x, y)
    run = running(p)
    runs = runs_of(p, working_line(p, PLAIN), run, None, WIDTH_M)
    alone = lone(runs, WIDTH_M, 0.02)
    assert alone[run[-20]]
    assert alone.sum() == 1
    edge = box(0, 0, 300, 300).difference(Polygon([(75, 0), (300, 0), (300, 290)]))
    along = runs_of(p, working_line(p, PLAIN), run, edge, WIDTH_M)
    assert not lone(along, WIDTH_M, 0.02)[run[-20]]
    few = driven(*leg([(0.0, 0.0), (0.0, 200.0), (10.0, 200.0), (10.0, 0.0), (200.0, 90.0)]))
    run = running(few)
    assert not lone(runs_of(few, working_line(few, PLAIN), run, None, WIDTH_M), WIDTH_M, 0.02).any()


def test_bouts_lie_beside_others_and_a_way_across_does_not() -> None:
    x, y = leg([*up_and_down(BOUTS, WIDTH_M, LONG_M), (WORKED_M, 0.0), (0.0, LONG_M)])
    p = driven(x, y)
    run = running(p)
    beside = abreast(runs_of(p, working_line(p, PLAIN), run, None, WIDTH_M), WIDTH_M, 0.02)
    assert beside[run[(np.abs(np.sin(p.heading)) > 0.999) & (run > 0)]].mean() > 0.9
    assert not beside[run[-20]]
    assert not beside[0]


def test_a_line_driven_again_and_again_is_told_by_how_often() -> None:
    there_and_back = [(0.0, 0.0), (0.0, 300.0), (30.0, 320.0), (30.0, -20.0)]
    p = driven(*leg([*there_and_back, *there_and_back, *there_and_back]))
    run = running(p)
    found = runs_of(p, working_line(p, PLAIN), run, None, WIDTH_M)
    times = repeated(found, WIDTH_M, 0.02)
    along = run[(np.abs(p.x) < 1) & (np.abs(p.y - 150) < 2)]
    assert times[np.unique(along)].tolist() == [0, 1, 2]


def test_a_bout_along_an_edge_is_no_side_of_the_lap_that_comes_next() -> None:
    p = driven(*leg([(30, 280), (30, 20), (40, 5), (295, 5), (295, 295), (20, 295)]))
    run = running(p)
    lap = runs_of(p, working_line(p, PLAIN), run, box(0, 0, 300, 300), WIDTH_M).lap
    bout, side, last = (
        lap[run[np.argmin(np.hypot(p.x - x, p.y - y))]]
        for x, y in [(30, 150), (150, 5), (150, 295)]
    )
    assert side == last != bout


@pytest.mark.parametrize(("width_m", "is_lap"), [(12.0, True), (30.0, False)])
def test_sides_of_a_lap_are_about_as_far_off_the_edge_however_wide_it_is(
    width_m: float, is_lap: bool
) -> None:
    """Bouts along two edges, and ways from one to the other 13 m nearer to the others."""
    at = 1.5 * width_m
    near = at - (13.0 if width_m > 20 else 8.0)
    p = driven(*leg([(near, 40), (near, 300 - at), (360, 300 - at)]))
    run = running(p)
    lap = runs_of(p, working_line(p, PLAIN), run, box(0, 0, 400, 300), width_m).lap
    side, bout = (
        lap[run[np.argmin(np.hypot(p.x - x, p.y - y))]] for x, y in [(near, 150), (200, 300 - at)]
    )
    assert (side == bout) == is_lap


def test_a_way_on_the_line_of_a_whole_lap_lies_under_it_and_its_sides_do_not() -> None:
    lap = [(5.0, 5.0), (295.0, 5.0), (295.0, 295.0), (5.0, 295.0), (5.0, 15.0)]
    p = driven(*leg([(6.0, 250.0), (6.0, 50.0), (40.0, 60.0), (40.0, 240.0), (60.0, 30.0), *lap]))
    run = running(p)
    found = under_a_lap(
        runs_of(p, working_line(p, PLAIN), run, box(0, 0, 300, 300), WIDTH_M), WIDTH_M
    )
    under = found[run]
    way, bout = (p.seconds < 90) & (p.y > 70), (np.abs(p.x - 40) < 1) & (p.y > 80) & (p.y < 220)
    assert under[way & (p.y < 230)].all()
    assert not under[bout].any()
    assert not under[p.seconds > 400].any()


def bent(by_rad: float, over_m: float) -> Path:
    """200 m straight on, a bend as long as that, and 200 m straight on; at 3 m/s."""
    angle = np.linspace(0.0, by_rad, 20)
    step = np.exp(1j * angle) * over_m / len(angle)
    way = np.concatenate(
        [[0], 200 + np.cumsum(step), [200 + step.sum() + 200 * np.exp(1j * by_rad)]]
    )
    return driven(*leg(list(zip(way.real, way.imag, strict=True)), speed=3.0))


@pytest.mark.parametrize("by_rad", [-0.9, 0.4, 0.9])
def test_a_way_that_swings_onto_a_bout_is_no_part_of_it(by_rad: float) -> None:
    p = bent(by_rad, over_m=25.0)
    assert len(set(whole_runs(p).tolist()) - {0}) == 1
    run = running(p)
    assert len(set(run.tolist()) - {0}) == 2
    parted = int(np.argmax(run == run[-1]))
    assert np.hypot(p.x[parted] - 212.0, p.y[parted]) < 15.0


@pytest.mark.parametrize(("on_m_s", "runs"), [(3.0, 1), (2.7, 2)])
def test_a_slight_bend_parts_a_run_where_the_pace_changes_too(on_m_s: float, runs: int) -> None:
    """A way from the gate that goes on as a lap, say, and a bout along a crooked hedge."""
    to = leg([(0.0, 0.0), (201.0, 0.0)], 3.0)
    on = leg([(201.0, 0.0), (399.0, 35.0)], on_m_s)
    p = driven(*(np.concatenate([to[k], on[k][1:]]) for k in (0, 1)))
    assert len(set(running(p).tolist()) - {0}) == runs
    assert len(set(running(p, keeps_pace=False).tolist()) - {0}) == 1


def test_a_bout_along_a_curve_and_one_round_a_pole_are_whole() -> None:
    aside = [(180.0, 0.0), (195.0, 5.0), (210.0, 5.0), (225.0, 0.0)]
    for p in (bent(0.9, over_m=300.0), driven(*leg([(0, 0), *aside, (400, 0)], speed=3.0))):
        assert len(set(running(p).tolist()) - {0}) == 1


def test_a_gap_in_the_record_between_two_straight_ways_is_no_kink() -> None:
    """Each side of it is a run of its own, and nothing is parted from either."""
    ways = leg([(0, 0), (300, 0)]), leg([(400, 0), (700, 140)])
    x, y = (np.concatenate(both) for both in zip(*ways, strict=True))
    seconds = np.arange(len(x)) + 400.0 * (np.arange(len(x)) >= len(ways[0][0]))
    p = driven(x, y, seconds)
    assert len(set(p.piece.tolist())) == 2
    assert len(set(running(p).tolist()) - {0}) == 2


def at_paces(*paces: tuple[float, int]) -> Path:
    """Straight on, at so many metres a second for so many seconds each time."""
    speed = np.concatenate([np.full(lasts_s, m_s) for m_s, lasts_s in paces])
    x = np.concatenate([[0.0], np.cumsum(speed)])
    return driven(x, 0 * x)


def test_a_run_is_parted_where_one_pace_gives_way_to_another() -> None:
    p = at_paces((2.4, 60), (3.5, 60))
    run = running(p)
    assert int(run.max()) == 2
    assert int(np.argmax(run == 2)) == pytest.approx(60, abs=2)
    assert int(running(p, keeps_pace=False).max()) == 1
    assert int(whole_runs(p).max()) == 1


def test_a_drill_keeps_its_pace_and_what_follows_the_crop_does_not() -> None:
    straight = np.ones(241, dtype=bool)
    drill = at_paces((2.4, 180), (3.5, 60))
    crop = at_paces(*((m_s, 20) for m_s in (2.0, 1.2, 2.4, 1.0, 1.8, 2.6) * 2))
    assert keeps_pace(drill, straight)
    assert not keeps_pace(crop, straight)


def test_the_least_quarter_of_a_run_is_without_its_ends() -> None:
    run = np.repeat([0, 1, 0, 2], [5, 48, 3, 28])
    values = np.zeros(len(run))
    values[9:49] = np.repeat([0.4, 0.2, 0.3, 0.5], 10)
    values[60:80] = 0.1
    assert least_quarter(run, values) == pytest.approx([0.0, 0.2, 0.1])
    values[30:40] = 0.0
    assert least_quarter(run, values)[1] == pytest.approx(0.03)
    assert least_quarter(np.repeat([0, 1], [3, 6]), np.ones(9))[1] == 0.0


def paced_against(*paces: tuple[float, int]) -> np.ndarray:
    """What speaks against each second of one run at 2 m/s for minutes, but for some of it."""
    p = at_paces((2.0, 200), *paces, (2.0, 200))
    run = np.ones(len(p), dtype=np.intp)
    return off_pace(p, run, np.ones(len(p), dtype=bool), np.full(len(p), 2.0))


def test_a_stretch_at_another_pace_speaks_against_work_and_a_second_does_not() -> None:
    assert paced_against((1.4, 25))[208:218].min() > 0.5
    assert paced_against((2.7, 25))[208:218].min() > 0.5
    assert paced_against((1.4, 25))[20:180].max() == 0.0
    assert paced_against((1.4, 1)).max() == 0.0
    assert paced_against((1.9, 25)).max() == 0.0


def test_a_short_run_between_two_corners_tells_no_pace_where_positions_tremble() -> None:
    lasts = [0, 200, 12, 200, 30]
    for noise_m, tells in ((0.02, True), (0.5, False)):
        p = replace(at_paces((2.0, 200), (1.3, 12), (2.0, 200), (1.3, 29)), noise_m=noise_m)
        run = np.repeat(np.arange(5), lasts)
        against = off_pace(p, run, np.isin(run, (1, 3)), np.full(len(p), 2.0))
        assert against[run == 4].max() > 0.4
        assert (against[run == 2].max() > 0.4) == tells


def test_no_run_is_lost_for_its_pace_alone_and_too_little_work_tells_none() -> None:
    p = at_paces((2.0, 200), (1.2, 200))
    run = np.repeat([1, 2], [200, len(p) - 200])
    work, pace = run == 1, np.full(len(p), 2.0)
    against = off_pace(p, run, work, pace)
    assert against[run == 2].sum() == pytest.approx(15.0, abs=0.1)
    assert against[run == 1][:190].max() == 0.0
    assert off_pace(p, run, work & (np.arange(len(p)) < 50), pace).max() == 0.0


def test_a_run_is_not_parted_where_it_gets_slowly_faster_or_slows_for_a_moment() -> None:
    uphill = at_paces(*((2.4 + 0.01 * k, 1) for k in range(110)))
    halting = at_paces((2.4, 60), (1.2, 6), (2.4, 60))
    for p in (uphill, halting, at_paces((2.4, 60), (2.8, 60))):
        assert int(running(p).max()) == 1


def test_bouts_lie_among_their_likes_and_the_outermost_of_them_and_ways_do_not() -> None:
    bouts = [(x, y) for x, y in up_and_down(5, WIDTH_M * 0.8, LONG_M)]
    p = driven(*leg([*bouts, (60.0, -30.0), (-40.0, -30.0), (200.0, 250.0)]))
    run = running(p)
    found = among_likes(runs_of(p, working_line(p, PLAIN), run, None, WIDTH_M), WIDTH_M)
    inner = (p.x > 8) & (p.x < 32) & (p.y > 20) & (p.y < 280) & (p.seconds < 900)
    assert found[run[inner & (run > 0)]].all()
    outer = (p.x < 8) & (p.y > 20) & (p.seconds < 200)
    assert not found[run[outer]].any()
    assert not found[run[-60:]].any()


def test_who_lifts_in_the_midst_of_a_bout_has_the_pace_that_he_kept_before() -> None:
    speed = np.concatenate([np.full(30, 3.0), np.full(20, 2.0), np.full(50, 1.0), [3.0] * 14])
    run = np.repeat([0, 1, 2, 3], [0, 50, 50, 14])
    pace = pace_of_bouts(speed, run, np.array([True, True, True, True]))
    assert pace.tolist() == [np.inf, 3.0, 1.0, np.inf]
    kept = pace_kept(speed, run, np.zeros(4, dtype=bool), pace, 2.5)
    assert [kept[10], kept[60], kept[-1]] == [2.5, 1.0, 2.5]
