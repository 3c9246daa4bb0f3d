"""Jobs: an operation over some fields, planned and closed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from oplog.errors import OplogError
from oplog.events import Event, JobClosed, JobPlanned
from oplog.flow.history import read, stated
from oplog.flow.listing import fields_on
from oplog.flow.operations import refuse_slips
from oplog.fold import Farm
from oplog.log import Entry, Log


def plan(
    log: Log,
    job: str,
    operation: str,
    *,
    today: date,
    fields: Sequence[str] = (),
    farm: str | None = None,
    crop: str | None = None,
    harvest_year: int | None = None,
    by: date | None = None,
    command: str = "plan",
) -> JobPlanned:
    """Plan a job over named fields, the fields of a farm, or those of a crop.

    Planning a job of a name that is there takes its place. Crop and harvest year are those of the
    fields where they agree. Raises: UnknownName, OplogError.
    """
    history = read(log)
    refuse_slips(history.farm, operation)
    chosen = _chosen(history.farm, fields, farm, crop, harvest_year, today)
    crops = _common_crop(history.farm, chosen, harvest_year)
    if by is not None and by < today:
        raise OplogError(f"The deadline {by.isoformat()} is past.")
    before = [j.event_id for j in history.of(JobPlanned) if j.job.casefold() == job.casefold()]
    event = JobPlanned(
        job=job,
        operation=operation,
        fields=tuple(chosen),
        crop=crop or (crops[0] if crops else None),
        harvest_year=harvest_year or (crops[1] if crops else None),
        by=by,
        supersedes=tuple(before),
        **stated(),
    )
    history.append([event], command=command)
    return event


def close(log: Log, job: str, because: str | None = None, command: str = "close") -> Entry:
    """Close a job, done or not. Raises: UnknownName, OplogError."""
    history = read(log)
    planned = history.farm.job(job)
    if planned.job.casefold() in history.farm.closed:
        raise OplogError(f"The job {planned.job} is closed already.")
    event: Event = JobClosed(job=planned.job, because=because, **stated())
    return history.append([event], command=command)


def _chosen(
    farm: Farm,
    fields: Sequence[str],
    block: str | None,
    crop: str | None,
    harvest_year: int | None,
    today: date,
) -> list[str]:
    if fields:
        return [farm.field(f).name for f in fields]
    chosen = [f.name for f in fields_on(farm, today)]
    if block is not None:
        of_block = {f.name for f in fields_on(farm, today) if f.farm.casefold() == block.casefold()}
        chosen = [f for f in chosen if f in of_block]
    if crop is not None:
        chosen = [f for f in chosen if _has_crop(farm, f, crop, harvest_year)]
    if block is None and crop is None:
        raise OplogError("Say which ground: --fields NAME (again for more), --farm or --crop.")
    if not chosen:
        what = " ".join(filter(None, (crop, f"on {block}" if block else None)))
        raise OplogError(f"No field fits ({what}). Nothing was planned. 'oplog land' lists them.")
    return chosen


def _has_crop(farm: Farm, field: str, crop: str, harvest_year: int | None) -> bool:
    return any(
        c.crop.casefold() == crop.casefold() and harvest_year in (None, c.harvest_year)
        for c in farm.crops.get(field.casefold(), ())
    )


def _common_crop(
    farm: Farm, fields: Sequence[str], harvest_year: int | None
) -> tuple[str, int] | None:
    """Crop and harvest year that all the fields have as their newest, or of the year named."""
    found = set()
    for field in fields:
        stated_here = [
            c
            for c in farm.crops.get(field.casefold(), ())
            if harvest_year in (None, c.harvest_year)
        ]
        found.add((stated_here[-1].crop, stated_here[-1].harvest_year) if stated_here else None)
    return found.pop() if len(found) == 1 else None
