"""Ground that waits for a name, in words and as a table."""

from __future__ import annotations

from collections.abc import Sequence

from oplog import ground
from oplog.events import FieldDrawn, WorkMeasured
from oplog.fold import Farm
from oplog.ground import NewGround
from oplog.sheets import figures as fig
from oplog.sheets.table import METRIC, Column, Table
from oplog.units import hectares, hours

BESIDE_M = 25.0
"""Ground nearer than this to a field lies beside it."""

FAR_M = 50_000.0
"""Ground further than this from every field is told by its place on the globe."""

MOST_DAYS = 4
"""So many days are named for each machine."""

NO_BOUNDARY = "measured against no boundary"


def where(new: NewGround, system: str = METRIC) -> str:
    """Where new ground lies: from the nearest field, else on the globe."""
    if new.nearest is None or new.away_m is None or new.away_m > FAR_M:
        lon, lat = new.shape.centroid.coords[0]
        lon = (lon + 180.0) % 360.0 - 180.0
        return (
            f"at {abs(lat):.4f} {'N' if lat >= 0 else 'S'}, {abs(lon):.4f} "
            f"{'E' if lon >= 0 else 'W'}"
        )
    if new.away_m < BESIDE_M:
        return f"beside {new.nearest.name}, {new.wind} of it"
    return f"{fig.distance(max(new.away_m, 100.0), system)} {new.wind} of {new.nearest.name}"


def waiting_table(farm: Farm) -> Table:
    """All ground that waits for a name, with the work done there."""
    columns = (
        Column("number", "no."),
        Column("where", "where"),
        Column("outline_ha", "outline", "ha"),
        Column("worked_ha", "worked", "ha"),
        Column("working_h", "working", "h"),
        Column("first_day", "first"),
        Column("last_day", "last"),
        Column("machines", "machines"),
    )
    rows = []
    for g in ground.waiting(farm):
        known = [v.worked_m2 for v in g.visits if v.worked_m2 is not None]
        rows.append(
            (
                g.number,
                where(g),
                hectares(g.area_m2),
                hectares(sum(known)) if known else None,
                hours(sum(v.working_s for v in g.visits)),
                g.visits[0].day,
                g.visits[-1].day,
                ", ".join(sorted({v.machine for v in g.visits}, key=str.casefold)),
            )
        )
    return Table("Waiting for a name", columns, tuple(rows))


def land_data(fields: Table, waiting: Table) -> Table:
    """Fields and ground that waits for a name in one table, for data. Of ground that waits, the
    area is that of its outline and `number` is what `oplog land accept` takes; fields have none.
    """
    own = [c.name for c in fields.columns]
    at = {c.name: i for i, c in enumerate(waiting.columns)}
    more = [c for c in waiting.columns if c.name != "outline_ha"]
    rows = [(*row, *(None for _ in more)) for row in fields.rows]
    for row in waiting.rows:
        known = {"field": f"new ground {row[at['number']]}", "area_ha": row[at["outline_ha"]]}
        rows.append((*(known.get(n) for n in own), *(row[at[c.name]] for c in more)))
    return Table("", (*fields.columns, *more), tuple(rows))


def of_visit(farm: Farm, visit: WorkMeasured, system: str = METRIC) -> str:
    """What to say of the place of a visit to new ground; "" for one to a field."""
    new = ground.ground_of(farm, visit)
    return f"{where(new, system)}; {NO_BOUNDARY}" if new else ""


def naming(farm: Farm, visits: Sequence[WorkMeasured], system: str = METRIC) -> list[str]:
    """A sentence for each new ground among some visits, with the command that names it last."""
    found = {g.number: g for v in visits if (g := ground.ground_of(farm, v))}
    return [
        f"{g.name} ({fig.area(g.area_m2, system)}, {where(g, system)}) has no boundary on file. "
        f"To name it and take its outline: oplog land accept {g.number} --name NAME"
        for _, g in sorted(found.items())
    ]


def accepted_lines(
    drawn: FieldDrawn, visits: Sequence[WorkMeasured], taken: float, system: str = METRIC
) -> list[str]:
    """What became of new ground that was given a name."""
    area = fig.area(drawn.boundary_m2, system)
    lines = [f"{drawn.field} ({drawn.farm}): {area}, drawn from {drawn.source_name}."]
    if taken > 0.001:
        lines.append(
            f"{fig.share(taken, 1.0)} of its ground lay in fields on file and was left out."
        )
    worked = sum(v.worked_m2 or 0.0 for v in visits)
    days = len({v.day for v in visits})
    if visits:
        lines.append(
            f"Measured against it: {len(visits)} visit{'s' * (len(visits) > 1)} on {days} "
            f"day{'s' * (days > 1)}, {fig.area(worked, system)}."
        )
        lines += _whose(visits, system)
    return lines


def _whose(visits: Sequence[WorkMeasured], system: str) -> list[str]:
    """A line for each machine whose work now bears the name."""
    lines = []
    for machine in sorted({v.machine for v in visits}, key=str.casefold):
        own = [v for v in visits if v.machine == machine]
        on = sorted({v.day.isoformat() for v in own})
        more = f" and {len(on) - MOST_DAYS} more days" if len(on) > MOST_DAYS else ""
        done = fig.area(sum(v.worked_m2 or 0.0 for v in own), system)
        lines.append(f"  {machine}: {done}, {', '.join(on[:MOST_DAYS])}{more}")
    return lines
