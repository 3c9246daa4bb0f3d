"""When a job is done, from the days it was worked on.

A day's rate is what was done on it per hour from the first start to the last stop, so that breaks,
roads and filling are in it as they fell. The days ahead are drawn from the days behind, with
repetition (Efron, "Bootstrap methods: another look at the jackknife", Annals of Statistics 7,
1979), a thousand times over; the middle draw is the forecast, the tenth part at either end is left
out of the range. The draws are the same each time, so that the same log gives the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta, tzinfo
from statistics import median

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass

DRAWS = 1000
RANGE = (0.1, 0.9)
"""Eight times in ten the work is done within the range, if the days ahead are like those behind."""
FARTHEST_DAYS = 3650
FEWEST_DAYS = 2
"""With fewer days behind there is no range to draw."""


@dataclass(frozen=True)
class WorkedDay:
    """A day of a job. started_at, ended_at: with zone, first start and last stop in fields."""

    day: date
    started_at: datetime
    ended_at: datetime
    worked_m2: float

    @property
    def rate_m2_s(self) -> float:
        """Ground done per time from first start to last stop."""
        return self.worked_m2 / max((self.ended_at - self.started_at).total_seconds(), 1.0)


@dataclass(frozen=True)
class Hours:
    """A working day by the local clock. kept: as worked so far, rather than stated."""

    start: time
    stop: time
    kept: bool = False

    @property
    def length_s(self) -> float:
        """Seconds from start to stop; a stop at or before the start is on the next day."""
        length = _s(self.stop) - _s(self.start)
        return length if length > 0 else length + 86_400.0


@dataclass(frozen=True)
class Forecast:
    """When a job is done. low and high: None where too few days tell. days: those drawn from."""

    done_at: datetime
    low: datetime | None
    high: datetime | None
    days: int
    m2_a_day: float


def hours_kept(days: Sequence[WorkedDay], zone: tzinfo) -> Hours | None:
    """The middle of the starts and of the stops so far, to the minute; None for no days."""
    if not days:
        return None
    starts, stops = [], []
    for d in days:
        start = d.started_at.astimezone(zone)
        starts.append(_s(start.time()))
        stops.append(_s(start.time()) + (d.ended_at - d.started_at).total_seconds())
    return Hours(_time(median(starts)), _time(median(stops)), kept=True)


def forecast(
    left_m2: float,
    days: Sequence[WorkedDay],
    hours: Hours,
    now: datetime,
    zone: tzinfo,
    *,
    days_lost: int = 0,
) -> Forecast | None:
    """When the ground left is done, if every day is worked from start to stop.

    now: work goes on from here; days_lost: days on which nothing can be done, before that.
    None where no day has been worked, or the work would take longer than ten years.
    """
    rates = np.array([d.rate_m2_s for d in days if d.worked_m2 > 0])
    if not len(rates) or left_m2 <= 0:
        return None
    first, first_s = _first_day(now, hours, zone)
    length_s = hours.length_s
    usual_m2 = float(np.mean(rates)) * length_s
    if left_m2 / (float(np.min(rates)) * length_s) > FARTHEST_DAYS / 2:
        return None
    first += timedelta(days=days_lost)
    if days_lost:
        first_s = 0.0
    worked_s = _drawn_s(left_m2, rates, length_s, length_s - first_s, days_lost)
    moments = [_moment(s, first, first_s, hours, zone) for s in _quantiles(worked_s)]
    tells = len(rates) >= FEWEST_DAYS
    return Forecast(
        moments[1],
        moments[0] if tells else None,
        moments[2] if tells else None,
        len(rates),
        usual_m2,
    )


def _drawn_s(
    left_m2: float, rates: NDArray[np.float64], length_s: float, first_s: float, days_lost: int
) -> NDArray[np.float64]:
    """Working seconds to the end in each draw; the first day that is worked has first_s left of
    it. Lost days are drawn like any other, or what comes after them would be drawn otherwise and
    could end sooner for their loss."""
    chance = np.random.Generator(np.random.PCG64(0))
    need = left_m2 / (np.min(rates) * length_s)
    count = int(np.ceil(need)) + 2 + days_lost
    # Day by day, so that more days ahead leave the first ones as they were drawn.
    drawn = rates[chance.integers(0, len(rates), (count, DRAWS)).T]
    room_s = np.full(count, length_s)
    room_s[:days_lost] = 0.0
    room_s[days_lost] = first_s
    done = np.cumsum(drawn * room_s, axis=1)
    last = np.argmax(done >= left_m2, axis=1)
    rows = np.arange(DRAWS)
    before = np.where(last > 0, done[rows, last - 1], 0.0)
    before_s = np.where(last > 0, np.cumsum(room_s)[last - 1], 0.0)
    return np.asarray(before_s + (left_m2 - before) / drawn[rows, last])


def _quantiles(worked_s: NDArray[np.float64]) -> list[float]:
    ends = np.quantile(worked_s, [RANGE[0], 0.5, RANGE[1]], method="inverted_cdf")
    return [float(s) for s in ends]


def _first_day(now: datetime, hours: Hours, zone: tzinfo) -> tuple[date, float]:
    """The day on which work goes on, and the seconds of it that are gone."""
    local = now.astimezone(zone)
    started = datetime.combine(local.date(), hours.start, zone)
    gone_s = (local - started).total_seconds()
    if gone_s >= hours.length_s:
        return local.date() + timedelta(days=1), 0.0
    return local.date(), max(gone_s, 0.0)


def _moment(
    worked_s: float, first: date, first_gone_s: float, hours: Hours, zone: tzinfo
) -> datetime:
    """The moment at which so many working seconds are done."""
    total_s = worked_s + first_gone_s
    whole = int(total_s // hours.length_s)
    rest_s = total_s - whole * hours.length_s
    if rest_s < 1e-6 and whole > 0:
        whole, rest_s = whole - 1, hours.length_s
    start = datetime.combine(first + timedelta(days=whole), hours.start, zone)
    return start + timedelta(seconds=rest_s)


def _s(clock: time) -> float:
    return clock.hour * 3600 + clock.minute * 60 + clock.second


def _time(seconds: float) -> time:
    minutes = round(seconds / 60) % (24 * 60)
    return time(minutes // 60, minutes % 60)
