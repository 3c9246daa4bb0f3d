"""What a receiver and a logger make of the true motion."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from benchmarks.second.driving import Motion
from benchmarks.second.steering import STEP_S, Array


@dataclass(frozen=True)
class Logger:
    """How positions are made and kept."""

    quality: str  # rtk, sbas, phone
    interval_s: float
    distance_m: float = 0.0  # writes a fix each time it has moved so far
    jitter_s: float = 0.0  # stamps are off by so much
    whole_seconds: bool = False  # stamps are cut to the second
    late_share: float = 0.0  # the logger is started so late ...
    early_share: float = 0.0  # ... and stopped so early
    outages: int = 0  # stretches under trees
    strays: int = 0  # single fixes far off
    repeats: float = 0.0  # share of fixes written twice
    frozen: int = 0  # times that the receiver repeats its last position for a while
    digits: int = 8  # decimals of a degree that are written
    minutes_digits: int = 0  # or decimals of a minute, as in NMEA


def _drift(rng: Generator, n: int, sigma: float, tau_s: float, step_s: float) -> Array:
    """(n, 2) of first-order noise in metres, made coarsely and filled in between."""
    every = max(1, int(tau_s / 12 / step_s))
    m = n // every + 2
    keep = math.exp(-every * step_s / tau_s)
    kick = rng.normal(0, sigma * math.sqrt(1 - keep * keep), (m, 2)).tolist()
    a, b = (rng.normal(0, sigma, 2)).tolist()
    out = []
    for ka, kb in kick:
        a, b = keep * a + ka, keep * b + kb
        out.append((a, b))
    coarse = np.array(out)
    at, grid = np.arange(n), np.arange(m) * every
    return np.column_stack([np.interp(at, grid, coarse[:, 0]), np.interp(at, grid, coarse[:, 1])])


def _lagged(path: Array, tau_s: float) -> Array:
    """A low-pass filter, as phones smooth positions."""
    keep = math.exp(-STEP_S / tau_s)
    (a, b), out = path[0].tolist(), []
    for x, y in path.tolist():
        a, b = keep * a + (1 - keep) * x, keep * b + (1 - keep) * y
        out.append((a, b))
    return np.array(out)


def observed(rng: Generator, motion: Motion, quality: str) -> Array:
    """(n, 2) positions in metres that the receiver has at each step of the motion."""
    true, n = motion.antenna, len(motion.antenna)
    size = rng.uniform(0.8, 1.2)
    if quality == "rtk":
        noise = _drift(rng, n, 0.011 * size, 90, STEP_S) + _drift(rng, n, 0.005, 2, STEP_S)
        return true + noise + rng.normal(0, 0.004, (n, 2))
    if quality == "sbas":
        slow = _drift(rng, n, 0.5 * size, 800, STEP_S) + _drift(rng, n, 0.14 * size, 60, STEP_S)
        return true + slow + _drift(rng, n, 0.04, 4, STEP_S) + rng.normal(0, 0.02, (n, 2))
    slow = _drift(rng, n, 1.7 * size, 600, STEP_S) + _drift(rng, n, 1.1 * size, 45, STEP_S)
    seen = _lagged(true + slow + _drift(rng, n, 0.5 * size, 5, STEP_S), rng.uniform(0.6, 1.6))
    return _held(seen, motion.speed_m_s)


def _held(seen: Array, speed: Array) -> Array:
    """A phone that thinks it stands holds its place, then snaps to where it has got to."""
    still = np.convolve(speed < 0.25, np.ones(15) / 15)[: len(speed)] > 0.99
    index = np.arange(len(seen))
    start = np.where(still, 0, index)
    return seen[np.maximum.accumulate(start)]


def kept(rng: Generator, motion: Motion, seen: Array, log: Logger) -> NDArray[np.int64]:
    """Which steps the logger writes down."""
    n = len(seen)
    every = max(1, round(log.interval_s / STEP_S))
    if log.distance_m:
        out, last = [0], seen[0]
        for k in range(every, n, every):
            if math.hypot(*(seen[k] - last)) >= log.distance_m:
                out.append(k)
                last = seen[k]
        keep = np.array(out)
    else:
        keep = np.arange(int(rng.integers(0, every)), n, every)
    keep = keep[~motion.dark[keep]]
    first, last_ = log.late_share * n, (1 - log.early_share) * n
    keep = keep[(keep >= first) & (keep <= last_)]
    for _ in range(log.outages):
        begin = rng.integers(0, n)
        keep = keep[(keep < begin) | (keep > begin + rng.uniform(6, 50) / STEP_S)]
    return keep


def spoilt(rng: Generator, points: Array, log: Logger) -> Array:
    """The positions that were kept, with the odd one far off or repeated."""
    points = points.copy()
    for k in rng.integers(1, len(points) - 1, log.strays):
        points[k] += rng.normal(0, 1, 2) * rng.choice([15.0, 80.0, 3000.0])
    for k in rng.integers(1, len(points) - 40, log.frozen):
        points[k : k + rng.integers(4, 15)] = points[k]
    return points


def stamps(rng: Generator, at_s: Array, log: Logger) -> Array:
    """Times that are written; never backwards."""
    out = at_s + (rng.normal(0, log.jitter_s, len(at_s)) if log.jitter_s else 0.0)
    if log.whole_seconds:
        out = np.floor(out)
    return np.maximum.accumulate(out)


def rounded(degrees: Array, log: Logger) -> Array:
    """Degrees with as many decimals as the file has."""
    if log.minutes_digits:
        return np.round(degrees * 60, log.minutes_digits) / 60
    return np.round(degrees, log.digits)
