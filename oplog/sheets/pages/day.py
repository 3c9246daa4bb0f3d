"""The day sheet: what was done on a day, with maps and the clock of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import shapely

from oplog.errors import OplogError
from oplog.events import DayMeasured, NoteWritten, WorkMeasured
from oplog.fold import Farm
from oplog.ground import boundary_of, place_name
from oplog.records import dataclass
from oplog.sheets import day as screen
from oplog.sheets import figures as fig
from oplog.sheets.inputs import CAUTION
from oplog.sheets.pages.clockband import Clock, clock
from oplog.sheets.pages.farmmap import FarmMap, Ground, farm_map
from oplog.sheets.pages.fieldmap import FieldMap, field_map
from oplog.sheets.pages.inputs import day_inputs
from oplog.sheets.pages.jobs import JobLine, job_lines
from oplog.sheets.pages.render import render
from oplog.sheets.pages.trails import Trail
from oplog.sheets.table import METRIC
from oplog.sheets.unsettled import parted
from oplog.sheets.unsure import is_open

SIZES = ((2, "pair"), (4, "few"), (6, "some"), (12, "many"))
"""Up to so many visits, they are printed so large; more are "dense". A day prints on two pages."""


@dataclass(frozen=True)
class VisitView:
    """One visit on the page. facts: labels with their figures in words, as on the screen."""

    number: int
    handle: str
    field: str
    machine: str
    what: str
    period: str
    worked: str
    range: str
    overlap: str
    missed: str
    working: str
    share: str
    rate: str
    facts: tuple[tuple[str, str], ...]
    map: FieldMap | None


@dataclass(frozen=True)
class Total:
    """What one machine, or the day, comes to."""

    name: str
    parts: tuple[str, ...]


def day_page(
    farm: Farm,
    day: date,
    ways: Mapping[str, Trail],
    seal: str,
    *,
    machine: str | None = None,
    customer: str | None = None,
    system: str = METRIC,
) -> str:
    """The HTML of a day's sheet, for one machine or all.

    ways: where each machine was on that day (trails.trails). seal: the log's, as `oplog check`
    gives it. customer: whose part of a farm this is (season.customer); the day then is his visits
    alone. Raises: OplogError where nothing was recorded.
    """
    visits = screen.visits_of(farm, day, machine)
    days = screen.days_of(farm, day, machine) if customer is None else _in_fields(visits)
    if not days:
        whose = f" by {machine}" if machine else ""
        whose += f" on the ground of {customer}" if customer else ""
        raise OplogError(f"{screen.day_name(day)}: nothing recorded{whose}. No sheet was made.")
    numbers = {v.event_id: i for i, v in enumerate(visits, start=1)}
    inputs = day_inputs(farm, day, visits)
    return render(
        "day.html",
        title=f"{screen.day_name(day)}, {farm.name}",
        farm=farm.name,
        customer=customer,
        day=screen.day_name(day),
        totals=_totals(days, visits, system, outside=customer is None),
        open_count=sum(is_open(v) for v in visits),
        map=_day_map(farm, day, days, visits, ways, numbers, system),
        clock=_clock(farm, days, visits, numbers),
        visits=[_visit(farm, v, ways.get(v.machine), numbers, system, customer) for v in visits],
        size=next((name for most, name in SIZES if len(visits) <= most), "dense"),
        jobs=_jobs(farm, visits, system),
        inputs=inputs,
        caution=CAUTION if any(i.kind in ("spray", "fertiliser") for i in inputs) else "",
        notes=[_note(n) for n in farm.notes if _is_of(n, day, visits)],
        unsure=_unsure(farm, days, visits, customer, system),
        method=", ".join(sorted({d.method for d in days})),
        seal=seal,
        several=len({d.machine for d in days}) > 1,
    )


def _in_fields(visits: Sequence[WorkMeasured]) -> list[DayMeasured]:
    """Days of which nothing but some visits is known, one for each machine."""
    found = []
    for name in sorted({v.machine for v in visits}, key=str.casefold):
        own = [v for v in visits if v.machine == name]
        seconds = sum(screen.field_s(v) for v in own)
        found.append(
            DayMeasured(
                machine=name, day=own[0].day, tracks=(), settings={},
                method=", ".join(sorted({v.method for v in own})),
                measured=tuple(v.event_id for v in own),
                started_at=min(v.started_at for v in own), ended_at=max(v.ended_at for v in own),
                tracked_s=seconds, field_s=seconds, road_s=0.0, elsewhere_s=0.0, road_m=0.0,
            )
        )  # fmt: skip
    return found


def _unsure(
    farm: Farm,
    days: Sequence[DayMeasured],
    visits: Sequence[WorkMeasured],
    customer: str | None,
    system: str,
) -> list[tuple[str, str]]:
    """What is unsure, and the command that settles it, which is not a customer's."""
    found = [parted(s) for s in screen.unsure(farm, days, visits, system)]
    return found if customer is None else [(words, "") for words, _ in found]


def _totals(
    days: Sequence[DayMeasured],
    visits: Sequence[WorkMeasured],
    system: str,
    *,
    outside: bool,
) -> list[Total]:
    names = sorted({d.machine for d in days}, key=str.casefold)
    found = []
    for name in names:
        own = [d for d in days if d.machine == name]
        parts = screen.totals(
            own, [v for v in visits if v.machine == name], system, outside=outside
        )
        found.append(Total(name, tuple(parts)))
    if len(names) > 1:
        found.insert(
            0, Total("all machines", tuple(screen.totals(days, visits, system, outside=outside)))
        )
    return found


def _visit(
    farm: Farm,
    visit: WorkMeasured,
    trail: Trail | None,
    numbers: dict[str, int],
    system: str,
    customer: str | None,
) -> VisitView:
    number = numbers[visit.event_id]
    facts = screen.facts(visit, system, customer)
    if visit.working_s <= 0:
        facts.insert(0, ("work", screen.NO_WORK))
    worked = visit.worked_m2 if visit.working_s > 0 else None
    return VisitView(
        number=number,
        handle=farm.standing[visit.event_id].handle,
        field=place_name(farm, visit),
        machine=visit.machine,
        what=screen.what(farm, visit, system),
        period=screen.period(farm, visit),
        worked=fig.area(worked, system) if worked is not None else "–",
        range=fig.area_range(visit.worked_low_m2, visit.worked_high_m2, system) or "–",
        overlap=fig.area(visit.overlap_m2, system, unit=False),
        missed=fig.area(visit.missed_m2, system, unit=False),
        working=fig.clock(visit.working_s),
        share=fig.share(worked, visit.boundary_m2) if worked is not None else "–",
        rate=fig.rate(screen.overall_m2_s(visit), system) if worked is not None else "–",
        facts=tuple(facts),
        map=field_map(farm, visit, trail, f"v{number}", system),
    )


def _day_map(
    farm: Farm,
    day: date,
    days: Sequence[DayMeasured],
    visits: Sequence[WorkMeasured],
    ways: Mapping[str, Trail],
    numbers: dict[str, int],
    system: str,
) -> FarmMap | None:
    machines = {d.machine for d in days}
    by_field: dict[str, list[WorkMeasured]] = {}
    for v in visits:
        if v.boundary or v.ground:
            by_field.setdefault(place_name(farm, v).casefold(), []).append(v)
    grounds = []
    for stays in by_field.values():
        worked = [shapely.from_wkb(v.geometry) for v in stays if v.geometry]
        label = ", ".join(str(numbers[v.event_id]) for v in stays)
        done = shapely.GeometryCollection(worked) if worked else None
        grounds.append(Ground(label, boundary_of(farm, stays[0]), _polygons(done)))
    others = [farm.field(k, day) for k in farm.fields if k not in by_field]
    told = f"{len(by_field)} fields worked or visited, and the ways of the machines outside fields."
    own = {name: trail for name, trail in ways.items() if name in machines}
    return farm_map(grounds, own, others, "day", told, system)


def _polygons(collection: Any) -> Any:
    """A collection's ground as one shape to draw; overlaps of visits do not matter here."""
    if collection is None:
        return None
    parts = shapely.get_parts(shapely.get_parts(collection))
    return shapely.MultiPolygon([p for p in parts if p.geom_type == "Polygon"])


def _clock(
    farm: Farm,
    days: Sequence[DayMeasured],
    visits: Sequence[WorkMeasured],
    numbers: dict[str, int],
) -> Clock:
    return clock(days, visits, numbers, farm.zone)


def _jobs(farm: Farm, visits: Sequence[WorkMeasured], system: str) -> list[JobLine]:
    names = {farm.standing[v.event_id].job for v in visits}
    return job_lines(farm, [n for n in names if n], system)


def _is_of(note: NoteWritten, day: date, visits: Sequence[WorkMeasured]) -> bool:
    handles = {v.visit for v in visits}
    return note.day == day or (note.visit is not None and note.visit in handles)


def _note(note: NoteWritten) -> tuple[str, str]:
    """What a note is on, and its text."""
    return ", ".join(filter(None, (note.field, note.machine))) or "the day", note.note
