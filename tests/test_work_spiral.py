"""Work round and round, whose bends are no turns."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from oplog.work import claims, states
from oplog.work.clean import Noise
from oplog.work.evidence import Evidence
from oplog.work.line import working_line
from oplog.work.motion import Path
from oplog.work.runs import running
from oplog.work.spiral import spiral_bends
from tests.work_days import PLAIN, STILL, driven, leg

WIDTH_M, LONG_M, WIDE_M = 10.0, 220.0, 130.0
FIELD = box(0, 0, LONG_M, WIDE_M)
PHONE = Noise(0.5, 0.5)


def inwards(laps: int, hand: float = 1.0) -> list[tuple[float, float]]:
    """Corners of laps round the field, each a width further in, to the left or to the right."""
    found: list[tuple[float, float]] = []
    for k in range(laps):
        a, b = (k + 0.5) * WIDTH_M, (k - 0.5) * WIDTH_M
        found += [(max(b, a - WIDTH_M), a), (LONG_M - a, a)]
        found += [(LONG_M - a, WIDE_M - a), (a, WIDE_M - a)]
    return found if hand > 0 else [(x, WIDE_M - y) for x, y in found]


def mown(laps: int, hand: float = 1.0, noise: Noise = STILL, corner: float = 1.0) -> Path:
    """The laps at 3 m/s, the last metres before each corner and after it slowed to a share."""
    x, y = leg(inwards(laps, hand), 3.0)
    if corner < 1.0:
        corners = np.array(inwards(laps, hand)[1:-1])
        near = np.hypot(x[:, None] - corners[:, 0], y[:, None] - corners[:, 1]).min(axis=1) < 7
        times = np.concatenate([[0.0], np.cumsum(np.where(near, 1 / corner, 1.0)[1:])])
        even = np.arange(times[-1])
        x, y = np.interp(even, times, x), np.interp(even, times, y)
    return driven(x, y, noise=noise)


def bends(p: Path, work: np.ndarray, fit: float = 1.0) -> np.ndarray:
    return spiral_bends(p, running(p), work, np.full(len(p), fit), 3.0)


@pytest.mark.parametrize("hand", [1.0, -1.0])
def test_the_bends_of_six_laps_are_work_and_those_of_three_are_not_told(hand: float) -> None:
    six, three = mown(6, hand), mown(3, hand)
    found = bends(six, np.ones(len(six), dtype=bool))
    turning = np.abs(np.gradient(six.heading)) > np.radians(12)
    assert turning.sum() > 20
    assert found[turning].mean() > 0.9
    assert not bends(three, np.ones(len(three), dtype=bool)).any()


def test_ways_bends_that_fit_nowhere_and_bends_that_are_stopped_in_are_no_work() -> None:
    p = mown(6)
    assert not bends(p, np.zeros(len(p), dtype=bool)).any()
    assert not bends(p, np.ones(len(p), dtype=bool), fit=0.3).any()
    slow = mown(6, corner=0.25)
    assert not bends(slow, np.ones(len(slow), dtype=bool)).any()


def test_with_a_phone_corners_of_laps_that_are_slowed_for_are_work_to_the_midst() -> None:
    p = mown(6, noise=PHONE, corner=0.6)
    line = working_line(p, PLAIN)
    lay = claims.swath(claims.way_of(line.x, line.y, line.heading, p.piece, WIDTH_M), WIDTH_M)
    work = states.label(p, line, lay, WIDTH_M, 0.5, FIELD, (0, len(p)), Evidence()).work
    assert work[10:-10].mean() > 0.99
