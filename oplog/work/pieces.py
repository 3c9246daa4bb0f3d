"""Pieces: which of the bouts of a day lie in one field, where no boundary tells.

Fields that a hedge or a road parts are parted by the gap between their outermost bouts. Fields
with an edge in common leave none: they are told apart where the machine went out of one before it
worked the other, and neither turned on the other's ground nor worked it too. A strip left out, or
work from both sides of a field, parts nothing: the machine goes to and fro between such pieces.
"""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import Any

from oplog.records import dataclass
from oplog.track import median
from oplog.work.coverage import common, join, without
from oplog.work.laps import laps
from oplog.work.motion import Path
from oplog.work.outline import SMALLEST_M2, STILL_TO_DO, closing_m, swaths, together, worked_ground

AWAY_S = 20.0
"""Out of the ground for longer than this is gone from it."""

TURN_S = 120.0
"""Two bouts with no more than this between them have a turn between them."""

FEWEST_TURNS = 3
"""So many turns between two pieces of ground, or of one over the other, make them one field."""

HEDGE_M = 6.0
"""Pieces closer than this, and than most of a bout, have nothing between them that parts fields."""

SHARED = 0.05
"""Ground worked in two goes is one field where they share more than this of the smaller."""


@dataclass(frozen=True, eq=False)
class Bout:
    """One bout: seconds since the first fix, centre line in the plane, width. [s, m]"""

    begin_s: float
    end_s: float
    line: Any
    width_m: float

    @property
    def middle_s(self) -> float:
        """The middle of its time."""
        return (self.begin_s + self.end_s) / 2


def pieces(bouts: list[Bout], way: Path, drift_m: float) -> list[Any]:
    """The worked ground of each field, as polygons that do not overlap, in order of time.

    bouts: in order of time.
    """
    parts = worked_ground([swaths([b.line], b.width_m) for b in bouts], _width(bouts), drift_m)
    parts = _gone_round(parts, bouts)
    inside = [_inside(p, bouts) for p in parts]
    found: list[tuple[float, Any]] = []
    near_m = min(0.6 * _width(bouts), HEDGE_M) + min(drift_m, HEDGE_M)
    for own in _groups(
        [k for k, mine in enumerate(inside) if mine],
        [*_turned(inside, bouts), *_near(parts, near_m)],
    ):
        mine = [b for k in own for b in inside[k]]
        whole = together([parts[k] for k in own], _width(mine), drift_m)
        found += _parted(whole, sorted(mine, key=lambda b: b.begin_s), way, drift_m)
    return [ground for _, ground in sorted(found, key=lambda f: f[0])]


def _gone_round(parts: list[Any], bouts: list[Bout]) -> list[Any]:
    """The pieces, those within one lap as one: all of the ground gone round, where much of it is
    still to be worked."""
    width_m = _width(bouts)
    gaps_s = [b.begin_s - a.end_s for a, b in pairwise(bouts)]
    for lap in laps([b.line for b in bouts], gaps_s, width_m, TURN_S):
        ground = lap.buffer(width_m / 2, join_style="mitre")
        within = [p for p in parts if common(p, ground).area > 0.8 * p.area]
        done = join(within) if within else None
        if done is None or without(ground, done).area > STILL_TO_DO * ground.area:
            parts = [p for p in parts if p not in within]
            parts.append(join([ground, *within]))
    return parts


def _width(bouts: list[Bout]) -> float:
    return median([b.width_m for b in bouts]) if bouts else 0.0


def _inside(ground: Any, bouts: list[Bout]) -> list[Bout]:
    """The bouts that lie in a piece of ground: their middles do."""
    from shapely import contains, line_interpolate_point, prepare

    prepare(ground)
    middles = line_interpolate_point([b.line for b in bouts], 0.5, normalized=True)
    return [b for b, hit in zip(bouts, contains(ground, middles), strict=True) if hit]


def _turned(inside: list[list[Bout]], bouts: list[Bout]) -> list[tuple[int, int]]:
    """Pairs of pieces from one to the other of which the machine turned often."""
    of = {id(b): k for k, own in enumerate(inside) for b in own}
    turns: dict[tuple[int, int], int] = {}
    for a, b in pairwise([b for b in bouts if id(b) in of]):
        pair = (min(of[id(a)], of[id(b)]), max(of[id(a)], of[id(b)]))
        if b.begin_s - a.end_s <= TURN_S:
            turns[pair] = turns.get(pair, 0) + 1
    return [pair for pair, n in turns.items() if n >= FEWEST_TURNS and pair[0] != pair[1]]


def _near(parts: list[Any], near_m: float) -> list[tuple[int, int]]:
    """Pairs of pieces that leave no room for a hedge between them."""
    return [
        (i, j)
        for i, j in combinations(range(len(parts)), 2)
        if parts[i].distance(parts[j]) < near_m
    ]


def _groups(numbers: list[int], pairs: list[tuple[int, int]]) -> list[list[int]]:
    """Numbers in groups that pairs link."""
    group = {n: n for n in numbers}
    for a, b in pairs:
        if a not in group or b not in group:
            continue
        keep, gone = sorted((group[a], group[b]))
        group = {n: keep if g == gone else g for n, g in group.items()}
    return [[n for n in numbers if group[n] == g] for g in sorted(set(group.values()))]


def _parted(whole: Any, bouts: list[Bout], way: Path, drift_m: float) -> list[tuple[float, Any]]:
    """A piece of ground as the fields it is made of, each with the time of its first bout."""
    goes = _goes(whole, bouts, way, drift_m)
    width_m = _width(bouts)
    grounds = [
        join(worked_ground([swaths([b.line], b.width_m) for b in go], width_m, drift_m))
        for go in goes
    ]
    pairs = [
        (i, j)
        for i, j in combinations(range(len(goes)), 2)
        if _one_field(goes[i], grounds[i], goes[j], grounds[j], way)
    ]
    groups = _groups(list(range(len(goes))), pairs)
    fields = [(g, together([grounds[k] for k in g], width_m, drift_m)) for g in groups]
    large = [(g, ground) for g, ground in fields if ground.area >= 2 * SMALLEST_M2]
    if len(large) < 2:
        return [(bouts[0].begin_s, whole)]
    found: list[tuple[float, Any]] = []
    for g, ground in large:
        taken = join([other for _, other in found]) if found else None
        free = without(ground, taken) if taken is not None else ground
        found.append((min(goes[k][0].begin_s for k in g), free))
    return found


def _goes(ground: Any, bouts: list[Bout], way: Path, drift_m: float) -> list[list[Bout]]:
    """Bouts in goes, between which the machine was out of the ground for a while."""
    from shapely import contains_xy, prepare

    wider = ground.buffer(max(8.0, closing_m(_width(bouts), drift_m), 2 * drift_m))
    prepare(wider)
    out = ~contains_xy(wider, way.x, way.y)
    goes = [[bouts[0]]]
    for a, b in pairwise(bouts):
        # From middle to middle: a bout may run straight on out of the field.
        between = (way.seconds > a.middle_s) & (way.seconds < b.middle_s)
        if out[between].sum() > AWAY_S:
            goes.append([])
        goes[-1].append(b)
    return goes


def _one_field(first: list[Bout], ground: Any, second: list[Bout], other: Any, way: Path) -> bool:
    """Whether two goes were in one field: over the same ground, or turning on the other's."""
    smaller = min(ground.area, other.area)
    if common(ground, other).area > SHARED * smaller:
        return True
    return any(
        _turns_on(whole, go, way) >= FEWEST_TURNS
        for whole, go in ((ground, second), (other, first))
    )


def _turns_on(ground: Any, bouts: list[Bout], way: Path) -> int:
    """How many of the turns between some bouts go over some ground."""
    from shapely import contains_xy, prepare

    deep = ground.buffer(-0.75 * _width(bouts) - 1.0)
    if deep.is_empty:
        return 0
    prepare(deep)
    count = 0
    for a, b in pairwise(bouts):
        rows = (way.seconds > a.end_s) & (way.seconds < b.begin_s)
        if b.begin_s - a.end_s <= TURN_S and rows.any():
            count += bool(contains_xy(deep, way.x[rows], way.y[rows]).any())
    return count
