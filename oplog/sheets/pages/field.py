"""The field sheet: the season of one field in order, with the map of the last work."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from oplog import ground
from oplog.errors import OplogError
from oplog.events import WorkMeasured
from oplog.fold import Farm
from oplog.season.sequence import stages
from oplog.sheets import day as screen
from oplog.sheets import figures as fig
from oplog.sheets.inputs import CAUTION
from oplog.sheets.pages.chart import Axis, Mark, round_days, short_day
from oplog.sheets.pages.fieldmap import field_map
from oplog.sheets.pages.inputs import inputs_of
from oplog.sheets.pages.render import render
from oplog.sheets.pages.trails import Trail
from oplog.sheets.table import METRIC
from oplog.sheets.unsettled import notices, of_field

APART = 5.5
"""Numbers on the line of the season are at least this far apart. [%]"""


def seasons_of(farm: Farm, field: str) -> list[int]:
    """Harvest years that work in a field counted to, in order."""
    years = {
        farm.standing[v.event_id].harvest_year
        for v in farm.visits
        if v.field.casefold() == field.casefold()
    }
    return sorted(y for y in years if y is not None)


def work_of(farm: Farm, field: str, year: int | None) -> list[WorkMeasured]:
    """Visits with work in a field that count to a harvest (None: to no stated one), in order."""
    return [
        v
        for v in farm.visits
        if v.field.casefold() == field.casefold()
        and v.working_s > 0
        and farm.standing[v.event_id].harvest_year == year
    ]


def field_page(
    farm: Farm,
    field: str,
    year: int | None,
    trail_of: Callable[[WorkMeasured], Trail | None],
    seal: str,
    *,
    customer: str | None = None,
    system: str = METRIC,
) -> str:
    """The HTML of a field's season. trail_of: where the machine of a visit was on its day.
    customer: whom it is for.

    Raises: UnknownName for the field, OplogError where no work is on file.
    """
    drawn = farm.field(field)
    visits = work_of(farm, drawn.name, year)
    if not visits:
        season = f" for the harvest of {year}" if year else ""
        raise OplogError(f"No work in {drawn.name}{season} is on file. No sheet was made.")
    crops = [c for c in farm.crops.get(drawn.name.casefold(), []) if c.harvest_year == year]
    crop = crops[-1] if crops else None
    inputs = inputs_of(farm, visits)
    return render(
        "field.html",
        title=f"{drawn.name}, {farm.name}",
        farm=farm.name,
        customer=customer,
        field=drawn.name,
        block=drawn.farm,
        area=fig.area(drawn.area_m2, system),
        crop=" ".join(filter(None, (crop.crop, crop.variety))) if crop else "",
        year=year,
        stage=_stage(farm, drawn.name, year),
        line=_line(visits),
        work=[_work(farm, v, visits, system, customer) for v in visits],
        last=_last(farm, visits[-1], trail_of(visits[-1]), len(visits), system),
        ground=_ground(farm, drawn.name, year, system, customer),
        inputs=inputs,
        caution=CAUTION if any(i.kind in ("spray", "fertiliser") for i in inputs) else "",
        notes=[
            (n.day.isoformat() if n.day else "", n.note)
            for n in farm.notes
            if n.field and n.field.casefold() == drawn.name.casefold()
        ],
        method=", ".join(sorted({v.method for v in visits})),
        unsettled=notices(farm, of_field(farm, drawn.name), system),
        seal=seal,
    )


def _stage(farm: Farm, field: str, year: int | None) -> str:
    """How far the field is in the sequence planned for its crop; "" where none is planned."""
    for s in stages(farm, year) if year is not None else []:
        if s.field.casefold() == field.casefold():
            behind = f"; {s.behind} behind the farthest field of {s.crop}" if s.behind else ""
            ahead = f"next comes {s.next}" if s.next else "nothing more is planned"
            return f"{s.done} of {len(s.operations)} planned operations are done; {ahead}{behind}"
    return ""


def _line(visits: Sequence[WorkMeasured]) -> dict[str, Any]:
    """The season as a line: days along it, a dot for each visit, numbers where there is room."""
    first, last = visits[0].day, visits[-1].day
    axis = Axis(first.toordinal(), max(last.toordinal(), first.toordinal() + 1), 3.0, 97.0)
    dots = []
    before = -100.0
    for number, v in enumerate(visits, start=1):
        x = axis.at(v.day.toordinal())
        shown = x - before >= APART
        before = x if shown else before
        dots.append({"x": x, "number": number if shown else None})
    ticks = [Mark(axis.at(d.toordinal()), short_day(d)) for d in round_days(first, last)]
    return {"dots": dots, "ticks": ticks}


def _work(
    farm: Farm,
    visit: WorkMeasured,
    visits: Sequence[WorkMeasured],
    system: str,
    customer: str | None,
) -> dict[str, Any]:
    number = visits.index(visit) + 1
    before = visits[number - 2].day if number > 1 else None
    return {
        "number": number,
        "day": visit.day.isoformat(),
        "gap": _gap(before, visit.day),
        "what": screen.what(farm, visit, system),
        "machine": visit.machine,
        "handle": farm.standing[visit.event_id].handle,
        "facts": screen.facts(visit, system, customer),
    }


def _gap(before: date | None, day: date) -> str:
    if before is None:
        return ""
    days = (day - before).days
    return "the same day" if days == 0 else "the next day" if days == 1 else f"{days} days later"


def _last(
    farm: Farm, visit: WorkMeasured, trail: Trail | None, number: int, system: str
) -> dict[str, Any]:
    return {
        "number": number,
        "day": screen.day_name(visit.day),
        "what": screen.what(farm, visit, system),
        "map": field_map(farm, visit, trail, "last", system),
    }


def _ground(
    farm: Farm, field: str, year: int | None, system: str, customer: str | None
) -> list[dict[str, Any]]:
    """Passes over the field, counted once over days and machines."""
    return [
        {
            "operation": c.operation,
            "number": c.pass_number,
            "done": fig.area(c.done_m2, system),
            "left": fig.area(c.left_m2, system),
            "missed": fig.area(c.missed_m2, system),
            "unseen": screen.unseen(c.unseen_m2, system, customer) if c.unseen_m2 else "",
            "percent": fig.share(c.share_done, 1.0),
            "length": round(100.0 * c.share_done, 1),
            "days": " to ".join(dict.fromkeys((str(c.visits[0].day), str(c.visits[-1].day)))),
        }
        for c in ground.covered(farm, field=field)
        if c.harvest_year == year
    ]
