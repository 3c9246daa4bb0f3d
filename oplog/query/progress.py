"""How far the jobs are, and when they will be done: what SQL says, and a forecast on top of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

from oplog.events import WorkMeasured
from oplog.fold import Farm
from oplog.query import ask, records
from oplog.records import dataclass
from oplog.season.forecast import Forecast, Hours, WorkedDay, forecast, hours_kept
from oplog.units import HECTARE_M2


@dataclass(frozen=True)
class Need:
    """A product that a job still needs. rate: a hectare, in `unit`; planned: as planned, else as
    it went out so far. needed: for the ground left."""

    product: str
    kind: str
    unit: str
    rate: float
    planned: bool
    used: float | None
    needed: float


@dataclass(frozen=True)
class Progress:
    """A job. job: its row of the question `jobs`; fields: rows of `job_fields`.

    hours: the working day reckoned with; None where no day tells and none was stated.
    like: days of the same operation that stood in, where the job has none of its own.
    deadline_at: end of the working day of the deadline.
    """

    job: Mapping[str, Any]
    fields: tuple[Mapping[str, Any], ...]
    needs: tuple[Need, ...]
    hours: Hours | None
    forecast: Forecast | None
    like: int
    deadline_at: datetime | None


def progress(
    farm: Farm,
    now: datetime,
    zone: tzinfo,
    *,
    job: str | None = None,
    start: str | None = None,
    stop: str | None = None,
    days_lost: int = 0,
) -> list[Progress]:
    """The jobs, open ones first, by deadline.

    now: work goes on from here. start, stop: the working day as HH:MM where it is stated; else as
    it was kept. Raises: UnknownName for the job.
    """
    name = farm.job(job).job if job else None
    fields: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for row in records(ask(farm, "job_fields", {"job": name})):
        fields[row["job"]].append(row)
    needs = records(ask(farm, "job_needs", {"job": name}))
    found = []
    for row in records(ask(farm, "jobs", {"job": name})):
        own = [n for n in needs if n["job"].casefold() == row["job"].casefold()]
        days, like = _days(farm, row)
        hours = _hours(days, zone, start, stop)
        left_m2 = (row["left_ha"] or 0.0) * HECTARE_M2
        done = None
        if row["state"] == "open" and hours:
            done = forecast(left_m2, days, hours, now, zone, days_lost=days_lost)
        found.append(
            Progress(
                row, tuple(fields[row["job"]]), tuple(_needs(own, row)), hours, done, like,
                _deadline(row["by"], hours, zone),
            )
        )  # fmt: skip
    order = {"open": 0, "finished": 1, "closed": 2}
    found.sort(key=lambda p: (order[p.job["state"]], p.job["by"] or date.max, p.job["job"]))
    return found


def _days(farm: Farm, row: Mapping[str, Any]) -> tuple[list[WorkedDay], int]:
    """The job's own days; else those of the same operation in the log, and how many."""
    name, operation = row["job"].casefold(), row["operation"].casefold()
    work = [v for v in farm.visits if v.working_s > 0 and v.worked_m2]
    own = [v for v in work if (farm.standing[v.event_id].job or "").casefold() == name]
    if own:
        return _worked(own), 0
    like = _worked([v for v in work if (v.operation or "").casefold() == operation])
    return like, len(like)


def _worked(visits: Sequence[WorkMeasured]) -> list[WorkedDay]:
    by_day: dict[date, list[WorkMeasured]] = defaultdict(list)
    for v in visits:
        by_day[v.day].append(v)
    return [
        WorkedDay(
            day,
            min(v.started_at for v in some),
            max(v.ended_at for v in some),
            sum(v.worked_m2 or 0.0 for v in some),
        )
        for day, some in sorted(by_day.items())
    ]


def _hours(
    days: Sequence[WorkedDay], zone: tzinfo, start: str | None, stop: str | None
) -> Hours | None:
    from datetime import time

    kept = hours_kept(days, zone)
    if start is None and stop is None:
        return kept
    if kept is None and (start is None or stop is None):
        return None
    begin = time.fromisoformat(start) if start else kept.start if kept else time(0)
    end = time.fromisoformat(stop) if stop else kept.stop if kept else time(0)
    return Hours(begin, end)


def _needs(rows: Sequence[Mapping[str, Any]], job: Mapping[str, Any]) -> list[Need]:
    left_ha = job["left_ha"] or 0.0
    found = []
    for n in rows:
        rate = n["planned_rate"] if n["planned_rate"] is not None else n["used_rate"]
        if rate is not None and n["kind"] != "fuel":
            planned = n["planned_rate"] is not None
            found.append(
                Need(n["product"], n["kind"], n["unit"], rate, planned, n["used"], rate * left_ha)
            )
    return found


def _deadline(by: date | None, hours: Hours | None, zone: tzinfo) -> datetime | None:
    if by is None:
        return None
    if hours is None:
        return datetime.combine(by + timedelta(days=1), datetime.min.time(), zone)
    start = datetime.combine(by, hours.start, zone)
    return start + timedelta(seconds=hours.length_s)
