"""What the sample farm's owner stated beside its tracks: inputs, notes, prices and the like."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from oplog.flow.applying import apply, calibrate, plan_need
from oplog.flow.writing import note, plan_sequence, state_customer, state_price
from oplog.log import Log


def state_all(log: Log, told: dict[str, Any], today: date) -> None:
    """State what farm.toml tells, in its order."""
    kinds: dict[str, Callable[..., object]] = {
        "sequence": plan_sequence,
        "need": plan_need,
        "calibration": calibrate,
        "customer": state_customer,
        "price": state_price,
    }
    for kind, state in kinds.items():
        for item in told.get(kind, ()):
            state(log, **item, command="sample")
    for item in told.get("input", ()):
        apply(log, **item, today=today, command="sample")
    for item in told.get("note", ()):
        note(log, item["text"], on=item["on"], today=today, command="sample")
