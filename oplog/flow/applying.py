"""Inputs into the log: what went out, what a job is to get, how a drill was set."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from oplog import units
from oplog.errors import OplogError, UnknownName
from oplog.events import DrillCalibrated, InputApplied, InputPlanned, WorkMeasured
from oplog.flow.history import History, read, stated
from oplog.fold import Farm, now_called
from oplog.log import Log
from oplog.records import dataclass
from oplog.season.inputs import visits_with
from oplog.work import agronomy

USUAL_KIND = {"drill": "seed", "planter": "seed", "spreader": "fertiliser", "sprayer": "spray"}
"""What each kind of implement usually carries."""

LARGEST_RATE = {"seed": 1000.0, "spray": 100.0, "fertiliser": 100_000.0, "fuel": 500.0,
                "water": 5000.0}  # fmt: skip
"""Amounts a hectare beyond which a figure is likely to be a slip, in kg or l. Common practice."""


_TO = ("job", "visit", "field", "day", "machine", "operation", "started_at", "ended_at")

_IN_UNIT = ("left_over", "per_ha")

_BESIDE = (*_IN_UNIT, "loads", "water_l_ha", "nozzle_m", "authorisation", "started", "eppo", "bbch",
           "operator", "wind_force", "wind_from", "use")  # fmt: skip
"""Columns of an input beside what it was, how much, and what it went to."""


@dataclass(frozen=True)
class Applied:
    """An input as written, the number of visits it went to, and what looks odd about it."""

    event: InputApplied
    visits: int
    doubts: tuple[str, ...] = ()


def apply(
    log: Log,
    product: str,
    amount: float,
    unit: str,
    to: str | None,
    *,
    today: date,
    kind: str | None = None,
    on: date | None = None,
    replaces: str | None = None,
    details: Mapping[str, Any] | None = None,
    command: str = "apply",
) -> Applied:
    """State that an input went out.

    to: a job, a visit's handle, a field, or a day (2027-04-10). on: only work of this day; a
    field without one takes its latest day with fitting work. kind: see agronomy.KINDS; taken
    from the implement that did the work where it is not said. details: further columns of
    events.InputApplied. replaces: handle of an input that this one corrects: what is not said
    again (what it went to, dose, water, wind ...) stays as it was said.
    Raises: UnknownName, OplogError.
    """
    history = read(log)
    farm = history.farm
    _check_amount(amount, "The amount")
    before = input_of(farm, replaces) if replaces else None
    where = _went_to(before) if to is None and before else _where(history, to or "")
    kind = kind or (before.kind if before else _usual_kind(farm, where))
    amount, unit = _of_kind(product, kind, amount, unit)
    columns: dict[str, Any] = {
        **(_kept(before, kind, unit) if before else {}),
        **where,
        **{k: v for k, v in (details or {}).items() if v is not None},
    }
    if on is not None:
        columns["day"] = on
    event = InputApplied(
        product=product, kind=kind, amount=amount, unit=unit,
        supersedes=(before.event_id,) if before else (), **columns, **stated(),
    )  # fmt: skip
    _check(farm, event)
    event = _dated(farm, event, today)
    history.append([event], command=command)
    visits = visits_with(farm, event)
    return Applied(event, len(visits), tuple(_odd(farm, event, today)))


def plan_need(
    log: Log, job: str, product: str, per_ha: float, unit: str, kind: str, command: str = "need"
) -> InputPlanned:
    """State what a job is to get of a product a hectare; planning it again takes its place.

    Raises: UnknownName, OplogError.
    """
    history = read(log)
    planned = history.farm.job(job)
    _check_amount(per_ha, "The rate")
    per_ha, unit = _of_kind(product, kind, per_ha, unit)
    before = [
        n.event_id
        for n in history.of(InputPlanned)
        if (n.job.casefold(), n.product.casefold()) == (planned.job.casefold(), product.casefold())
    ]
    event = InputPlanned(
        job=planned.job, product=product, kind=kind, per_ha=per_ha, unit=unit,
        supersedes=tuple(sorted(before)), **stated(),
    )  # fmt: skip
    history.append([event], command=command)
    return event


def calibrate(
    log: Log,
    implement: str,
    product: str,
    day: date,
    *,
    rate_kg_ha: float | None = None,
    plants_m2: float | None = None,
    thousand_grain_g: float | None = None,
    establishment: float | None = None,
    calibrated_m2: float | None = None,
    caught_kg: float | None = None,
    command: str = "calibrate",
) -> DrillCalibrated:
    """State how a drill was set: a rate, or plants, grain weight and establishment to get one.

    establishment: share of seeds that come up, 0 to 1. Raises: UnknownName, OplogError.
    """
    history = read(log)
    item = history.farm.kit_item(implement, day, machine=False)
    numbers = {"The rate": rate_kg_ha, "The number of plants": plants_m2,
               "The thousand-grain weight": thousand_grain_g, "The area turned": calibrated_m2,
               "What was caught": caught_kg}  # fmt: skip
    for what, value in numbers.items():
        if value is not None:
            _check_amount(value, what)
    if establishment is not None and not 0 < establishment <= 1:
        raise OplogError("Establishment is a share of the seeds: more than 0 and at most 100 %.")
    if rate_kg_ha is None:
        if plants_m2 is None or thousand_grain_g is None or establishment is None:
            raise OplogError(
                "Say the rate (--rate 180kg), or what it follows from: --plants, --grain-weight "
                "and --establishment."
            )
        rate_kg_ha = agronomy.seed_rate_kg_ha(plants_m2, thousand_grain_g, establishment)
    event = DrillCalibrated(
        implement=item.name, product=product, day=day, rate_kg_ha=rate_kg_ha, plants_m2=plants_m2,
        thousand_grain_g=thousand_grain_g, establishment=establishment,
        calibrated_m2=calibrated_m2, caught_kg=caught_kg, **stated(),
    )  # fmt: skip
    history.append([event], command=command)
    return event


def input_of(farm: Farm, handle: str) -> InputApplied:
    """The input whose id begins with a handle. Raises: UnknownName."""
    found = [i for i in farm.inputs if len(handle) >= 5 and i.event_id.startswith(handle)]
    if len(found) != 1:
        raise UnknownName(
            "input", handle, (i.event_id[:5] for i in farm.inputs), "oplog inputs lists them."
        )
    return found[0]


def _went_to(event: InputApplied) -> dict[str, Any]:
    """The columns that say what an input was said to have gone to."""
    return {name: getattr(event, name) for name in _TO}


def _kept(before: InputApplied, kind: str, unit: str) -> dict[str, Any]:
    """What was said of an input beside its amount, for the one that corrects it: whoever adds the
    wind does not take back the water. Nothing is kept of another kind of input, and no amount
    that was in another unit."""
    if before.kind != kind:
        return {}
    lost = () if before.unit == unit else _IN_UNIT
    of_machine = () if before.visit else ("machine",)
    return {n: getattr(before, n) for n in (*_BESIDE, *of_machine) if n not in lost}


def _where(history: History, to: str) -> dict[str, Any]:
    """The columns that say what an input went to."""
    farm = history.farm
    key = to.strip().casefold()
    if key in farm.jobs:
        return {"job": farm.jobs[key].job}
    if key in farm.fields:
        return {"field": farm.field(to).name}
    try:
        return {"day": date.fromisoformat(to)}
    except ValueError:
        pass
    if any(v.visit.startswith(key) for v in farm.visits) and len(key) >= 5:
        v: WorkMeasured | None = farm.visit(to)
    else:
        v = now_called(farm, history.events.values(), to)
    if v is not None:
        return {
            "visit": v.visit, "machine": v.machine, "field": v.field, "day": v.day,
            "operation": v.operation, "started_at": v.started_at, "ended_at": v.ended_at,
        }  # fmt: skip
    known = [j.job for j in farm.jobs.values()] + [f[-1].name for f in farm.fields.values()]
    known += [s.handle for s in farm.standing.values()]
    raise UnknownName("job, field or visit", to, known, "A day is written as 2027-04-10.")


def _usual_kind(farm: Farm, where: Mapping[str, Any]) -> str:
    """The kind of input that goes with the operation of what it went to."""
    of_operation = {op: kind for kind in ("fertiliser", "spray", "seed")
                    for op in agronomy.OPERATIONS_OF[kind]}  # fmt: skip
    operations = {where["operation"]} if where.get("operation") else set()
    if "job" in where:
        operations = {farm.job(where["job"]).operation}
    kinds = {of_operation.get((o or "").casefold()) for o in operations} - {None}
    if len(kinds) == 1:
        return str(kinds.pop())
    raise OplogError(f"Say what kind of input it is: --kind {' or '.join(agronomy.KINDS)}.")


def _of_kind(product: str, kind: str, amount: float, unit: str) -> tuple[float, str]:
    """The amount in kg or litres. Raises: OplogError where the kind is not measured in that."""
    if kind not in agronomy.KINDS:
        raise UnknownName("kind of input", kind, agronomy.KINDS)
    base, factor = units.AMOUNTS[unit]
    if base not in agronomy.KINDS[kind]:
        words = {"kg": "by weight (kg, t, lb)", "l": "by volume (l, m3, us gal, imp gal)"}
        able = " or ".join(words[b] for b in agronomy.KINDS[kind])
        raise OplogError(
            f"{product}: {kind} is measured {able}, not in {unit}. Nothing was written."
        )
    return amount * factor, base


def _check_amount(amount: float, what: str) -> None:
    if not amount > 0:
        said = "nothing" if amount == 0 else "less than nothing"
        raise OplogError(f"{what} is {said} ({amount:g}). Nothing was written.")


def _check(farm: Farm, event: InputApplied) -> None:
    """Raises: OplogError for figures that cannot be."""
    for name in ("per_ha", "water_l_ha", "loads", "nozzle_m"):
        value = getattr(event, name)
        if value is not None:
            _check_amount(value, {"per_ha": "The dose", "water_l_ha": "The water",
                                  "loads": "The number of loads",
                                  "nozzle_m": "The nozzle spacing"}[name])  # fmt: skip
    if event.left_over is not None and not 0 <= event.left_over <= event.amount:
        raise OplogError(
            f"{event.left_over:g} {event.unit} left over of {event.amount:g} cannot be. "
            "Nothing was written."
        )
    if event.wind_force is not None and not 0 <= event.wind_force <= 12:
        raise OplogError("The wind's force is on the Beaufort scale, 0 to 12.")
    if event.machine:
        farm.kit_item(event.machine, machine=True)
    if event.bbch is not None and not (event.bbch.isdigit() and 0 <= int(event.bbch) <= 99):
        raise OplogError(f"A BBCH stage is a number from 00 to 99, not {event.bbch!r}.")


def _dated(farm: Farm, event: InputApplied, today: date) -> InputApplied:
    """An input to a field without a day goes to its latest day with fitting work."""
    from dataclasses import replace

    if event.field is None or event.day is not None or event.job is not None:
        return event
    days = [v.day for v in visits_with(farm, event)]
    return replace(event, day=max(days) if days else today)


def _odd(farm: Farm, event: InputApplied, today: date) -> list[str]:
    """Sentences about what may be a slip; nothing is refused for them."""
    visits = visits_with(farm, event)
    if not visits:
        what = f"on {event.day} " if event.day else ""
        return [f"No {event.kind} work {what}fits it yet; it will count once there is some."]
    area_m2 = sum(v.applied_m2 or v.worked_m2 or 0.0 for v in visits)
    rate = agronomy.rate_over(event.amount - (event.left_over or 0.0), area_m2)
    if rate is None:
        return ["The ground it went on is not known: the width of the work was not said."]
    if rate > LARGEST_RATE[event.kind]:
        return [f"{rate:.0f} {event.unit}/ha is a great deal of {event.kind}: is the amount right?"]
    if event.per_ha and abs(rate / event.per_ha - 1) > 0.1:
        return [
            f"{_figure(rate)} {event.unit}/ha went out over the ground worked, where "
            f"{_figure(event.per_ha)} was said."
        ]
    return []


def _figure(rate: float) -> str:
    """A rate in words: muck goes out by the ten thousand, which is no "2e+04"."""
    return f"{rate:.0f}" if rate >= 100 else f"{rate:.3g}"


def rows_of(farm: Farm, event: InputApplied) -> list[dict[str, Any]]:
    """The rows of the question `inputs` for one input."""
    from oplog.query import ask, records

    handle = event.event_id[:5]
    return [r for r in records(ask(farm, "inputs")) if r["input"] == handle]
