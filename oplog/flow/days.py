"""Working days: a local day that turns in the small hours, so that a night's work is one day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from oplog.track import Track


def working_day(moment: datetime, zone: str, day_turns_at: str) -> date:
    """The working day that a moment belongs to, by the farm's clock."""
    local = moment.astimezone(ZoneInfo(zone))
    return local.date() - timedelta(days=local.time() < time.fromisoformat(day_turns_at))


def bounds(day: date, zone: str, day_turns_at: str) -> tuple[datetime, datetime]:
    """Start and end of a working day in UTC; 23 or 25 hours long where the clocks change."""
    turn, local = time.fromisoformat(day_turns_at), ZoneInfo(zone)
    return (
        datetime.combine(day, turn, local).astimezone(UTC),
        datetime.combine(day + timedelta(days=1), turn, local).astimezone(UTC),
    )


def split(track: Track, zone: str, day_turns_at: str) -> Iterator[tuple[date, Track]]:
    """The working days of a track sorted by time, and each day's fixes."""
    row = 0
    while row < len(track):
        day = working_day(moment(track.time[row]), zone, day_turns_at)
        end = int(np.searchsorted(track.time, stamp(bounds(day, zone, day_turns_at)[1])))
        end = max(end, row + 1)
        yield day, track.take(slice(row, end))
        row = end


def within(track: Track, started_at: datetime, ended_at: datetime) -> Track:
    """The fixes of a sorted track from one moment up to, not including, another."""
    start, end = np.searchsorted(track.time, [stamp(started_at), stamp(ended_at)])
    return track.take(slice(int(start), int(end)))


def stamp(moment: datetime) -> np.datetime64:
    """A time with zone as numpy holds it: UTC, microseconds."""
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "us")


def moment(time: np.datetime64) -> datetime:
    """A numpy time as a time with zone."""
    return time.astype("datetime64[us]").item().replace(tzinfo=UTC)  # type: ignore[no-any-return]
