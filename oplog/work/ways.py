"""Ways: runs that lead to the work, from it and across it, and fit nowhere."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats
from oplog.work.motion import Path
from oplog.work.runs import (
    Runs,
    beside_stops,
    by_run,
    comb,
    firsts,
    least_quarter,
    likeness,
    middle_halves,
    over_the_same_lap,
    repeated,
    run_mean,
    true_runs,
    under_a_lap,
)

Flags = NDArray[np.bool_]
STEADY = 0.12
"""By how much the speed of a run that keeps to that of the work may differ, as a log ratio."""
SLOWER, FASTER = 0.75, 1.13
"""How slow and how fast the side of a lap may be, of the speed of the work; ways are faster."""
STRIP, LONE_STRIP = 1.08, 1.03
"""A last strip is driven no faster than so, of the speed of the work; and if it is no tooth of a
comb."""
OFTEN, HARDLY, AT_PACE = 2, 0.1, 0.05
"""A run over so many earlier ones, with hardly more new ground, is a way and no last strip; nor is
one that leads to a stop: but a tooth of a comb that differs from the pace of the work by less."""
LEFT = 0.08
"""Share of new ground from which on a tooth at the pace of the work is work, if it has as much in
each quarter of its length."""
LAPPED = 0.15
"""A strip that fits has less new ground than so where its neighbours lap over nearly all of it."""
WINDS = np.radians(300)
"""How far a run that leads somewhere turns at most."""
LEADS = 2.0
"""Length, in widths, of a run that may lead to a stop or from one."""
LAP_NEW, ENDS_S = 0.4, 5
"""Share of a lap that is on new ground, from which on a side that has less is work too; but for the
first and last seconds of one round a hole, which the ground tells."""


@dataclass(frozen=True, eq=False)
class Lie:
    """How runs lie, whatever is worked: (k,) masks of them.

    led: they lead to a stop or a gate, or from one. leads: they or others that lie beside none lead
    from there, or from a lap round a pond, to runs beside which others lie, or back. often: they
    lie over several earlier ones. again: sides of a lap that lie over an earlier side of it.
    under: they lie on the line of a whole lap, and are none of its sides.
    teeth: of a comb.
    """

    led: Flags
    leads: Flags
    often: Flags
    again: Flags
    under: Flags
    teeth: Flags


def lie_of(
    path: Path, run: NDArray[np.intp], runs: Runs, peers: Flags, gates: Sequence[int],
    width_m: float, rounds: Sequence[int] = (),
) -> Lie:  # fmt: skip
    """How the runs of a path lie; peers: (k,) runs beside which others lie; gates: rows at which
    the machine came in or went out; rounds: at which laps round holes begin and end."""
    long = np.flatnonzero(runs.length_m > LEADS * width_m)
    long = long[long > 0]
    led = np.zeros(len(runs.x), dtype=bool)
    stops = _stops(path, gates)
    led[long] = beside_stops(path, run, long, stops)
    first = firsts(run)
    # Who goes round and round is on his way to nowhere.
    led &= np.abs(path.heading[first + np.bincount(run) - 1] - path.heading[first]) < WINDS
    return Lie(
        led=led,
        leads=_leading(run, peers, [*stops, *((row, row) for row in rounds)]),
        often=repeated(runs, width_m, path.drift_m) >= OFTEN,
        again=over_the_same_lap(runs, width_m, path.drift_m),
        under=under_a_lap(runs, width_m),
        teeth=comb(runs, width_m),
    )


def _leading(run: NDArray[np.intp], peers: Flags, stops: Sequence[tuple[int, int]]) -> Flags:
    """Runs between a stop and the next run beside which others lie, or the last one: (k,) mask."""
    begin, count = firsts(run), len(peers)
    found = np.zeros(count, dtype=bool)
    for a, b in stops:
        after = int(np.searchsorted(begin[1:], (a + b) // 2)) + 1
        for outward in (range(after, count), range(after - 1, 0, -1)):
            for k in outward:
                if peers[k]:
                    break
                found[k] = True
    return found


def fitting(
    path: Path, run: NDArray[np.intp], runs: Runs, lie: Lie, fits: Flags, enclosed: Flags,
    new: Floats, usual: float, width_m: float, blurred: bool, paced: bool,
) -> tuple[Floats, Flags]:  # fmt: skip
    """How far each second's run fits where it lies, (m,) 0-1; and (m,) last strips.

    A last strip laps over its neighbour and fits badly; but partly new ground, all along, is no
    ground that a way leads over, unless it lies askew or is driven in a hurry. Where nothing fits
    there is no work to be the last of; and over next to nothing new nobody drives to a stop, or
    again and again, for the sake of the work. blurred: what fits is not seen, and only likeness
    tells. paced: the work keeps its speed.
    """
    fit, own = by_run(run, (fits | blurred).astype(np.float64)), by_run(run, new)
    alone = own > 0.8
    drift = path.drift_m
    alike, askew = likeness(runs, np.where(alone, 1.0, fit), usual, width_m, drift)
    some = run_mean(run, np.minimum(new, 0.75)) > 0.01
    shut_in = by_run(run, enclosed.astype(np.float64)) > 0.5
    # A way home comes over new ground at its ends, where it leaves the field.
    inmost = by_run(middle_halves(run), new)
    off = np.abs(np.log(np.maximum(runs.speed, 0.05) / usual))
    strip = ~lie.led & ~lie.often | (inmost > HARDLY) | lie.teeth & (off < AT_PACE)
    laps_over = np.where(fit < 0.5, shut_in, own < LAPPED) | blurred
    if paced and not blurred:
        strip &= runs.speed < np.where(lie.teeth, STRIP, LONE_STRIP) * usual
    last = (alike & strip & laps_over)[run] & some
    # Where a comb is short or its teeth are not as long, what is left of a tooth all along tells.
    left = lie.teeth & ~askew & (off < AT_PACE) & (least_quarter(run, new) > LEFT)
    last |= (left & laps_over)[run]
    steady = off < STEADY
    elsewhere = runs.length_m[1:][fit[1:] >= 0.5].sum() > 3 * runs.length_m
    side = np.isfinite(runs.edge_m) & alone & steady & elsewhere
    hurried = paced & (runs.speed > STRIP * usual)
    partly = run_mean(run, ((new > 0.1) & (new < 0.75)).astype(np.float64)) > 0.7
    share_fit = fit[run]
    running = share_fit[run > 0]
    if len(running) and (running >= 0.5).mean() > 0.25:
        share_fit = np.where(
            (partly & (shut_in & ~askew & ~hurried)[run]) | last | (side | alike & alone)[run],
            1.0,
            share_fit,
        )
    share_fit = np.where((lie.teeth | runs.around)[run], 1.0, share_fit)
    return share_fit, last


def sides_done_before(
    run: NDArray[np.intp], runs: Runs, lie: Lie, new: Floats, usual: float
) -> Flags:
    """Sides with little new ground, of laps with more, driven at the speed of the work: (m,) mask.

    A lap round the headland is one piece of work. Where it is driven last, bouts may leave next to
    nothing of one side; nobody lifts for that. Who keeps on over a side of the same lap has done.
    """
    own = by_run(run, new)
    side_m = runs.length_m * runs.around
    lap_m = np.bincount(runs.lap, side_m, len(own))
    share = np.bincount(runs.lap, side_m * own, len(own)) / np.maximum(lap_m, 1.0)
    steady = (runs.speed > SLOWER * usual) & (runs.speed < FASTER * usual)
    done = runs.around & steady & (own < LAP_NEW) & (share[runs.lap] > LAP_NEW)
    done |= _whole_laps_again(run, runs, share, usual)
    return np.asarray((done & ~lie.again)[run])


def _whole_laps_again(run: NDArray[np.intp], runs: Runs, new: Floats, usual: float) -> Flags:
    """Sides of whole laps over old ground, driven no faster than the work after an earlier lap that
    was work: who turned on a headland goes round it again at the end. (k,) mask. new: (k,) share of
    each lap, by its first run, that is on new ground."""
    lasts_s = np.bincount(run, minlength=len(new)) * runs.around
    way_m = np.bincount(runs.lap, lasts_s * runs.speed, len(new))
    pace = way_m / np.maximum(np.bincount(runs.lap, lasts_s, len(new)), 1)
    laps = np.unique(runs.lap[runs.around])
    old, work = laps[new[laps] <= LAP_NEW], laps[new[laps] > LAP_NEW]
    again = old[(old > work.min(initial=len(new))) & (pace[old] < (1 + STEADY / 2) * usual)]
    return np.asarray(runs.whole & np.isin(runs.lap, again))


def rings_done_before(ring: Flags, new: Floats, path: Path) -> Flags:
    """The same of laps round holes of the field, each of them one bend: (m,) mask. ring: (m,)
    seconds of such laps."""
    found = np.zeros(len(ring), dtype=bool)
    for a, b in true_runs(ring, path.piece):
        found[a + ENDS_S : max(b + 1 - ENDS_S, 0)] = new[a : b + 1].mean() > LAP_NEW
    return found


def apart(path: Path, run: NDArray[np.intp], share_fit: Floats, gates: Sequence[int]) -> Floats:
    """Which seconds belong to runs that only lead to or from the work: (m,) 0 or 1.

    A way across fits nowhere. Runs that do not fit are taken for ways where they lead on from
    the entry, to the exit, or to and from a stop, with no run that fits between.
    """
    found = _across(path, run, share_fit)
    for rows in _ways(path, run, share_fit, gates):
        found[rows] = True
    return found.astype(np.float64)


def _across(path: Path, run: NDArray[np.intp], fit: Floats) -> Flags:
    """Runs that fit less than half and go in a direction of their own: (m,) mask.

    From one end of the work to the other, say. Axial directions, compared with those of the
    runs that do fit.
    """
    first = firsts(run)
    doubled = 2 * path.heading
    mean = np.arctan2(run_mean(run, np.sin(doubled))[first], run_mean(run, np.cos(doubled))[first])
    length = np.bincount(run, weights=path.speed)
    fitting = np.where((fit[first] >= 0.5) & (np.arange(len(first)) > 0), length, 0.0)
    alike = np.abs((mean[:, None] - mean[None, :] + np.pi) % (2 * np.pi) - np.pi)
    like = ((alike < np.radians(20)) * fitting[None, :]).sum(axis=1)
    odd = (fit[first] < 0.45) & (like < 0.1 * max(float(fitting.sum()), 1.0)) & (length > 30.0)
    odd[0] = False
    return np.asarray(odd[run], dtype=bool)


def _ways(
    path: Path, run: NDArray[np.intp], fit: Floats, gates: Sequence[int]
) -> list[NDArray[np.intp]]:
    """Rows of the runs that lead on from the entry, the exit or a stop and do not fit."""
    numbers, first = np.unique(run, return_index=True)
    runs = [(int(n), int(f)) for n, f in zip(numbers, first, strict=True) if n > 0]
    runs.sort(key=lambda r: r[1])
    if not runs:
        return []
    stops = [(a + b) // 2 for a, b in _stops(path, gates)]
    loose = {n for n, f in runs if fit[f] < 0.45}
    order = [n for n, _ in runs]
    length = np.bincount(run)
    begin = np.array([f for _, f in runs])
    ways: set[int] = set()
    for stop in stops:
        at = int(np.searchsorted(begin, stop))
        for side in (order[at:], order[:at][::-1]):
            for n in side:
                if n not in loose and length[n] > 12:
                    break
                if n in loose:
                    ways.add(n)
    return [np.flatnonzero(run == n) for n in ways]


def _stops(path: Path, gates: Sequence[int]) -> list[tuple[int, int]]:
    """First and last row of the longer stops, and where the machine came in or went out."""
    stood = true_runs(path.speed < 0.1, path.piece)
    return [*((g, g) for g in gates), *((a, b) for a, b in stood if b - a >= 15)]
