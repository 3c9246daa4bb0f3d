"""What went out with the work of a page: seed, spray, fertiliser, fuel, in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from oplog.events import InputApplied, WorkMeasured
from oplog.fold import Farm
from oplog.ground import place_name
from oplog.records import dataclass
from oplog.season.inputs import shares
from oplog.sheets.jobs import amount


@dataclass(frozen=True)
class InputLine:
    """An input with the fields it went to, and what fell to each, as shared by ground."""

    product: str
    kind: str
    total: str
    fields: tuple[tuple[str, str], ...]


def inputs_of(farm: Farm, visits: Sequence[WorkMeasured]) -> list[InputLine]:
    """The inputs that went out with some visits."""
    return day_inputs(farm, None, visits)


def day_inputs(farm: Farm, day: date | None, visits: Sequence[WorkMeasured]) -> list[InputLine]:
    """The inputs that went out with some visits, and those of the day that fit no visit."""
    wanted = {v.event_id for v in visits}
    found: dict[str, tuple[InputApplied, dict[str, float]]] = {}
    shared = set()
    for given, visit, share in shares(farm):
        shared.add(given.event_id)
        if visit.event_id in wanted:
            parts = found.setdefault(given.event_id, (given, {}))[1]
            place = place_name(farm, visit)
            parts[place] = parts.get(place, 0.0) + _out(given) * share
    for given in farm.inputs:
        if day is not None and given.day == day and given.event_id not in shared:
            found[given.event_id] = (given, {})
    return [
        InputLine(
            g.product,
            g.kind,
            amount(_out(g), g.unit),
            tuple((field, amount(part, g.unit)) for field, part in parts.items()),
        )
        for g, parts in found.values()
    ]


def _out(given: InputApplied) -> float:
    """What went out of what was filled in."""
    return given.amount - (given.left_over or 0.0)
