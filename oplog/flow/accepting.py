"""New ground gets a name: a field is drawn about it, and the work there is measured against it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import shapely

from oplog import geodesy, ground
from oplog.errors import OplogError
from oplog.events import Event, FieldDrawn, WorkMeasured
from oplog.flow.history import History, read
from oplog.flow.measuring import as_wkb
from oplog.flow.remeasuring import measured_anew
from oplog.fold import Farm
from oplog.ground.shapes import opened, tidy, together, without
from oplog.ground.waiting import NewGround, joined
from oplog.land import Field
from oplog.log import Log
from oplog.records import dataclass

THIN_M = 3.0
"""What is left of new ground beside the fields on file counts where it is twice as wide."""


@dataclass(frozen=True)
class Accepted:
    """A field drawn about new ground, and the work that is now measured against it.

    taken: what part of the ground lay in fields on file and was left out, 0 to 1.
    """

    field: FieldDrawn
    visits: tuple[WorkMeasured, ...]
    taken: float


def accept(
    log: Log,
    numbers: Sequence[int],
    name: str,
    *,
    farm: str | None = None,
    step: Callable[[str, date], None] = lambda machine, day: None,
    command: str = "land accept",
) -> Accepted:
    """Give new ground a name. Its outline becomes the boundary, from the first work there on.

    numbers: of one new ground, or of several that are one field. farm: the block of land; that of
    the nearest field where it is not said. step: called before each machine's day is measured.
    All in one entry. Raises: OplogError for a number that does not wait, or a name that is taken.
    """
    name = name.strip()
    history = read(log)
    _check_name(history.farm, name)
    chosen = [_numbered(history.farm, n) for n in dict.fromkeys(numbers)]
    shape, taken = _beside(history.farm, chosen)
    drawn = FieldDrawn(
        field=name,
        farm=farm or _block(history.farm, chosen),
        geometry=as_wkb(shape) or b"",
        boundary_m2=round(geodesy.area_m2(shape), 3),
        source_name=", ".join(g.name for g in chosen),
    )
    drawn = history.anew(drawn)
    events = [drawn, *_measured(history, drawn, shape, chosen, step)]
    history.append(events, command=command)
    visits = tuple(
        e for e in events if isinstance(e, WorkMeasured) and e.field == name and e.working_s > 0
    )
    return Accepted(drawn, visits, taken)


def _check_name(farm: Farm, name: str) -> None:
    if not name:
        raise OplogError("Say what the ground is called, with --name. Nothing was changed.")
    known = farm.fields.get(name.casefold())
    if known:
        raise OplogError(
            f"There is a field {known[-1].name} already. Take another name; or, if that field "
            "has grown, draw it anew: oplog land add FILE. Nothing was changed."
        )


def _numbered(farm: Farm, number: int) -> NewGround:
    found = ground.waiting(farm)
    for g in found:
        if g.number == number:
            return g
    waits = ", ".join(str(g.number) for g in found)
    what = f"What waits for a name: {waits}." if waits else "No ground waits for a name."
    raise OplogError(f"There is no new ground {number}. {what} oplog land shows it.")


def _beside(farm: Farm, chosen: Sequence[NewGround]) -> tuple[Any, float]:
    """The ground to be drawn, without what lies in fields on file; and the share of that.

    Raises: OplogError where nearly all of it does.
    """
    whole = joined([g.shape for g in chosen])
    plane = geodesy.plane_of(whole)
    own = tidy(plane.project(whole))
    fields = [plane.project(d[-1].boundary) for d in farm.fields.values()]
    met = [tidy(f) for f in fields if f.intersects(own)]
    free = opened(without(own, together(*met)), THIN_M) if met else own
    taken = float(1 - free.area / own.area) if met else 0.0
    if taken > 0.9:
        raise OplogError(
            "This ground lies in fields that are on file by now. What that changes: oplog "
            "remeasure. Nothing was changed."
        )
    parts = [p for p in shapely.get_parts(free) if p.area > 0.02 * own.area]
    left = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
    return (plane.unproject(left) if taken > 1e-4 else whole), taken


def _block(farm: Farm, chosen: Sequence[NewGround]) -> str:
    nearest = chosen[0].nearest
    return nearest.farm if nearest is not None else farm.name


def _measured(
    history: History, drawn: FieldDrawn, shape: Any, chosen: Sequence[NewGround],
    step: Callable[[str, date], None],
) -> list[Event]:  # fmt: skip
    """The days of all work on the chosen ground, and on other new ground that lies in the field,
    measured with the field on file."""
    field = Field(
        drawn.field, drawn.farm, shapely.from_wkb(drawn.geometry), drawn.boundary_m2,
        event_id=drawn.event_id,
    )  # fmt: skip
    fields = {**history.farm.fields, drawn.field.casefold(): [field]}
    farm = replace(history.farm, fields=fields)
    met = {g.number for g in chosen}
    met |= {g.number for g in ground.waiting(history.farm) if g.shape.intersects(shape)}
    days = {
        (v.machine, v.day)
        for g in ground.waiting(history.farm)
        if g.number in met
        for v in g.visits
    }
    events: list[Event] = []
    for machine, day in sorted(days):
        step(machine, day)
        events += measured_anew(history, farm, machine, day, history.log.fixes)
    return events
