"""Boxes that meet, against all of them held against all."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oplog.work import boxes
from oplog.work.boxes import meeting


def some(random: np.random.Generator, many: int, room_m: float, size_m: float) -> boxes.Boxes:
    west, south = random.uniform(0, room_m, (2, many)).round(1)
    wide, high = random.uniform(0, size_m, (2, many)).round(1)
    return west, south, west + wide, south + high


@given(
    st.integers(0, 10_000), st.integers(0, 60), st.integers(0, 60),
    st.floats(0, 300), st.floats(0, 80), st.floats(0, 80),
)  # fmt: skip
def test_all_pairs_are_found_once(
    seed: int, many: int, others: int, room_m: float, size_m: float, of_others_m: float
) -> None:
    random = np.random.default_rng(seed)
    a, b = some(random, many, 100.0, size_m), some(random, others, room_m, of_others_m)
    meets = (a[0][:, None] <= b[2]) & (a[2][:, None] >= b[0])
    meets &= (a[1][:, None] <= b[3]) & (a[3][:, None] >= b[1])
    assert sorted(zip(*meeting(a, b), strict=True)) == sorted(zip(*np.nonzero(meets), strict=True))


def test_a_large_piece_of_country_takes_no_more_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(boxes, "MOST_CELLS", 4)
    random = np.random.default_rng(1)
    a, b = some(random, 50, 10_000.0, 90.0), some(random, 50, 10_000.0, 5.0)
    b = tuple(np.concatenate([x, y[:3]]) for x, y in zip(b, a, strict=True))
    assert {(k, 50 + k) for k in range(3)} <= set(zip(*meeting(a, b), strict=True))
