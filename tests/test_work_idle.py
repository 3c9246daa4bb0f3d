"""Turning, filling, standing, travelling; states that fill a stay to the second; ranges."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, box

from oplog.work import idle
from oplog.work.certainty import area_range, hours_range, lost_s
from oplog.work.clean import Noise
from oplog.work.coverage import bout_lines, cover
from oplog.work.timeline import Clock, break_seconds, seconds_by_state, timeline
from tests.work_days import driven, leg, up_and_down

CLOCK = Clock(np.datetime64("2026-04-14T06:00:00", "us"))
BREAK_S = 1200.0
Points = list[tuple[float, float]]


def stopping(*parts: Points | int, speed: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """Legs with stops of so many seconds between them."""
    xs, ys = [], []
    for part in parts:
        if isinstance(part, int):
            xs.append(np.full(part, xs[-1][-1]))
            ys.append(np.full(part, ys[-1][-1]))
        else:
            x, y = leg(part, speed)
            xs.append(x)
            ys.append(y)
    return np.concatenate(xs), np.concatenate(ys)


def named(codes: np.ndarray) -> list[str]:
    return [idle.NAMES[c] for c in codes]


def test_standing_is_seen_though_the_receiver_wanders() -> None:
    x, y = stopping([(0, 0), (100, 0)], 60, [(100, 0), (200, 0)])
    rng = np.random.default_rng(7)
    wander = np.cumsum(rng.normal(0, 0.03, (len(x), 2)), axis=0)
    still = idle.standing(driven(x + wander[:, 0], y + wander[:, 1]))
    assert still[55:105].mean() > 0.95
    assert not still[5:45].any()


def test_between_two_bouts_close_by_is_turning_and_a_long_way_round_is_travelling() -> None:
    p = driven(*leg(up_and_down()))
    work = (p.y > 0) & (p.y < 100)
    codes = idle.classify(p, work, False, 10.0, BREAK_S)
    assert set(named(codes)[5:-5]) == {"working", "turning"}
    far = driven(*leg([(0, 0), (100, 0), (400, 0), (400, 200), (0, 200), (0, 10), (100, 10)]))
    work = (far.x < 100) & (far.y < 15)
    codes = idle.classify(far, work, False, 10.0, BREAK_S)
    assert "turning" not in named(codes)
    assert named(codes).count("travelling") > 300


def test_a_halt_to_change_gear_is_part_of_the_turn_and_a_look_round_is_not() -> None:
    for seconds, state in ((5, "turning"), (25, "standing")):
        there: Points = [(0, 0), (110, 0)]
        p = driven(*stopping(there, seconds, [(110, 0), (118, 8), (110, 10), (0, 10)]))
        codes = idle.classify(p, p.x < 100, False, 10.0, BREAK_S)
        assert named(codes)[55 + seconds // 2] == state


def test_going_to_a_trailer_and_back_is_travelling_though_it_is_not_far() -> None:
    there: Points = [(0, 0), (100, 0), (140, 0)]
    p = driven(*stopping(there, 60, [(140, 0), (140, 10), (0, 10)]))
    codes = named(idle.classify(p, p.x < 100, True, 10.0, BREAK_S))
    assert "turning" not in codes
    assert codes.count("travelling") == pytest.approx(45, abs=8)


def test_stops_at_one_place_are_filling_for_what_is_filled_and_standing_for_what_is_not() -> None:
    there: Points = [(0, 0), (100, 0)]
    back: Points = [(100, 0), (100, 60), (0, 60), (0, 0)]
    p = driven(*stopping(there, 60, back, there, 60, back))
    work = (p.y < 1) & (p.x < 90)
    drill = idle.classify(p, work, True, 3.0, BREAK_S)
    roller = idle.classify(p, work, False, 3.0, BREAK_S)
    assert (drill == idle.FILLING).sum() == pytest.approx(120, abs=16)
    assert "filling" not in named(roller)
    assert (roller == idle.STANDING).sum() == pytest.approx(120, abs=16)


def test_a_short_stop_is_no_filling_and_a_long_one_is_wherever_it_is() -> None:
    for seconds, state in ((20, "standing"), (150, "filling")):
        p = driven(*stopping([(0, 0), (100, 0)], seconds, [(100, 0), (200, 30)]))
        codes = idle.classify(p, p.x < 90, True, 3.0, BREAK_S)
        assert named(codes)[50 + seconds // 2] == state


@pytest.mark.parametrize(
    ("seconds", "cuts", "state"),
    [(150, False, "standing"), (400, False, "filling"), (150, True, "filling")],
)
def test_a_stop_in_mid_bout_is_filling_if_very_long_or_of_a_header(
    seconds: int, cuts: bool, state: str
) -> None:
    x, y = stopping([(0, 0), (100, 0)], seconds, [(100, 0), (200, 0)])
    wander = np.cumsum(np.random.default_rng(5).normal(0, 0.03, (len(x), 2)), axis=0)
    p = driven(x + wander[:, 0], y + wander[:, 1])
    still = idle.standing(p)
    codes = idle.classify(p, ~still, True, 3.0, BREAK_S, cuts)
    assert named(codes)[50 + seconds // 2] == state


@pytest.mark.parametrize(
    ("goes_on", "state"),
    [
        ([(100, 0), (86, 0), (200, 0)], "standing"),
        ([(100, 0), (60, 0), (60, 4), (0, 4)], "filling"),
    ],
)
def test_a_look_at_the_coulters_is_no_filling_though_he_backs_off_to_go_on(
    goes_on: list[tuple[float, float]], state: str
) -> None:
    p = driven(*stopping([(0, 0), (100, 0)], 150, goes_on))
    again = (p.x > 99) & (p.seconds > 205) | (p.y > 3)
    work = (p.seconds < 50) | again
    codes = idle.classify(p, work, True, 3.0, BREAK_S)
    assert named(codes)[50 + 75] == state


def test_a_stop_longer_than_a_break_is_no_filling() -> None:
    p = driven(*stopping([(0, 0), (100, 0)], 1500, [(100, 0), (200, 0)]))
    codes = idle.classify(p, p.x < 90, True, 3.0, BREAK_S)
    assert "filling" not in named(codes)


def test_the_length_of_each_step_counts_within_pieces_only() -> None:
    x, y = leg([(0, 0), (100, 0)])
    seconds = np.arange(len(x), dtype=float)
    x[25:] += 300
    seconds[25:] += 120
    p = driven(x, y, seconds)
    assert idle.way_m(p, np.ones(len(p), dtype=bool)).sum() == pytest.approx(98, abs=0.5)


# --- the states of a stay


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 5), min_size=12, max_size=60),
    st.lists(st.integers(1, 400), max_size=3),
    st.floats(0.0, 3.0),
    st.floats(0.0, 3.0),
)
def test_states_fill_the_stay_to_the_second(
    states: list[int], holes: list[int], before: float, after: float
) -> None:
    n = len(states)
    seconds = np.arange(n, dtype=float)
    for k, hole in enumerate(holes):
        seconds[(k + 1) * n // 4 :] += hole
    p = driven(2.0 * np.arange(n), np.zeros(n), seconds)
    codes = np.asarray(states, dtype=np.int8)[np.clip(np.arange(len(p)), 0, n - 1)]
    entered, left = p.seconds[0] - before, p.seconds[-1] + after
    spans = timeline(p, codes, np.zeros(len(p), dtype=np.int32), entered, left, CLOCK)
    assert spans[0].started_at == CLOCK.at(entered)
    assert spans[-1].ended_at == CLOCK.at(left)
    assert all(a.ended_at == b.started_at for a, b in pairwise(spans))
    assert all(s.ended_at > s.started_at for s in spans)
    total = sum(seconds_by_state(spans).values())
    assert total == pytest.approx(left - entered, abs=1e-5)


def test_a_hole_in_the_record_is_unrecorded() -> None:
    x = 2.0 * np.arange(60)
    seconds = np.arange(60.0)
    x[30:] += 100
    seconds[30:] += 300
    p = driven(x, np.zeros(60), seconds)
    codes = np.full(len(p), idle.WORKING, dtype=np.int8)
    spans = timeline(p, codes, np.ones(len(p), dtype=np.int32), 0.0, 359.0, CLOCK)
    assert [s.state for s in spans] == ["working", "unrecorded", "working"]
    assert seconds_by_state(spans)["unrecorded"] == pytest.approx(301, abs=1.1)


def test_only_long_stops_are_breaks() -> None:
    codes = np.repeat([idle.STANDING, idle.WORKING, idle.STANDING], [1500, 100, 600])
    p = driven(np.linspace(0, 5, 2200), np.zeros(2200))
    spans = timeline(p, codes.astype(np.int8), np.zeros(2200, dtype=np.int32), 0.0, 2199.0, CLOCK)
    assert break_seconds(spans, BREAK_S) == pytest.approx(1500)
    assert seconds_by_state(spans)["standing"] == pytest.approx(2099)


def test_moments_and_seconds_turn_into_each_other() -> None:
    assert CLOCK.seconds(CLOCK.at(1234.567891)) == pytest.approx(1234.567891, abs=1e-6)


# --- how sure


def covered_square() -> object:
    p = driven(*leg(up_and_down()))
    bout = ((p.y >= 0) & (p.y <= 100)).astype(np.int32)
    bout *= np.cumsum(np.diff(bout, prepend=0) == 1).astype(np.int32)
    return cover(bout_lines(p.x, p.y, bout), 10.0, box(0, 0, 100, 100), 0.05)


def test_the_range_of_an_area_holds_it_and_ends_at_the_boundary() -> None:
    covered = covered_square()
    area = covered.worked.area  # type: ignore[attr-defined]
    sure = area_range(covered, 10, 10.0, 10_000.0, 0.02)  # type: ignore[arg-type]
    assert 0 < sure.low < area <= sure.high <= 10_000.0 + 1e-6


def test_more_noise_and_more_ends_make_figures_less_sure() -> None:
    covered = covered_square()
    low = [area_range(covered, 10, 10.0, None, noise).low for noise in (0.02, 0.1, 0.5)]  # type: ignore[arg-type]
    assert low == sorted(low, reverse=True)
    assert area_range(covered, 90, 10.0, None, 0.02).low < low[0]  # type: ignore[arg-type]
    assert area_range(covered, 10, 10.0, None, 0.02, spread_m=1.0).low < low[0]  # type: ignore[arg-type]
    assert hours_range(3600, 40, 1.0, 0.05).low > hours_range(3600, 40, 10.0, 0.05).low
    assert hours_range(3600, 40, 1.0, 0.05).low > hours_range(3600, 400, 1.0, 0.05).low
    assert hours_range(3600, 40, 1.0, 0.05).low > hours_range(3600, 40, 1.0, 0.5).low


def test_the_range_of_hours_lies_about_them_and_never_below_nothing() -> None:
    sure = hours_range(3600.0, 40, 1.0, 0.05)
    assert sure.low < 3600.0 < sure.high
    # Nine truths in ten of the simulator's lie within some 2 %; wider than 4 % says little.
    assert 0.015 * 3600.0 < sure.high - 3600.0 < 0.04 * 3600.0
    assert hours_range(2.0, 40, 10.0, 0.05).low == 0.0


def test_a_header_is_less_sure() -> None:
    covered = cover([LineString([(5 + 10 * k, 0), (5 + 10 * k, 100)]) for k in range(10)], 10.0,
                    None, 0.1)  # fmt: skip
    low = [area_range(covered, 10, 10.0, None, 0.02, cuts=cuts).low for cuts in (False, True)]
    assert low[1] < low[0]
    assert hours_range(3600, 40, 1.0, 0.05, True).low < hours_range(3600, 40, 1.0, 0.05).low


def test_what_a_gap_in_the_record_may_hide_widens_the_range_upwards_only() -> None:
    seconds = np.concatenate([np.arange(100.0), np.arange(160.0, 300.0), np.arange(900.0, 1000.0)])
    piece = np.repeat([0, 1, 2], [100, 140, 100]).astype(np.int32)
    work = np.zeros(len(seconds), dtype=bool)
    assert lost_s(seconds, piece, work) == 0.0
    work[40:90] = True
    assert lost_s(seconds, piece, work) == 61.0
    work[:] = True
    assert lost_s(seconds, piece, work) == 61.0  # a longer gap is a break
    whole, lost = (hours_range(3600.0, 40, 1.0, 0.05, lost_s=s) for s in (0.0, 61.0))
    assert lost.low == whole.low
    assert lost.high == whole.high + 61.0
    covered = cover([LineString([(0, 0), (0, 500)])], 10.0, None, 0.1)
    whole, lost = (area_range(covered, 1, 10.0, None, 0.02, lost_m2=m2) for m2 in (0.0, 1220.0))
    assert lost.low == whole.low
    assert lost.high == whole.high + 1220.0


def test_a_trembling_receiver_does_not_lengthen_the_way() -> None:
    chance = np.random.default_rng(7)
    x = np.arange(0.0, 2100.0, 2.1)
    noise = Noise(1.5, 1.5)
    p = driven(x + chance.normal(0, 1.5, len(x)), chance.normal(0, 1.5, len(x)), noise=noise)
    every = np.ones(len(p), dtype=bool)
    raw = float(np.hypot(np.diff(p.x), np.diff(p.y)).sum())
    assert raw > 1.01 * 2100
    assert idle.way_m(p, every).sum() == pytest.approx(2100, rel=0.005)


def test_the_way_goes_round_corners() -> None:
    p = driven(*leg([(0, 0), (100, 0), (100, 100)]), noise=Noise(0.5, 0.5))
    raw = float(np.hypot(np.diff(p.x), np.diff(p.y)).sum())
    assert idle.way_m(p, np.ones(len(p), dtype=bool)).sum() == pytest.approx(raw, rel=0.005)
