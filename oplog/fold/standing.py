"""Which crop, harvest year and job a visit counts to."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from operator import attrgetter

from oplog.events import CropStated, JobPlanned, VisitSaid, WorkMeasured
from oplog.fold.settle import shared_s

HARVESTING = frozenset({"combining", "harvesting", "forage harvesting", "lifting", "picking"})
"""Operations after which the ground is free for the next crop. Mowing is not one: grass is cut
several times a year."""

GATHERING = frozenset({"raking", "baling"})
"""Operations that still belong to the crop just harvested: its straw."""

HARVEST_LASTS = timedelta(days=60)
"""Harvesting again within this time is the same harvest; straw is gathered within it."""


def crop_of_visits(
    visits: Sequence[WorkMeasured], crops: Mapping[str, Sequence[CropStated]]
) -> dict[str, CropStated | None]:
    """Crop of each visit, by event id; None, or no word of it, where none is stated: stubble or
    bare soil.

    Of a field's crops in order of harvest year, a visit counts to the first that is not over. A
    crop is over once it is harvested, or once the stated first day of a later one is reached.
    Crops whose first day is not reached are passed by while another is there; else the first of
    them is taken. The harvest year comes from what was stated, never from a date alone.
    """
    result: dict[str, CropStated | None] = {}
    if not crops:
        return result
    by_field: dict[str, list[WorkMeasured]] = defaultdict(list)
    for v in visits:
        by_field[v.field].append(v)
    stays_of: dict[str, list[WorkMeasured]] = defaultdict(list)
    for name, stays in by_field.items():
        stays_of[name.casefold()] += stays
    for key in stays_of.keys() & crops.keys():
        stays = sorted(stays_of[key], key=attrgetter("started_at", "event_id"))
        result |= _along_field(stays, crops[key])
    return result


def _along_field(
    visits: Sequence[WorkMeasured], crops: Sequence[CropStated]
) -> dict[str, CropStated | None]:
    """Visits of one field in order of start."""
    result: dict[str, CropStated | None] = {}
    first_days = sorted(c.valid_from for c in crops if c.valid_from is not None)
    known: dict[tuple[object, ...], CropStated | None] = {}
    over = 0
    harvested: CropStated | None = None
    harvested_at: datetime | None = None
    for v in visits:
        operation = (v.operation or "").casefold()
        lately = harvested_at is not None and v.started_at - harvested_at <= HARVEST_LASTS
        if lately and operation in HARVESTING | GATHERING:
            result[v.event_id] = harvested
        else:
            harvest = v.day.year if operation in HARVESTING else None
            # Between two first days, and two New Years, the answer is the same.
            case = (harvest, over, bisect_right(first_days, v.day))
            if case not in known:
                able = crops if harvest is None else _could_stand(crops, v.day)
                known[case] = _first_not_over(able, min(over, len(able)), v.day)
            result[v.event_id] = known[case]
        if operation in HARVESTING and v.working_s > 0:
            harvested, harvested_at = result[v.event_id], v.ended_at
            over = max(over, crops.index(harvested) + 1) if harvested else over
    return result


def _could_stand(crops: Sequence[CropStated], day: date) -> Sequence[CropStated]:
    """Crops that may be harvested on a day: an unsown crop of a later year is not one, so that
    a harvest before the log knew its crop does not use up the next one."""
    ripe = [
        c.harvest_year <= day.year or (c.valid_from is not None and c.valid_from <= day)
        for c in crops
    ]
    return crops[: ripe.index(False)] if False in ripe else crops


def _first_not_over(crops: Sequence[CropStated], over: int, day: date) -> CropStated | None:
    begun = [i for i, c in enumerate(crops) if c.valid_from is not None and c.valid_from <= day]
    left = crops[max([over, *begun]) :]
    reached = [c for c in left if c.valid_from is None or c.valid_from <= day]
    return next(iter(reached or left), None)


def job_of(
    visit: WorkMeasured,
    crop: str | None,
    harvest_year: int | None,
    jobs: Sequence[JobPlanned],
    said_there: Sequence[VisitSaid],
) -> str | None:
    """The job that a visit belongs to.

    jobs: those that are planned for its operation and field (see `jobs_by_work`). said_there:
    what was said of this machine in this field.
    What was said of the visit holds; else the planned job of the same operation with this field
    among its fields and, where it states them, this crop and harvest year. Of several, the one
    due first on or after the visit's day, else the one due last.
    """
    if visit.job:
        return visit.job
    if not jobs and not said_there:
        return None
    if named := _job_said(visit, said_there):
        return named
    fitting = sorted(
        (j for j in jobs if _fits(j, crop, harvest_year)),
        key=lambda j: (j.by or date.max, j.job),
    )
    ahead = [j for j in fitting if (j.by or date.max) >= visit.day]
    return next((j.job for j in ahead or fitting[-1:]), None)


def _job_said(visit: WorkMeasured, said: Sequence[VisitSaid]) -> str | None:
    shares = [
        (shared_s(visit, s), s.event_id, s.job) for s in said if s.job and shared_s(visit, s) > 0
    ]
    return max(shares)[2] if shares else None


def jobs_by_work(jobs: Iterable[JobPlanned]) -> dict[tuple[str, str], list[JobPlanned]]:
    """The jobs of each operation and field, both casefolded."""
    found: dict[tuple[str, str], list[JobPlanned]] = defaultdict(list)
    for job in jobs:
        for field in {f.casefold() for f in job.fields}:
            found[job.operation.casefold(), field].append(job)
    return found


def _fits(job: JobPlanned, crop: str | None, harvest_year: int | None) -> bool:
    return job.harvest_year in (None, harvest_year) and (
        job.crop is None or job.crop.casefold() == (crop or "").casefold()
    )
