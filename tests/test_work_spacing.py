"""How far bouts lie apart, and an antenna that is off the centre line."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from oplog.kit import Rig
from oplog.work.aside import antenna_right_m, right_by_order_m
from oplog.work.line import working_line
from oplog.work.measure import measure_day
from oplog.work.spacing import Spacing, drift_seen_m, gap_m, spacing, wander_m
from oplog.work.states import first_guess
from oplog.work.visit import number_bouts
from tests.work_days import carries, driven, field, leg, recorded, up_and_down


def of(reach_m: float = 25.0, noise: float = 0.0, **how: float) -> Spacing | None:
    x, y = leg(up_and_down(**how))  # type: ignore[arg-type]
    rng = np.random.default_rng(6)
    p = driven(x + rng.normal(0, noise, len(x)), y + rng.normal(0, noise, len(x)))
    bouts = number_bouts(first_guess(p), p.piece)
    return spacing(p.x, p.y, p.heading, bouts, reach_m)


@pytest.mark.parametrize("width", [3.0, 6.0, 12.0])
def test_bouts_side_by_side_show_their_width(width: float) -> None:
    found = of(bouts=12, width_m=width, length_m=150.0)
    assert found is not None
    assert found.width_m == pytest.approx(width, rel=0.005)
    assert found.pairs >= 10
    assert found.right_m is None


def test_the_width_is_seen_through_noise_and_its_error_covers_it() -> None:
    found = of(bouts=12, width_m=6.0, length_m=200.0, noise=0.25)
    assert found is not None
    assert abs(found.width_m - 6.0) < 3 * found.sd_m
    assert found.sd_m < 0.2


@pytest.mark.parametrize("right", [0.5, -0.4])
def test_an_antenna_off_the_centre_shows_in_every_second_gap(right: float) -> None:
    found = of(bouts=12, width_m=6.0, length_m=200.0, shift_m=right)
    assert found is not None
    assert found.right_m == pytest.approx(right, abs=0.05)
    assert found.width_m == pytest.approx(6.0, abs=0.06)


@pytest.mark.parametrize(("right", "shown"), [(0.5, True), (0.1, False)])
def test_by_eye_an_offset_shows_where_it_is_more_than_a_lap_that_is_not_even(
    right: float, shown: bool
) -> None:
    found = of(bouts=30, width_m=2.0, length_m=200.0, shift_m=right, noise=0.2)
    assert found is not None
    assert (found.right_m is not None) is shown
    if shown:
        assert found.right_m == pytest.approx(right, abs=0.08)


def test_too_few_bouts_show_nothing() -> None:
    assert of(bouts=1) is None
    assert of(bouts=2, length_m=60.0) is None


def test_what_lies_beyond_reach_is_no_neighbour() -> None:
    assert of(bouts=8, width_m=12.0, reach_m=8.0) is None


def test_bouts_that_fit_leave_next_to_nothing_between_them() -> None:
    found = of(bouts=12, width_m=6.0, length_m=200.0)
    assert gap_m(found, 6.0) == pytest.approx(6.0 / 30)
    assert gap_m(None, 6.0) == pytest.approx(0.3)


def test_bouts_further_apart_than_the_width_leave_a_gap() -> None:
    found = of(bouts=12, width_m=7.0, length_m=200.0)
    assert gap_m(found, 6.0) == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("noise", [1.0, 0.02])
def test_wandering_shows_in_the_spacing(noise: float) -> None:
    found = of(bouts=14, width_m=3.0, length_m=200.0, noise=noise)
    seen_m = drift_seen_m(found, 0.2, 3.0)
    if noise == 1.0:
        assert seen_m > 0.8
    else:
        assert seen_m == 0.2
    assert drift_seen_m(None, 0.2, 3.0) == 0.2


def test_wandering_leaves_gaps_as_wide_as_distances_spread_but_never_a_bout() -> None:
    close, loose, wild = (
        Spacing(6.0, 0.1, spread, None, None, 20, np.full(40, 6.0)) for spread in (0.05, 0.6, 3.0)
    )
    assert wander_m(close, 6.0) == pytest.approx(0.06, abs=0.005)
    assert wander_m(loose, 6.0) == pytest.approx(0.96, abs=0.01)
    assert wander_m(wild, 6.0) == pytest.approx(0.45 * 6.0)
    assert wander_m(None, 6.0) == 0.0


@pytest.mark.parametrize("aside_m", [-2.25, 2.25, 0.4])
def test_a_mower_well_aside_is_told_by_the_order_of_its_bouts(aside_m: float) -> None:
    """Every second time it comes back past its own last way: to its neighbours it looks like one
    that is carried aside by a whole width less or so."""
    p = driven(*leg(up_and_down(bouts=16, width_m=2.6, length_m=150.0, shift_m=aside_m)))
    bouts = number_bouts(first_guess(p), p.piece)
    found = spacing(p.x, p.y, p.heading, bouts, 7.5)
    assert found is not None
    assert found.right_m is not None
    assert abs(found.right_m) < 0.5
    right_m = right_by_order_m(p.x, p.y, p.heading, bouts, found.width_m, found.right_m)
    assert right_m == pytest.approx(aside_m, abs=0.1)


def test_who_leaves_bouts_out_and_comes_back_to_them_has_no_more_aside_than_it_seems() -> None:
    order = [k for pair in zip(range(9), range(9, 18), strict=True) for k in pair]
    corners: list[tuple[float, float]] = []
    for n, k in enumerate(order):
        x = 2.6 * k + (0.3 if n % 2 == 0 else -0.3)
        corners += [(x, 0.0), (x, 150.0)] if n % 2 == 0 else [(x, 150.0), (x, 0.0)]
    p = driven(*leg(corners))
    bouts = number_bouts(first_guess(p), p.piece)
    right_m = right_by_order_m(p.x, p.y, p.heading, bouts, 2.6, 0.3)
    assert right_m == 0.3


def in_lands(aside_m: float, lands: int = 2, bouts: int = 8) -> list[tuple[float, float]]:
    """Corners of lands of 3 m bouts, 100 m long, gone round to the right from their outsides.

    aside_m: how far right of the tractor the implement is.
    """
    corners: list[tuple[float, float]] = []
    for land in range(lands):
        for k in range(bouts // 2):
            up = 3.0 * (land * bouts + k + 0.5) - aside_m
            down = 3.0 * ((land + 1) * bouts - k - 0.5) + aside_m
            corners += [(up, -10), (up, 110), ((up + down) / 2, 120)]
            corners += [(down, 110), (down, -10), ((up + down) / 2, -20)]
    return corners


@pytest.mark.parametrize("aside_m", [2.0, 0.0])
def test_in_lands_an_implement_is_where_its_bouts_cover_the_ground(aside_m: float) -> None:
    p = driven(*leg(in_lands(aside_m)))
    bouts = number_bouts(first_guess(p), p.piece)
    found = spacing(p.x, p.y, p.heading, bouts, 7.5)
    assert found is not None
    assert found.right_m is None
    assert (found.odd > 0.5) == (aside_m > 0)
    line, ground = working_line(p, Rig(width_m=3.0)), box(0, 0, 48, 100)
    right_m = antenna_right_m(line, bouts, ground, 3.0, 0.02)
    assert right_m == (pytest.approx(-aside_m, abs=0.2) if aside_m else None)
    assert antenna_right_m(line, bouts, ground, 3.0, 0.5) is None, "positions wander as much"


def test_a_mower_in_lands_works_the_whole_field_though_nobody_said_where_it_is_carried() -> None:
    (visit,) = measure_day(
        recorded(*leg([(-0.5, -60), *in_lands(2.0), (20, -60)])),
        [field(box(-2, 0, 50, 100))],
        carries(Rig(width_m=3.0, line_m=0.0)),  # type: ignore[arg-type]
    ).visits
    assert visit.right_m == pytest.approx(-2.0, abs=0.2)
    assert visit.worked_m2 == pytest.approx(4800, rel=0.015)
