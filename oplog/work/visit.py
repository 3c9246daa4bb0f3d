"""Visit: one stay in one field, measured. Composes the steps for one piece of ground."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.geodesy import Plane
from oplog.kit import Rig
from oplog.land import Field
from oplog.records import dataclass
from oplog.track import Floats
from oplog.work import idle
from oplog.work.aside import antenna_right_m, right_by_order_m
from oplog.work.certainty import area_range, hours_range, lost_s
from oplog.work.claims import Swath, swath, way_of
from oplog.work.coverage import Covered, bout_lines, cover_as_driven
from oplog.work.errands import on_errands
from oplog.work.evidence import Evidence
from oplog.work.line import Line, in_front, working_line
from oplog.work.model import Settings, Visit
from oplog.work.motion import Path, joined, part_of
from oplog.work.odds import Misled, Told, merged, misled, nothing
from oplog.work.passes import SHARE, Again, done_again
from oplog.work.runs import runs_of, side_by_side, true_runs, whole_runs
from oplog.work.spacing import Spacing, drift_seen_m, gap_m, spacing, wander_m
from oplog.work.states import first_guess, label
from oplog.work.stays import Stay
from oplog.work.timeline import Clock, break_seconds, seconds_by_state, timeline

RigFor = Callable[[str, datetime, datetime], Rig]
"""Which rig a machine pulled: (field name, start, end of the visit) -> Rig."""

AREAS = (
    "worked", "worked_low", "worked_high", "gross", "overlap", "outside", "missed", "applied",
)  # fmt: skip

THROUGH, IN_AND_OUT = 0.2, 0.05
"""A swath over less of a field than this may be that of a machine driving through; IN_AND_OUT:
and over less than this, of one that came in, turned and left."""

LOOSE = 0.35
"""And over less than this, of one that only went here and there, if no two runs lie together."""

WANDERS_M = 5.0
"""How far off the edge a receiver that is not steady may put a lap, however little it trembles."""

PHONE_M = 0.2
"""A phone trembles so much that this is taken for its drift."""

ODD = 0.5
"""Where more of the bouts driven against each other lie at odd distances, the implement may be
off to one side."""

WIDEST_M = 45.0
"""How far apart bouts are looked for where no width is stated."""


@dataclass(frozen=True)
class Place:
    """What the steps share on one day. boundaries in `plane` are made from Field.boundary."""

    plane: Plane
    clock: Clock
    rig_for: RigFor
    settings: Settings


@dataclass(frozen=True, eq=False)
class _Part:
    """A stay, or a pass of one, with the rig that was pulled. fresh: a pass of its own."""

    path: Path
    stay: Stay
    rig: Rig
    found: Spacing | None
    fresh: bool

    @cached_property
    def line(self) -> Line:
        return working_line(self.path, self.rig)

    @cached_property
    def lay(self) -> Swath:
        return _laid(self.path, self.line, _width(self.rig, self.found))

    @cached_property
    def again(self) -> Again | None:
        return done_again(self.path, self.line, self.lay, _width(self.rig, self.found))


def measure_field(way: Path, stays: list[Stay], place: Place) -> list[Visit]:
    """The work of one machine's day in one field, stay by stay.

    Stays with the same rig are read together, so that ground worked in the morning is known for
    finished in the afternoon. A stay in which the field was done twice over gives two visits.
    """
    visits = []
    for parts in _together([p for stay in stays for p in _passes(way, stay, place)]):
        for part, told in zip(parts, _worked(parts, place), strict=True):
            visits.append(_visit_of(part, told, place))
    return [v for v in visits if v is not None]


def _passes(way: Path, stay: Stay, place: Place) -> list[_Part]:
    """A stay in one part, or in two where a second pass begins."""
    whole = _part(part_of(way, _within(way, stay)), stay, place, fresh=False)
    if whole is None:
        return []
    again = whole.again
    if again is None or again.share < SHARE or again.last < len(whole.path) - 1:
        return [whole]
    at = float(whole.path.seconds[again.first])
    before = whole.path.seconds < at
    first = replace(stay, left_s=at, went_out=False)
    second = replace(stay, entered_s=at, came_in=False)
    parts = (
        _part(part_of(whole.path, before), first, place, fresh=False),
        _part(part_of(whole.path, ~before), second, place, fresh=True),
    )
    return [p for p in parts if p is not None]


def _within(way: Path, stay: Stay) -> NDArray[np.bool_]:
    return np.asarray((way.seconds >= stay.entered_s) & (way.seconds <= stay.left_s))


def _part(path: Path, stay: Stay, place: Place, fresh: bool) -> _Part | None:
    if len(path) < 5:
        return None
    rig, found = _rig(path, stay, place)
    if _wanders(path, rig):
        path = replace(path, drift_m=drift_seen_m(found, path.drift_m, _width(rig, found)))
    return _Part(path, stay, rig, found, fresh)


def _wanders(path: Path, rig: Rig) -> bool:
    """Whether distances between bouts that spread are the receiver's doing.

    Not with RTK; nor with a header, which takes part-widths, but for one followed by a phone.
    """
    return path.drift_m > PHONE_M if in_front(rig) else not path.steady


def _together(parts: list[_Part]) -> list[list[_Part]]:
    """Parts one after the other that pulled the same; a second pass begins anew."""
    groups: list[list[_Part]] = []
    for part in parts:
        if groups and not part.fresh and _alike(groups[-1][-1].rig, part.rig):
            groups[-1].append(part)
        else:
            groups.append([part])
    return groups


def _alike(a: Rig, b: Rig) -> bool:
    """Whether two rigs lay the same line on the ground; who drove makes no difference."""
    same = replace(b, driver=a.driver, right_m=a.right_m, kit_ids=a.kit_ids)
    return a.width_m is not None and same == a


def _worked(parts: list[_Part], place: Place) -> list[Told]:
    """Working or not, for each second of each part, told from all of them together."""
    path, rig = joined([p.path for p in parts]), parts[0].rig
    lines = [p.line for p in parts]
    line = Line(
        *(np.concatenate([getattr(each, c) for each in lines]) for c in ("x", "y", "heading"))
    )
    width_m = _width(rig, parts[0].found)
    ends = np.cumsum([0] + [len(p.path) for p in parts]).tolist()
    gates = [a for a, p in zip(ends, parts, strict=False) if p.stay.came_in]
    gates += [b for b, p in zip(ends[1:], parts, strict=True) if p.stay.went_out]
    ground = place.plane.project(parts[0].stay.field.boundary)
    alone = len(parts) == 1
    lay = parts[0].lay if alone else _laid(path, line, width_m)
    again = parts[0].again if alone else done_again(path, line, lay, width_m)
    gap = gap_m(parts[0].found, width_m)
    told = _labels(path, line, lay, width_m, gap, ground, gates, rig, again)
    work, split = told.work, [told.part_of(slice(a, b)) for a, b in pairwise(ends)]
    share = width_m * float(idle.way_m(path, work).sum()) / float(ground.area)
    through = share < THROUGH and all(
        _only_through(p, t.work) for p, t in zip(parts, split, strict=True)
    )
    through |= rig.width_m is None and all(on_errands(p.path) for p in parts)
    through |= share < IN_AND_OUT and len(gates) > 1 and _long_runs(path, work, width_m) < 3
    through |= not _enough(path, work, width_m)
    through |= share < LOOSE and not _like_work(path, line, work, ground, width_m)
    return [replace(t, work=np.zeros_like(t.work)) for t in split] if through else split


def _only_through(part: _Part, work: NDArray[np.bool_]) -> bool:
    """Whether a stay leads from a gate to a gate and its runs never turn back.

    A way with a bend in it looks like two bouts, and so do two ways there and back side by side;
    but nobody works a field by never turning in it, but for one so narrow that a swath fills it.
    """
    runs = true_runs(work, part.path.piece)
    if not (part.stay.came_in and part.stay.went_out) or len(runs) > 3:
        return False
    headings = [part.path.heading[a : b + 1] for a, b in runs]
    return bool(np.ptp(np.concatenate(headings or [np.zeros(1)])) < np.radians(100))


def _like_work(
    path: Path, line: Line, work: NDArray[np.bool_], ground: Any, width_m: float
) -> bool:
    """Whether two bouts lie side by side, or the work goes round most of a field along its edge."""
    from shapely import distance, points

    run = np.where(work, whole_runs(path), 0)
    runs = runs_of(path, line, run, ground, width_m)
    if side_by_side(runs, width_m, path.drift_m) or runs.whole.any():
        return True
    edge = ground.boundary
    reach_m = 1.5 * width_m + max(2 * path.drift_m, 0.0 if path.steady else WANDERS_M)
    near = distance(points(line.x[work], line.y[work]), edge) < reach_m
    gone_m = np.hypot(np.diff(line.x), np.diff(line.y))[work[1:] & work[:-1]].sum()
    return bool(near.mean() > 0.8 and gone_m > 0.5 * edge.length) if len(near) else False


def _rig(part: Path, stay: Stay, place: Place) -> tuple[Rig, Spacing | None]:
    """The rig as stated, an unstated antenna offset filled in from the bouts themselves."""
    clock = place.clock
    rig = place.rig_for(stay.field.name, clock.at(stay.entered_s), clock.at(stay.left_s))
    reach_m = 2.5 * rig.width_m if rig.width_m else WIDEST_M
    bouts = number_bouts(first_guess(part), part.piece)
    found = spacing(part.x, part.y, part.heading, bouts, reach_m, rig.width_m)
    if rig.right_m is None and found is not None:
        right_m = found.right_m
        if right_m is not None:
            at = part.x, part.y, part.heading
            right_m = right_by_order_m(*at, bouts, found.width_m, right_m)
        rig = replace(rig, right_m=right_m)
        # A header is carried in front, and its part-widths lie at any distance.
        if rig.right_m is None and found.odd > ODD and not in_front(rig):
            ground = place.plane.project(stay.field.boundary)
            line, width_m = working_line(part, rig), _width(rig, found)
            right_m = antenna_right_m(line, bouts, ground, width_m, part.drift_m)
            rig = replace(rig, right_m=right_m)
    return rig, found


def _width(rig: Rig, found: Spacing | None) -> float:
    """Width to work with: stated, else the bouts' own spacing, else a common one. [m]"""
    if rig.width_m is not None:
        return rig.width_m
    return found.width_m if found is not None else 3.0


def _laid(path: Path, line: Line, width_m: float) -> Swath:
    return swath(way_of(line.x, line.y, line.heading, path.piece, width_m), width_m)


def _labels(
    path: Path,
    line: Line,
    lay: Swath,
    width_m: float,
    gap: float,
    ground: Any,
    gates: list[int],
    rig: Rig,
    again: Again | None,
) -> Told:
    """Working or not, ground done over again judged by itself."""
    header = in_front(rig), rig.line_m is not None
    if again is None:
        return label(path, line, lay, width_m, gap, ground, gates, Evidence(), *header)
    rows = np.arange(len(path))
    over = (rows >= again.first) & (rows <= again.last)
    told = []
    for chosen in (over, ~over):
        some, there = part_of(path, chosen), line.part_of(chosen)
        if len(some) <= 5:
            told.append(nothing(len(some)))
            continue
        at = np.searchsorted(np.flatnonzero(chosen), gates).tolist()
        by = _laid(some, there, width_m)
        told.append(label(some, there, by, width_m, gap, ground, at, Evidence(), *header))
    return merged(over, *told)


def _visit_of(part: _Part, told: Told, place: Place) -> Visit | None:
    """The figures of one part, or None where it holds nothing like work."""
    path, rig, line, work = part.path, part.rig, part.line, told.work
    width_m = _width(rig, part.found)
    if max(_run_lengths_m(path, work), default=0.0) < _least_m(width_m):
        return None
    bout = number_bouts(work, path.piece)
    ground = place.plane.project(part.stay.field.boundary)
    lines = bout_lines(line.x, line.y, bout, path.piece)
    seen = spacing(path.x, path.y, path.heading, bout, 2.5 * width_m)
    close_m = _closing_m(path, rig, width_m, seen)
    # A header's part-widths share more ground than an implement's bouts.
    drift_m = 0.0 if in_front(rig) else path.drift_m
    covered = cover_as_driven(lines, width_m, ground, close_m, drift_m)
    return _visit(path, part.stay, place, rig, bout, told, covered, width_m, seen)


def number_bouts(work: NDArray[np.bool_], piece: NDArray[np.int32]) -> NDArray[np.int32]:
    """Bouts numbered from 1 in the order driven, 0 outside: (m,)"""
    start = work & ~np.concatenate([[False], work[:-1] & (np.diff(piece) == 0)])
    return np.where(work, np.cumsum(start), 0).astype(np.int32)


def _enough(path: Path, work: NDArray[np.bool_], width_m: float) -> bool:
    """Whether anything like bouts was driven, in all the stays that are read together: the last
    two of a field may be short ones, after a tank was filled in the yard."""
    return sum(_run_lengths_m(path, work)) >= 3 * _least_m(width_m)


def _long_runs(path: Path, work: NDArray[np.bool_], width_m: float) -> int:
    """How many runs are as long as the longest of a stay must be."""
    return sum(length_m >= _least_m(width_m) for length_m in _run_lengths_m(path, work))


def _run_lengths_m(path: Path, work: NDArray[np.bool_]) -> list[float]:
    step = idle.way_m(path, work)
    return [float(step[a : b + 1].sum()) for a, b in true_runs(work, path.piece)]


def _least_m(width_m: float) -> float:
    """How long the longest bout of a stay is at the least. [m]"""
    return max(20.0, 3 * width_m)


def _closing_m(part: Path, rig: Rig, width_m: float, seen: Spacing | None) -> float:
    """Half the width of a gap between bouts that drift explains. [m]

    Not more than two fifths of the width, so that a bout left out is seen; unless the drift is
    so large that it could not be seen anyway. On two simulators that share no code, phones and
    implements of 3 to 9 m, 1.5 times the drift leaves the least error; 0.9 lost 5 to 15 % of
    the ground under 3 m wide work.
    """
    drift = part.drift_m
    trembles = min(0.02 + 2.0 * drift, max(0.4 * width_m, 1.5 * drift))
    return float(max(trembles, wander_m(seen, width_m)) if _wanders(part, rig) else trembles)


def _visit(
    part: Path, stay: Stay, place: Place, rig: Rig, bout: NDArray[np.int32],
    told: Told, covered: Covered, width_m: float, seen: Spacing | None,
) -> Visit:  # fmt: skip
    codes = idle.classify(part, bout > 0, rig.holds, width_m, place.settings.break_s, in_front(rig))
    spans = timeline(part, codes, bout, stay.entered_s, stay.left_s, place.clock)
    seconds = seconds_by_state(spans)
    bouts = int(bout.max())
    known = rig.width_m is not None or seen is not None
    working_m = float(idle.way_m(part, bout > 0).sum())
    lost = lost_s(part.seconds, part.piece, bout > 0)
    sure_s = hours_range(
        seconds["working"], bouts, part.interval_s, part.noise_m, in_front(rig), lost,
        misled(told, np.ones(len(part))),
    )  # fmt: skip
    wrong_m2 = misled(told, part.speed * told.own * width_m)
    lost_m2 = lost * width_m * working_m / max(seconds["working"], 1.0)
    return Visit(
        field=stay.field, rig=rig, started_at=spans[0].started_at, ended_at=spans[-1].ended_at,
        spans=spans, break_s=break_seconds(spans, place.settings.break_s),
        working_s=seconds["working"], turning_s=seconds["turning"], filling_s=seconds["filling"],
        standing_s=seconds["standing"], travelling_s=seconds["travelling"],
        unrecorded_s=seconds["unrecorded"],
        working_low_s=sure_s.low, working_high_s=sure_s.high, working_m=working_m,
        **_speeds(part.speed[bout > 0], working_m, seconds["working"]),
        width_used_m=width_m if known else None,
        bout_width_m=seen.width_m if seen else None, bout_width_sd_m=seen.sd_m if seen else None,
        **_areas(covered, stay.field, bouts, width_m, part, seen, known, rig, lost_m2, wrong_m2),
        noise_m=part.noise_m, interval_s=part.interval_s, line_m=rig.line_m, right_m=rig.right_m,
        **_geometries(covered, place.plane),
        doubts=doubts(rig, seen or _wide(part, bout, rig), part, width_m),
    )  # fmt: skip


def _speeds(speed: Floats, working_m: float, working_s: float) -> dict[str, Any]:
    """Mean over the time working, and the middle half of its seconds. [m/s]"""
    if not len(speed) or not working_s:
        return {"speed_m_s": None, "speed_low_m_s": None, "speed_high_m_s": None}
    low, high = np.percentile(speed, [25, 75])
    return {
        "speed_m_s": working_m / working_s,
        "speed_low_m_s": float(low),
        "speed_high_m_s": float(high),
    }


def _areas(
    covered: Covered,
    field: Field,
    bouts: int,
    width_m: float,
    part: Path,
    seen: Spacing | None,
    known: bool,
    rig: Rig,
    lost_m2: float,
    wrong_m2: Misled,
) -> dict[str, Any]:
    """The areas of a visit by the names of Visit; None each where no width is known. [m2]"""
    if not known:
        return dict.fromkeys(f"{name}_m2" for name in AREAS)
    spread_m = 0.0 if part.steady or seen is None else seen.spread_m
    cuts = in_front(rig)
    drift_m = part.drift_m
    sure = area_range(
        covered, bouts, width_m, field.area_m2, drift_m, spread_m, cuts, lost_m2, wrong_m2
    )
    worked, overlap = float(covered.worked.area), _overlap_m2(covered)
    return {
        "worked_m2": worked,
        "worked_low_m2": sure.low,
        "worked_high_m2": sure.high,
        "gross_m2": covered.gross_m2,
        "overlap_m2": overlap,
        "outside_m2": float(covered.outside.area),
        "missed_m2": float(covered.missed.area),
        "applied_m2": _applied_m2(worked, overlap, rig, width_m),
    }


def _overlap_m2(covered: Covered) -> float:
    """Ground covered more than once. [m2]

    What wandering makes bouts share it makes others leave between them, and these gaps are closed:
    both are set off against one another, so that gross is worked, overlap and what lies outside.
    """
    left = covered.gross_m2 - float(covered.outside.area) - float(covered.worked.area)
    return min(float(covered.overlap.area), max(left, 0.0))


def _applied_m2(worked_m2: float, overlap_m2: float, rig: Rig, width_m: float) -> float | None:
    """Ground with product on it, counted as often as it got it: sections shut off by themselves.

    Assumed: of ground that two swaths share, one section's part is still covered twice and the
    rest is shut off. None for an implement without sections.
    """
    if not rig.sections:
        return None
    return worked_m2 + overlap_m2 / rig.sections


def _geometries(covered: Covered, plane: Plane) -> dict[str, Any]:
    return {
        "worked": plane.unproject(covered.worked),
        "missed": plane.unproject(covered.missed),
        "overlap": plane.unproject(covered.overlap),
        "bouts": plane.unproject(covered.bouts),
    }


def _wide(part: Path, bout: NDArray[np.int32], rig: Rig) -> Spacing | None:
    """How far apart bouts lie that have no neighbour within two and a half stated widths."""
    if rig.width_m is None or 2.5 * rig.width_m >= WIDEST_M:
        return None
    return spacing(part.x, part.y, part.heading, bout, WIDEST_M)


def doubts(rig: Rig, seen: Spacing | None, part: Path, width_m: float) -> tuple[str, ...]:
    """What the figures leave unsure, as sentences for the person."""
    found = []
    if rig.width_m is None and seen is None:
        found.append("No implement is stated and the bouts show no width: no area is given.")
    elif rig.width_m is None and seen is not None:
        found.append(f"No implement is stated: the area rests on bouts {seen.width_m:.1f} m apart.")
    elif seen is not None and seen.pairs >= 6 and part.noise_m < width_m / 4:
        apart = abs(seen.width_m - width_m)
        if seen.width_m > 2.5 * width_m:
            found.append(
                f"The bouts are {seen.width_m:.1f} m apart, but the {rig.implement or 'implement'} "
                f"is stated as {width_m:.1f} m wide: ground between them is not counted as worked."
            )
        elif apart > max(0.12 * width_m, 3 * seen.sd_m):
            found.append(
                f"The bouts are {seen.width_m:.1f} m apart, but the {rig.implement or 'implement'} "
                f"is stated as {width_m:.1f} m wide: was it another implement?"
            )
    if part.drift_m > width_m / 4:
        found.append("The positions wander by more than a quarter of the width: take care.")
    if part.interval_s > 6:
        found.append(f"A fix every {part.interval_s:.0f} s is coarse: bout ends are guessed.")
    return tuple(found)
