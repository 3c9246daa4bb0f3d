"""Fields, crops and kit into the log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import date, timedelta

import shapely

from oplog import kit, land
from oplog.errors import OplogError, Problem, UnreadableFile
from oplog.events import CropStated, Event, FieldDrawn, KitListed
from oplog.flow.history import History, read
from oplog.flow.measuring import as_wkb
from oplog.flow.operations import refuse_slips
from oplog.flow.sharing import shared_ground
from oplog.fold import Farm
from oplog.geodesy import area_m2
from oplog.kit import KitItem
from oplog.land import Field
from oplog.log import Log
from oplog.readers.boundaries import Drawing, read_boundaries
from oplog.records import dataclass

NARROWEST_M, WIDEST_M = 0.3, 60.0
"""Working widths that there are: one row of a bed, and the longest booms. Common practice."""


@dataclass(frozen=True)
class LandAdded:
    """What became of a boundary file: names of fields new, drawn anew, and there as they are.

    named_by: where the names came from, as told to people ("property 'Name'").
    """

    new: tuple[str, ...]
    redrawn: tuple[str, ...]
    unchanged: tuple[str, ...]
    valid_from: date | None
    problems: tuple[Problem, ...]
    named_by: tuple[str, ...]


def add_land(
    log: Log,
    data: bytes,
    name: str,
    *,
    today: date,
    farm: str | None = None,
    name_property: str | None = None,
    valid_from: date | None = None,
    command: str = "land add",
) -> LandAdded:
    """Take in the fields of a boundary file.

    today: a field that the log has in another shape is drawn anew from this day on, unless
    valid_from says otherwise. farm: the block of land of fields for which the file names none.
    Raises: UnreadableFile where the file holds no polygon.
    """
    drawings, problems = read_boundaries(data, name=name, name_property=name_property)
    if not drawings:
        why = "; ".join(p.message for p in problems) or "it holds no polygon"
        raise UnreadableFile(
            f"{name}: no field could be read from it: {why}. Nothing was added. A boundary file "
            "is GeoJSON with a Polygon or MultiPolygon for each field."
        )
    history = read(log)
    events: list[Event] = []
    sorts: dict[str, list[str]] = {"new": [], "redrawn": [], "unchanged": []}
    for drawing in drawings:
        sort, event = _drawn(history, drawing, name, farm, valid_from, today)
        sorts[sort].append(drawing.name)
        events += [event] if event else []
    history.append(events, command=command, files=[name])
    if events:
        names = sorts["new"] + sorts["redrawn"]
        problems += shared_ground(read(log).farm, names, name, max(valid_from or today, today))
    from_day = valid_from or (today if sorts["redrawn"] else None)
    new, redrawn, unchanged = (tuple(sorts[s]) for s in ("new", "redrawn", "unchanged"))
    named_by = tuple(dict.fromkeys(d.named_by for d in drawings))
    return LandAdded(new, redrawn, unchanged, from_day, tuple(problems), named_by)


def state_crop(
    log: Log,
    fields: Sequence[str],
    crop: str,
    harvest_year: int,
    *,
    variety: str | None = None,
    valid_from: date | None = None,
    command: str = "land crop",
) -> list[str]:
    """State the crop of fields for a harvest year; gives the fields' names as the log has them.

    A crop stated before for the same year and day is replaced. Raises: UnknownName, OplogError.
    """
    if not 1900 <= harvest_year <= 2200:
        raise OplogError(f"{harvest_year} is no harvest year: write the year of the harvest.")
    history = read(log)
    names = [history.farm.field(f).name for f in fields]
    events = []
    for name in names:
        old = [
            c.event_id
            for c in history.of(CropStated)
            if (c.field.casefold(), c.harvest_year, c.valid_from)
            == (name.casefold(), harvest_year, valid_from)
        ]
        event = CropStated(
            field=name, crop=crop, harvest_year=harvest_year, variety=variety, valid_from=valid_from
        )
        events.append(_in_place_of(history, event, old))
    history.append([e for e in events if e is not None], command=command)
    return names


def add_kit(
    log: Log,
    item: KitItem,
    *,
    correct: bool = True,
    command: str = "kit add",
) -> tuple[KitItem, str]:
    """List a machine or implement, or what changed of one.

    item: as said; what is None is taken from how it was listed before. item.valid_from: the day
    from which it holds; without it the earlier listing is corrected.
    Returns: the item as listed, and "new", "changed" or "unchanged".
    Raises: UnknownName, OplogError.
    """
    history = read(log)
    before = history.farm.kit.get(item.name.casefold(), [])
    base = kit.on(before, item.valid_from or date.max)
    full = _filled(item, base)
    _check_kit(history.farm, full, base)
    columns = {k: v for k, v in asdict(full).items() if k != "event_id"}
    if item.valid_from is None and base is not None:
        columns["valid_from"] = base.valid_from
    old = [k.event_id for k in before if k.valid_from == columns["valid_from"]]
    # Where it is listed in two ways, saying either again settles which one holds.
    if base is not None and len(old) <= 1 and _says_the_same(full, base):
        return base, "unchanged"
    event = _in_place_of(history, KitListed(**columns), old)
    if event is not None:
        history.append([event], command=command)
    return full, "changed" if base else "new"


def _drawn(
    history: History,
    drawing: Drawing,
    name: str,
    farm: str | None,
    valid_from: date | None,
    today: date,
) -> tuple[str, Event | None]:
    before = history.farm.fields.get(drawing.name.casefold(), [])
    geometry = as_wkb(drawing.geometry)
    if geometry is None:
        return "unchanged", None
    last = before[-1] if before else None
    block = drawing.farm or farm or (last.farm if last else history.farm.name)
    shape = shapely.from_wkb(geometry)
    alike = next((b for b in before if _alike(b, shape, valid_from)), None)
    rivals = [b for b in before if alike is not None and b.valid_from == alike.valid_from]
    if last and last.farm == block and len(rivals) == 1:
        return "unchanged", None
    moved = last is not None and not last.boundary.equals(shape)
    from_day = valid_from or (today if moved else last.valid_from if last else None)
    if len(rivals) > 1 and alike is not None:  # drawn in two ways: this one is to hold
        from_day = alike.valid_from
    event = FieldDrawn(
        field=last.name if last else drawing.name,
        farm=block,
        geometry=geometry,
        boundary_m2=round(area_m2(shape), 3),
        valid_from=from_day,
        source_name=name,
    )
    old = [b.event_id for b in before if b.valid_from == event.valid_from]
    return ("redrawn" if last else "new"), _in_place_of(history, event, old)


def _alike(field: Field, shape: object, valid_from: date | None) -> bool:
    return bool(field.boundary.equals(shape)) and valid_from in (None, field.valid_from)


def _in_place_of(history: History, event: Event, old: Sequence[str]) -> Event | None:
    """The event, superseding earlier ones; None where it is there already."""
    if [event.event_id] == list(old):
        return None
    return history.anew(replace(event, supersedes=tuple(sorted(old))))


def _filled(item: KitItem, base: KitItem | None) -> KitItem:
    """What was not said now is as it was listed before, or usual for its kind."""
    said = {k: v for k, v in asdict(item).items() if v not in (None, "")}
    full = replace(base, **said) if base else item
    name = base.name if base else item.name
    full = replace(full, name=name, valid_from=item.valid_from, event_id="")
    is_machine = full.kind in kit.MACHINES and not (base and not base.is_machine)
    if full.kind == "other":
        is_machine = base.is_machine if base else item.is_machine
    operation = full.operation
    if not is_machine and (operation is None or (base and item.kind and item.kind != base.kind)):
        operation = item.operation or kit.OPERATION_OF.get(full.kind)
    return replace(full, is_machine=is_machine, operation=None if is_machine else operation)


def _check_kit(farm: Farm, item: KitItem, base: KitItem | None) -> None:
    """Raises: OplogError for what cannot be, UnknownName for an unknown usual implement."""
    if not item.kind:
        raise OplogError(
            f"Say what kind of thing {item.name} is, with --kind. Machines: "
            f"{', '.join(kit.MACHINES)}. Implements: {', '.join(kit.OPERATION_OF)}."
        )
    if base is not None and base.is_machine != item.is_machine:
        kinds = ("an implement", "a machine")
        raise OplogError(f"{item.name} is listed as {kinds[base.is_machine]} already.")
    if item.width_m is not None and not NARROWEST_M <= item.width_m <= WIDEST_M:
        raise OplogError(
            f"A working width of {item.width_m:.2f} m cannot be right: was another unit meant? "
            f"From {NARROWEST_M:g} m to {WIDEST_M:g} m are taken, written as --width 3m, 10ft or "
            "30in. Nothing was changed."
        )
    for length_m in (item.hitch_m, item.behind_m, item.ahead_m):
        if length_m is not None and not 0 <= length_m <= 50:
            raise OplogError(f"A length of {length_m:g} m cannot be right here.")
    if item.antenna_right_m is not None and abs(item.antenna_right_m) > 10:
        raise OplogError("An antenna more than 10 m from the centre line cannot be right.")
    if item.sections is not None and not 1 <= item.sections <= 500:
        raise OplogError("The number of sections is 1 or more.")
    wrong = _of_the_other_sort(item)
    if wrong:
        sort = "a machine" if item.is_machine else "an implement"
        raise OplogError(f"{item.name} is {sort}: {wrong} does not apply to it.")
    if item.operation:
        refuse_slips(farm, item.operation)
    if item.carries is not None:
        farm.kit_item(item.carries, machine=False)


def _of_the_other_sort(item: KitItem) -> str:
    machine_only = {
        "--right": item.antenna_right_m,
        "--hitch": item.hitch_m,
        "--carries": item.carries,
    }
    implement_only = {
        "--width": item.width_m,
        "--behind": item.behind_m,
        "--ahead": item.ahead_m,
        "--trailed": item.trailed,
        "--holds": item.holds,
        "--sections": item.sections,
    }
    other = implement_only if item.is_machine else machine_only
    return ", ".join(option for option, value in other.items() if value is not None)


def _says_the_same(item: KitItem, base: KitItem) -> bool:
    same_day = item.valid_from in (None, base.valid_from)
    return same_day and replace(item, valid_from=None) == replace(
        base, valid_from=None, event_id=""
    )


def drawing_until(drawings: Sequence[Field], index: int) -> date | None:
    """Last day on which a drawing of a field holds; None where it holds still."""
    later = [d.valid_from for d in drawings[index + 1 :] if d.valid_from is not None]
    return later[0] - timedelta(days=1) if later else None


def fields_on(farm: Farm, day: date) -> list[Field]:
    """The fields of a farm as they are on a day, by farm and name."""
    drawn = (land.on(d, day) for d in farm.fields.values())
    return sorted(
        (f for f in drawn if f is not None), key=lambda f: (f.farm.casefold(), f.name.casefold())
    )
