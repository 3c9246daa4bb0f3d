"""What a farm has: fields, kit and jobs as tables."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from oplog import kit, land
from oplog.fold import Farm
from oplog.kit import KitItem
from oplog.sheets.table import Column, Table
from oplog.units import hectares


def land_table(farm: Farm, day: date) -> Table:
    """The fields as they are on a day, by farm and name, with the newest crop stated."""
    drawn = (land.on(d, day) for d in farm.fields.values())
    fields = sorted(
        (f for f in drawn if f is not None), key=lambda f: (f.farm.casefold(), f.name.casefold())
    )
    rows = []
    for f in fields:
        crops = farm.crops.get(f.name.casefold(), [])
        last = crops[-1] if crops else None
        rows.append(
            (
                f.farm,
                f.name,
                hectares(f.area_m2),
                last.crop if last else None,
                last.variety if last else None,
                last.harvest_year if last else None,
                f.valid_from,
            )
        )
    columns = (
        Column("farm", "farm"),
        Column("field", "field"),
        Column("area_ha", "area", "ha"),
        Column("crop", "crop"),
        Column("variety", "variety"),
        Column("harvest_year", "harvest"),
        Column("drawn_from", "drawn from"),
    )
    return Table("", columns, tuple(rows))


def machines_table(farm: Farm, day: date) -> Table:
    """The machines as they are on a day, with the devices that belong to them."""
    columns = (
        Column("machine", "machine"),
        Column("kind", "kind"),
        Column("antenna_right_m", "antenna right", "m"),
        Column("hitch_m", "to hitch", "m"),
        Column("carries", "carries"),
        Column("devices", "devices"),
        Column("listed_from", "from"),
    )
    rows = [
        (
            k.name,
            k.kind,
            k.antenna_right_m,
            k.hitch_m,
            k.carries,
            "; ".join(_devices(farm, key)) or None,
            k.valid_from,
        )
        for key, k in _items(farm, day)
        if k.is_machine
    ]
    return _without_empty(Table("Machines", columns, tuple(rows)))


def implements_table(farm: Farm, day: date) -> Table:
    """The implements as they are on a day."""
    columns = (
        Column("implement", "implement"),
        Column("kind", "kind"),
        Column("operation", "operation"),
        Column("width_m", "width", "m"),
        Column("behind_m", "behind", "m"),
        Column("ahead_m", "ahead", "m"),
        Column("hung", "hung"),
        Column("holds", "holds"),
        Column("sections", "sections"),
        Column("listed_from", "from"),
    )
    rows = [
        (
            k.name,
            k.kind,
            k.operation,
            k.width_m,
            k.behind_m,
            k.ahead_m,
            None if k.trailed is None else "trailed" if k.trailed else "mounted",
            None if k.holds is None else f"{k.holds:g} {k.holds_unit or ''}".strip(),
            k.sections,
            k.valid_from,
        )
        for _, k in _items(farm, day)
        if not k.is_machine
    ]
    return _without_empty(Table("Implements", columns, tuple(rows)))


def kit_table(farm: Farm, day: date) -> Table:
    """Machines and implements in one table, for data."""
    columns = (
        Column("name", "name"),
        Column("sort", "sort"),
        Column("kind", "kind"),
        Column("operation", "operation"),
        Column("width_m", "width", "m"),
        Column("antenna_right_m", "antenna right", "m"),
        Column("hitch_m", "hitch", "m"),
        Column("carries", "carries"),
        Column("behind_m", "behind", "m"),
        Column("ahead_m", "ahead", "m"),
        Column("trailed", "trailed"),
        Column("holds", "holds"),
        Column("holds_unit", "unit"),
        Column("sections", "sections"),
        Column("listed_from", "from"),
        Column("devices", "devices"),
    )
    rows = [
        (
            k.name,
            "machine" if k.is_machine else "implement",
            k.kind,
            k.operation,
            k.width_m,
            k.antenna_right_m,
            k.hitch_m,
            k.carries,
            k.behind_m,
            k.ahead_m,
            k.trailed,
            k.holds,
            k.holds_unit,
            k.sections,
            k.valid_from,
            _devices(farm, key) if k.is_machine else [],
        )
        for key, k in _items(farm, day)
    ]
    return Table("", columns, tuple(rows))


def _devices(farm: Farm, machine: str) -> list[str]:
    """The devices that belong to a machine, by its casefolded name."""
    return sorted(d for d, m in farm.devices.items() if m.casefold() == machine)


def _items(farm: Farm, day: date) -> Iterable[tuple[str, KitItem]]:
    for key in sorted(farm.kit):
        item = kit.on(farm.kit[key], day)
        if item is not None:
            yield key, item


def _without_empty(table: Table) -> Table:
    """The table without columns in which no row says anything, the first two kept."""
    used = [
        i
        for i in range(len(table.columns))
        if i < 2 or any(row[i] is not None for row in table.rows)
    ]
    return Table(
        table.title,
        tuple(table.columns[i] for i in used),
        tuple(tuple(row[i] for i in used) for row in table.rows),
    )
