"""Dates from receivers whose week counter has run over.

GPS counts weeks in ten bits, so a receiver from before a rollover (1999-08-22, 2019-04-07) can
write dates that are 1024 weeks off, either way. A file alone cannot tell: what is suspected here
is offered to the person, and used only when he says so.

Source: GPS.gov, "GPS week number rollover"; epoch 1980-01-06, 1024 weeks = 7168 days.
"""

from __future__ import annotations

from datetime import date, datetime

import numpy as np

CYCLE_DAYS = 1024 * 7


def suspect_rollover(first_time: np.datetime64 | datetime | date, today: date) -> int | None:
    """How many days to add to the dates of a track so that they fall in the last 1024 weeks.

    first_time: time of the track's first fix, UTC; today: the day of the import.
    Returns: a multiple of 7168 [day] where the track begins 1024 weeks or more ago, or after
    tomorrow; None where its date can be right, or is no date.
    """
    day = _day(first_time)
    if day is None:
        return None
    # one day's grace, for zones ahead of UTC
    age_days = (today - day).days + 1
    cycles = age_days // CYCLE_DAYS
    return cycles * CYCLE_DAYS or None


def _day(moment: np.datetime64 | datetime | date) -> date | None:
    if isinstance(moment, np.datetime64):
        days = moment.astype("datetime64[D]").item()
        return days if isinstance(days, date) else None
    return moment.date() if isinstance(moment, datetime) else moment
