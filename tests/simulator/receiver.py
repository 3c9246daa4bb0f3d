"""What the receiver makes of the true motion: fixes with noise, gaps and faults."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rng = np.random.Generator

NOISE: dict[str, tuple[float, list[tuple[float, float]], float]] = {
    "rtk": (0.006, [(0.012, 150.0)], 0.02),
    "sbas": (0.04, [(0.12, 40.0), (0.28, 700.0)], 0.04),
    "phone": (0.45, [(0.8, 20.0), (1.9, 240.0)], 0.12),
    "none": (0.0, [], 0.0),
}
"""Per axis: white noise, correlated parts (standard deviation [m], time constant [s]), and the
noise of the receiver's own speed [m/s]. In the plane: 2 cm, 0.43 m and 3.0 m."""


@dataclass(frozen=True)
class Receiver:
    """How a device records.

    interval_s: between fixes. distance_m: a fix only after moving so far (None: by time).
    jitter_s: half range by which a fix's true instant strays from its stamp.
    drops: share of fixes lost in bursts; outliers: chance of one wild fix per fix;
    jumps: number of shifts of some metres over some seconds; repeats: share of doubled fixes.
    """

    quality: str = "rtk"
    interval_s: float = 1.0
    distance_m: float | None = None
    jitter_s: float = 0.0
    drops: float = 0.0
    outliers: float = 0.0
    jumps: int = 0
    repeats: float = 0.0
    speed: bool = False
    whole_seconds: bool = False


def wander(rng: Rng, t: Floats, quality: str) -> Floats:
    """Receiver error at times t [s], ascending: (n, 2) metres."""
    white, parts, _ = NOISE[quality]
    out = rng.normal(0, white, (len(t), 2)) if white else np.zeros((len(t), 2))
    if len(t) == 0:
        return out
    for sd, tau in parts:
        step = min(1.0, tau / 10)
        grid = np.arange(t[0], t[-1] + 2 * step, step)
        a = float(np.exp(-step / tau))
        kicks = rng.normal(0, sd * np.sqrt(1 - a * a), (len(grid), 2))
        kicks[0] = rng.normal(0, sd, 2)
        walks = [_decaying(axis, a) for axis in kicks.T.tolist()]
        out += np.column_stack([np.interp(t, grid, walk) for walk in walks])
    return out


def _decaying(kicks: list[float], a: float) -> list[float]:
    """The sum of all kicks, of which each step leaves the share a."""
    return list(accumulate(kicks, lambda before, kick: a * before + kick))


def instants(rng: Rng, r: Receiver, t: Floats, x: Floats, y: Floats) -> Floats:
    """True instants at which the device takes a fix. [s]"""
    phase = 0.0 if r.whole_seconds else float(rng.uniform(0, r.interval_s))
    at = np.arange(t[0] + phase, t[-1], r.interval_s)
    if r.distance_m is not None:
        s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
        step = np.floor(np.interp(at, t, s) / r.distance_m)
        at = at[np.concatenate([[True], np.diff(step) > 0])]
    return at


def faults(
    rng: Rng, r: Receiver, stamp: Floats, xy: Floats, true: Floats
) -> tuple[Floats, Floats, Floats]:
    """Lost, wild, shifted and doubled fixes: stamps, places and true instants that remain."""
    n = len(stamp)
    xy = xy.copy()
    for _ in range(r.jumps):
        i = int(rng.integers(n // 10, max(n // 10 + 1, n - 10)))
        size = int(rng.integers(2, 12))
        angle = rng.uniform(0, 2 * np.pi)
        xy[i : i + size] += rng.uniform(8, 40) * np.array([np.cos(angle), np.sin(angle)])
    if r.outliers:
        wild = np.flatnonzero(rng.uniform(size=n) < r.outliers)
        angle = rng.uniform(0, 2 * np.pi, len(wild))
        far = 10 ** rng.uniform(1.7, 3.7, len(wild))
        xy[wild] += far[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    keep = np.ones(n, dtype=bool)
    if r.drops:
        lost = 0
        while lost < r.drops * n:
            size = int(min(1 + rng.exponential(4), 30))
            i = int(rng.integers(0, n))
            keep[i : i + size] = False
            lost += size
        keep[0] = True
    order = np.flatnonzero(keep)
    if r.repeats:
        order = np.sort(np.concatenate([order, order[rng.uniform(size=len(order)) < r.repeats]]))
    return stamp[order], xy[order], true[order]
