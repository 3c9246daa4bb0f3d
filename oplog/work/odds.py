"""Odds: how likely it is that a run was told wrong, and what that does to a day's figures.

The evidence says more than it knows: runs that are called no work with two nats to spare were work
in one case of four. What it is worth was counted on the days of four simulators by four hands, two
of which are not in the repository (10 000 runs that were called no work, 55 000 that were called
work; the table is in DEVELOPERS.md). On the first of them, where the rules were found, the odds are
lower.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats
from oplog.work.runs import by_run

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
SHORT_S = 10
"""A shorter run is an end of a bout or a part of a turn, which other terms of the ranges hold."""
IDLE, IDLE_NATS = 0.8, 1.0
WORKS, WORKS_NATS = 2.2, 1.3
"""Log odds that a run which is called no work, or work, is so: IDLE less than the nats against
work, and WORKS more than some for it. Drawn by eye through what was counted."""
DOUBT = 0.03
"""Lower odds are left out: a day has so many sure runs that they would widen every range."""
SURE = 1.64
"""Of a normal distribution, from its middle to where nineteen in twenty lie below."""


@dataclass(frozen=True, eq=False)
class Told:
    """What each second of a path is told to be: (m,) each.

    work: whether the implement was in the ground. run: number of its run, 0 for none. odds: that
    the run was told wrong. own: share of the ground under the line that no other run works.
    """

    work: Flags
    run: Rows
    odds: Floats
    own: Floats

    def part_of(self, rows: Flags | slice) -> Told:
        """The same for some of the seconds."""
        return Told(self.work[rows], self.run[rows], self.odds[rows], self.own[rows])


def odds_of_runs(score: Floats, work: Flags, run: Rows) -> Floats:
    """How likely each second's run was told wrong, of its mean evidence for work: (m,) 0-1.

    score: (m,) evidence [nats]; work: (m,) what came of it; run: (m,) number of each second's run.
    """
    mean, said = by_run(run, score), by_run(run, work.astype(np.float64)) > 0.5
    nats = np.where(said, WORKS + WORKS_NATS * mean, -IDLE - IDLE_NATS * mean)
    odds = 1 / (1 + np.exp(np.maximum(nats, 0.0)))
    odds[(np.bincount(run, minlength=len(odds)) < SHORT_S) | (odds < DOUBT)] = 0.0
    odds[0] = 0.0
    return np.asarray(odds[run])


def nothing(seconds: int) -> Told:
    """Nothing is told of so many seconds, and nothing is in doubt."""
    run = np.zeros(seconds, dtype=np.intp)
    return Told(run > 0, run, np.zeros(seconds), np.zeros(seconds))


def merged(chosen: Flags, these: Told, others: Told) -> Told:
    """What was told of some seconds, (m,) mask, and of the others, in one."""
    run = np.where(others.run > 0, others.run + these.run.max(initial=0), 0)
    told = nothing(len(chosen))
    for rows, some in ((chosen, these), (~chosen, Told(others.work, run, others.odds, others.own))):
        told.work[rows], told.run[rows] = some.work, some.run
        told.odds[rows], told.own[rows] = some.odds, some.own
    return told


@dataclass(frozen=True)
class Misled:
    """What runs that were told wrong may take from a figure and add to it, in its own unit."""

    less: float
    more: float


def misled(told: Told, values: Floats) -> Misled:
    """How far the sum of values over the work may be off for runs told wrong, nine times in ten.

    values: (m,) of each second, its length [s] or the ground of its own [m2], say. Of many runs
    that are called work few are none, and their sum is near its mean; one run that is called none
    and may be work is all in doubt.
    """
    run = told.run
    count = np.maximum(np.bincount(run), 1)
    odds = np.bincount(run, weights=told.odds) / count
    said = np.bincount(run, weights=told.work) / count > 0.5
    worked, idle = (np.bincount(run, weights=values * w) for w in (told.work, ~told.work))
    less = SURE * np.sqrt(odds * (1 - odds)) * worked * said
    more = np.minimum(2 * np.sqrt(odds), 1.0) * idle * ~said
    return Misled(float(np.linalg.norm(less)), float(np.linalg.norm(more)))
