"""A job's progress as a chart: ground done by day, when the rest will be, and the deadline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta, tzinfo
from itertools import pairwise
from typing import Any

from oplog.query.progress import Progress
from oplog.records import dataclass
from oplog.sheets import figures as fig
from oplog.sheets.pages.chart import Axis, Mark, polyline, round_days, round_values, short_day
from oplog.sheets.pages.labels import Box, Label, place
from oplog.sheets.table import METRIC
from oplog.units import HECTARE_M2, acres

WIDTH, HEIGHT = 340.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 34.0, 330.0, 16.0, 168.0
ROOM_TO_SAY = 12.0
"""A line ahead shorter than this is not labelled: the caption names it."""


@dataclass(frozen=True)
class Chart:
    """Paths and words of the chart. [unit] band: where the forecast lies 8 times in 10."""

    width: float
    height: float
    days: tuple[Mark, ...]
    amounts: tuple[Mark, ...]
    unit: str
    done: str
    band: str
    ahead: str
    whole: float
    deadline: float | None
    labels: tuple[Label, ...]
    told: str


def progress_chart(
    job: Progress, days: Sequence[Mapping[str, Any]], now: datetime, zone: tzinfo, system: str
) -> Chart | None:
    """The chart of a job; None where nothing of it was done. days: rows of `job_days`."""
    whole_ha = job.job["area_ha"]
    worked = [d for d in days if d["worked_ha"]]
    if not worked or not whole_ha:
        return None
    turn = 1.0 if system == METRIC else acres(HECTARE_M2)
    ends = [d["ended_at"] for d in worked]
    ahead = job.forecast if job.job["state"] == "open" else None
    if ahead:
        ends += [m for m in (ahead.done_at, ahead.high) if m]
    if job.deadline_at:
        ends.append(job.deadline_at)
    first = worked[0]["started_at"].astimezone(zone).replace(hour=0, minute=0, second=0)
    last = max(ends) + timedelta(hours=12)
    x = Axis(first.timestamp(), last.timestamp(), LEFT, RIGHT)
    cumulated = _cumulated(worked)
    values = round_values(max(whole_ha, cumulated[-1][1]) * turn)
    y = Axis(0.0, values[-1] / turn, BOTTOM, TOP)
    done = [(x.at(t.timestamp()), y.at(v)) for t, v in cumulated]
    wedge, line = _ahead(ahead, max(now, worked[-1]["ended_at"]), cumulated[-1][1], whole_ha, x, y)
    deadline = x.at(job.deadline_at.timestamp()) if job.deadline_at else None
    marks = [
        Mark(x.at(datetime(d.year, d.month, d.day, tzinfo=zone).timestamp()), short_day(d))
        for d in round_days(first.date(), last.astimezone(zone).date())
    ]
    return Chart(
        WIDTH, HEIGHT,
        tuple(m for m in marks if m.at <= RIGHT - 10),
        tuple(Mark(y.at(v / turn), f"{v:g}") for v in values),
        "ha" if system == METRIC else "acres",
        polyline(done), wedge, polyline(line) if line else "", y.at(whole_ha), deadline,
        _labels(job, done, whole_ha, y, deadline, line, system),
        _told(job, worked, system),
    )  # fmt: skip


def _cumulated(days: Sequence[Mapping[str, Any]]) -> list[tuple[datetime, float]]:
    total = 0.0
    found = []
    for day in days:
        found.append((day["started_at"], total))
        total += day["worked_ha"]
        found.append((day["ended_at"], total))
    return found


def _ahead(
    ahead: Any, now: datetime, done_ha: float, whole_ha: float, x: Axis, y: Axis
) -> tuple[str, list[tuple[float, float]]]:
    """The band of the forecast, and the points of its middle line."""
    if ahead is None:
        return "", []
    start, top = (x.at(now.timestamp()), y.at(done_ha)), y.at(whole_ha)
    middle = [start, (x.at(ahead.done_at.timestamp()), top)]
    if not (ahead.low and ahead.high):
        return "", middle
    ends = [(x.at(m.timestamp()), top) for m in (ahead.low, ahead.high)]
    return polyline([start, *ends]) + "z", middle


def _labels(
    job: Progress,
    done: Sequence[tuple[float, float]],
    whole_ha: float,
    y: Axis,
    deadline: float | None,
    ahead: Sequence[tuple[float, float]],
    system: str,
) -> tuple[Label, ...]:
    paper = Box(LEFT + 2, 1.0, WIDTH - 2, BOTTOM - 2)
    top = y.at(whole_ha)
    taken = [
        Box(px - 3, py - 3, px + 3, py + 3)
        for a, b in pairwise([*done, *ahead])
        for px, py in _along(a, b)
    ]
    taken.append(Box(LEFT, top - 1.5, RIGHT, top + 1.5))
    if deadline is not None:
        taken.append(Box(deadline - 1.5, TOP, deadline + 1.5, BOTTOM))
    wanted = [
        (f"{fig.area(whole_ha * HECTARE_M2, system)} in all", LEFT + 40, top),
        (f"{fig.area((job.job['done_ha'] or 0) * HECTARE_M2, system)} done", *done[-1]),
    ]
    if deadline is not None:
        wanted.append((f"by {short_day(job.job['by'])}", deadline, BOTTOM - 20))
    if ahead and ahead[-1][0] - ahead[0][0] > ROOM_TO_SAY:
        middle = ((ahead[0][0] + ahead[-1][0]) / 2, (ahead[0][1] + ahead[-1][1]) / 2)
        wanted.append(("expected", *middle))
    found = []
    for text, px, py in wanted:
        label = place(text, px, py, taken, paper)
        if label:
            taken.append(label.box)
            found.append(label)
    return tuple(found)


def _along(a: tuple[float, float], b: tuple[float, float]) -> list[tuple[float, float]]:
    """Points along a line, not more than 5 units apart."""
    steps = int(max(abs(b[0] - a[0]), abs(b[1] - a[1])) / 5) + 1
    return [
        (a[0] + (b[0] - a[0]) * i / steps, a[1] + (b[1] - a[1]) * i / steps)
        for i in range(steps + 1)
    ]


def _told(job: Progress, days: Sequence[Mapping[str, Any]], system: str) -> str:
    each = "; ".join(
        f"{short_day(d['day'])} {fig.area(d['worked_ha'] * HECTARE_M2, system)}" for d in days
    )
    return f"Ground worked by day: {each}. Of {fig.area(job.job['area_ha'] * HECTARE_M2, system)}."
