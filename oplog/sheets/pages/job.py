"""The job sheet: its fields on one map, done and left, and its progress by day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from oplog import ground
from oplog.events import JobPlanned
from oplog.fold import Farm
from oplog.query import ask, records
from oplog.query.progress import Progress, progress
from oplog.sheets import figures as fig
from oplog.sheets.inputs import CAUTION
from oplog.sheets.jobs import job_parts
from oplog.sheets.pages.farmmap import NARROW, WIDTH, Ground, farm_map, together
from oplog.sheets.pages.jobs import job_line
from oplog.sheets.pages.progress import progress_chart
from oplog.sheets.pages.render import render
from oplog.sheets.table import METRIC
from oplog.sheets.unsettled import notices, of_jobs
from oplog.units import HECTARE_M2, HOUR_S


def job_page(
    farm: Farm,
    name: str,
    now: datetime,
    seal: str,
    *,
    customer: str | None = None,
    system: str = METRIC,
) -> str:
    """The HTML of a job's sheet. now: the forecast goes on from here.
    customer: whose part of a farm this is. Raises: UnknownName."""
    zone = ZoneInfo(farm.zone)
    planned = farm.job(name)
    (job,) = progress(farm, now, zone, job=name)
    days = records(ask(farm, "job_days", {"job": planned.job}))
    fields = list(job.fields)
    crop = f"{planned.crop} {planned.harvest_year or ''}".strip() if planned.crop else ""
    return render(
        "job.html",
        title=f"{planned.job}, {farm.name}",
        farm=farm.name,
        customer=customer,
        job=job_line(job.job, system),
        crop=crop,
        parts=[(a, b) for a, b in job_parts(job, now, zone, 0, system) if a != "fields"],
        maps=_maps(farm, planned, fields, now.astimezone(zone).date(), system),
        chart=progress_chart(job, days, now, zone, system),
        days=[_day(d, zone, system) for d in days],
        fields=[_field(i, f, system) for i, f in enumerate(fields, start=1)],
        needs=_has_needs(job),
        caution=CAUTION,
        method=_method(farm),
        unsettled=notices(farm, of_jobs(farm, [planned.job]), system),
        seal=seal,
    )


def _maps(
    farm: Farm, job: JobPlanned, fields: list[Mapping[str, Any]], today: date, system: str
) -> list[dict[str, Any]]:
    """A map for each group of fields that lie together."""
    covered = _covered(farm, job)
    grounds = []
    for number, row in enumerate(fields, start=1):
        key = row["field"].casefold()
        if key not in farm.fields:
            continue
        drawn = farm.field(key, today)
        best = min(covered.get(key, []), key=lambda c: c.left_m2, default=None)
        if best is None:
            left = None if row["state"] == "not measured" else drawn.boundary
            grounds.append(Ground(str(number), drawn.boundary, None, left, drawn.farm))
        else:
            ground = Ground(str(number), best.field.boundary, best.done, best.left, drawn.farm)
            grounds.append(ground)
    names = {row["field"].casefold() for row in fields}
    others = [farm.field(k, today) for k in farm.fields if k not in names]
    states = {str(i): f"{f['field']} is {f['state']}" for i, f in enumerate(fields, start=1)}
    groups = together(grounds)
    width = WIDTH if len(groups) == 1 else NARROW
    found = []
    for i, some in enumerate(groups):
        told = "; ".join(states[g.label] for g in some)
        drawing = farm_map(some, {}, others, f"job{i}", f"{told}.", system, width=width)
        found.append({"name": ", ".join(sorted({g.farm for g in some})), "map": drawing})
    return found


def _covered(farm: Farm, job: JobPlanned) -> dict[str, list[ground.Covered]]:
    """Passes that belong to a job, by field."""
    found: dict[str, list[ground.Covered]] = {}
    for c in ground.covered(farm, harvest_year=job.harvest_year):
        same = c.operation.casefold() == job.operation.casefold()
        if same and (job.crop is None or (c.crop or "").casefold() == job.crop.casefold()):
            found.setdefault(c.field.name.casefold(), []).append(c)
    return found


def _day(row: Mapping[str, Any], zone: ZoneInfo, system: str) -> dict[str, Any]:
    rate = row["rate_ha_h"]
    return {
        "day": row["day"].isoformat(),
        "period": " to ".join(
            f"{row[c].astimezone(zone):%H:%M}" for c in ("started_at", "ended_at")
        ),
        "worked": _area(row["worked_ha"], system),
        "rate": fig.rate(None if rate is None else rate * HECTARE_M2 / HOUR_S, system),
    }


def _field(number: int, row: Mapping[str, Any], system: str) -> dict[str, Any]:
    names = ("croppable_ha", "done_ha", "left_ha", "missed_ha")
    shown = {n.removesuffix("_ha"): _area(row[n], system) for n in names}
    state = row["state"]
    if row["unseen_ha"]:
        state += f"; {_area(row['unseen_ha'], system)} not looked at"
    return {"number": number, "field": row["field"], "state": state, **shown}


def _area(area_ha: float | None, system: str) -> str:
    return fig.area(None if area_ha is None else area_ha * HECTARE_M2, system)


def _has_needs(job: Progress) -> bool:
    return any(n.kind in ("spray", "fertiliser") for n in job.needs)


def _method(farm: Farm) -> str:
    return ", ".join(sorted({d.method for d in farm.days})) or "none used yet"
