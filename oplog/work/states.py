"""States: whether the implement was in the ground, second by second.

A two-state sequence model: evidence for and against work in each second is added up, changing
over costs something, and the most likely sequence is found (Viterbi). The evidence is geometry
that holds for any implement: ground not yet worked under the working line, the visit's own
working speed, straight running against turning, and direction of travel. As the first depends
on what was worked before, labels and evidence are worked out in turn until they agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats
from oplog.work.claims import first_claims, novelty, swath
from oplog.work.motion import Path

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Evidence:
    """Weights of the evidence, in nats (log-likelihood ratio of work against not)."""

    half_new: float = 0.35
    """Share of new ground under the working line at which the sign changes."""
    new_ground: float = 6.0
    reverse: float = 6.0
    turning: float = 2.0
    outside: float = 6.0
    lower: float = 3.0
    """Cost of starting work; lift: of stopping."""
    lift: float = 3.0


def label(
    path: Path, x: Floats, y: Floats, width_m: float, ground: Any | None, weights: Evidence
) -> Flags:
    """Working or not, for each second of the path: (m,) mask.

    x, y: (m,) centre of the working line. [m] ground: the field in the plane, None for no field.
    """
    lay = swath(x, y, path.heading, path.piece, width_m)
    inside = _within(ground, x, y, max(2.0, 0.4 * width_m))
    change = heading_change(path.heading)
    fixed = _standing_evidence(path, change, inside, weights)
    work = (
        (path.speed > 0.3) & ~path.reverse & (change < np.radians(25)) & inside & (path.speed < 8)
    )
    for _ in range(6):
        usual = working_speed(path.speed, work)
        new = novelty(lay, first_claims(lay, work))
        score = (
            fixed
            + _speed_evidence(path.speed, usual)
            + weights.new_ground * (new - weights.half_new)
        )
        again = decode(np.clip(score, -6.0, 4.0), weights.lower, weights.lift)
        if bool((again == work).all()):
            break
        work = again
    return np.asarray(work, dtype=bool)


def working_speed(speed: Floats, work: Flags) -> float:
    """The visit's own working speed: median over the time working. [m/s]"""
    return float(np.median(speed[work])) if work.any() else 2.0


def heading_change(heading: Floats, reach: int = 3) -> Floats:
    """How far the heading turns within `reach` seconds either side: (m,) [rad]"""
    rows = np.arange(len(heading))
    after = heading[np.clip(rows + reach, 0, len(heading) - 1)]
    before = heading[np.clip(rows - reach, 0, len(heading) - 1)]
    return np.asarray(np.abs(after - before))


def decode(score: Floats, lower: float, lift: float) -> Flags:
    """Most likely sequence of two states given the evidence for "working": (m,) mask."""
    n = len(score)
    came_from_work = np.zeros((n, 2), dtype=bool)
    off, on = 0.0, 0.0
    for i, s in enumerate(score.tolist()):
        to_off = on - lift > off
        to_on = not off - lower > on
        off, on = (on - lift if to_off else off), (on if to_on else off - lower) + s
        came_from_work[i, 0], came_from_work[i, 1] = to_off, to_on
    work = np.zeros(n, dtype=bool)
    state = on > off
    for i in range(n - 1, -1, -1):
        work[i] = state
        state = bool(came_from_work[i, int(state)])
    return work


def _speed_evidence(speed: Floats, usual: float) -> Floats:
    r = np.log(np.maximum(speed, 0.05) / usual)
    slower = 0.5 * np.minimum((r / 0.6) ** 2, 6.0)
    faster = 0.5 * np.minimum((r / 0.25) ** 2, 8.0)
    return np.asarray(0.5 - np.where(r < 0, slower, faster))


def _standing_evidence(path: Path, change: Floats, inside: Flags, weights: Evidence) -> Floats:
    bend = np.clip((change - np.radians(25)) / np.radians(40), 0.0, 1.5)
    return np.asarray(
        -weights.reverse * path.reverse - weights.turning * bend - weights.outside * ~inside
    )


def _within(ground: Any | None, x: Floats, y: Floats, by_m: float) -> Flags:
    from shapely import contains_xy, prepare

    if ground is None:
        return np.ones(len(x), dtype=bool)
    wider = ground.buffer(by_m)
    prepare(wider)
    return np.asarray(contains_xy(wider, x, y), dtype=bool)
