"""Jobs as a table: how much is done and what is left."""

from __future__ import annotations

from datetime import date
from typing import Any

from oplog import ground
from oplog.events import JobPlanned
from oplog.fold import Farm
from oplog.sheets.table import Column, Table
from oplog.units import hectares


def jobs_table(farm: Farm, day: date) -> Table:
    """The planned jobs, open ones first, by deadline. day: whose boundaries count for fields that
    are not yet begun."""
    columns = (
        Column("job", "job"),
        Column("operation", "operation"),
        Column("crop", "crop"),
        Column("harvest_year", "harvest"),
        Column("fields", "fields"),
        Column("area_ha", "area", "ha"),
        Column("done_ha", "done", "ha"),
        Column("left_ha", "left", "ha"),
        Column("percent", "done", "%"),
        Column("by", "by"),
        Column("state", ""),
    )
    covered = ground.covered(farm)
    rows = [_row(farm, job, covered, day) for job in farm.jobs.values()]
    rows.sort(key=lambda r: (r[-1] == "closed", r[-2] or date.max, r[0].casefold()))
    return Table("", columns, tuple(rows))


def _row(farm: Farm, job: JobPlanned, covered: list[ground.Covered], day: date) -> tuple[Any, ...]:
    done_m2 = left_m2 = area_m2 = whole_m2 = 0.0
    for name in job.fields:
        passes = [c for c in covered if c.pass_number == 1 and _is_of(c, job, name)]
        boundary_m2 = farm.field(name, day).area_m2
        area_m2 += boundary_m2
        done_m2 += sum(c.done_m2 for c in passes)
        left_m2 += min((c.left_m2 for c in passes), default=boundary_m2)
        whole_m2 += max((c.croppable_m2 for c in passes), default=boundary_m2)
    return (
        job.job,
        job.operation,
        job.crop,
        job.harvest_year,
        len(job.fields),
        hectares(area_m2),
        hectares(done_m2),
        hectares(left_m2),
        100.0 * (1.0 - left_m2 / whole_m2) if whole_m2 else 0.0,
        job.by,
        _state(farm, job, left_m2),
    )


def _is_of(covered: ground.Covered, job: JobPlanned, field: str) -> bool:
    return (
        covered.field.name.casefold() == field.casefold()
        and covered.operation.casefold() == job.operation.casefold()
        and (job.harvest_year is None or covered.harvest_year == job.harvest_year)
        and (job.crop is None or (covered.crop or "").casefold() == job.crop.casefold())
    )


def _state(farm: Farm, job: JobPlanned, left_m2: float) -> str:
    if job.job.casefold() in farm.closed:
        return "closed"
    return "open" if left_m2 > 0 else "finished"
