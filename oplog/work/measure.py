"""Measure: one machine's working day from its fixes, field by field. Composes the other steps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.events import Span
from oplog.geodesy import Plane
from oplog.kit import Rig
from oplog.land import Field
from oplog.track import Floats, Track
from oplog.work import idle
from oplog.work.clean import Cleaned, clean, cross_noise_m, drift_m, interleaved
from oplog.work.coverage import Covered, bout_lines, cover
from oplog.work.line import working_line
from oplog.work.model import DayWork, Settings, Visit
from oplog.work.motion import Path, path
from oplog.work.spacing import gap_m, spacing
from oplog.work.states import Evidence, ahead, first_guess, label
from oplog.work.stays import Stay, stays

RigFor = Callable[[str, datetime, datetime], Rig]
"""Which rig a machine pulled: (field name, start, end of the visit) -> Rig."""


def measure_day(
    track: Track, fields: list[Field], rig_for: RigFor, settings: Settings | None = None
) -> DayWork:
    """What one machine did in one working day.

    track: all its fixes of that day, in any order. fields: the boundaries that hold on that day.
    Raises: ValueError where no fix has a time.
    """
    settings = settings or Settings()
    plane = Plane(float(np.nanmedian(track.lon)), float(np.nanmedian(track.lat)))
    cleaned = clean(track, plane)
    if not len(cleaned):
        raise ValueError("no fix with a time and a position")
    noise_m = cross_noise_m(cleaned, track.quality[cleaned.rows])
    way = path(cleaned, noise_m)
    clock = _Clock(cleaned.start)
    visits = []
    for stay in stays(cleaned, fields, settings.absence_s, far_m=200.0):
        visit = _measure_stay(way, stay, plane, clock, rig_for, settings)
        if visit is not None:
            visits.append(visit)
    return _day(cleaned, way, visits, fields, clock)


@dataclass(frozen=True)
class _Clock:
    """Seconds since the first fix and moments in UTC."""

    start: np.datetime64

    def at(self, seconds: float) -> datetime:
        whole: datetime = self.start.astype("datetime64[us]").astype(datetime).replace(tzinfo=UTC)
        return whole + timedelta(microseconds=round(seconds * 1e6))

    def spans(self, edges: Floats, states: list[str], bouts: list[int]) -> tuple[Span, ...]:
        moments = [self.at(float(e)) for e in edges]
        return tuple(
            Span(a, b, s, n)
            for a, b, s, n in zip(moments[:-1], moments[1:], states, bouts, strict=True)
            if b > a
        )


def _measure_stay(
    way: Path, stay: Stay, plane: Plane, clock: _Clock, rig_for: RigFor, settings: Settings
) -> Visit | None:
    rows = np.flatnonzero((way.seconds >= stay.entered_s) & (way.seconds <= stay.left_s))
    if len(rows) < 5:
        return None
    part = _part(way, rows)
    started, ended = clock.at(stay.entered_s), clock.at(stay.left_s)
    rig = rig_for(stay.field.name, started, ended)
    ground = plane.project(stay.field.boundary)
    width_m = rig.width_m or 3.0
    found = spacing(
        part.x, part.y, part.heading, _number_bouts(first_guess(part), part.piece), 2.5 * width_m
    )
    if rig.right_m is None and found is not None and found.right_m is not None:
        rig = replace(rig, right_m=found.right_m)
    line = working_line(part, rig)
    x, y = line.x, line.y
    ends = (stay.came_in, stay.went_out)
    work = label(part, line, width_m, gap_m(found, width_m), ground, ends, Evidence())
    if (rig.line_m or 0.0) > 0:
        work = ahead(part, line, work)
    work = _drop_scraps(part, work, width_m)
    if not work.any():
        return None
    codes = idle.classify(part, work, rig.holds, width_m, settings.break_s)
    bout = _number_bouts(work, part.piece)
    covered = cover(bout_lines(x, y, bout), width_m, ground, _closing_m(part.noise_m, width_m))
    edges, states, bouts = _timeline(part, codes, bout, stay)
    return _visit(
        part, stay, rig, clock, plane, ground, covered, bout, x, y, edges, states, bouts, settings
    )


def _part(way: Path, rows: NDArray[np.intp]) -> Path:
    names = ("seconds", "x", "y", "speed", "heading", "turn_rate", "reverse", "piece")
    return replace(way, **{n: getattr(way, n)[rows] for n in names})


def _drop_scraps(part: Path, work: NDArray[np.bool_], width_m: float) -> NDArray[np.bool_]:
    """A field in which nothing like a bout was driven was not worked."""
    length = idle.way_m(part, work)
    longest = 0.0
    for a, b in idle.runs(work.astype(np.int8), part.piece):
        if work[a]:
            longest = max(longest, float(length[a : b + 1].sum()))
    if longest < max(20.0, 3 * width_m) or length.sum() < 3 * max(20.0, 3 * width_m):
        return np.zeros_like(work)
    return work


def _number_bouts(work: NDArray[np.bool_], piece: NDArray[np.int32]) -> NDArray[np.int32]:
    start = work & ~np.concatenate([[False], work[:-1] & (np.diff(piece) == 0)])
    return np.where(work, np.cumsum(start), 0).astype(np.int32)


def _closing_m(noise_m: float, width_m: float) -> float:
    """Half the width of a gap between bouts that drift explains. [m]"""
    return float(min(0.02 + 2.0 * drift_m(noise_m), 0.4 * width_m))


def _timeline(
    part: Path, codes: idle.Codes, bout: NDArray[np.int32], stay: Stay
) -> tuple[Floats, list[str], list[int]]:
    """Edges of the states over the whole stay, holes in the record included. [s]"""
    edges, states, bouts = [stay.entered_s], [], []
    for a, b in idle.runs(codes.astype(np.int64) * 1_000_000 + bout, part.piece):
        begin = float(part.seconds[a])
        hole = begin - edges[-1]
        if hole > 1.5:
            edges.append(begin)
            states.append("unrecorded")
            bouts.append(0)
        end = float(part.seconds[b]) + 1.0
        if b + 1 < len(part) and part.piece[b + 1] != part.piece[b]:
            end = float(part.seconds[b])
        edges.append(min(max(end, edges[-1]), stay.left_s))
        states.append(idle.NAMES[codes[a]])
        bouts.append(int(bout[a]))
    if stay.left_s - edges[-1] > 1.5:
        edges.append(stay.left_s)
        states.append("unrecorded")
        bouts.append(0)
    else:
        edges[-1] = stay.left_s
    return np.asarray(edges), states, bouts


def _visit(
    part: Path, stay: Stay, rig: Rig, clock: _Clock, plane: Plane, ground: Any, covered: Covered,
    bout: NDArray[np.int32], x: Floats, y: Floats, edges: Floats, states: list[str],
    bouts: list[int], settings: Settings,
) -> Visit:  # fmt: skip
    from shapely import MultiLineString

    spans = clock.spans(edges, states, bouts)
    seconds = dict.fromkeys(idle.NAMES, 0.0)
    break_s = 0.0
    for span in spans:
        length = (span.ended_at - span.started_at).total_seconds()
        seconds[span.state] += length
        if span.state == "standing" and length > settings.break_s:
            break_s += length
    speed = part.speed[bout > 0]
    worked_m = float(idle.way_m(part, bout > 0).sum())
    known = rig.width_m is not None
    worked_m2 = float(covered.worked.area)
    sure_m2 = worked_m2 * 0.02
    lines = bout_lines(x, y, bout)
    return Visit(
        field=stay.field, rig=rig, started_at=spans[0].started_at, ended_at=spans[-1].ended_at,
        spans=spans,
        working_s=seconds["working"], turning_s=seconds["turning"], filling_s=seconds["filling"],
        standing_s=seconds["standing"], travelling_s=seconds["travelling"],
        unrecorded_s=seconds["unrecorded"], break_s=break_s,
        working_low_s=seconds["working"] * 0.97, working_high_s=seconds["working"] * 1.03,
        working_m=worked_m,
        speed_m_s=worked_m / seconds["working"] if seconds["working"] else None,
        speed_low_m_s=float(np.percentile(speed, 25)) if len(speed) else None,
        speed_high_m_s=float(np.percentile(speed, 75)) if len(speed) else None,
        width_used_m=rig.width_m, bout_width_m=None, bout_width_sd_m=None,
        worked_m2=worked_m2 if known else None,
        worked_low_m2=worked_m2 - sure_m2 if known else None,
        worked_high_m2=worked_m2 + sure_m2 if known else None,
        gross_m2=covered.gross_m2 if known else None,
        overlap_m2=float(covered.overlap.area) if known else None,
        outside_m2=float(covered.outside.area) if known else None,
        missed_m2=float(covered.missed.area) if known else None,
        applied_m2=None,
        noise_m=part.noise_m, interval_s=part.interval_s, line_m=rig.line_m, right_m=rig.right_m,
        worked=plane.unproject(covered.worked), missed=plane.unproject(covered.missed),
        overlap=plane.unproject(covered.overlap),
        bouts=plane.unproject(MultiLineString([line for line in lines if line.length > 0])),
        doubts=() if known else ("no implement stated: its width is not known",),
    )  # fmt: skip


def _day(
    cleaned: Cleaned, way: Path, visits: list[Visit], fields: list[Field], clock: _Clock
) -> DayWork:
    first, last = 0.0, float(cleaned.seconds[-1])
    edges, states = [first], []
    road_s = road_m = elsewhere_s = 0.0
    step = idle.way_m(way, np.ones(len(way), dtype=bool))
    for entered, left in [
        *(
            (
                (v.started_at - clock.at(0)).total_seconds(),
                (v.ended_at - clock.at(0)).total_seconds(),
            )
            for v in visits
        ),
        (last, last),
    ]:
        moving, still, metres = _between(way, step, edges[-1], entered)
        road_s, elsewhere_s, road_m = road_s + moving, elsewhere_s + still, road_m + metres
        edges += [entered, left]
        states += ["road" if moving >= still else "elsewhere", "field"]
    spans = clock.spans(np.asarray(edges), states, [0] * len(states))
    field_s = sum((v.ended_at - v.started_at).total_seconds() for v in visits)
    nearest_m, nearest = _nearest(cleaned, fields) if not visits else (None, None)
    doubts = []
    if interleaved(cleaned):
        doubts.append("positions jump back and forth between places: two machines in one track?")
    return DayWork(
        started_at=clock.at(first), ended_at=clock.at(last), visits=tuple(visits),
        spans=tuple(s for s in spans if s.state != "field"), tracked_s=last - first,
        field_s=field_s, road_s=road_s, elsewhere_s=elsewhere_s, road_m=road_m,
        nearest_m=nearest_m, nearest_field=nearest, doubts=tuple(doubts),
    )  # fmt: skip


def _between(way: Path, step: Floats, begin: float, end: float) -> tuple[float, float, float]:
    """Seconds on the move, seconds not, metres, between two moments outside fields."""
    rows = (way.seconds >= begin) & (way.seconds < end)
    moving = float((rows & ~idle.standing(way)).sum()) if rows.any() else 0.0
    moving = min(moving, max(end - begin, 0.0))
    return moving, max(end - begin, 0.0) - moving, float(step[rows].sum())


def _nearest(cleaned: Cleaned, fields: list[Field]) -> tuple[float | None, str | None]:
    """Distance from the track to the nearest field. [m]"""
    from shapely import MultiPoint, distance

    if not fields:
        return None, None
    points = MultiPoint(np.column_stack([cleaned.x, cleaned.y]))
    away = [float(distance(cleaned.plane.project(f.boundary), points)) for f in fields]
    k = int(np.argmin(away))
    return away[k], fields[k].name
