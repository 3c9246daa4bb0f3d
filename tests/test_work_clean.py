"""Fixes in order, each instant once, without impossible positions; noise seen in them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oplog.track import track
from oplog.work.clean import Cleaned, clean, drift_m, interleaved, noise, written_m
from oplog.work.measure import measure_day, plane_for
from tests.work_days import HERE, PLAIN, carries, cleaned, leg, recorded

NOT_STATED = np.full(2000, -1, dtype=np.int8)


def straight(n: int = 200, speed: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    return speed * np.arange(n, dtype=float), np.zeros(n)


def seen(c: Cleaned) -> tuple[float, float]:
    found = noise(c, NOT_STATED[: len(c)])
    return found.across_m, found.along_m


def test_fixes_come_out_in_order_and_each_instant_once() -> None:
    x, y = straight(50)
    order = np.concatenate([np.arange(50)[::-1], [7, 7]])
    c = clean(recorded(x, y).take(order), HERE)
    assert c.seconds.tolist() == list(range(50))
    assert c.repeats == 2
    assert c.x == pytest.approx(x, abs=1e-3)


def test_fixes_without_time_or_place_are_left_out() -> None:
    x, y = straight(30)
    t = recorded(x, y)
    time, lat = t.time.copy(), t.lat.copy()
    time[3], lat[5] = np.datetime64("NaT"), np.nan
    c = clean(track(time, lat, t.lon), HERE)
    assert len(c) == 28
    assert {3, 5}.isdisjoint(c.rows.tolist())


@pytest.mark.parametrize("size", [1, 5, 10])
def test_a_leap_of_a_kilometre_and_back_is_left_out(size: int) -> None:
    x, y = straight()
    y[100 : 100 + size] += 1000.0
    c = cleaned(x, y)
    assert c.jumps == size
    assert abs(c.y).max() < 0.01


def test_wild_first_and_last_fixes_are_left_out() -> None:
    x, y = straight()
    y[0], y[-1] = 900.0, -900.0
    assert cleaned(x, y).jumps == 2


@pytest.mark.parametrize("size", [1, 4, 12, 22])
@pytest.mark.parametrize("aside", [(0.0, 8.0), (-20.0, 20.0)])
def test_a_stretch_thrown_aside_by_some_metres_is_left_out(
    size: int, aside: tuple[float, float]
) -> None:
    x, y = straight(600)
    x[100 : 100 + size] += aside[0]
    y[100 : 100 + size] += aside[1]
    c = cleaned(x, y)
    assert len(c) == 600 - size
    assert abs(c.y).max() < 0.01


def test_a_throw_that_lasts_is_kept_as_it_may_be_the_way() -> None:
    x, y = straight()
    y[100:130] += 8.0
    assert len(cleaned(x, y)) == 200


@pytest.mark.parametrize("seed", range(3))
def test_turns_noise_and_stamps_cut_to_seconds_are_no_throw(seed: int) -> None:
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, np.pi, 12)
    turn = [(200 + 4 * np.sin(a), 4 - 4 * np.cos(a)) for a in angle]
    x, y = leg([(0, 0), *turn, (0, 8), (60, 8), (20, 30)], speed=5.0)
    assert len(cleaned(x, y)) == len(x)
    assert len(cleaned(*(v + rng.normal(0, 1.5, len(x)) for v in (x, y)))) == len(x)
    stamps = np.arange(len(x)) + rng.uniform(-0.45, 0.45, len(x))
    assert len(cleaned(x, y, stamps)) == len(x)


def test_five_kilometres_in_ten_minutes_are_no_leap() -> None:
    x, y = straight(60)
    x[30:] += 5000.0
    seconds = np.arange(60.0)
    seconds[30:] += 600.0
    assert cleaned(x, y, seconds).jumps == 0


def test_an_empty_track_is_cleaned_but_cannot_be_measured() -> None:
    nothing = track([], [], [])
    assert len(clean(nothing, plane_for(nothing))) == 0
    with pytest.raises(ValueError, match="no fix"):
        measure_day(nothing, [], carries(PLAIN))


@pytest.mark.parametrize("sigma", [0.05, 0.3, 1.0])
def test_white_noise_is_seen_at_its_size(sigma: float) -> None:
    rng = np.random.default_rng(1)
    x, y = straight(1500, 3.0)
    across, along = seen(cleaned(x + rng.normal(0, sigma, 1500), y + rng.normal(0, sigma, 1500)))
    assert across == pytest.approx(sigma, rel=0.12)
    assert along == pytest.approx(sigma, rel=0.12)


def test_stamps_that_stray_show_along_the_way_only() -> None:
    rng = np.random.default_rng(2)
    x, y = straight(1500, 3.0)
    across, along = seen(cleaned(x + rng.uniform(-1.5, 1.5, 1500), y))
    assert across == 0.02
    assert along > 0.5


def test_a_track_that_stands_says_nothing_of_noise() -> None:
    still = np.zeros(100)
    assert seen(cleaned(still, still)) == (1.0, 1.0)


def test_rtk_has_the_lower_floor() -> None:
    x, y = straight()
    c = cleaned(x, y)
    assert noise(c, np.full(200, 4, dtype=np.int8)).across_m == 0.01
    assert noise(c, np.full(200, 1, dtype=np.int8)).across_m == 0.02


@pytest.mark.parametrize(
    ("trembles_m", "quality", "steady"),
    [(0.006, -1, True), (0.035, -1, False), (0.035, 4, True), (0.006, 1, False)],
)
def test_rtk_is_known_by_how_little_it_trembles_unless_fixes_say_what_they_are(
    trembles_m: float, quality: int, steady: bool
) -> None:
    rng = np.random.default_rng(3)
    x, y = straight(600, 3.0)
    c = cleaned(x + rng.normal(0, trembles_m, 600), y + rng.normal(0, trembles_m, 600))
    assert noise(c, np.full(600, quality, dtype=np.int8)).steady is steady


@pytest.mark.parametrize("parts", [1e5, 6e4], ids=["degrees", "minutes"])
def test_positions_written_to_a_metre_only_are_no_rtk(parts: float) -> None:
    x, y = straight(600, 3.0)
    fine = recorded(x, y + 0.3 * x)
    coarse = replace(fine, lat=np.rint(fine.lat * parts) / parts)
    assert noise(clean(fine, HERE), NOT_STATED[:600]).steady
    assert not noise(clean(coarse, HERE), NOT_STATED[:600]).steady


@given(
    st.sampled_from([(1e2, 1112.0), (600, 185.3), (1e3, 111.2), (6000, 18.5), (1e4, 11.1)]),
    st.floats(-70, 70),
    st.integers(0, 99),
)
def test_how_finely_places_are_written_is_seen_and_makes_noise(grid, south, seed) -> None:
    parts, metres = grid
    lat = south + np.cumsum(np.random.default_rng(seed).normal(0, 1e-3, 400))
    assert written_m(np.rint(lat * parts) / parts) == pytest.approx(metres, rel=0.01)
    assert written_m(np.round(lat, 7)) == 0.0


def test_drift_grows_from_that_of_rtk_to_that_of_a_phone() -> None:
    assert drift_m(0.02) == 0.02
    assert 0.1 <= drift_m(0.05) <= 0.4
    assert 2.0 <= drift_m(0.45) <= 3.5


def test_two_machines_in_one_file_are_told_from_one() -> None:
    x, y = straight(600)
    assert not interleaved(cleaned(x, y))
    # Blocks of 15 s by turns from two places 500 m apart.
    assert interleaved(cleaned(x, y + 500.0 * (np.arange(600) // 15 % 2)))


def test_ways_on_the_road_at_80_km_h_are_one_machine() -> None:
    assert not interleaved(cleaned(*leg([(0, 0), (9000, 0), (9000, 4000)], speed=22.0)))


def test_the_plane_of_a_day_across_the_date_line_is_there() -> None:
    t = track(np.arange(4).astype("datetime64[s]"), [10.0] * 4, [179.9, 179.95, -179.95, -179.9])
    plane = plane_for(t)
    assert abs(abs(plane.lon0) - 180.0) < 0.1
    x, _ = plane.xy(t.lon, t.lat)
    assert np.ptp(x) < 25_000
