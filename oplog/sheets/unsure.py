"""What a day's figures leave unsure, each with the command that settles it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from oplog import kit
from oplog.events import DayMeasured, WorkMeasured
from oplog.fold import Farm, Unsettled, of_subject, of_visits
from oplog.fold.hanging import Subject, folded
from oplog.ground import place_name
from oplog.sheets import figures as fig
from oplog.sheets.newground import naming
from oplog.sheets.table import METRIC
from oplog.sheets.unsettled import sentence

FITS = 0.1
"""An implement whose width is within this share of the bouts' spacing may have been the one."""


def unsure(
    farm: Farm, days: Sequence[DayMeasured], visits: Sequence[WorkMeasured], system: str = METRIC
) -> list[str]:
    """Sentences; a command that settles the matter stands last."""
    found = naming(farm, visits, system)
    found += unsure_of(farm, visits, system)
    for d in days:
        found += [f"{d.machine}: {s}" for s in d.doubts]
        if d.nearest_m is not None and not any(v.machine == d.machine for v in visits):
            found.append(_nowhere(d, d.nearest_m, system))
        elif not farm.fields and not any(v.machine == d.machine for v in visits):
            found.append("No field is on file, so all counts as road: oplog land add FILE")
    return found + [sentence(farm, u, system) for u in unsettled_of(farm, days, visits)]


def _nowhere(d: DayMeasured, nearest_m: float, system: str) -> str:
    """Of a day without a visit."""
    if not nearest_m:
        return (
            f"{d.machine}: it was in {d.nearest_field}, but nothing like work was seen there. If "
            "it worked, strike the import and take the file in again with --implement NAME; "
            f"which import: oplog history {d.day}"
        )
    return (
        f"{d.machine}: no boundary matched this track; the nearest field is {d.nearest_field}, "
        f"{fig.distance(nearest_m, system)} away. A field that is missing: oplog land add FILE"
    )


def unsure_of(farm: Farm, visits: Sequence[WorkMeasured], system: str = METRIC) -> list[str]:
    """What visits alone leave unsure; a command that settles the matter stands last."""
    return [s for v in visits for s in _of_visit(farm, v, system)]


def unsettled_of(
    farm: Farm, days: Sequence[DayMeasured], visits: Sequence[WorkMeasured]
) -> list[Unsettled]:
    """The unsettled matters that bear on a day's figures, those of visits struck included."""
    about = of_visits(
        farm,
        visits,
        whole=True,
        machines=folded(d.machine for d in days),
        first=min((d.day for d in days), default=None),
        last=max((d.day for d in days), default=None),
    )
    return of_subject(farm, about) if days else []


def unsettled_on(farm: Farm, day: date, machine: str | None) -> list[Unsettled]:
    """The unsettled matters for which a day may have nothing to show, of one machine or all."""
    none: frozenset[str] = frozenset()
    machines = None if machine is None else folded([machine])
    return of_subject(
        farm,
        Subject(none, machines, none, none, none, none, first=day, last=day, whole=True),
    )


def is_open(visit: WorkMeasured) -> bool:
    """Whether work was done of which nobody has said with what."""
    return visit.implement is None and visit.working_s > 0


def fitting(farm: Farm, visit: WorkMeasured) -> list[str]:
    """Implements as wide as the bouts of a visit are apart, nearest first; where the operation is
    known, those for it."""
    apart = visit.bout_width_m
    if apart is None:
        return []
    items = (kit.on(versions, visit.day) for versions in farm.kit.values())
    near = [
        (abs(i.width_m - apart), i.name)
        for i in items
        if i is not None
        and not i.is_machine
        and i.width_m is not None
        and visit.operation in (None, i.operation)
    ]
    return [name for off, name in sorted(near) if off <= FITS * apart]


def _of_visit(farm: Farm, visit: WorkMeasured, system: str) -> list[str]:
    handle = farm.standing[visit.event_id].handle
    place = place_name(farm, visit)
    fits = [n for n in fitting(farm, visit) if n != visit.implement]
    command = f"oplog say {handle} --implement {_typed(fits[0] if fits else 'NAME')}"
    guess = f" {' or '.join(fits)} would fit." if fits else ""
    found = []
    if is_open(visit):
        apart = ""
        if visit.bout_width_m is not None:
            apart = f" The area rests on bouts {fig.width(visit.bout_width_m, system)} apart."
        found.append(f"{handle} {place}: with which implement?{apart}{guess} {command}")
    for doubt in visit.doubts:
        if is_open(visit) and doubt.startswith("No implement"):
            continue
        settles = ""
        if "another implement" in doubt:
            settles = f"{guess} {command}" if fits else _width(visit)
        elif "positions wander" in doubt and visit.field:
            settles = (
                " If the whole field was worked, its boundary's area is surer: oplog field "
                f"{_typed(visit.field)}"
            )
        elif "is coarse" in doubt:
            settles = " Set the logger to write every second or two."
        found.append(f"{handle} {place}: {doubt}{settles}")
    return found


def _width(visit: WorkMeasured) -> str:
    """Where no other implement would fit, it is the width that may have been stated wrong."""
    name = _typed(visit.implement or "NAME")
    return f" If not, set its width right: oplog kit add {name} --width WIDTH"


def _typed(name: str) -> str:
    return name if name.isalnum() else f'"{name}"'
