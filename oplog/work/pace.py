"""Pace: the speed that work is expected to keep where it lies, beside what is usual for the visit.

Headlands are worked more slowly than bouts, a bout goes slowly up a bank or with a heavy crop, and
a tank runs empty. Who is slower than usual where no way lies still works.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.runs import Runs, by_run

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
SLOWEST = 0.25
"""Work is no slower than this, of its usual speed."""
SIDE_S = 45
"""From how long before and after the pace of a side of a lap is told."""
SLOW_S, WIDTHS = 15, 3.0
"""How long a run lasts at the least, and is in widths, that has a pace of its own."""
NEW, FITS = 0.6, 0.8
"""A run of which more is new and more fits is work at whatever speed."""
FASTER = 75
"""Percentile of the speeds of a bout that is its pace: who lifts in its midst goes on at another,
and is slower then as often as not."""


def pace_of_bouts(speed: Floats, run: Rows, bouts: Flags) -> Floats:
    """The pace of each run that is a bout by where it lies, whatever that of the others is: (k,)
    [m/s], infinite for all else. speed: (m,) [m/s]; run: (m,) number of each second's run."""
    pace = np.full(len(bouts), np.inf)
    long = bouts & (np.bincount(run) >= SLOW_S)
    long[0] = False
    for k in np.flatnonzero(long):
        pace[k] = np.percentile(speed[run == k], FASTER)
    return pace


def pace_kept(speed: Floats, run: Rows, around: Flags, of_bouts: Floats, usual: float) -> Floats:
    """The usual speed of work, or what is kept there if it is lower: on sides of laps round most of
    the field for a while, on bouts all along: (m,) [m/s]

    around: (k,) sides of laps; of_bouts: (k,) from `pace_of_bouts`. [m/s]
    """
    side = around[run]
    way_m, lasts_s = _within_s(side * speed, SIDE_S), _within_s(side, SIDE_S)
    on_sides = np.clip(way_m / np.maximum(lasts_s, 1.0), SLOWEST * usual, usual)
    kept = np.where(side, on_sides, usual)
    slow = (of_bouts > SLOWEST * usual) & (of_bouts < usual)
    return np.where(slow[run], np.minimum(kept, of_bouts[run]), kept)


def pace_where_new(
    run: Rows, runs: Runs, new: Floats, fits: Flags, kept: Floats, usual: float, width_m: float
) -> Floats:
    """The same where ground is seen to be new: who drives slowly but straight on, on ground that
    nobody else works, edge to edge with his neighbour, works slowly: (m,) [m/s]

    new: (m,) share of new ground; fits: (m,); kept: (m,) from `pace_kept`. [m/s]
    """
    slow = (by_run(run, new) > NEW) & (by_run(run, fits.astype(np.float64)) > FITS)
    slow &= (np.bincount(run) >= SLOW_S) & (runs.length_m > WIDTHS * width_m)
    slow &= (runs.speed < usual) & (runs.speed > SLOWEST * usual)
    slow[0] = False
    return np.where(slow[run], np.minimum(runs.speed[run], kept), kept)


def _within_s(values: Floats | Flags, reach: int) -> Floats:
    """Sum of values over so many seconds either side: (m,)"""
    total = np.concatenate([[0.0], np.cumsum(values)])
    row = np.arange(len(values))
    return np.asarray(
        total[np.minimum(row + reach + 1, len(values))] - total[np.maximum(row - reach, 0)]
    )
