"""Where ground without a boundary lies, in words."""

from __future__ import annotations

import pytest
from shapely.geometry import box

from oplog.ground import NewGround
from oplog.land import Field
from oplog.sheets.newground import where

MILL = Field("Mill", "Home", box(0.0, 52.0, 0.01, 52.01), 700_000.0)


@pytest.mark.parametrize(
    ("away_m", "words"),
    [
        (5.0, "beside Mill, east of it"),
        (240.0, "0.2 km east of Mill"),
        (49_000.0, "49.0 km east of Mill"),
        (7_501_900.0, "at 52.0050 N, 0.0250 E"),
    ],
)
def test_it_is_told_from_the_nearest_field_and_far_from_all_on_the_globe(
    away_m: float, words: str
) -> None:
    shape = box(0.02, 52.0, 0.03, 52.01)
    told = where(NewGround(1, shape, 1e5, (), (), MILL, away_m, "east"))
    assert told.replace("\N{NO-BREAK SPACE}", " ") == words
