"""Machines and implements, and the rig that one makes with the other."""

from __future__ import annotations

from datetime import date

from oplog.records import dataclass

MACHINES = ("tractor", "combine", "self-propelled sprayer", "other")
"""Kinds of machine."""

OPERATION_OF = {
    "plough": "ploughing",
    "cultivator": "cultivating",
    "roller": "rolling",
    "drill": "drilling",
    "planter": "planting",
    "spreader": "spreading",
    "sprayer": "spraying",
    "header": "combining",
    "mower": "mowing",
    "rake": "raking",
    "baler": "baling",
    "other": "other work",
}
"""Kinds of implement, each with its usual operation."""

HOLDS_SOMETHING = ("drill", "planter", "spreader", "sprayer", "header")
"""Implements that are filled or emptied in the field, whether or not their size is stated."""


@dataclass(frozen=True)
class KitItem:
    """One machine or implement as it was from a day on. Lengths in metres.

    antenna_right_m: antenna right of the machine's centre line (left is negative).
    hitch_m: from the antenna back to the hitch.
    carries: a machine's usual implement.
    behind_m: from the hitch back to the working line; ahead_m: from the antenna forward to it.
    trailed: towed behind the hitch and swinging, rather than carried.
    """

    name: str
    kind: str
    is_machine: bool
    operation: str | None = None
    width_m: float | None = None
    antenna_right_m: float | None = None
    hitch_m: float | None = None
    carries: str | None = None
    behind_m: float | None = None
    ahead_m: float | None = None
    trailed: bool | None = None
    holds: float | None = None
    holds_unit: str | None = None
    sections: int | None = None
    valid_from: date | None = None
    event_id: str = ""


@dataclass(frozen=True)
class Rig:
    """What the work steps need to know of machine and implement together. Lengths in metres.

    width_m: stated working width; None where no implement is stated.
    line_m: working line ahead of the antenna (behind is negative) when going straight;
        None where nothing was stated.
    drag_m: the part of that length which swings behind the hitch; 0 for mounted implements.
    right_m: antenna right of the centre line; None where not stated.
    holds: filled or emptied in the field, so that stops at a few places are filling.
    sections: sections that shut off by themselves; None for none.
    """

    implement: str | None = None
    operation: str | None = None
    driver: str | None = None
    width_m: float | None = None
    line_m: float | None = None
    drag_m: float = 0.0
    right_m: float | None = None
    holds: bool = False
    sections: int | None = None
    kit_ids: tuple[str, ...] = ()


def on(versions: list[KitItem], day: date) -> KitItem | None:
    """The version of a machine or implement that holds on a day (see land.on)."""
    if not versions:
        return None
    ordered = sorted(versions, key=lambda k: (k.valid_from or date.min, k.event_id))
    valid = [k for k in ordered if (k.valid_from or date.min) <= day]
    return valid[-1] if valid else ordered[0]


def rig(
    machine: KitItem | None,
    implement: KitItem | None,
    operation: str | None = None,
    driver: str | None = None,
) -> Rig:
    """Put a machine and an implement together.

    operation: as stated for this work; the implement's usual one where None.
    """
    hitch_m = machine.hitch_m if machine else None
    line_m: float | None = None
    drag_m = 0.0
    if implement is not None and implement.ahead_m is not None:
        line_m = implement.ahead_m
    elif implement is not None and (implement.behind_m is not None or hitch_m is not None):
        line_m = -((hitch_m or 0.0) + (implement.behind_m or 0.0))
        drag_m = (implement.behind_m or 0.0) if implement.trailed else 0.0
    return Rig(
        implement=implement.name if implement else None,
        operation=operation or (implement.operation if implement else None),
        driver=driver,
        width_m=implement.width_m if implement else None,
        line_m=line_m,
        drag_m=drag_m,
        right_m=machine.antenna_right_m if machine else None,
        holds=implement is not None
        and (implement.holds is not None or implement.kind in HOLDS_SOMETHING),
        sections=implement.sections if implement else None,
        kit_ids=tuple(i.event_id for i in (machine, implement) if i is not None and i.event_id),
    )
