"""Certainty: how far a figure may be from the truth, nine times in ten."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats
from oplog.work.coverage import Covered
from oplog.work.odds import Misled

A_RUN_M2 = 105.0
"""Ground of a stray run taken for work, or of work taken for a stray run."""
HABIT_S = 0.8
"""By how much a driver's bouts are usually longer or shorter than the ground says, all alike."""
CUTS_AREA, CUTS_HOURS = 0.014, 0.025
"""What a header adds, as shares: it takes part-widths, and goes down and up by the driver's hand.
Set on ten recorded harvests, where the range that the simulator asks for held 3 areas and 6 hours
of ten."""

SURELY = Misled(0.0, 0.0)
"""No run is in doubt."""
LOST_S, LOST_NEAR = 300.0, 20
"""The longest gap in which work may have gone on, and how near the work must be, in seconds."""


@dataclass(frozen=True)
class Range:
    """A 90 % range about a figure, in the figure's own unit."""

    low: float
    high: float


def area_range(
    covered: Covered,
    bouts: int,
    width_m: float,
    boundary_m2: float | None,
    drift_m: float,
    spread_m: float = 0.0,
    cuts: bool = False,
    lost_m2: float = 0.0,
    wrong_m2: Misled = SURELY,
) -> Range:
    """90 % range of the worked area. [m2]

    Four things move it, taken as independent: the outer edge of the work wanders by the drift
    of the positions, in stretches of about 60 m; how much of the gaps between bouts is closed
    rests on how far these wander; where each bout begins and ends is told to about 0.65 s; and now
    and then a run is taken for work that is none. Factors set on the scenarios of two simulators
    so that nine truths in ten lie inside on the first (benchmarks/inference).
    spread_m: of the distances between bouts, of a receiver that is not steady; else 0.
    cuts: the work was done with a header. lost_m2: what may have been worked in gaps of the record.
    wrong_m2: ground of runs that may have been told wrong.
    """
    area = float(covered.worked.area)
    open_edge_m = _open_edge(covered)
    edge = 1.2 * max(drift_m, 0.5 * spread_m) * np.sqrt(max(open_edge_m, 1.0) * 60.0)
    ends = 0.65 * width_m * np.sqrt(max(bouts, 1))
    share = (CUTS_AREA if cuts else 0.004) * area
    closed = 0.05 * spread_m / width_m * area
    half = 1.64 * float(np.sqrt(edge**2 + ends**2 + share**2 + closed**2 + A_RUN_M2**2))
    high = area + float(np.hypot(half, wrong_m2.more)) + lost_m2
    if boundary_m2 is not None:
        high = min(high, max(boundary_m2, area))
    return Range(max(area - float(np.hypot(half, wrong_m2.less)), 0.0), high)


def _open_edge(covered: Covered) -> float:
    """Length of the outer edge of the worked ground. [m]"""
    return float(sum(g.exterior.length for g in covered.worked.geoms))


def hours_range(
    working_s: float, bouts: int, interval_s: float, noise_m: float, cuts: bool = False,
    lost_s: float = 0.0, wrong_s: Misled = SURELY,
) -> Range:  # fmt: skip
    """90 % range of the working time. [s]

    Each end of a bout is told to some seconds; who lowers or lifts early does so at every bout, and
    nothing in the track shows it; and a run now and then is misread. The first and the last are
    worse with noise. Set on three simulators by three hands (the third is not in the repository),
    so that it holds nearly all hours of the first, whose drivers have no such habits, and 80 to 85
    in a hundred of the others'. lost_s: gaps of the record in which it may have gone on. wrong_s:
    runs that may have been told wrong.
    """
    each = 1.4 + interval_s / 3 + 2.3 * noise_m
    ends = each * np.sqrt(2 * max(bouts, 1))
    habit = HABIT_S * bouts
    share = (CUTS_HOURS if cuts else 0.0098) + 0.022 * noise_m
    half = 1.64 * float(np.linalg.norm([ends, habit, share * working_s]))
    low = working_s - float(np.hypot(half, wrong_s.less))
    return Range(max(low, 0.0), working_s + float(np.hypot(half, wrong_s.more)) + lost_s)


def lost_s(seconds: Floats, piece: NDArray[np.int32], work: NDArray[np.bool_]) -> float:
    """How long gaps in the record last that begin or end in work, or near it. [s]

    Of (m,) seconds of a path, their pieces, and whether they are work. Longer gaps are breaks.
    """
    at = np.flatnonzero(np.diff(piece) != 0)
    lasts_s = np.diff(seconds)[at]
    near = np.concatenate([[0], np.cumsum(work)])
    about = near[np.minimum(at + LOST_NEAR, len(work))] > near[np.maximum(at - LOST_NEAR, 0)]
    return float(lasts_s[about & (lasts_s < LOST_S)].sum())
