"""Found: worked ground that lies in no field on file, from one machine's day.

1. Where three ways or more lie abreast there may be a field (`abreast`).
2. The work there is told as in any field, within a loose line about it (`visit`).
3. Its bouts give the ground, and the ground its pieces (`outline`, `pieces`).

On a road there are two lanes at most, however often it is driven; and where a yard or a track
has more, there is no work to be seen, or no ground wider than a few bouts.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.geodesy import Plane, area_m2
from oplog.kit import Rig
from oplog.land import Field
from oplog.track import median
from oplog.work.abreast import abreast
from oplog.work.clean import Cleaned
from oplog.work.model import Visit
from oplog.work.motion import Path, part_of
from oplog.work.outline import clear_of, outline
from oplog.work.pieces import Bout, pieces
from oplog.work.runs import whole_runs
from oplog.work.states import first_guess
from oplog.work.stays import Leave, Stay, stays
from oplog.work.visit import Place, RigFor, measure_field

REACH_M = 100.0
"""How far to the side a neighbouring bout is looked for: past two of the widest."""

FEWEST_S = 60
"""Nothing is worked in less than a minute."""

FEWEST_LANES = 3
"""Ways abreast where there may be a field."""

FAST_M_S, FASTER = 5.0, 1.4
"""Who works faster than this works so everywhere, but for so much. [m/s, 1]"""

LEAST_SHARE = 0.3
"""A run of which less than this lies abreast of others is no bout."""

TOO_WIDE = 1.25
"""Bouts further apart than this times the stated width are taken for as wide as they are apart:
otherwise they would not join to ground."""

LOOSE_M = 25.0
"""How far beyond the outermost run the loose line about a place lies, for the turns."""

Flags = NDArray[np.bool_]


def found_fields(
    way: Path,
    cleaned: Cleaned,
    fields: list[Field],
    known: list[Stay],
    place: Place,
    leave: Leave,
) -> list[Field]:
    """Fields without a name for the ground worked that lies in no field on file.

    fields: those on file; known: the day's stays in them. Boundaries in lon/lat, overlapping
    neither each other nor the fields on file.
    """
    drift = way.drift_m
    taken = [place.plane.project(f.boundary) for f in fields]
    found: list[Any] = []
    most_m_s = _fastest(way, known)
    for ground, apart_m in _places(_free(way, known)):
        loose = Field("", "", place.plane.unproject(ground), float(ground.area))
        fitting = replace(place, rig_for=_fitting(place.rig_for, apart_m))
        here = [s for s in stays(cleaned, [*fields, loose], leave) if s.field is loose]
        visits = measure_field(way, here, fitting)
        slow = [v for v in visits if (v.speed_m_s or 0.0) <= most_m_s]
        bouts = [b for v in slow for b in _bouts_of(v, apart_m, place)]
        bouts.sort(key=lambda b: b.begin_s)
        width_m = median([b.width_m for b in bouts]) if bouts else 0.0
        for piece in pieces(bouts, way, drift) if bouts else []:
            found += clear_of(outline(piece, width_m, drift), [*taken, *found], width_m)
    shapes = [place.plane.unproject(ground) for ground in found]
    return [Field("", "", shape, area_m2(shape)) for shape in shapes]


def _fastest(way: Path, known: list[Stay]) -> float:
    """The speed up to which a machine may work where no field is on file, by how fast it goes in
    the fields that are: several loads fetched by one way look like bouts. [m/s]"""
    there = np.zeros(len(way), dtype=bool)
    for stay in known:
        there |= (way.seconds >= stay.entered_s) & (way.seconds <= stay.left_s)
    if there.any():
        there &= first_guess(way)
    return max(FAST_M_S, FASTER * median(way.speed[there])) if there.any() else np.inf


def with_room(field: Field, plane: Plane) -> Field:
    """Found ground with room about it, within which work is measured: its outline is made from
    that very work and must not cut it off."""
    room = plane.project(field.boundary).buffer(2 * LOOSE_M)
    return replace(field, boundary=plane.unproject(room), area_m2=float(room.area))


def _free(way: Path, known: list[Stay]) -> Path:
    """What of a path lies outside some stays, in pieces between which nothing is bridged."""
    free = np.ones(len(way), dtype=bool)
    for stay in known:
        free &= (way.seconds < stay.entered_s) | (way.seconds > stay.left_s)
    cut = np.concatenate([[False], (np.diff(way.piece) != 0) | ~free[1:] | ~free[:-1]])
    return part_of(replace(way, piece=np.cumsum(cut).astype(np.int32)), free)


def _fitting(rig_for: RigFor, apart_m: float) -> RigFor:
    """The rigs as stated, but for a width with which the ways here would never join to ground:
    the bouts' own spacing then has to do."""

    def fitting(field: str, started_at: datetime, ended_at: datetime) -> Rig:
        rig = rig_for(field, started_at, ended_at)
        narrow = rig.width_m is not None and apart_m > TOO_WIDE * rig.width_m
        return replace(rig, width_m=None) if narrow else rig

    return by_antenna(fitting)


def by_antenna(rig_for: RigFor) -> RigFor:
    """The rigs as stated, the antenna standing for the working line where nothing is known: of
    ground without a boundary the ends of bouts are all there is, wherever the implement was."""

    def standing(field: str, started_at: datetime, ended_at: datetime) -> Rig:
        rig = rig_for(field, started_at, ended_at)
        unknown = rig.width_m is None and rig.line_m is None
        return replace(rig, line_m=0.0) if unknown else rig

    return standing


def _bouts_of(visit: Visit, apart_m: float, place: Place) -> list[Bout]:
    """The bouts of a visit. apart_m: how wide they are where nothing else tells. [m]"""
    times: dict[int, list[float]] = {}
    for s in visit.spans:
        if s.bout > 0:
            at = (place.clock.seconds(s.started_at), place.clock.seconds(s.ended_at))
            times.setdefault(s.bout, []).extend(at)
    lines = place.plane.project(visit.bouts).geoms
    width_m = visit.width_used_m or apart_m
    return [
        Bout(min(t), max(t), line, width_m) for t, line in zip(times.values(), lines, strict=False)
    ]


def _places(way: Path) -> list[tuple[Any, float]]:
    """Places where ways lie abreast: a loose outline in the plane of the path, and how far apart
    the ways lie. [m]"""
    from shapely import buffer, contains_xy, get_parts, union_all
    from shapely.geometry import LineString, Polygon

    if len(way) < FEWEST_S:
        return []
    run = np.where(first_guess(way), whole_runs(way), 0)
    seen = abreast(way, run, REACH_M)
    wide = []
    for rows in _bouts(run, seen.lanes):
        line = LineString(np.column_stack([way.x[rows], way.y[rows]])).simplify(1.0)
        near = seen.next_m[rows]
        half = 0.75 * float(np.nanmedian(near)) if np.isfinite(near).any() else 4.0
        wide.append(line.buffer(float(np.clip(half, 4.0, 35.0))))
    grounds = get_parts(buffer(union_all(wide), LOOSE_M)) if wide else []
    found = []
    for ground in (Polygon(g.exterior) for g in grounds if g.geom_type == "Polygon"):
        near = seen.next_m[contains_xy(ground, way.x, way.y) & np.isfinite(seen.next_m)]
        found.append((ground, median(near) if len(near) else LOOSE_M))
    return found


def _bouts(run: NDArray[np.intp], lanes: NDArray[np.int32]) -> list[NDArray[np.intp]]:
    """Rows of each run of which enough lies abreast of others, but for a road it leads on from."""
    total = np.bincount(run)
    beside = np.bincount(run, weights=lanes >= FEWEST_LANES)
    good = (beside >= LEAST_SHARE * total) & (total >= 4)
    good[0] = False
    order = np.argsort(run, kind="stable")
    edges = np.searchsorted(run[order], np.arange(len(total) + 1))
    runs = [np.sort(order[edges[n] : edges[n + 1]]) for n in np.flatnonzero(good)]
    return [rows[_from_first_to_last(lanes[rows] >= FEWEST_LANES)] for rows in runs]


def _from_first_to_last(flags: Flags) -> slice:
    at = np.flatnonzero(flags)
    return slice(int(at[0]), int(at[-1]) + 1)
