"""A farm as one customer may see it: his ground, what was done on it, and nobody else's."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from oplog.events import CustomerStated, InputApplied, NoteWritten, VisitSaid, WorkMeasured
from oplog.fold import Farm, Unsettled, of_subject, of_visits
from oplog.land import Field
from oplog.season.inputs import shares


def stated_for(farm: Farm, field: Field) -> CustomerStated | None:
    """For whom work in a field is done; a field's own beats its farm's."""
    named = [c for c in farm.customers if field.name.casefold() in _folded(c.fields)]
    of_farm = [c for c in farm.customers if field.farm.casefold() in _folded(c.farms)]
    return next(iter(named or of_farm), None)


def for_customer(farm: Farm, customer: str, *, drivers: bool = False) -> Farm:
    """What there is to show a customer, as a farm of its own.

    Fields, visits, jobs and what went out are those of his ground; of an input that went to other
    ground too, his visits' share. No driver's name, unless asked for. Days, tracks, roads, notes,
    entries and private places are not in it. What is unsettled of it is said without its versions.
    """
    own = {
        key: drawings
        for key, drawings in farm.fields.items()
        if (stated := stated_for(farm, drawings[-1])) is not None
        and stated.customer.casefold() == customer.casefold()
    }
    visits = tuple(
        v if drivers else replace(v, driver=None) for v in farm.visits if v.field.casefold() in own
    )
    # Whose name is left out makes it no other event: standing is found by the id it had.
    for seen, v in zip(visits, (v for v in farm.visits if v.field.casefold() in own), strict=True):
        seen.__dict__["event_id"] = v.event_id
    jobs = {
        key: replace(j, fields=tuple(f for f in j.fields if f.casefold() in own))
        for key, j in farm.jobs.items()
        if any(f.casefold() in own for f in j.fields)
    }
    return Farm(
        name=farm.name,
        zone=farm.zone,
        day_turns_at=farm.day_turns_at,
        fields=own,
        crops={key: held for key, held in farm.crops.items() if key in own},
        kit=farm.kit,
        jobs=jobs,
        closed=farm.closed & jobs.keys(),
        inputs=_inputs(farm, {v.event_id for v in visits}),
        needs=tuple(n for n in farm.needs if n.job.casefold() in jobs),
        calibrations=farm.calibrations,
        customers=tuple(c for c in farm.customers if c.customer.casefold() == customer.casefold()),
        prices=tuple(
            p for p in farm.prices if (p.customer or customer).casefold() == customer.casefold()
        ),
        visits=visits,
        standing={v.event_id: farm.standing[v.event_id] for v in visits},
        unsettled=_unsettled(farm, customer, visits, own, jobs),
        memory=farm.memory,
    )


def _unsettled(
    farm: Farm,
    customer: str,
    visits: Sequence[WorkMeasured],
    fields: Collection[str],
    jobs: Collection[str],
) -> tuple[Unsettled, ...]:
    """What is unsettled of a customer's figures, without its versions: who stated what, of whom
    and when, is for those who settle it. Notes are not shown to a customer at all."""
    about = of_visits(
        farm,
        visits,
        fields=frozenset(fields),
        jobs=frozenset(jobs),
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
            found.append(replace(u, what=_plainly(u), events=(), machine=None, day=None))
    return tuple(found)


def _plainly(matter: Unsettled) -> str:
    """A matter without amounts and fields, which may be others' as well."""
    if matter.machine is not None:
        return f"The work of {matter.machine} on {matter.day} waits to be measured again."
    given = next((e for e in matter.events if isinstance(e, InputApplied)), None)
    if given is not None:
        return f"What went out of {given.product} was stated more than once."
    return matter.what


def _inputs(farm: Farm, visits: set[str]) -> tuple[InputApplied, ...]:
    """What went out on some visits: of an input that went elsewhere too, their share of it."""
    of: dict[str, float] = {}
    by_id = {i.event_id: i for i in farm.inputs}
    for given, visit, share in shares(farm):
        if visit.event_id in visits:
            of[given.event_id] = of.get(given.event_id, 0.0) + share
    return tuple(
        by_id[i] if share > 1.0 - 1e-9 else _part(by_id[i], share)
        for i, share in sorted(of.items())
    )


def _part(given: InputApplied, share: float) -> InputApplied:
    return replace(
        given,
        amount=given.amount * share,
        left_over=None if given.left_over is None else given.left_over * share,
        loads=None if given.loads is None else given.loads * share,
    )


def _folded(names: tuple[str, ...]) -> set[str]:
    return {n.casefold() for n in names}
