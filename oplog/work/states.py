"""States: whether the implement was in the ground, second by second.

A two-state sequence model: evidence for and against work in each second is added up, changing
over costs something, and the most likely sequence is found (Viterbi). The evidence is geometry
that holds for any implement: ground not yet worked under the working line, the visit's own
working speed, straight running against turning, and direction of travel. As the first depends
on what was worked before, labels and evidence are worked out in turn until they agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats, median
from oplog.work.across import worked_across
from oplog.work.claims import (
    Cells,
    Ground,
    Part,
    Raster,
    Swath,
    alone,
    beside,
    ground_of,
    novelty,
    share,
    swath,
    together,
    within,
)
from oplog.work.crossing import crossings, in_field, near_ends
from oplog.work.ends import trim
from oplog.work.evidence import (
    KEEPS,
    Evidence,
    fixed_evidence,
    keeps_pace,
    off_pace,
    slack,
    speed_evidence,
    turning_evidence,
)
from oplog.work.header import ahead, back_to_cut, creeping, down_all_along, slow_cuts
from oplog.work.line import Line
from oplog.work.looking import looked_round
from oplog.work.mend import mended, slowed
from oplog.work.motion import Path
from oplog.work.odds import Told, odds_of_runs
from oplog.work.pace import pace_kept, pace_of_bouts, pace_where_new
from oplog.work.rings import round_ends, round_holes
from oplog.work.runs import (
    TREMBLES_M,
    Runs,
    abreast,
    among_likes,
    apart_from,
    by_run,
    driven_through,
    heading_change,
    lone,
    middles,
    run_mean,
    running,
    runs_of,
)
from oplog.work.sidestep import sidesteps
from oplog.work.spiral import spiral_bends
from oplog.work.turns import backed_about, looped, turned_over
from oplog.work.ways import LONE_STRIP, Lie, fitting, lie_of, rings_done_before, sides_done_before
from oplog.work.ways import apart as apart_from_work

Flags = NDArray[np.bool_]
HURRIED = 1.2
"""How much faster than the bouts one is on the way from patch to patch, at least."""
SHORTEST = 3.0
"""Length of a way that is told by its speed, in widths, at the least."""
PACED = 0.25
"""Share of the work that bouts beside others must have for their speed to be the usual one."""
LONE = 0.4
"""A run that fits less than this as its positions are lies beside nothing, however they wander."""
AT_PACE = 0.06
"""By how much a pace that is kept differs at most, as a log ratio."""
SLOWER = 0.87
"""What share of the usual speed a bout is slower than that has not the best claim to its ground:
another run over the same, at the usual pace, has a better one."""
BENDS = 0.3
"""From which evidence on, against work that turns, it bends. [nats]"""
PACE_TELLS = 0.8
"""What the pace of many seconds weighs where new ground is seen, of where it is not."""
BEYOND_M, MOSTLY = 3.5, 0.75
"""Work reaches no further over the edge than an edge may be drawn wrong, but where most of the
ground under it is new."""
UNCUT, CREEPS_M_S, SLOW = 0.8, 0.3, -1.0
"""Share of a header on standing crop, and the least speed, from which on slowness speaks against
work by no more than this. [nats]"""


def label(
    path: Path,
    line: Line,
    lay: Swath,
    width_m: float,
    gap_m: float,
    ground: Any | None,
    gates: Sequence[int],
    weights: Evidence,
    cuts: bool = False,
    stated: bool = True,
) -> Told:
    """Working or not, for each second of the path, and how sure that is.

    lay: of the line on a raster. gap_m: what neighbouring bouts leave between them. [m]
    ground: the field in the plane, None for no field. gates: rows of the path at which the
    machine came in over the boundary or had just gone out. cuts: a header that has to cut its
    way round corners; stated: whether it is stated how far ahead of the antenna it is.
    """
    known = _known(path, line, lay, width_m, gap_m, ground, gates, weights, cuts)
    work = first_guess(path) & known.inside
    before: Floats | float = 0.0
    for turn in range(10):
        covers = _covers(known, work)
        score, own = _score(known, work, covers, gates)
        # Two readings can each call the other forth; their mean settles which is the stronger.
        score = before = score if turn < 2 else (score + before) / 2
        again = decode(score, weights.lower * known.change, weights.lift * known.change)
        if bool((again == work).all()):
            break
        work = again
    else:
        covers = _covers(known, work)
    odds = odds_of_runs(score, work, known.run)
    usual = working_speed(path.speed, known.paced(work))
    over = np.zeros(len(work), dtype=bool)
    if cuts:
        work = down_all_along(path, work)
    else:
        work = mended(path, line, known.lays.wide, covers.all, work, usual)
        work = slowed(path, line, own, work, usual)
    if ground is not None and not cuts:
        over = sidesteps(path, line, lay, covers.all, work, ground, usual, width_m)
        work &= ~over
    # The ends lie where the ground itself was worked, not where it was worked but for a gap; and
    # at the boundary, but for a header, which is clear of the crop only beyond it.
    bare = crossings(known.lays.narrow, work, path.piece)
    if ground is not None and not cuts:
        bare = in_field(bare, line, width_m, ground, known.sure | ~near_ends(work, path.piece))
    work = trim(path, line, work, bare, known.inland, usual, known.inmost, width_m, cuts)
    work = ahead(path, line, work, bare.whole, stated) if cuts else work & ~over
    return Told(work, known.run, odds, own)


@dataclass(frozen=True, eq=False)
class _Known:
    """What does not hang on any label.

    inmost, sure, inside: (m,) with room for a headland, that or going round the field, and not
    well outside. inland: (m,) share of the line in the field, a tenth at least. ring: (m,) laps
    round holes of the field; rounds: rows at which they begin and end. fixed, turning: (m,)
    evidence. [nats] run: (m,) number of each second's run; peers: (k,) runs with others beside
    them; typical: (m,) the middles of these, of all as long as of most; lone: (k,) runs beside
    which none lies; own_pace: (k,) of bouts, infinite for all else. [m/s]
    """

    path: Path
    line: Line
    width_m: float
    weights: Evidence
    cuts: bool
    inmost: Flags
    sure: Flags
    inside: Flags
    lays: _Lays
    sides: list[_Side]
    inland: Floats
    ring: Flags
    rounds: list[int]
    fixed: Floats
    turning: Floats
    run: NDArray[np.intp]
    runs: Runs
    peers: Flags
    typical: Flags
    lone: Flags
    lie: Lie
    own_pace: Floats

    @property
    def wander(self) -> float:
        """How far positions wander, in widths: by a part of it, and it is not seen what ground is
        new; fitting edge to edge means nothing then."""
        return self.path.drift_m / self.width_m

    @property
    def sight(self) -> float:
        """How much new ground is worth, 0 to 1."""
        return 1 / (1 + (4 * self.wander) ** 2)

    @property
    def change(self) -> float:
        """Where less speaks for and against, less has to speak for a change, or short bouts go
        under."""
        return max(self.sight, 0.5)

    def paced(self, work: Flags) -> Flags:
        """The work that shows what speed is usual: bouts, as long as there are enough of them, none
        for longer than most last. Long ways over new ground, from patch to patch, say, look like
        work but are driven faster.
        """
        bouts = work & self.typical
        return bouts if bouts.sum() >= PACED * work.sum() else work


def _known(
    path: Path, line: Line, lay: Swath, width_m: float, gap_m: float, ground: Any | None,
    gates: Sequence[int], weights: Evidence, cuts: bool,
) -> _Known:  # fmt: skip
    inmost = _within(ground, line.x, line.y, -1.5 * width_m)
    straight = first_guess(path) & _within(ground, line.x, line.y, 0.0)
    ring = round_holes(path, line, ground, width_m)
    rounds = round_ends(ring, path)
    run = apart_from(ring, running(path, not cuts and keeps_pace(path, straight)))
    runs = runs_of(path, line, run, ground, width_m)
    # A boundary may be drawn within the first lap; who goes all round the field is in it.
    sure = inmost | runs.around[run]
    lays = _lays(line, lay, width_m, gap_m, ground, sure)
    margin_m = max(2.0, 0.4 * width_m, 2.5 * path.drift_m)
    inside = _within(ground, line.x, line.y, margin_m, sure)
    usual = working_speed(path.speed, first_guess(path) & inside)
    fixed = fixed_evidence(path, inside, usual, weights, cuts)
    turns = looped(path)
    if not cuts:
        turns |= turned_over(path, run, runs, lay, width_m)
    turns &= ~ring
    fixed = fixed - weights.turning_back * turns
    if ground is not None:
        looked = looked_round(path, run, runs, lay, ground, usual, width_m)
        fixed = fixed - weights.looked * looked
    peers = abreast(runs, width_m, path.drift_m) | runs.around
    lie = lie_of(path, run, runs, peers, gates, width_m, rounds)
    bouts = lie.teeth | among_likes(runs, width_m) & peers & ~lie.led & ~lie.leads
    bouts &= ~runs.around & (not cuts)
    return _Known(
        path, line, width_m, weights, cuts, inmost, sure, inside, lays,
        sides=_sides(line, width_m, ground, lay.raster, inmost),
        inland=np.maximum(share(lays.inside, lays.inside.field), 0.1),
        ring=ring, rounds=rounds, fixed=fixed,
        turning=turning_evidence(path, line, backed_about(path, run), weights) * ~ring,
        run=run, runs=runs, peers=peers, typical=middles(run, peers),
        lone=lone(runs, width_m, path.drift_m),
        lie=lie, own_pace=pace_of_bouts(path.speed, run, bouts),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Covers:
    """The ground that the work covers, and what of it by steady straight running and otherwise.

    usual: the speed of that work [m/s]; slack: how far it falls below and rises above that, as log
    ratios; pace: (m,) the same, and on sides of laps what these keep [m/s]; steady: (m,) seconds
    that keep to it, straight on.
    """

    usual: float
    slack: tuple[float, float]
    pace: Floats
    steady: Flags
    parts: list[Part]
    all: Ground


def _covers(known: _Known, work: Flags) -> _Covers:
    path, paced = known.path, known.paced(work)
    usual = working_speed(path.speed, paced)
    pace = pace_kept(path.speed, known.run, known.runs.around, known.own_pace, usual)
    steady = (np.abs(np.log(np.maximum(path.speed, 0.05) / pace)) < 0.2) & (
        (heading_change(path.heading, 8 if known.cuts else 3) < np.radians(30)) | known.ring
    )
    seconds = [work & steady, work & ~steady]
    parts = [(some, ground_of(known.lays.wide, some)) for some in seconds]
    spread = slack(path, paced, usual)
    return _Covers(usual, spread, pace, steady, parts, together([ground for _, ground in parts]))


def _score(
    known: _Known, work: Flags, covers: _Covers, gates: Sequence[int]
) -> tuple[Floats, Floats]:
    """Evidence for work in each second, given what else is work, (m,) [nats], and the share of the
    ground under it that is new, (m,)."""
    path, run, runs, lays, weights = known.path, known.run, known.runs, known.lays, known.weights
    usual, covered = covers.usual, covers.all
    rank = _rank(known, work, covers)
    new = novelty(lays.inside, lays.wide, work, rank, covers.parts)
    some = weights.part_width if known.cuts else weights.some_new
    gain = weights.new_ground * (1 - np.exp(-new / some)) - weights.old_ground
    fits, enclosed = _fits(covered, known.sides, new)
    blurred = known.wander > 1 / 4
    share_fit, alike = fitting(
        path, run, runs, known.lie, fits, enclosed | known.cuts, new / known.inland, usual,
        known.width_m, blurred, not known.cuts and covers.slack[0] < KEEPS,
    )  # fmt: skip
    share_fit = np.where(known.ring, 1.0, share_fit)
    gone_to = [*gates, *known.rounds]
    apart = 0.0 if blurred else weights.apart * apart_from_work(path, run, share_fit, gone_to)
    if not known.cuts:
        ways = _lone(known, fits) if blurred else _hurried(known, share_fit, covers)
        apart = np.maximum(apart, weights.apart * ways)
        # Where new ground is not seen: hardly any run between the bouts and a gate is work.
        led = known.lie.led & known.lie.leads
        apart = np.maximum(apart, weights.apart * (1 - known.sight) * led[run])
        apart = np.maximum(apart, weights.apart * _over_the_edge(known, new))
    apart = np.where(known.ring, 0.0, apart)
    if not blurred:
        alike = alike | sides_done_before(run, runs, known.lie, new, usual)
    alike = alike | rings_done_before(known.ring, new, path)
    gain = np.where(alike, np.maximum(gain, weights.alike), gain)
    through = driven_through(path, run, runs, share_fit, new, usual, known.width_m)
    all_round = np.maximum(_all_round(fits & (new >= 0.5)), through)
    if not known.cuts:
        all_round = np.maximum(all_round, _kept_on(path.speed, usual, fits & (new >= 0.3)))
    if known.cuts:
        speed, gain, apart = _cutting(known, covers, new, gain, apart)
    else:
        speed = _keeping(known, work, covers, new, fits, blurred)
    bends = known.turning * (1 - weights.round_work * all_round)
    # Who slows for a corner of his lap still works; where new ground is seen, that tells as much.
    slows = (speed < 0) & (known.turning > BENDS)
    let_go = weights.round_work * all_round * (1 - known.sight)
    speed = np.where(slows, speed * (1 - let_go), speed)
    if not known.cuts:
        spiral = spiral_bends(path, run, work, share_fit, usual)
        bends = bends * ~spiral
        speed = np.where(spiral, np.maximum(speed, 0.0), speed)
    score = known.fixed - bends + speed + known.sight * gain - apart
    if known.cuts and path.noise_m > TREMBLES_M:
        stroke = known.fixed + weights.alike
        score = np.where(creeping(path, usual), np.maximum(score, stroke), score)
    return np.clip(score, -6.0, 4.0), new


def _keeping(
    known: _Known, work: Flags, covers: _Covers, new: Floats, fits: Flags, blurred: bool
) -> Floats:
    """For work at the pace that it keeps there, in each second and for many: (m,) [nats]"""
    path, run, weights, usual = known.path, known.run, known.weights, covers.usual
    pace = covers.pace
    if not blurred:
        pace = pace_where_new(run, known.runs, new, fits, pace, usual, known.width_m)
    speed = speed_evidence(path.speed, usual, pace, *covers.slack, weights)
    if covers.slack[0] < KEEPS:
        speed = speed - max(1 - known.sight, PACE_TELLS) * off_pace(path, run, work, pace)
    return speed


def _cutting(
    known: _Known, covers: _Covers, new: Floats, gain: Floats, apart: Floats
) -> tuple[Floats, Floats, Floats]:
    """What the speed of a header says, and what its slow cuts make of the ground under them, and of
    the ways between them: (m,) each. [nats]"""
    path, run, runs, weights, usual = (
        known.path, known.run, known.runs, known.weights, covers.usual,
    )  # fmt: skip
    speed = speed_evidence(path.speed, usual, covers.pace, *covers.slack, weights)
    # A header cannot creep over standing crop without cutting it.
    creeps = (new > UNCUT) & (path.speed > CREEPS_M_S) & (path.speed < usual)
    speed = np.where(creeps, np.maximum(speed, SLOW), speed)
    slow = slow_cuts(path, run, runs, usual, known.width_m)
    speed = np.where(slow, 0.0, speed)
    gain = np.where(slow, np.maximum(gain, weights.alike), gain)
    back = back_to_cut(path, run, runs, slow, usual, known.width_m)
    return speed, gain, np.where(slow, 0.0, np.maximum(apart, weights.apart * back))


def first_guess(path: Path) -> Flags:
    """Straight forward running: what work looks like before anything is known. (m,) mask."""
    bend = heading_change(path.heading)
    return np.asarray(
        (path.speed > 0.3) & (path.speed < 8) & ~path.reverse & (bend < np.radians(25)), dtype=bool
    )


@dataclass(frozen=True, eq=False)
class _Lays:
    """The working line on the ground as it is, widened by the gaps between neighbours, and as it
    is in the field: where a boom swings out over the hedge, that is no ground to work."""

    narrow: Swath
    wide: Swath
    inside: Swath


def _lays(
    line: Line, narrow: Swath, width_m: float, gap_m: float, ground: Any | None, inmost: Flags
) -> _Lays:
    wide = swath(narrow.way, width_m + 2 * gap_m)
    if ground is None:
        return _Lays(narrow, wide, narrow)
    sure = _within(ground, line.x, line.y, -0.6 * width_m, inmost)
    return _Lays(narrow, wide, within(narrow, ground, sure))


def _hurried(known: _Known, share_fit: Floats, covers: _Covers) -> Flags:
    """Seconds of runs that lie beside no others and are faster than bouts: ways from patch to patch
    that fit nowhere, and ways to the work or from it that are faster than the work ever is. (m,)
    mask. Not asked of a header, which is as fast as the crop lets it be."""
    run, runs, usual = known.run, known.runs, covers.usual
    lonely = ~known.peers & (runs.length_m > SHORTEST * known.width_m)
    lonely[0] = False
    hurries = lonely & (runs.speed > HURRIED * usual) & (runs.length_m > 5 * known.width_m)
    leads = lonely & known.lie.leads & (runs.speed > usual * np.exp(covers.slack[1]))
    return np.asarray(hurries[run] & (share_fit < 0.45) | leads[run])


def _over_the_edge(known: _Known, new: Floats) -> Flags:
    """Seconds of runs so near the edge that the tool would reach far beyond it all along, though
    most of what it passes over in the field is others' ground: ways along the hedge, with a wide
    boom. (m,) mask. Where the edge is drawn wrong, all of it would be new.
    """
    run, runs = known.run, known.runs
    over = runs.edge_m < known.width_m / 2 - BEYOND_M - 2 * known.path.drift_m
    over &= by_run(run, new / known.inland) < MOSTLY
    over[0] = False
    return np.asarray(over[run])


def _lone(known: _Known, fits: Flags) -> Flags:
    """Seconds of runs beside which there is nothing, as far as it shows where positions wander so
    much that all seems to fit: (m,) mask."""
    fit = run_mean(known.run, fits.astype(np.float64))
    return np.asarray(known.lone[known.run] & (fit < LONE))


def _rank(known: _Known, work: Flags, covers: _Covers) -> NDArray[np.int8]:
    """How good a claim each second of work has on its ground: (m,) 0 to 6.

    Steady straight running counts, and so does a run most of whose ground nobody else covers, or
    beside which others lie: a bout has its ground to itself, or its like on both sides; a way
    across the field, driven before or after, has neither; nor has one that leads to a stop or from
    it, where another run covers the same ground. Two ways there and back lie side by
    side as bouts do, but others are worked across them. Of two runs over the same ground, one that
    is faster than the work ever is was a way, and of two that lead to stops one that does not keep
    the pace of the work; with a header nobody can say.
    """
    run, inside = known.run, known.lays.inside
    lap = known.runs.lap[run]
    alone_run = (lap > 0) & (run_mean(lap, alone(inside, covers.all)) >= 0.5)
    peers = known.peers[run]
    shared = peers & ~alone_run & ~known.runs.around[run]
    over = worked_across(known.path, run, shared, inside, known.line.heading, work)
    best = alone_run | peers & ~over[run] | known.ring
    if known.cuts:
        return np.asarray(covers.steady * (1 + best), dtype=np.int8)
    best &= (known.runs.speed < covers.usual * np.exp(covers.slack[1]))[run]
    if covers.slack[0] < KEEPS:
        best &= ~(known.lie.under & (known.runs.speed > LONE_STRIP * covers.usual))[run]
    sure = best & (alone_run | known.ring | ~known.lie.led[run])
    slow = ~known.lie.teeth & (known.own_pace < SLOWER * covers.usual)
    sure &= alone_run | ~slow[run]
    paced = np.abs(np.log(np.maximum(known.runs.speed, 0.05) / covers.usual)) < AT_PACE
    likelier = covers.steady & best & ~sure & (paced & (covers.slack[0] < KEEPS))[run]
    return np.asarray(2 * covers.steady * (1 + best + sure) + likelier, dtype=np.int8)


@dataclass(frozen=True, eq=False)
class _Side:
    """One side of the working line. within: cells near its middle; beyond: cells past its end;
    off: (m,) whether the ground past its end is not the field's."""

    within: Cells
    beyond: list[Cells]
    off: Flags


def _sides(
    line: Line, width_m: float, ground: Any | None, grid: Raster, inmost: Flags
) -> list[_Side]:
    sin, cos = np.sin(line.heading), np.cos(line.heading)

    def spot(reach: float) -> tuple[Floats, Floats]:
        across = reach * width_m
        return line.x - sin * across, line.y + cos * across

    sides = []
    for left in (1.0, -1.0):
        past = [spot(left * reach) for reach in (0.6, 0.75, 0.95)]
        off = np.any([~_within(ground, *at, 0.0, inmost) for at in past], axis=0)
        sides.append(_Side(grid.cell(*spot(left * 0.1)), [grid.cell(*at) for at in past], off))
    return sides


def _fits(covered: Ground, sides: list[_Side], new: Floats) -> tuple[Flags, Flags]:
    """Where the line lies edge to edge with its neighbour, as a bout does; and where it has such
    ground at both ends, as a last strip has: (m,) mask each.

    Beyond one end of the line the ground is worked, by others, or is not field, and within that
    end it is not.
    """
    left, right = (side.off | beside(covered, side.beyond) for side in sides)
    free = [~beside(covered, [side.within]) for side in sides]
    both = left & right
    return np.asarray((left & free[0]) | (right & free[1]) | (both & (new >= 0.3))), both


def _kept_on(speed: Floats, usual: float, fitting: Flags) -> Floats:
    """How far the speed is kept through a bend that mostly fits, as in work round and round:
    (m,) 0 to 1.2, as nothing speaks for a turn then. A header goes round corners in strokes."""
    fits = np.clip(2 * _about(fitting) - 0.8, 0.0, 1.0)
    return np.asarray(1.2 * _all_round(speed > 0.85 * usual) * fits)


def _all_round(flags: Flags) -> Floats:
    """How far a flag holds without a break for some seconds either side: (m,) 0-1."""
    return np.clip((_about(flags) - 0.6) / 0.4, 0.0, 1.0)


def _about(flags: Flags, reach: int = 8) -> Floats:
    """Mean of a flag over some seconds either side: (m,) 0-1."""
    width = 2 * reach + 1
    padded = np.concatenate([np.zeros(reach), flags, np.zeros(reach)])
    return np.convolve(padded, np.full(width, 1 / width), mode="valid")


def working_speed(speed: Floats, work: Flags) -> float:
    """The visit's own working speed: median over the time working. [m/s]"""
    return median(speed[work]) if work.any() else 2.0


def decode(score: Floats, lower: float, lift: float) -> Flags:
    """Most likely sequence of two states given the evidence for "working": (m,) mask."""
    # How far working is ahead of not working; more than a change costs, and it is changed to. Once
    # that far it stays so as long as evidence speaks for the same: only the rest is gone through.
    lead = np.where(score > 0, lift, -lower) + score
    ahead, step, works = 0.0, score.tolist(), (score > 0).tolist()
    turns = np.flatnonzero(np.diff(score > 0)) + 1
    for a, b in pairwise([0, *turns.tolist(), len(step)]):
        for k in range(a, b):
            if ahead >= lift if works[k] else ahead <= -lower:
                ahead = float(lead[b - 1])
                break
            lead[k] = ahead = min(max(ahead, -lower), lift) + step[k]
    lead[-1:] = np.inf if ahead > 0 else -np.inf
    # A second is told by the first after it at which a change would have paid.
    told = np.flatnonzero((lead > lift) | (lead < -lower))
    return np.asarray(lead[told][np.searchsorted(told, np.arange(len(score)))] > lift)


def _within(
    ground: Any | None, x: Floats, y: Floats, by_m: float, sure: Flags | None = None
) -> Flags:
    """Which positions lie in ground widened by so much: (m,) mask. sure: those that do."""
    from shapely import contains_xy, prepare

    if ground is None:
        return np.ones(len(x), dtype=bool)
    wider = ground.buffer(by_m) if by_m else ground
    prepare(wider)
    if sure is None:
        return np.asarray(contains_xy(wider, x, y), dtype=bool)
    asked, inside = np.flatnonzero(~sure), sure.copy()
    inside[asked] = contains_xy(wider, x[asked], y[asked])
    return inside
