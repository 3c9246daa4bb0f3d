"""A farm as one customer may see it: his ground, what was done on it, and nobody else's."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from oplog.events import (
    CustomerStated,
    Event,
    InputApplied,
    InputPlanned,
    JobPlanned,
    NoteWritten,
    VisitSaid,
    WorkMeasured,
)
from oplog.fold import Farm, Unsettled, of_subject, of_visits
from oplog.land import Field, on
from oplog.season.inputs import shares

E = TypeVar("E", bound=Event)


def stated_for(farm: Farm, field: Field) -> CustomerStated | None:
    """For whom work in a field is done; a field's own beats its farm's."""
    named = [c for c in farm.customers if field.name.casefold() in _folded(c.fields)]
    of_farm = [c for c in farm.customers if field.farm.casefold() in _folded(c.farms)]
    return next(iter(named or of_farm), None)


def for_customer(farm: Farm, customer: str, *, drivers: bool = False) -> Farm:
    """What there is to show a customer, as a farm of its own.

    Fields, visits, jobs and what went out are those of his ground; of an input that went to other
    ground too, his visits' share. No driver's name, unless asked for, and not who stated what. A
    job that names others is called by its operation; bouts end at his boundary. Days, tracks,
    roads, notes, entries and private places are not in it. What is unsettled of it is said without
    its versions.
    """
    own = _fields(farm, customer)
    called = jobs_called(farm, customer)
    held = [v for v in farm.visits if v.field.casefold() in own]
    visits = tuple(_seen(v, own, called, drivers=drivers) for v in held)
    jobs = {
        called[key].casefold(): _unsigned(
            j, job=called[key], fields=tuple(f for f in j.fields if f.casefold() in own)
        )
        for key, j in farm.jobs.items()
        if key in called
    }
    return Farm(
        name=farm.name,
        zone=farm.zone,
        day_turns_at=farm.day_turns_at,
        fields=own,
        crops={
            key: [_unsigned(c) for c in stated] for key, stated in farm.crops.items() if key in own
        },
        kit=farm.kit,
        jobs=jobs,
        closed=frozenset(called[key].casefold() for key in farm.closed & called.keys()),
        inputs=_inputs(farm, {v.event_id for v in visits}, called),
        needs=tuple(
            _unsigned(n, job=called[n.job.casefold()])
            for n in farm.needs
            if n.job.casefold() in called
        ),
        calibrations=tuple(_unsigned(c) for c in farm.calibrations),
        customers=tuple(
            _unsigned(c) for c in farm.customers if c.customer.casefold() == customer.casefold()
        ),
        prices=tuple(
            _unsigned(p)
            for p in farm.prices
            if (p.customer or customer).casefold() == customer.casefold()
        ),
        visits=visits,
        standing={
            v.event_id: at._replace(job=_called(at.job, called))
            for v, at in ((v, farm.standing[v.event_id]) for v in visits)
        },
        unsettled=_unsettled(farm, customer, held, own, called),
        memory=farm.memory,
    )


def jobs_called(farm: Farm, customer: str) -> dict[str, str]:
    """What a customer is told that the jobs on his ground are called, by the key of each. One
    that has a word in it of another customer's name or ground is called by its operation and crop.
    """
    own = _fields(farm, customer)
    strange = {w for c in farm.customers for w in _words(c.customer)}
    strange |= {w for d in farm.fields.values() for w in _words(d[-1].name, d[-1].farm)}
    strange -= _words(customer, *(n for d in own.values() for n in (d[-1].name, d[-1].farm)))
    found: dict[str, str] = {}
    for key, j in sorted(farm.jobs.items()):
        if any(f.casefold() in own for f in j.fields):
            plain = " ".join(filter(None, (j.operation, j.crop)))
            found[key] = plain if _words(j.job) & strange - _words(plain) else j.job
    taken: set[str] = set()
    for key, name in found.items():
        numbered = (f"{name} {n}" if n > 1 else name for n in range(1, len(found) + 2))
        found[key] = next(n for n in numbered if n.casefold() not in taken)
        taken.add(found[key].casefold())
    return found


def _words(*names: str) -> set[str]:
    """Words of names, but for the shortest, which are in any name."""
    return {w for name in names for w in re.findall(r"\w{3,}", name.casefold())}


def _called(job: str | None, called: Mapping[str, str]) -> str | None:
    return None if job is None else called.get(job.casefold())


def _fields(farm: Farm, customer: str) -> dict[str, list[Field]]:
    return {
        key: drawings
        for key, drawings in farm.fields.items()
        if (stated := stated_for(farm, drawings[-1])) is not None
        and stated.customer.casefold() == customer.casefold()
    }


def _seen(
    visit: WorkMeasured, fields: Mapping[str, list[Field]], called: Mapping[str, str], *,
    drivers: bool,
) -> WorkMeasured:  # fmt: skip
    """A visit as a customer may see it: its bouts no further than his boundary."""
    drawn = fields[visit.field.casefold()]
    return _unsigned(
        visit,
        driver=visit.driver if drivers else None,
        job=_called(visit.job, called),
        bouts=_within(visit.bouts, on(drawn, visit.day) or drawn[-1]),
    )


def _unsigned(event: E, **changes: Any) -> E:
    """An event without who stated it and why. It stays the same event, by the id it had."""
    seen = replace(event, stated_by=None, because=None, **changes)
    seen.__dict__["event_id"] = event.event_id
    return seen


def _within(bouts: bytes | None, field: Field) -> bytes | None:
    if bouts is None:
        return None
    import shapely

    cut = shapely.intersection(shapely.from_wkb(bouts), field.boundary)
    lines = [part for part in shapely.get_parts(cut) if part.geom_type == "LineString"]
    return bytes(shapely.to_wkb(shapely.MultiLineString(lines)))


def _unsettled(
    farm: Farm,
    customer: str,
    visits: Sequence[WorkMeasured],
    fields: Collection[str],
    called: Mapping[str, str],
) -> tuple[Unsettled, ...]:
    """What is unsettled of a customer's figures, without its versions: who stated what, of whom
    and when, is for those who settle it. Notes are not shown to a customer at all."""
    about = of_visits(
        farm,
        visits,
        fields=frozenset(fields),
        jobs=frozenset(called),
        customers=frozenset([customer.casefold()]),
        first=None,
        last=None,
    )
    days = {(v.machine.casefold(), v.day) for v in visits}
    found = []
    for u in of_subject(farm, about):
        stays = {e.field.casefold() for e in u.events if isinstance(e, WorkMeasured | VisitSaid)}
        elsewhere = stays and not stays & set(fields)
        other_day = u.machine is not None and (u.machine.casefold(), u.day) not in days
        if not (elsewhere or other_day or any(isinstance(e, NoteWritten) for e in u.events)):
            found.append(replace(u, what=_plainly(u, called), events=(), machine=None, day=None))
    return tuple(found)


def _plainly(matter: Unsettled, called: Mapping[str, str]) -> str:
    """A matter without amounts, fields and names of jobs, which may be others' as well."""
    if matter.machine is not None:
        return f"The work of {matter.machine} on {matter.day} waits to be measured again."
    given = next((e for e in matter.events if isinstance(e, InputApplied)), None)
    if given is not None:
        return f"What went out of {given.product} was stated more than once."
    job = next((e.job for e in matter.events if isinstance(e, JobPlanned | InputPlanned)), None)
    return matter.what.replace(job, called[job.casefold()]) if job else matter.what


def _inputs(farm: Farm, visits: set[str], called: Mapping[str, str]) -> tuple[InputApplied, ...]:
    """What went out on some visits: of an input that went elsewhere too, their share of it."""
    of: dict[str, float] = {}
    by_id = {i.event_id: i for i in farm.inputs}
    for given, visit, share in shares(farm):
        if visit.event_id in visits:
            of[given.event_id] = of.get(given.event_id, 0.0) + share
    return tuple(_part(by_id[i], share, called) for i, share in sorted(of.items()))


def _part(given: InputApplied, share: float, called: Mapping[str, str]) -> InputApplied:
    share = 1.0 if share > 1.0 - 1e-9 else share
    return _unsigned(
        given,
        job=_called(given.job, called),
        amount=given.amount * share,
        left_over=None if given.left_over is None else given.left_over * share,
        loads=None if given.loads is None else given.loads * share,
    )


def _folded(names: tuple[str, ...]) -> set[str]:
    return {n.casefold() for n in names}
