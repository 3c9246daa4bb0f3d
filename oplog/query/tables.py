"""Base tables: what the questions read. One row per fact of the farm, SI units, times in UTC.

Each is built only for a question that reads it, and what it takes is imported only then. Columns
carry the names of the events' columns (see oplog.events); geometries are WKB in lon/lat.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import field
from dataclasses import fields as columns_of
from typing import TYPE_CHECKING, Any

from oplog import units
from oplog.events import (
    DayMeasured,
    DrillCalibrated,
    EntryWritten,
    Event,
    InputApplied,
    InputPlanned,
    NoteWritten,
    PriceStated,
    TrackImported,
    WorkMeasured,
    columns,
)
from oplog.fold import Farm
from oplog.kit import KitItem
from oplog.records import dataclass

if TYPE_CHECKING:
    from oplog.ground import Covered

Row = tuple[Any, ...]
Schema = dict[str, str]
"""Column name -> type in the database."""

SQL = {
    "str": "VARCHAR",
    "int": "BIGINT",
    "float": "DOUBLE",
    "bool": "BOOLEAN",
    "date": "DATE",
    "datetime": "TIMESTAMPTZ",
}


def _event_columns(event_type: type[Event]) -> Schema:
    """Columns of an event that hold one value each. Geometries are left to `ground`."""
    hints = columns(event_type)
    own = [c.name for c in columns_of(event_type) if c.name not in _ENVELOPE]
    kinds = {n: hints[n].__name__ for n in own if hints[n] is not bytes}
    return {n: SQL[kind] for n, kind in kinds.items() if kind in SQL}


_ENVELOPE = {c.name for c in columns_of(Event)}


def _visits() -> Schema:
    return {
        "event_id": "VARCHAR",
        **_event_columns(WorkMeasured),
        "handle": "VARCHAR",
        "crop": "VARCHAR",
        "harvest_year": "INTEGER",
        "farm": "VARCHAR",
        "field_s": "DOUBLE",
    }


@dataclass(frozen=True)
class Columns:
    """A table of events of one type, which are many: built a column at a time.

    events: those of a farm. beside: columns that are not the events' own, with their Python type,
    one value an event. reckoned: columns worked out from others in SQL.
    """

    event_type: type[Event]
    events: Callable[[Farm], Sequence[Event]]
    beside: Callable[[Farm], dict[str, tuple[type, Sequence[Any]]]] = lambda farm: {}
    reckoned: Mapping[str, str] = field(default_factory=dict)

    def own(self, schema: Mapping[str, str], beside: Collection[str]) -> list[str]:
        """Columns that are the events' own."""
        return [n for n in schema if n not in beside and n not in self.reckoned]

    def reckon(self, schema: Mapping[str, str]) -> str:
        """Every column in SQL, of its type, out of the events' own and those beside them."""
        return ", ".join(
            f'({self.reckoned.get(c, chr(34) + c + chr(34))})::{kind} AS "{c}"'
            for c, kind in schema.items()
        )


def _beside_visits(farm: Farm) -> dict[str, tuple[type, Sequence[Any]]]:
    """job: as said or planned. Work in no field on file is there too: its field is "new ground 1"
    and so on, farm and boundary_m2 are NULL."""
    fields = [v.field for v in farm.visits]
    drawn = {name: farm.fields.get(name.casefold()) for name in set(fields)}
    farms = {name: d[-1].farm if d else None for name, d in drawn.items()}
    standing = [farm.standing[v.event_id] for v in farm.visits]
    handles, crops, years, jobs = zip(*standing, strict=True) if standing else ((),) * 4
    return {
        "field": (str, [v.field or _new_ground(farm, v) for v in farm.visits]),
        "farm": (str, [farms[name] for name in fields]),
        "handle": (str, handles),
        "crop": (str, crops),
        "harvest_year": (int, years),
        "job": (str, jobs),
    }


def _new_ground(farm: Farm, visit: WorkMeasured) -> str:
    from oplog.ground import place_name

    return place_name(farm, visit)


_FIELD_S = "working_s + turning_s + filling_s + standing_s + travelling_s + unrecorded_s"
"""All time in the field."""


def _field_rows(farm: Farm, values: Mapping[str, Any]) -> Iterable[Row]:
    """Every drawing of every field; is_newest: the one that holds from its day on, for good."""
    for drawings in farm.fields.values():
        for f in drawings:
            newest = f is drawings[-1]
            yield (f.event_id, f.name, f.farm, f.area_m2, f.valid_from, newest, f.boundary.wkb)


_FIELDS = {
    "event_id": "VARCHAR",
    "field": "VARCHAR",
    "farm": "VARCHAR",
    "boundary_m2": "DOUBLE",
    "valid_from": "DATE",
    "is_newest": "BOOLEAN",
    "boundary": "BLOB",
}


def _crop_rows(farm: Farm, values: Mapping[str, Any]) -> Iterable[Row]:
    for stated in farm.crops.values():
        for c in stated:
            yield (c.event_id, c.field, c.crop, c.harvest_year, c.variety, c.valid_from)


_CROPS = {
    "event_id": "VARCHAR",
    "field": "VARCHAR",
    "crop": "VARCHAR",
    "harvest_year": "INTEGER",
    "variety": "VARCHAR",
    "valid_from": "DATE",
}


def _kit_rows(farm: Farm, values: Mapping[str, Any]) -> Iterable[Row]:
    """Every version of every machine and implement."""
    names = [c.name for c in columns_of(KitItem)]
    for versions in farm.kit.values():
        for item in versions:
            base, factor = units.AMOUNTS.get(item.holds_unit or "", ("", 1.0))
            held = None if item.holds is None else item.holds * factor
            kg, litres = (held if base == "kg" else None), (held if base == "l" else None)
            yield (*(getattr(item, n) for n in names), kg, litres)


_KIT = {
    **{c.name: SQL[str(c.type).split(" ")[0]] for c in columns_of(KitItem)},
    "holds_kg": "DOUBLE",
    "holds_l": "DOUBLE",
}


def _job_rows(farm: Farm, values: Mapping[str, Any]) -> Iterable[Row]:
    """One row for each field of each job; boundary_m2 NULL for a field not on file."""
    for key, j in farm.jobs.items():
        for name in j.fields:
            drawn = farm.fields.get(name.casefold())
            shown, area_m2 = (drawn[-1].name, drawn[-1].area_m2) if drawn else (name, None)
            closed = key in farm.closed
            yield (j.job, j.operation, j.crop, j.harvest_year, j.by, closed, shown, area_m2)


_JOBS = {
    "job": "VARCHAR",
    "operation": "VARCHAR",
    "crop": "VARCHAR",
    "harvest_year": "INTEGER",
    "due": "DATE",
    "is_closed": "BOOLEAN",
    "field": "VARCHAR",
    "boundary_m2": "DOUBLE",
}


def _ground_rows(farm: Farm, values: Mapping[str, Any]) -> Iterable[Row]:
    """Passes over fields (see oplog.ground); only the asked harvest year's where one is asked."""
    from oplog import ground

    for c in ground.covered(farm, harvest_year=values.get("harvest_year")):
        yield (
            c.operation,
            c.pass_number,
            c.crop,
            c.harvest_year,
            c.field.name,
            c.field.area_m2,
            c.croppable_m2,
            c.done_m2,
            c.left_m2,
            c.missed_m2,
            c.share_done,
            c.finished,
            c.visits[0].day,
            c.visits[-1].day,
            _job_of(farm, c),
            [v.event_id for v in c.visits],
            *(shape.wkb for shape in (c.croppable, c.done, c.left, c.missed)),
            c.unseen_m2,
        )


def _job_of(farm: Farm, covered: Covered) -> str | None:
    """The job that most of a pass was done for."""
    shares: dict[str | None, float] = defaultdict(float)
    for v in covered.visits:
        shares[farm.standing[v.event_id].job] += v.worked_m2 or 0.0
    return max(shares, key=lambda job: (shares[job], job or ""))


_GROUND = {
    "operation": "VARCHAR",
    "pass": "INTEGER",
    "crop": "VARCHAR",
    "harvest_year": "INTEGER",
    "field": "VARCHAR",
    "boundary_m2": "DOUBLE",
    "croppable_m2": "DOUBLE",
    "done_m2": "DOUBLE",
    "left_m2": "DOUBLE",
    "missed_m2": "DOUBLE",
    "share_done": "DOUBLE",
    "is_finished": "BOOLEAN",
    "first_day": "DATE",
    "last_day": "DATE",
    "job": "VARCHAR",
    "visit_ids": "VARCHAR[]",
    "croppable": "BLOB",
    "done": "BLOB",
    "left_ground": "BLOB",
    "missed": "BLOB",
    "unseen_m2": "DOUBLE",
}


def _input_visit_rows(farm: Farm, values: Mapping[str, Any]) -> Iterable[Row]:
    """Each input with each visit it went to (see oplog.season.inputs). share: of the input;
    fillings: stops to fill seen in the visit."""
    from oplog.season import inputs

    for given, v, share in inputs.shares(farm):
        fillings = sum(s.state == "filling" for s in v.spans)
        yield (given.event_id, v.event_id, share, fillings)


_INPUT_VISITS = {
    "input_id": "VARCHAR",
    "visit_event_id": "VARCHAR",
    "share": "DOUBLE",
    "fillings": "INTEGER",
}


def _customer_rows(farm: Farm, values: Mapping[str, Any]) -> Iterable[Row]:
    """One row for each field that is worked for a customer; a field's own beats its farm's."""
    from oplog.season.customer import stated_for

    for drawings in farm.fields.values():
        field = drawings[-1]
        if (stated := stated_for(farm, field)) is not None:
            yield (stated.customer, field.name, field.farm)


_CUSTOMERS = {"customer": "VARCHAR", "field": "VARCHAR", "farm": "VARCHAR"}


def _stated(event_type: type[Event]) -> Schema:
    """Columns of a statement: with its handle, and who stated it when."""
    extra = {"handle": "VARCHAR", "stated_by": "VARCHAR", "stated_at": "TIMESTAMPTZ"}
    return {**_events(event_type), **extra}


def _stated_rows(
    event_type: type[Event], rows: Callable[[Farm], Iterable[Event]]
) -> Callable[[Farm, Mapping[str, Any]], Iterable[Row]]:
    def build(farm: Farm, values: Mapping[str, Any]) -> Iterable[Row]:
        names = list(_event_columns(event_type))
        for e in rows(farm):
            own = (getattr(e, n) for n in names)
            yield (e.event_id, *own, e.event_id[:5], e.stated_by, e.stated_at)

    return build


def _events(event_type: type[Event]) -> Schema:
    return {"event_id": "VARCHAR", **_event_columns(event_type)}


TABLES: dict[str, tuple[Schema, Columns | Callable[[Farm, Mapping[str, Any]], Iterable[Row]]]] = {
    "visits": (
        _visits(),
        Columns(WorkMeasured, lambda f: f.visits, _beside_visits, {"field_s": _FIELD_S}),
    ),
    "days": (_events(DayMeasured), Columns(DayMeasured, lambda f: f.days)),
    "fields": (_FIELDS, _field_rows),
    "crops": (_CROPS, _crop_rows),
    "kit": (_KIT, _kit_rows),
    "jobs": (_JOBS, _job_rows),
    "ground": (_GROUND, _ground_rows),
    "tracks": (_events(TrackImported), Columns(TrackImported, lambda f: f.tracks)),
    "inputs": (_stated(InputApplied), _stated_rows(InputApplied, lambda f: f.inputs)),
    "input_visits": (_INPUT_VISITS, _input_visit_rows),
    "needs": (_stated(InputPlanned), _stated_rows(InputPlanned, lambda f: f.needs)),
    "calibrations": (
        _stated(DrillCalibrated),
        _stated_rows(DrillCalibrated, lambda f: f.calibrations),
    ),
    "notes": (_stated(NoteWritten), _stated_rows(NoteWritten, lambda f: f.notes)),
    "customers": (_CUSTOMERS, _customer_rows),
    "prices": (_stated(PriceStated), _stated_rows(PriceStated, lambda f: f.prices)),
    "entries": (_events(EntryWritten), Columns(EntryWritten, lambda f: f.entries)),
}
"""Name of each base table: its columns, and what gives its rows for a farm and the question's
values."""
