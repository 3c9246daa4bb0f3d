"""One width against another: what it takes to keep pace, and what would have been saved.

C = s w e (effective field capacity = speed x width x field efficiency), solved for what is asked.
"""

from __future__ import annotations

from collections.abc import Sequence

from oplog.errors import OplogError
from oplog.events import WorkMeasured
from oplog.records import dataclass
from oplog.work.agronomy import speed_to_match_m_s
from oplog.work.rates import effective_field_capacity_m2_s

FEW_DAYS = 3
FEW_M2 = 100_000.0
"""Fewer days or less ground than this is few to compare by. Common practice; no source."""


@dataclass(frozen=True)
class Output:
    """What one implement did of one operation. SI; breaks left out of field_s."""

    name: str
    operation: str
    width_m: float
    visits: int
    days: int
    worked_m2: float
    speed_m_s: float
    field_s: float
    working_s: float
    turning_s: float
    filling_s: float
    travelling_s: float

    @property
    def overall_m2_s(self) -> float:
        """Overall rate of work."""
        return self.worked_m2 / self.field_s

    @property
    def efficiency(self) -> float:
        """Field efficiency: overall over spot rate, 0 to 1."""
        return self.overall_m2_s / (self.speed_m_s * self.width_m)

    @property
    def few(self) -> bool:
        """Whether it rests on few data."""
        return self.days < FEW_DAYS or self.worked_m2 < FEW_M2


@dataclass(frozen=True)
class Match:
    """Two outputs, the narrower first. Speeds at which the narrower keeps pace with the wider:
    at equal losses (the field efficiency of the wider), and at its own. [m/s]"""

    narrow: Output
    wide: Output
    equal_m_s: float
    own_m_s: float


def output_of(visits: Sequence[WorkMeasured], name: str, operation: str | None = None) -> Output:
    """What an implement (or a machine) did, over visits whose width, speed and ground are known.

    Raises: OplogError where that is nothing, or several operations or widths and none was said.
    """
    key = name.casefold()
    own = [
        v
        for v in visits
        if key in ((v.implement or "").casefold(), v.machine.casefold())
        and v.worked_m2 and v.speed_m_s and (v.width_m or v.width_used_m) and v.working_s > 0
        and operation in (None, v.operation)
    ]  # fmt: skip
    if not own:
        what = f" of {operation}" if operation else ""
        raise OplogError(f"{name} has no measured work{what} with a width, so no rate either.")
    operations = sorted({v.operation or "" for v in own})
    if len(operations) > 1:
        raise OplogError(
            f"{name} did {' and '.join(operations)}: rates are compared over one operation. "
            f"Say which with --operation."
        )
    widths = sorted({v.width_m or v.width_used_m or 0.0 for v in own})
    if len(widths) > 1:
        shown = " and ".join(f"{w:g} m" for w in widths)
        raise OplogError(f"{name} worked at {shown}: name the implement rather than the machine.")
    return _summed(own, name, operations[0], widths[0])


def match(one: Output, other: Output) -> Match:
    """Two widths at one operation. Raises: OplogError for different operations or one width."""
    if one.operation != other.operation:
        raise OplogError(
            f"{one.name} does {one.operation}, {other.name} {other.operation}: only like "
            "operations are compared."
        )
    narrow, wide = sorted((one, other), key=lambda o: o.width_m)
    target = wide.overall_m2_s
    return Match(
        narrow,
        wide,
        speed_to_match_m_s(target, narrow.width_m, wide.efficiency),
        speed_to_match_m_s(target, narrow.width_m, narrow.efficiency),
    )


def saved_by_width_s(done: Output, width_m: float) -> float:
    """Field time that another width would have saved at the same speed and efficiency. [s]"""
    rate = float(effective_field_capacity_m2_s(done.speed_m_s, width_m, done.efficiency))
    return done.field_s - done.worked_m2 / rate


def saved_by_filling_s(done: Output) -> float:
    """Field time that a second fill place would have saved at most: half of the travelling in
    the fields, if all of it was on the way to be filled. [s]"""
    return done.travelling_s / 2 if done.filling_s > 0 else 0.0


def _summed(visits: Sequence[WorkMeasured], name: str, operation: str, width_m: float) -> Output:
    working_s = sum(v.working_s for v in visits)
    lost = [
        v.turning_s + v.filling_s + v.standing_s - v.break_s + v.travelling_s + v.unrecorded_s
        for v in visits
    ]
    return Output(
        name=name,
        operation=operation,
        width_m=width_m,
        visits=len(visits),
        days=len({v.day for v in visits}),
        worked_m2=sum(v.worked_m2 or 0.0 for v in visits),
        speed_m_s=sum((v.speed_m_s or 0.0) * v.working_s for v in visits) / working_s,
        field_s=working_s + sum(lost),
        working_s=working_s,
        turning_s=sum(v.turning_s for v in visits),
        filling_s=sum(v.filling_s for v in visits),
        travelling_s=sum(v.travelling_s for v in visits),
    )
