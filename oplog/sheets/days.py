"""Many days as one line each."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from oplog.fold import Farm
from oplog.ground import place_name
from oplog.sheets.day import days_of, visits_of
from oplog.sheets.table import Column, Table
from oplog.sheets.unsure import is_open
from oplog.units import hectares, hours


def days_table(farm: Farm, days: Iterable[tuple[str, date]]) -> Table:
    """A line for each (machine, day): fields, operations, hectares and hours."""
    columns = (
        Column("day", "day"),
        Column("machine", "machine"),
        Column("operation", "operation"),
        Column("fields", "fields"),
        Column("worked_ha", "worked", "ha"),
        Column("field_h", "in fields", "h"),
        Column("road_h", "on road", "h"),
        Column("open_visits", "open"),
    )
    rows = []
    for machine, day in days:
        visits = [v for v in visits_of(farm, day, machine) if v.working_s > 0]
        measured = days_of(farm, day, machine)
        rows.append(
            (
                day,
                machine,
                ", ".join(dict.fromkeys(v.operation for v in visits if v.operation)) or None,
                len({place_name(farm, v).casefold() for v in visits}),
                hectares(sum(v.worked_m2 or 0.0 for v in visits)),
                hours(sum(d.field_s for d in measured)),
                hours(sum(d.road_s for d in measured)),
                sum(is_open(v) for v in visits),
            )
        )
    return Table("", columns, tuple(rows))
