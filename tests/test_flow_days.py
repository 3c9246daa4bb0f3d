"""Working days: by the farm's clock, turning in the small hours, split rightly at clock changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oplog.flow.days import bounds, split, within, working_day
from oplog.track import track

ZONES = ("Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC")
TURNS = ("04:00", "00:00", "23:30")


@pytest.mark.parametrize(
    ("local", "day"),
    [
        ("2024-03-25T03:59:59+00:00", date(2024, 3, 24)),
        ("2024-03-25T04:00:00+00:00", date(2024, 3, 25)),
        ("2024-03-25T23:59:00+00:00", date(2024, 3, 25)),
        ("2024-07-01T03:30:00+01:00", date(2024, 6, 30)),
    ],
)
def test_the_day_turns_at_four(local: str, day: date) -> None:
    assert working_day(datetime.fromisoformat(local), "Europe/London", "04:00") == day


def test_days_of_23_and_25_hours() -> None:
    # British Summer Time 2024: from 31 March 01:00 UTC to 27 October 01:00 UTC (The Summer Time
    # Order 2002). The night belongs to the evening before.
    def hours(day: date) -> float:
        start, end = bounds(day, "Europe/London", "04:00")
        return (end - start) / timedelta(hours=1)

    assert hours(date(2024, 3, 30)) == 23
    assert hours(date(2024, 10, 26)) == 25
    assert hours(date(2024, 6, 1)) == 24


@given(
    st.datetimes(datetime(2000, 1, 1), datetime(2035, 1, 1), timezones=st.just(UTC)),
    st.sampled_from(ZONES),
    st.sampled_from(TURNS),
)
def test_every_moment_lies_in_its_day(moment: datetime, zone: str, turn: str) -> None:
    start, end = bounds(working_day(moment, zone, turn), zone, turn)
    assert start <= moment < end


@given(st.lists(st.integers(0, 5 * 86_400), min_size=1, max_size=60, unique=True))
def test_a_track_is_split_whole(seconds: list[int]) -> None:
    start = np.datetime64("2024-10-25T00:00:00", "us")
    times = start + np.array(sorted(seconds)) * np.timedelta64(1_000_000, "us")
    whole = track(times, np.zeros(len(times)), np.zeros(len(times)))
    days = list(split(whole, "Europe/London", "04:00"))
    assert sum(len(t) for _, t in days) == len(whole)
    assert [d for d, _ in days] == sorted({d for d, _ in days})
    for day, part in days:
        assert len(within(whole, *bounds(day, "Europe/London", "04:00"))) == len(part)
