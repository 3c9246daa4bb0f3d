"""Strips by arithmetic are what GEOS makes of the same lines, of lines that hardly bend only."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, area, buffer, is_valid, symmetric_difference

from oplog.work.strips import strips

SQUARE = {"cap_style": "flat", "join_style": "mitre", "mitre_limit": 2}


def of(*lines: list[tuple[float, float]]) -> np.ndarray:
    return np.array([LineString(line) for line in lines], dtype=object)


@given(st.integers(0, 10_000), st.floats(0.5, 20.0), st.floats(0.0, 2.0), st.floats(0.0, 360.0))
def test_they_are_what_geos_makes(
    seed: int, reach_m: float, wander_m: float, towards_deg: float
) -> None:
    random = np.random.default_rng(seed)
    lines = []
    for points in random.integers(2, 30, 6):
        x = np.cumsum(random.uniform(0.5, 30.0, points))
        way = x * np.exp(1j * np.radians(towards_deg))
        way = way + 1j * way / abs(way) * random.normal(0, wander_m, points)
        lines.append(LineString(np.column_stack([way.real, way.imag])))
    plain, made = strips(np.array(lines), reach_m)
    there = buffer(np.array(lines)[plain], reach_m, **SQUARE)
    assert is_valid(made[plain]).all()
    assert all(one is None for one in made[~plain])
    # GEOS leaves out corners of less than a hundredth of the reach.
    apart = area(symmetric_difference(made[plain], there))
    assert (apart <= 0.01 * reach_m * 2 * np.array([w.length for w in there])).all()
    assert plain.all() or wander_m > 0


def test_a_straight_one_is_a_rectangle() -> None:
    plain, made = strips(of([(0, 0), (30, 40)], [(0, 0), (50, 0), (100, 0)]), 2.0)
    assert plain.all()
    assert area(made) == pytest.approx([4 * 50, 4 * 100], rel=1e-12)


@pytest.mark.parametrize(
    "bent",
    [
        [(0, 0), (100, 0), (100, 100)],
        [(0, 0), (100, 0), (0, 3)],
        [(0, 0), (50, 0), (51, 0.8), (100, 0.8)],
        [(0, 0), (100, 0), (100, 100), (0, 100), (0, 0)],
    ],
    ids=["round a corner", "back again", "too tight", "round and round"],
)
def test_others_are_left_to_geos(bent: list[tuple[float, float]]) -> None:
    plain, made = strips(of(bent, [(0, 0), (9, 0)], bent), 4.0)
    assert plain.tolist() == [False, True, False]
    assert made[0] is None
    assert made[1].area == pytest.approx(72.0)


def test_a_bend_that_has_room_is_plain() -> None:
    line = [(0, 0), (50, 0), (100, 20)]
    plain, made = strips(of(line), 4.0)
    assert plain.all()
    assert made[0].area == pytest.approx(buffer(LineString(line), 4.0, **SQUARE).area, rel=1e-12)


def test_no_lines_are_no_strips() -> None:
    plain, made = strips(np.array([], dtype=object), 1.0)
    assert len(plain) == len(made) == 0
