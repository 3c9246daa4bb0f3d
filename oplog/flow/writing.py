"""Notes, sequences, customers and prices into the log."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from oplog.errors import OplogError, UnknownName
from oplog.events import (
    CustomerStated,
    NoteWritten,
    PriceStated,
    SequencePlanned,
    WorkMeasured,
)
from oplog.flow.history import History, read, stated
from oplog.flow.operations import known_operations, refuse_slips
from oplog.fold import Farm, now_called
from oplog.log import Log

BASES = ("field", "net", "gross", "hours")
"""What work is charged by: the field's area, ground covered, distance x width, or hours."""


def note(
    log: Log, text: str, *, on: Sequence[str], today: date, command: str = "note"
) -> NoteWritten:
    """Write a note on what is named: a field, a machine, a visit's handle, a day (any of them
    together); on today where nothing is. Raises: UnknownName, OplogError."""
    if not text.strip():
        raise OplogError('The note says nothing. Write it in quotes: oplog note "wet corner".')
    history = read(log)
    where: dict[str, object] = {}
    for name in on:
        where |= _place(history, name)
    event = NoteWritten(note=text.strip(), **(where or {"day": today}), **stated())  # type: ignore[arg-type]
    history.append([event], command=command)
    return event


def plan_sequence(
    log: Log,
    crop: str,
    operations: Sequence[str],
    harvest_year: int | None = None,
    command: str = "sequence",
) -> SequencePlanned:
    """State the operations that a crop is to get, in order; planning it again takes its place.

    Raises: UnknownName for a crop that no field has.
    """
    history = read(log)
    crops = {c.crop.casefold(): c.crop for stated_here in history.farm.crops.values()
             for c in stated_here}  # fmt: skip
    if crop.casefold() not in crops:
        raise UnknownName("crop", crop, crops.values(), "State it: oplog land crop FIELD CROP.")
    known = known_operations(history.farm)
    for operation in operations:
        if operation.casefold() not in known:
            raise UnknownName("operation", operation, known)
    before = [
        s.event_id
        for s in history.of(SequencePlanned)
        if s.crop.casefold() == crop.casefold() and s.harvest_year == harvest_year
    ]
    event = SequencePlanned(
        crop=crops[crop.casefold()], operations=tuple(operations), harvest_year=harvest_year,
        supersedes=tuple(sorted(before)), **stated(),
    )  # fmt: skip
    history.append([event], command=command)
    return event


def state_customer(
    log: Log,
    customer: str,
    *,
    farms: Sequence[str] = (),
    fields: Sequence[str] = (),
    command: str = "customer add",
) -> CustomerStated:
    """State for whom the work in fields, or in the fields of farms, is done.

    What was stated of the customer before is replaced. Raises: UnknownName, OplogError.
    """
    history = read(log)
    if not farms and not fields:
        raise OplogError("Say whose ground it is: --farm NAME or --field NAME (again for more).")
    known = {d[-1].farm.casefold(): d[-1].farm for d in history.farm.fields.values()}
    for name in farms:
        if name.casefold() not in known:
            raise UnknownName("farm", name, known.values(), "oplog land lists them.")
    before = [
        c.event_id
        for c in history.of(CustomerStated)
        if c.customer.casefold() == customer.casefold()
    ]
    event = CustomerStated(
        customer=customer,
        farms=tuple(known[f.casefold()] for f in farms),
        fields=tuple(history.farm.field(f).name for f in fields),
        supersedes=tuple(sorted(before)),
        **stated(),
    )
    history.append([event], command=command)
    return event


def state_price(
    log: Log,
    operation: str,
    price: float,
    currency: str,
    per: str,
    *,
    basis: str | None = None,
    customer: str | None = None,
    valid_from: date | None = None,
    command: str = "customer price",
) -> PriceStated:
    """State what an operation costs a hectare or an hour, for all customers or one.

    basis: one of BASES; the field's area where it is not said, hours for a price an hour.
    Raises: OplogError, UnknownName.
    """
    history = read(log)
    refuse_slips(history.farm, operation)
    if not price > 0:
        raise OplogError(f"A price of {price:g} is none. Nothing was written.")
    if not re.fullmatch(r"[A-Z]{3}", currency):
        raise OplogError(f"{currency!r} is no currency: write its three letters, as GBP or EUR.")
    basis = basis or ("hours" if per == "h" else "field")
    if basis not in BASES or (per == "h") != (basis == "hours"):
        raise OplogError("A price an hour goes by hours; one a hectare by field, net or gross.")
    if customer is not None:
        customer = customer_of(history.farm, customer)
    before = [
        p.event_id
        for p in history.of(PriceStated)
        if p.operation.casefold() == operation.casefold()
        and (p.customer or "").casefold() == (customer or "").casefold()
        and p.valid_from == valid_from
    ]
    event = PriceStated(
        operation=operation, price=price, currency=currency, per=per, basis=basis,
        customer=customer, valid_from=valid_from, supersedes=tuple(sorted(before)), **stated(),
    )  # fmt: skip
    history.append([event], command=command)
    return event


def customer_of(farm: Farm, name: str) -> str:
    """A customer's name as the log has it. Raises: UnknownName."""
    names = {c.customer.casefold(): c.customer for c in farm.customers}
    if name.casefold() not in names:
        raise UnknownName(
            "customer", name, names.values(), "Add one: oplog customer add NAME --farm FARM."
        )
    return names[name.casefold()]


def _place(history: History, name: str) -> dict[str, object]:
    farm, key = history.farm, name.casefold()
    if key in farm.fields:
        return {"field": farm.field(name).name}
    if key in farm.kit:
        return {"machine": farm.kit_item(name).name}
    try:
        return {"day": date.fromisoformat(name)}
    except ValueError:
        pass
    if any(v.visit.startswith(key) for v in farm.visits):
        v: WorkMeasured | None = farm.visit(name)
    else:
        v = now_called(farm, history.events.values(), name)
    if v is not None:
        return {"visit": v.visit, "field": v.field, "machine": v.machine, "day": v.day}
    known = [d[-1].name for d in farm.fields.values()]
    known += [k[-1].name for k in farm.kit.values()]
    raise UnknownName("field, machine or visit", name, known, "A day is written as 2027-04-10.")
