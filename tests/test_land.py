"""Which drawing of a field holds on a day."""

from datetime import date
from itertools import permutations

from shapely.geometry import box

from oplog import land

EVER = land.Field("Long Acre", "Hill", box(0, 0, 1, 1), 1.0, event_id="a")
SPRING = land.Field("Long Acre", "Hill", box(0, 0, 2, 1), 2.0, date(2026, 3, 1), "b")
SUMMER = land.Field("Long Acre", "Hill", box(0, 0, 3, 1), 3.0, date(2026, 7, 1), "c")


def test_the_latest_drawing_that_has_begun_holds():
    for drawings in permutations([EVER, SPRING, SUMMER]):
        assert land.on(list(drawings), date(2026, 2, 28)) is EVER
        assert land.on(list(drawings), date(2026, 3, 1)) is SPRING
        assert land.on(list(drawings), date(2026, 6, 30)) is SPRING
        assert land.on(list(drawings), date(2026, 12, 31)) is SUMMER


def test_before_the_first_dated_drawing_the_earliest_holds():
    assert land.on([SUMMER, SPRING], date(2025, 1, 1)) is SPRING


def test_of_two_drawings_of_one_day_the_choice_does_not_hang_on_order():
    twin = land.Field("Long Acre", "Hill", box(0, 0, 4, 1), 4.0, date(2026, 3, 1), "bb")
    assert land.on([SPRING, twin], date(2026, 4, 1)) is land.on([twin, SPRING], date(2026, 4, 1))


def test_no_drawing():
    assert land.on([], date(2026, 1, 1)) is None
