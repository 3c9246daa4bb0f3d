"""The season sheet: hectares by day, output against width, hours by machine, and last season."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from oplog.errors import OplogError
from oplog.events import WorkMeasured
from oplog.fold import Farm
from oplog.query import ask, records
from oplog.sheets import figures as fig
from oplog.sheets.pages.chart import Axis, Mark, round_days, short_day
from oplog.sheets.pages.render import render
from oplog.sheets.pages.widths import width_chart
from oplog.sheets.table import METRIC
from oplog.sheets.uncounted import TO_COUNT, uncounted
from oplog.sheets.unsettled import notices, of_season
from oplog.units import HECTARE_M2, HOUR_S

STATES = ("working", "turning", "filling", "standing", "travelling", "unrecorded")
UNSAID = "work not said yet"


def season_page(
    farm: Farm,
    year: int,
    seal: str,
    *,
    customer: str | None = None,
    system: str = METRIC,
) -> str:
    """The HTML of a harvest year's sheet. customer: whose part of a farm this is.

    Raises: OplogError where no work counts to it.
    """
    rows = records(ask(farm, "season_summary", {"harvest_year": year}))
    visits = [v for v in farm.visits if farm.standing[v.event_id].harvest_year == year]
    if not rows:
        none = f"No work for the harvest of {year} is on file. No sheet was made."
        lacks = uncounted(farm, None, system)
        raise OplogError(f"{none} {lacks} {TO_COUNT}" if lacks else none)
    before = records(ask(farm, "season_summary", {"harvest_year": year - 1}))
    outputs = records(ask(farm, "output_by_width", {"harvest_year": year}))
    return render(
        "season.html",
        title=f"Harvest {year}, {farm.name}",
        farm=farm.name,
        customer=customer,
        year=year,
        rows=[_row(r, system) for r in rows],
        total=fig.area(_sum(rows, "worked_ha") * HECTARE_M2, system),
        hours=fig.clock(sum(_sum(rows, f"{s}_h") for s in STATES) * HOUR_S),
        days=len({v.day for v in visits if v.working_s > 0}),
        fields=len({v.field.casefold() for v in visits if v.working_s > 0}),
        strips=_strips(visits, system),
        ticks=_ticks(visits),
        widths=width_chart(outputs, farm, system),
        machines=_machines(rows),
        against=_against(rows, before, system),
        method=", ".join(sorted({v.method for v in visits})),
        unsettled=notices(farm, of_season(farm, year), system),
        uncounted=uncounted(farm, year, system),
        seal=seal,
    )


def _sum(rows: Sequence[Mapping[str, Any]], column: str) -> float:
    return float(sum(r[column] or 0.0 for r in rows))


def _row(row: Mapping[str, Any], system: str) -> dict[str, Any]:
    worked = row["worked_ha"]
    return {
        "operation": row["operation"] or UNSAID,
        "machine": row["machine"],
        "worked": fig.area(None if worked is None else worked * HECTARE_M2, system),
        "fields": row["fields"],
        "days": row["days"],
        "hours": [fig.clock((row[f"{s}_h"] or 0.0) * HOUR_S) for s in STATES],
    }


def _span(visits: Sequence[WorkMeasured]) -> tuple[date, date, Axis]:
    days = [v.day for v in visits]
    first, last = min(days), max(days)
    length = max(last.toordinal() - first.toordinal(), 1)
    return first, last, Axis(first.toordinal(), first.toordinal() + length, 2.0, 98.0)


def _ticks(visits: Sequence[WorkMeasured]) -> list[Mark]:
    first, last, axis = _span(visits)
    return [Mark(axis.at(d.toordinal()), short_day(d)) for d in round_days(first, last)]


def _strips(visits: Sequence[WorkMeasured], system: str) -> list[dict[str, Any]]:
    """A strip of days for each operation, in order of its first day. One scale of height."""
    by: dict[str, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    for v in visits:
        if v.worked_m2:
            by[v.operation or UNSAID][v.day] += v.worked_m2
    _, _, axis = _span(visits)
    highest = max((m for days in by.values() for m in days.values()), default=1.0)
    found = []
    for operation, days in sorted(by.items(), key=lambda o: (min(o[1]), o[0])):
        best = max(days, key=lambda d: days[d])
        found.append(
            {
                "operation": operation,
                "words": f"{fig.area(sum(days.values()), system)} in {len(days)} "
                f"day{'s' if len(days) > 1 else ''}, most on {short_day(best)}: "
                f"{fig.area(days[best], system)}",
                "bars": [
                    {"x": axis.at(d.toordinal()), "height": round(100.0 * m / highest, 1)}
                    for d, m in sorted(days.items())
                ],
            }
        )
    return found


def _machines(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Hours in fields by state, machine by machine, on one scale."""
    by: dict[str, dict[str, float]] = defaultdict(lambda: dict.fromkeys(STATES, 0.0))
    for r in rows:
        for s in STATES:
            by[r["machine"]][s] += r[f"{s}_h"] or 0.0
    longest = max((sum(h.values()) for h in by.values()), default=0.0) or 1.0
    found = []
    for name, hours in sorted(by.items(), key=lambda m: -sum(m[1].values())):
        x, pieces = 0.0, []
        for state, h in hours.items():
            width = 100.0 * h / longest
            if width > 0:
                pieces.append({"state": state, "x": round(x, 2), "width": round(width, 2)})
            x += width
        words = [(s, fig.clock(h * HOUR_S)) for s, h in hours.items() if h * HOUR_S >= 30]
        total = fig.clock(sum(hours.values()) * HOUR_S)
        found.append({"machine": name, "pieces": pieces, "words": words, "total": total})
    return found


def _against(
    rows: Sequence[Mapping[str, Any]], before: Sequence[Mapping[str, Any]], system: str
) -> list[dict[str, Any]]:
    """Operations of both seasons side by side; nothing where there was no season before."""
    if not before:
        return []
    names = sorted({r["operation"] or UNSAID for r in (*rows, *before)})
    found = []
    for name in names:
        sides = []
        for season in (rows, before):
            own = [r for r in season if (r["operation"] or UNSAID) == name]
            worked, hours = _sum(own, "worked_ha"), sum(_sum(own, f"{s}_h") for s in STATES)
            rate = worked / hours * HECTARE_M2 / HOUR_S if hours and worked else None
            sides.append(
                (
                    fig.area(worked * HECTARE_M2, system) if own else "–",
                    fig.clock(hours * HOUR_S) if own else "–",
                    fig.rate(rate, system) if own else "–",
                )
            )
        found.append({"operation": name, "now": sides[0], "before": sides[1]})
    return found
