"""Which work an input went out with."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from oplog.events import InputApplied, WorkMeasured
from oplog.fold import Farm
from oplog.work.agronomy import OPERATIONS_OF


def visits_with(farm: Farm, given: InputApplied) -> list[WorkMeasured]:
    """The visits that an input went to: those that fit everything that was said of it.

    Where no operation was said, those of an operation that its kind can go out with (seed with
    drilling, fuel with anything) and that did some work.
    """
    able = (given.operation.casefold(),) if given.operation else OPERATIONS_OF.get(given.kind, ())
    return [
        v
        for v in farm.visits
        if v.working_s > 0
        and (not able or (v.operation or "").casefold() in able)
        and _fits(farm, given, v)
    ]


def shares(farm: Farm) -> Iterator[tuple[InputApplied, WorkMeasured, float]]:
    """Every input with each of its visits, and the visit's share of it: by ground covered, for
    fuel (and where no ground is known) by time in the field. A share of one input adds up to 1."""
    for given in farm.inputs:
        visits = visits_with(farm, given)
        weights = [v.applied_m2 or v.worked_m2 or 0.0 for v in visits]
        if given.kind == "fuel" or not sum(weights):
            weights = [(v.ended_at - v.started_at).total_seconds() for v in visits]
        for v, weight in zip(visits, weights, strict=True):
            yield given, v, weight / (sum(weights) or 1.0)


def _fits(farm: Farm, given: InputApplied, visit: WorkMeasured) -> bool:
    job = farm.standing[visit.event_id].job
    return (
        _same(given.job, job)
        and _same(given.field, visit.field)
        and _same(given.machine, visit.machine)
        and given.day in (None, visit.day)
        and (given.visit in (None, visit.visit) or _overlaps(given, visit))
    )


def _same(said: str | None, is_: str | None) -> bool:
    return not said or said.casefold() == (is_ or "").casefold()


def _overlaps(given: InputApplied, visit: WorkMeasured) -> bool:
    """A visit measured again with more fixes has another id, but the same place and time."""
    if given.started_at is None or given.ended_at is None:
        return False
    start: datetime = max(given.started_at, visit.started_at)
    shared_s = (min(given.ended_at, visit.ended_at) - start).total_seconds()
    return shared_s > (given.ended_at - given.started_at).total_seconds() / 2
