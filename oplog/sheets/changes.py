"""What measuring again would change, as a table."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, TypeAlias

from oplog import units as u
from oplog.events import WorkMeasured
from oplog.sheets.table import Column, Table

Change: TypeAlias = tuple[str, date, str, WorkMeasured | None, WorkMeasured | None, str]
"""Machine, day, field, the visit before and after (None where there is none), and why."""


def changes_table(changes: Sequence[Change]) -> Table:
    """Hectares and hours before and after, visit by visit, and why."""
    columns = (
        Column("day", "day"),
        Column("machine", "machine"),
        Column("field", "field"),
        Column("old_worked_ha", "was", "ha"),
        Column("new_worked_ha", "is", "ha"),
        Column("old_working_h", "was", "h"),
        Column("new_working_h", "is", "h"),
        Column("why", "why"),
    )
    return Table("What would change", columns, tuple(_row(c) for c in changes))


def _row(change: Change) -> tuple[Any, ...]:
    machine, day, field, old, new, why = change
    worked = [None if v is None or v.worked_m2 is None else v.worked_m2 for v in (old, new)]
    hours = [None if v is None else u.hours(v.working_s) for v in (old, new)]
    areas = [None if m2 is None else u.hectares(m2) for m2 in worked]
    return (day, machine, field, *areas, *hours, why)
