"""Passes over fields, and what is done, left and missed of each. See the package's docstring."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import shapely

from oplog import geodesy, land
from oplog.events import WorkMeasured
from oplog.fold import Farm
from oplog.ground.keeping import Kept, decode, encode, name_of, of_visits
from oplog.ground.outline import FINISHED, Key, Pass, enclosing
from oplog.ground.shapes import GRID_M, closed, opened, tidy, together, within, without
from oplog.records import dataclass

REPEATED = 0.5
FULL_COVERING = 0.5
USUAL_WIDTH_M = 3.0
"""Taken where no width is known."""


@dataclass(frozen=True, eq=False)
class Covered:
    """One pass of one operation over one field, over all days and machines.

    pass_number: from 1. visits: in order of start. Geometries in lon/lat, areas in m2 with
    done_m2 + left_m2 + missed_m2 = croppable_m2. finished: nothing is left. unseen_m2: ground that
    a private place hides from every visit of the pass; it counts to none of these.
    """

    operation: str
    crop: str | None
    harvest_year: int | None
    field: land.Field
    pass_number: int
    visits: tuple[WorkMeasured, ...]
    croppable: Any
    done: Any
    left: Any
    missed: Any
    croppable_m2: float
    done_m2: float
    left_m2: float
    missed_m2: float
    finished: bool
    unseen_m2: float = 0.0

    @property
    def share_done(self) -> float:
        """Share of the croppable ground that is not left. [1]"""
        return 1.0 - self.left_m2 / self.croppable_m2 if self.croppable_m2 else 0.0


def covered(
    farm: Farm, *, harvest_year: int | None = None, field: str | None = None
) -> list[Covered]:
    """All passes, in order of operation, crop, harvest year, field and number.

    harvest_year, field: only these. Visits whose operation or ground is not known, and fields
    whose boundary is not on file, are left out.
    """
    found: list[_Found] = []
    for key, visits in sorted(_groups(farm).items(), key=lambda g: _sortable(g[0])):
        if harvest_year not in (None, key[2]) or (field or key[3]).casefold() != key[3]:
            continue
        found += _found(farm, key, visits)
    widest = _widest(found)
    return [_covered(farm, f, widest.get(f.field.name.casefold())) for f in found]


@dataclass(frozen=True, eq=False)
class _Found:
    """A pass as it is kept: its figures at hand, its shapes read only where they are needed."""

    key: Key
    name: str
    field: land.Field
    visits: tuple[WorkMeasured, ...]
    kept: Kept

    def whole(self) -> Pass:
        """The pass itself, in its plane."""
        plane = geodesy.plane_of(self.field.boundary)
        boundary, done = tidy(plane.project(self.field.boundary)), self.kept.shape("done")
        figures = self.kept.figures
        return Pass(
            self.key, figures["number"], self.field, self.visits, plane, boundary, done,
            figures["width_m"], figures["sliver_m"], _unseen(self.visits, plane, boundary, done),
            self.kept.shape("enclosed"), figures["whole"],
        )  # fmt: skip


def _found(farm: Farm, key: Key, visits: Sequence[WorkMeasured]) -> list[_Found]:
    """The passes of a group of visits, worked out or as kept."""
    drawn = farm.field(key[3], max(v.day for v in visits))
    name = name_of(
        "passes", drawn.event_id, of_visits(visits), [v.bouts is not None for v in visits]
    )
    kept = decode(farm.memory.get(name))
    if kept is None:
        kept = [_as_kept(p) for p in _passes(drawn, key, visits)]
        farm.memory[name] = encode(kept)
    by_id = {v.event_id: v for v in visits}
    return [
        _Found(
            key, name_of(name, k.figures["number"]), drawn,
            tuple(by_id[i] for i in k.figures["visits"]), k,
        )
        for k in kept
    ]  # fmt: skip


def _as_kept(p: Pass) -> Kept:
    figures = {
        "number": p.number, "width_m": p.width_m, "sliver_m": p.sliver_m, "whole": p.whole,
        "visits": of_visits(p.visits), "enclosed_m2": float(p.enclosed.area),
    }  # fmt: skip
    return Kept(figures, {"done": shapely.to_wkb(p.done), "enclosed": shapely.to_wkb(p.enclosed)})


def _widest(found: Sequence[_Found]) -> dict[str, _Found]:
    """Of each field, the pass whose outermost bouts enclose most."""
    widest: dict[str, _Found] = {}
    for f in found:
        key = f.field.name.casefold()
        best = widest.get(key)
        if f.kept.figures["whole"] and (
            best is None or f.kept.figures["enclosed_m2"] > best.kept.figures["enclosed_m2"]
        ):
            widest[key] = f
    return widest


def _groups(farm: Farm) -> dict[Key, list[WorkMeasured]]:
    groups: dict[Key, list[WorkMeasured]] = defaultdict(list)
    for v in farm.visits:
        if v.operation and v.field.casefold() in farm.fields and v.geometry:
            at = farm.standing[v.event_id]
            groups[v.operation.casefold(), at.crop, at.harvest_year, v.field.casefold()].append(v)
    return groups


def _sortable(key: Key) -> tuple[str, str, int, str]:
    return (key[0], key[1] or "", key[2] or 0, key[3])


def _passes(drawn: land.Field, key: Key, visits: Sequence[WorkMeasured]) -> list[Pass]:
    plane = geodesy.plane_of(drawn.boundary)
    boundary = tidy(plane.project(drawn.boundary))
    grounds = [within(tidy(plane.project(shapely.from_wkb(v.geometry))), boundary) for v in visits]
    found = []
    for number, members in enumerate(_layers(grounds), start=1):
        some = tuple(visits[i] for i in members)
        width_m = min((v.width_used_m or v.width_m or USUAL_WIDTH_M) for v in some)
        noise_m = max((v.noise_m or 0.0) for v in some)
        done = _joined([grounds[i] for i in members], min(max(noise_m, 0.1), width_m / 4))
        if not done.is_empty:
            ground = within(done, boundary)
            sliver_m = max(width_m / 2, 2 * noise_m)
            hidden = _unseen(some, plane, boundary, ground)
            p = Pass(key, number, drawn, some, plane, boundary, ground, width_m, sliver_m, hidden)
            found.append(enclosing(p))
    return found


def _layers(grounds: Sequence[Any]) -> list[list[int]]:
    """Which visits make up each pass: rows of `grounds`, given in order of time."""
    layers: list[Any] = []
    members: list[list[int]] = []
    for i, ground in enumerate(grounds):
        level = 0
        while level < len(layers) and _repeats(ground, layers[level]):
            level += 1
        if level == len(layers):
            layers.append(ground)
            members.append([i])
        else:
            layers[level] = together(layers[level], ground)
            members[level].append(i)
    while len(layers) > 1 and layers[-1].area <= FULL_COVERING * layers[-2].area:
        again, over = layers.pop(), members.pop()
        layers[-1] = together(layers[-1], again)
        members[-1] = sorted(members[-1] + over)
    return members


def _repeats(ground: Any, before: Any) -> bool:
    again = shapely.intersection(ground, before, grid_size=GRID_M)
    return bool(again.area > REPEATED * ground.area)


def _joined(grounds: Sequence[Any], seam_m: float) -> Any:
    """Ground of several visits, seams between them closed up to twice seam_m wide.

    Gaps within one visit stay: its own measuring has judged them.
    """
    union = together(*grounds)
    if len(grounds) < 2:
        return union
    each = together(*(closed(g, seam_m) for g in grounds))
    return together(union, without(closed(union, seam_m), each))


_SHAPES = ("croppable", "done", "left", "missed")


def _covered(farm: Farm, found: _Found, widest: _Found | None) -> Covered:
    """What a pass covered. widest: the pass that shows how far its field is worked, if any."""
    margin = None if found.kept.figures["whole"] else widest
    if margin is not None and margin.field is not found.field:
        margin = None  # drawn anew since
    name = name_of("covered", found.name, margin.name if margin else "")
    kept = decode(farm.memory.get(name))
    if kept is None:
        kept = [_worked_out(found.whole(), margin.whole().enclosed if margin else None)]
        farm.memory[name] = encode(kept)
    (result,) = kept
    return Covered(
        operation=found.visits[0].operation or found.key[0],
        crop=found.key[1],
        harvest_year=found.key[2],
        field=found.field,
        pass_number=found.kept.figures["number"],
        visits=found.visits,
        **{shape: result.shape(shape) for shape in _SHAPES},
        **result.figures,
    )


def _worked_out(p: Pass, margin: Any) -> Kept:
    """Croppable ground of a pass, and what of it is done, left and missed.

    margin: what other work in the same field has enclosed; None where none has.
    """
    croppable = p.enclosed if p.whole else p.boundary
    if not p.whole and margin is not None:
        croppable = together(margin, p.done)
    if p.unseen is not None:
        croppable = without(croppable, p.unseen)
    done = within(p.done, croppable)
    not_done = without(croppable, done)
    left = opened(not_done, p.sliver_m / 2)
    finished = left.area <= FINISHED * croppable.area
    if finished:
        left = shapely.Polygon()
    missed = without(not_done, left)
    shapes = {"croppable": croppable, "done": done, "left": left, "missed": missed}
    figures: dict[str, Any] = {f"{name}_m2": float(shape.area) for name, shape in shapes.items()}
    figures["finished"] = bool(finished)
    if p.unseen is not None:
        figures["unseen_m2"] = float(p.unseen.area)
    return Kept(figures, {n: shapely.to_wkb(p.plane.unproject(s)) for n, s in shapes.items()})


def _unseen(visits: Sequence[WorkMeasured], plane: geodesy.Plane, boundary: Any, done: Any) -> Any:
    """What a private place hides from every one of some visits; None where nothing is hidden."""
    hidden = [shapely.from_wkb(v.unseen) for v in visits if v.unseen]
    if not hidden:
        return None
    grounds = [tidy(plane.project(g)) for g in hidden]
    return without(within(together(*grounds), boundary), done)
