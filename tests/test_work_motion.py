"""The even path: speed, heading, reverse, holes, uneven stamps, loggers by time and distance."""

from __future__ import annotations

import numpy as np
import pytest

from oplog.flow.cutting import GAP_S
from oplog.work.clean import Noise
from oplog.work.gaps import BRIDGED_S, longest_gap_s, stood
from oplog.work.motion import (
    Path,
    _smooth,
    _smoothed_by_pace,
    even_stamps,
    part_of,
    smoothing_s,
)
from tests.work_days import cleaned, driven, leg


def test_straight_driving_has_its_speed_and_heading() -> None:
    p = driven(*leg([(0, 0), (0, 400)], speed=2.5))
    assert len(p) == 161
    assert p.speed == pytest.approx(2.5, abs=0.01)
    assert p.heading == pytest.approx(np.pi / 2, abs=0.01)
    assert not p.reverse.any()
    assert set(p.piece.tolist()) == {0}


def test_going_back_is_reverse_and_keeps_the_machine_facing_forwards() -> None:
    # 60 m on, 10 m back, 80 m on, at 1 m/s.
    p = driven(*leg([(0, 0), (60, 0), (50, 0), (130, 0)], speed=1.0))
    assert p.reverse[62:69].all()
    assert not p.reverse[:57].any()
    assert not p.reverse[74:].any()
    assert np.abs(np.cos(p.heading[62:69]) - 1).max() < 0.01


def test_a_turn_on_the_headland_is_not_reverse() -> None:
    angle = np.linspace(0, np.pi, 20)
    turn = [(60 + 6 * np.sin(a), 6 - 6 * np.cos(a)) for a in angle]
    p = driven(*leg([(0, 0), *turn, (0, 12)], speed=1.5))
    assert not p.reverse.any()
    assert abs(p.heading[-1] - p.heading[0]) == pytest.approx(np.pi, abs=0.05)


def _shuttled(up_m_s: float) -> tuple[Path, np.ndarray]:
    """From the road to a bank, worked down at 2.5 m/s and backed up, twelve times; and what was."""
    way, speed = [leg([(-200, 0), (0, 0)], 3.0)], 2.5
    for k in range(12):
        way += [leg([(3 * k, 0), (3 * k, -45)], speed), leg([(3 * k, -45), (3 * k + 3, 0)], up_m_s)]
    p = driven(*(np.concatenate(both) for both in zip(*way, strict=True)))
    lasts = [len(x) for x, _ in way]
    up = np.repeat([False, *[False, True] * 12], lasts)[: len(p)]
    return p, up


def test_the_slower_runs_up_and_down_a_bank_are_backed_up() -> None:
    p, up = _shuttled(1.2)
    inner = np.array([up[max(k - 4, 0) : k + 5].mean() in (0.0, 1.0) for k in range(len(p))])
    inner[:75] = False
    assert inner.sum() > 400
    assert (p.reverse == up)[inner].mean() > 0.97


@pytest.mark.parametrize(("times", "stroke_m"), [(3, 40), (12, 16)])
def test_shunts_in_a_corner_are_not_told_by_their_speed(times: int, stroke_m: int) -> None:
    """Slowly on and quickly back, few times or short ones, after a bout and before one."""
    way, back_m = [leg([(0, -300), (0, 0)])], stroke_m - 4
    for k in range(times):
        there = (0, 4 * k + stroke_m)
        way += [leg([(0, 4 * k), there], 0.8), leg([there, (0, there[1] - back_m)], 1.5)]
    way.append(leg([(0, 4 * times), (0, 4 * times + 400)]))
    p = driven(*(np.concatenate(both) for both in zip(*way, strict=True)))
    assert not p.reverse[np.gradient(p.y) > 0.7].any()
    assert p.reverse[np.gradient(p.y) < -1.2].all()


def test_a_hole_of_a_minute_parts_the_path_and_one_of_five_seconds_does_not() -> None:
    x, y = leg([(0, 0), (400, 0)])
    rows = np.ones(len(x), dtype=bool)
    rows[50:54] = False
    assert set(driven(x[rows], y[rows], np.flatnonzero(rows)).piece.tolist()) == {0}
    rows[100:160] = False
    p = driven(x[rows], y[rows], np.flatnonzero(rows))
    assert set(p.piece.tolist()) == {0, 1}
    assert not ((p.seconds > 100) & (p.seconds < 159)).any()


def _with_a_gap(
    way: list[tuple[float, float]], first_s: int, gap_s: int, stood_s: float = 0.0
) -> Path:
    """Driven at 2 m/s, nothing written for some seconds; stood_s: and longer, on one spot."""
    x, y = leg(way)
    kept = np.flatnonzero((np.arange(len(x)) < first_s) | (np.arange(len(x)) >= first_s + gap_s))
    return driven(x[kept], y[kept], kept + stood_s * (kept >= first_s))


def _pieces(path: Path) -> int:
    return len(set(path.piece.tolist()))


def test_a_gap_in_straight_driving_is_bridged_and_any_other_is_not() -> None:
    straight, turning = [(0, 0), (400, 0)], [(0, 0), (200, 0), (200, 8), (0, 8)]
    assert _pieces(_with_a_gap(straight, 80, 30)) == 1
    assert _pieces(_with_a_gap(straight, 80, 58)) == 2
    assert _pieces(_with_a_gap(straight, 80, 20, stood_s=15.0)) == 2
    assert _pieces(_with_a_gap(turning, 80, 30)) == 2


def test_a_gap_just_after_a_turn_is_bridged_where_the_machine_goes_straight_on() -> None:
    assert _pieces(_with_a_gap([(0, 0), (0, 100), (400, 100)], 55, 20)) == 1


@pytest.mark.parametrize("corner_s", [85, 95, 105])
def test_the_way_round_a_corner_is_seen_where_both_its_sides_meet(corner_s: int) -> None:
    x = 2.0 * corner_s
    path = _with_a_gap([(0, 0), (x, 0), (x + 60, 104), (x + 120, 208)], 80, 30)
    assert _pieces(path) == 1
    off = np.hypot(path.x - x, path.y)
    assert off.min() < 6.0
    assert path.speed == pytest.approx(2.0, abs=0.5)
    assert np.abs(np.diff(path.heading)).max() < np.radians(40)


def test_a_corner_that_cannot_be_reached_in_the_time_is_not_bridged() -> None:
    assert _pieces(_with_a_gap([(0, 0), (200, 0), (260, 104)], 80, 30, stood_s=12.0)) == 2
    assert _pieces(_with_a_gap([(0, 0), (200, 0), (140, 10), (0, 40)], 80, 30)) == 2


def test_nothing_is_bridged_that_may_be_a_private_place() -> None:
    assert BRIDGED_S < GAP_S - 5


def test_what_counts_as_a_hole_follows_from_the_sampling() -> None:
    assert longest_gap_s(1.0) == 10.0
    assert longest_gap_s(10.0) == 60.0


def test_a_logger_by_distance_that_is_silent_stood_still() -> None:
    x = 5.0 * np.arange(120)
    seconds = 2.5 * np.arange(120)
    seconds[60:] += 300.0
    c = cleaned(x, np.zeros(120), seconds)
    assert stood(c)[59]
    p = driven(x, np.zeros(120), seconds)
    assert set(p.piece.tolist()) == {0}
    assert p.speed[(p.seconds > 200) & (p.seconds < 400)].max() < 0.1


def test_a_logger_by_distance_whose_stamps_are_cut_to_seconds_is_known_too() -> None:
    rng = np.random.default_rng(4)
    step = np.where(rng.uniform(size=200) < 0.03, 1.2, rng.uniform(4.5, 7.5, 200))
    seconds = np.floor(np.cumsum(step / rng.choice([1.6, 2.6], 200)))
    seconds += np.arange(200) * 1e-3
    seconds[100:] += 300.0
    assert stood(cleaned(np.cumsum(step), np.zeros(200), seconds))[99]


def test_a_logger_by_time_that_is_silent_did_not_stand() -> None:
    rng = np.random.default_rng(3)
    x = np.cumsum(rng.uniform(0.0, 4.0, 120))
    seconds = np.arange(120.0)
    seconds[60:] += 300.0
    c = cleaned(x, np.zeros(120), seconds)
    assert not stood(c).any()
    assert set(driven(x, np.zeros(120), seconds).piece.tolist()) == {0, 1}


def test_stamps_cut_to_seconds_are_evened() -> None:
    true = 1.3 * np.arange(300)
    x, y = 2.0 * true, np.zeros(300)
    stamps = np.floor(true)
    even = even_stamps(stamps, x, y)
    rough, steady = np.diff(x) / np.diff(stamps), np.diff(x) / np.diff(even)
    assert rough.std() > 0.5
    assert steady[5:-5].std() < 0.25 * rough.std()
    assert np.abs(even - stamps).max() <= 1.0


def test_evened_stamps_never_stand_still_or_go_back() -> None:
    """Two fixes beside a hole came to one moment, and the path between was not a number."""
    rng = np.random.default_rng(7)
    evened = 0
    for _ in range(300):
        seconds = np.cumsum(rng.choice([1, 1, 1, 2, 5, 60, 2000], 40)).astype(float)
        x = np.cumsum(rng.uniform(0.0, 3.0, 40))
        even = even_stamps(seconds, x, 0 * x)
        evened += even is not seconds
        assert np.diff(even).min() > 0
    assert evened > 10


def test_stamps_that_are_right_are_left_alone() -> None:
    x, y = leg([(0, 0), (400, 0)])
    seconds = np.arange(len(x), dtype=float)
    assert even_stamps(seconds, x, y) is seconds


def test_ten_fixes_a_second_are_put_together_to_one() -> None:
    rng = np.random.default_rng(4)
    seconds = np.arange(0, 120, 0.1)
    p = driven(2.0 * seconds, rng.normal(0, 0.05, len(seconds)), seconds, Noise(0.05, 0.05))
    assert len(p) == 120
    assert p.interval_s == pytest.approx(0.1)
    assert p.y.std() < 0.03


def test_a_fix_every_ten_seconds_is_joined_by_curves() -> None:
    seconds = np.arange(0, 300, 10.0)
    p = driven(3.0 * seconds, 0.002 * (3.0 * seconds) ** 2, seconds)
    middle = slice(20, -20)
    assert p.y[middle] == pytest.approx(0.002 * p.x[middle] ** 2, abs=0.05)


def test_the_more_noise_the_more_smoothing() -> None:
    widths = [smoothing_s(noise, 1.0) for noise in (0.01, 0.05, 0.45, 3.0)]
    assert widths == sorted(widths)
    assert 0.7 <= widths[0] < 1.0
    assert widths[-1] <= 5.0


def test_smoothing_leaves_a_bend_where_it_is() -> None:
    angle = np.linspace(0, 2 * np.pi, 64)
    x, y = 20 * np.cos(angle), 20 * np.sin(angle)
    p = driven(x, y, noise=Noise(0.45, 0.45))
    assert np.hypot(p.x, p.y)[8:-8] == pytest.approx(20.0, abs=0.4)


@pytest.mark.parametrize(("m_s", "calmer"), [(0.8, 0.75), (3.0, 1.0)])
def test_a_slow_machine_followed_by_a_phone_is_smoothed_more(m_s: float, calmer: float) -> None:
    rng = np.random.default_rng(3)
    x, y = m_s * np.arange(600.0), rng.normal(0.0, 0.4, 600)
    width = smoothing_s(0.4, 1.0)
    plain, found = _smooth(y, width), _smoothed_by_pace(x, y, width)[1]
    assert np.std(found[50:-50]) <= calmer * np.std(plain[50:-50]) + 1e-9


def test_a_short_record_of_a_slow_machine_is_smoothed_as_well() -> None:
    x, y = _smoothed_by_pace(np.arange(7.0) / 2, np.zeros(7), 1.5)
    assert len(x) == len(y) == 7
    assert x == pytest.approx(np.arange(7.0) / 2)


def test_part_of_a_path_keeps_its_columns_together() -> None:
    p = driven(*leg([(0, 0), (0, 100)]))
    chosen = p.seconds >= 10
    some = part_of(p, chosen)
    assert some.seconds.tolist() == p.seconds[chosen].tolist()
    assert len(some.speed) == len(some.reverse) == len(some) == int(chosen.sum())
    assert some.noise_m == p.noise_m
