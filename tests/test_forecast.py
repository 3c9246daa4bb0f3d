"""When a job is done: sums done in the head, and what must hold whatever the days were."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from oplog.season.forecast import Hours, WorkedDay, forecast, hours_kept

HECTARE_M2 = 10_000.0
EIGHT_TO_SIX = Hours(time(8), time(18))


def worked(day: int, ha: float, start: int = 8, stop: int = 18) -> WorkedDay:
    at = datetime(2027, 4, day, tzinfo=UTC)
    return WorkedDay(
        at.date(), at + timedelta(hours=start), at + timedelta(hours=stop), ha * HECTARE_M2
    )


def test_a_4_m_drill_does_30_ha_in_a_long_day() -> None:
    """Common practice, no source: 60 ha left are two days."""
    days = [worked(d, 30.0) for d in (1, 2, 3)]
    found = forecast(60 * HECTARE_M2, days, EIGHT_TO_SIX, datetime(2027, 4, 3, 19, tzinfo=UTC), UTC)
    assert found is not None
    assert found.done_at == datetime(2027, 4, 5, 18, tzinfo=UTC)
    assert found.low == found.high == found.done_at
    assert found.m2_a_day == pytest.approx(30 * HECTARE_M2)


def test_in_the_middle_of_a_day() -> None:
    """3 ha an hour: at noon with 9 ha left, done at three."""
    now = datetime(2027, 4, 4, 12, tzinfo=UTC)
    found = forecast(9 * HECTARE_M2, [worked(1, 30.0)], EIGHT_TO_SIX, now, UTC)
    assert found is not None
    assert found.done_at == datetime(2027, 4, 4, 15, tzinfo=UTC)
    assert (found.low, found.high) == (None, None)


def test_what_does_not_fit_into_today_goes_on_tomorrow_morning() -> None:
    now = datetime(2027, 4, 4, 17, tzinfo=UTC)
    found = forecast(6 * HECTARE_M2, [worked(1, 30.0)], EIGHT_TO_SIX, now, UTC)
    assert found is not None
    assert found.done_at == datetime(2027, 4, 5, 9, tzinfo=UTC)


@pytest.mark.parametrize(("lost", "day"), [(0, 4), (1, 5), (3, 7)])
def test_days_lost(lost: int, day: int) -> None:
    now = datetime(2027, 4, 3, 20, tzinfo=UTC)
    found = forecast(15 * HECTARE_M2, [worked(1, 30.0)], EIGHT_TO_SIX, now, UTC, days_lost=lost)
    assert found is not None
    assert found.done_at == datetime(2027, 4, day, 13, tzinfo=UTC)


def test_an_earlier_start_is_earlier_done() -> None:
    now = datetime(2027, 4, 4, 5, tzinfo=UTC)
    early = Hours(time(6, 30), time(18))
    found = forecast(30 * HECTARE_M2, [worked(1, 30.0)], early, now, UTC)
    assert found is not None
    assert found.done_at == datetime(2027, 4, 4, 16, 30, tzinfo=UTC)


def test_the_range_is_that_of_the_days_behind() -> None:
    """Half the days 20 ha, half 40: ten hours' work at best in 5, at worst in 10."""
    days = [worked(1, 20.0), worked(2, 40.0)]
    now = datetime(2027, 4, 3, 6, tzinfo=UTC)
    found = forecast(20 * HECTARE_M2, days, EIGHT_TO_SIX, now, UTC)
    assert found is not None
    assert found.low == datetime(2027, 4, 3, 13, tzinfo=UTC)
    assert found.high == datetime(2027, 4, 3, 18, tzinfo=UTC)
    assert found.days == 2


def test_the_range_against_a_bootstrap_of_another_make() -> None:
    """The same draws made in plain Python, day by day, with other chances."""
    rates = [2.0, 2.4, 3.1, 2.7, 1.2]  # ha/h
    days = [worked(d, r * 10) for d, r in enumerate(rates, start=1)]
    now = datetime(2027, 4, 6, 6, tzinfo=UTC)
    found = forecast(150 * HECTARE_M2, days, EIGHT_TO_SIX, now, UTC)
    assert found is not None
    assert found.low is not None
    assert found.high is not None
    chance = np.random.default_rng(99)
    ends = []
    for _ in range(4000):
        left, hours = 150.0, 0.0
        while left > 0:
            rate = rates[int(chance.integers(5))]
            today = min(left / rate, 10.0)
            left -= rate * 10.0
            hours += today if left <= 0 else 10.0
        ends.append(hours)
    for moment, q in ((found.low, 0.1), (found.done_at, 0.5), (found.high, 0.9)):
        whole = (moment.date() - date(2027, 4, 6)).days
        worked_h = whole * 10 + moment.hour + moment.minute / 60 - 8
        assert worked_h == pytest.approx(float(np.quantile(ends, q)), abs=2.0)


def test_a_night_shift_goes_on_past_midnight() -> None:
    night = Hours(time(20), time(4))
    now = datetime(2027, 4, 4, 19, tzinfo=UTC)
    found = forecast(18 * HECTARE_M2, [worked(1, 30.0)], night, now, UTC)
    assert found is not None
    assert found.done_at == datetime(2027, 4, 5, 2, tzinfo=UTC)


def test_the_day_kept_is_by_the_local_clock() -> None:
    zone = ZoneInfo("Europe/London")
    days = [worked(1, 20.0, 7, 17), worked(2, 20.0, 8, 18), worked(3, 20.0, 6, 19)]
    kept = hours_kept(days, zone)
    assert kept is not None
    assert (kept.start, kept.stop, kept.kept) == (time(8), time(19), True)
    assert hours_kept([], zone) is None


def test_nothing_to_go_by_is_no_forecast() -> None:
    now = datetime(2027, 4, 4, tzinfo=UTC)
    assert forecast(1e5, [], EIGHT_TO_SIX, now, UTC) is None
    assert forecast(0.0, [worked(1, 30.0)], EIGHT_TO_SIX, now, UTC) is None
    assert forecast(1e5, [worked(1, 0.0)], EIGHT_TO_SIX, now, UTC) is None
    assert forecast(1e12, [worked(1, 0.01)], EIGHT_TO_SIX, now, UTC) is None


@given(
    st.lists(st.floats(1, 60), min_size=1, max_size=8),
    st.floats(0.1, 400),
    st.integers(0, 23),
    st.integers(0, 5),
)
@example([1.0, 11.0], 110.0, 17, 1)
def test_more_ground_and_lost_days_are_never_done_sooner(
    hectares: list[float], left_ha: float, hour: int, lost: int
) -> None:
    days = [worked(i + 1, ha) for i, ha in enumerate(hectares)]
    now = datetime(2027, 5, 1, hour, tzinfo=UTC)
    one = forecast(left_ha * HECTARE_M2, days, EIGHT_TO_SIX, now, UTC)
    more = forecast(2 * left_ha * HECTARE_M2, days, EIGHT_TO_SIX, now, UTC)
    later = forecast(left_ha * HECTARE_M2, days, EIGHT_TO_SIX, now, UTC, days_lost=lost)
    assert one
    assert more
    assert later
    assert now <= one.done_at <= more.done_at
    assert one.done_at <= later.done_at
    assert (one.low or one.done_at) <= one.done_at <= (one.high or one.done_at)
    assert 8 <= one.done_at.hour <= 18
