"""Layers: the ground of a farm as rows with a geometry each, for other programs' maps.

fields, bouts, coverage (ground worked), missed and overlap of each visit, left (ground that is
still to do, of fields begun and of open jobs' fields not yet begun), treated (the ground of each
spray record). Geometries in lon/lat WGS 84; columns carry their units in their names.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import field as column
from datetime import date
from typing import Any

import shapely

from oplog import ground, units
from oplog.errors import OplogError, UnknownName
from oplog.events import WorkMeasured
from oplog.fold import Farm
from oplog.query import ask, records
from oplog.records import dataclass

Row = tuple[Any, ...]


@dataclass(frozen=True, eq=False)
class Layer:
    """Rows of values in the order of `columns`, and a geometry for each. kinds: of the values:
    str, float, int, date or datetime. caution: a sentence that goes with it, or "". beside: what
    stands beside the rows in a file, by name."""

    name: str
    columns: tuple[str, ...]
    kinds: tuple[str, ...]
    rows: tuple[Row, ...]
    geometries: tuple[Any, ...]
    caution: str = ""
    beside: Mapping[str, Any] = column(default_factory=dict)


@dataclass(frozen=True)
class Only:
    """Which rows of a layer: None for all."""

    field: str | None = None
    day: date | None = None
    harvest_year: int | None = None


def layer(farm: Farm, name: str, only: Only | None = None) -> Layer:
    """A layer by its name. Raises: UnknownName; OplogError where it has no rows."""
    if name not in LAYERS:
        raise UnknownName("layer", name, LAYERS)
    wanted = only or Only()
    if wanted.field is not None:
        farm.field(wanted.field)
    columns, make = LAYERS[name]
    pairs = list(make(farm, wanted))
    if not pairs:
        raise OplogError(f"There is nothing in {name} for that: nothing was written.")
    names, kinds = zip(*(c.split(":") for c in columns.split()), strict=True)
    rows, geometries = zip(*pairs, strict=True)
    return Layer(name, names, kinds, rows, geometries)


def _field_rows(farm: Farm, only: Only) -> Iterable[tuple[Row, Any]]:
    for drawings in farm.fields.values():
        f = drawings[-1]
        if _is(f.name, only.field):
            yield (f.name, f.farm, units.hectares(f.area_m2), f.valid_from), f.boundary


def _visits(farm: Farm, only: Only) -> Iterable[tuple[WorkMeasured, Row]]:
    for v in farm.visits:
        at = farm.standing[v.event_id]
        if (
            _is(ground.place_name(farm, v), only.field)
            and only.day in (None, v.day)
            and only.harvest_year in (None, at.harvest_year)
        ):
            yield (
                v,
                (
                    at.handle, v.day, ground.place_name(farm, v), v.operation, v.machine,
                    v.implement, v.driver, at.crop, at.harvest_year,
                ),
            )  # fmt: skip


_VISIT = (
    "visit:str day:date field:str operation:str machine:str implement:str driver:str crop:str "
    "harvest_year:int"
)


def _of_visits(column: str, figure: str) -> Callable[[Farm, Only], Iterable[tuple[Row, Any]]]:
    def build(farm: Farm, only: Only) -> Iterable[tuple[Row, Any]]:
        for v, row in _visits(farm, only):
            wkb, area_m2 = getattr(v, column), getattr(v, figure)
            shape = _sound(shapely.from_wkb(wkb)) if wkb else None
            if shape is not None and not shape.is_empty:
                yield (*row, None if area_m2 is None else units.hectares(area_m2)), shape

    return build


def _bout_rows(farm: Farm, only: Only) -> Iterable[tuple[Row, Any]]:
    for v, row in _visits(farm, only):
        if v.bouts:
            for number, line in enumerate(shapely.get_parts(shapely.from_wkb(v.bouts)), start=1):
                yield (*row, number, v.width_used_m or v.width_m), line


def _left_rows(farm: Farm, only: Only) -> Iterable[tuple[Row, Any]]:
    open_jobs = [j for k, j in farm.jobs.items() if k not in farm.closed]
    begun = set()
    for c in ground.covered(farm, harvest_year=only.harvest_year, field=only.field):
        job = next((farm.standing[v.event_id].job for v in c.visits), None)
        begun.add(((job or "").casefold(), c.field.name.casefold()))
        if not c.finished and c.left_m2 > 0:
            yield (c.field.name, c.operation, job, c.crop, units.hectares(c.left_m2)), c.left
    for j in open_jobs:
        for name in j.fields:
            drawn = farm.fields.get(name.casefold())
            key = (j.job.casefold(), name.casefold())
            if drawn and key not in begun and _is(name, only.field) and _year(j, only):
                f = drawn[-1]
                row = (f.name, j.operation, j.job, j.crop, units.hectares(f.area_m2))
                yield row, f.boundary


def _year(job: Any, only: Only) -> bool:
    return only.harvest_year in (None, job.harvest_year)


def _treated_rows(farm: Farm, only: Only) -> Iterable[tuple[Row, Any]]:
    by_handle = {farm.standing[v.event_id].handle: v for v in farm.visits}
    names = [c.split(":")[0] for c in _TREATED.split()]
    for r in records(ask(farm, "spray_records", {"harvest_year": only.harvest_year})):
        v = by_handle.get(r["visit"])
        if v is None or not v.geometry or not _is(ground.place_name(farm, v), only.field):
            continue
        if only.day in (None, v.day):
            yield tuple(r[n] for n in names), _sound(shapely.from_wkb(v.geometry))


_TREATED = (
    "input:str visit:str day:date started_at:datetime start:str field:str crop:str eppo:str "
    "bbch:str product:str authorisation:str use:str dose:float unit:str treated_ha:float "
    "used:float water_rate:float operator:str machine:str wind_force:float wind_from:str "
    "missing:str caution:str"
)

LAYERS: dict[str, tuple[str, Callable[[Farm, Only], Iterable[tuple[Row, Any]]]]] = {
    "fields": ("field:str farm:str boundary_ha:float drawn_from:date", _field_rows),
    "bouts": (f"{_VISIT} bout:int width_m:float", _bout_rows),
    "coverage": (f"{_VISIT} worked_ha:float", _of_visits("geometry", "worked_m2")),
    "missed": (f"{_VISIT} missed_ha:float", _of_visits("missed", "missed_m2")),
    "overlap": (f"{_VISIT} overlap_ha:float", _of_visits("overlap", "overlap_m2")),
    "left": ("field:str operation:str job:str crop:str left_ha:float", _left_rows),
    "treated": (_TREATED, _treated_rows),
}
"""Layers by name: their columns with kinds, and what gives their rows."""

READS = dict.fromkeys(LAYERS, ("visits",)) | {
    "fields": ("fields",),
    "left": ("visits", "ground", "jobs"),
    "treated": ("visits", "inputs", "input_visits"),
}
"""Base tables of questions that say what each layer rests on."""


def _sound(ground_shape: Any) -> Any:
    """Ground that other programs take: rings that cross or touch themselves are parted."""
    if shapely.is_valid(ground_shape):
        return ground_shape
    parts = shapely.get_parts(shapely.get_parts(shapely.make_valid(ground_shape)))
    return shapely.MultiPolygon([p for p in parts if p.geom_type == "Polygon"])


def _is(name: str, wanted: str | None) -> bool:
    return wanted is None or name.casefold() == wanted.casefold()
