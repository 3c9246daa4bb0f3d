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
    smart: bool = False  # writes every tenth interval, and each one while turning or braking
    steers: bool = False  # the machine is steered by this very receiver
    carried: bool = False  # the driver takes it along when getting off
    shaded: int = 0  # stands of trees that bend and drop the signal
    lost: int = 0  # times that the corrections fail for some minutes
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


def slow_error(rng: Generator, n: int, quality: str) -> Array:
    """(n, 2) metres by which a receiver of a quality errs for seconds and longer."""
    size = rng.uniform(0.8, 1.2)
    if quality == "rtk":
        return _drift(rng, n, 0.011 * size, 90, STEP_S)
    if quality == "sbas":
        return _drift(rng, n, 0.5 * size, 800, STEP_S) + _drift(rng, n, 0.14 * size, 60, STEP_S)
    return _drift(rng, n, 1.7 * size, 600, STEP_S) + _drift(rng, n, 1.1 * size, 45, STEP_S)


def observed(
    rng: Generator,
    motion: Motion,
    log: Logger,
    slow: Array,
    trees: list[tuple[Array, float]],
) -> Array:
    """(n, 2) positions in metres that the receiver has at each step of the motion."""
    n = len(motion.antenna)
    seen = slow + (_carried(rng, motion) if log.carried else motion.antenna)
    if log.quality == "rtk":
        seen += _drift(rng, n, 0.005, 2, STEP_S) + rng.normal(0, 0.004, (n, 2))
    elif log.quality == "sbas":
        seen += _drift(rng, n, 0.04, 4, STEP_S) + rng.normal(0, 0.02, (n, 2))
    else:
        seen = _lagged(seen + _drift(rng, n, 0.5, 5, STEP_S), rng.uniform(0.6, 1.6))
        seen = seen if log.carried else _held(seen, motion.speed_m_s)
    for _ in range(log.lost):
        a = int(rng.integers(0, n))
        b = min(n, a + int(rng.uniform(120, 700) / STEP_S))
        fade = np.clip(np.arange(b - a) * STEP_S / 60, 0, 1)[:, None]
        seen[a:b] += fade * (_drift(rng, b - a, 0.5, 400, STEP_S) + rng.normal(0, 0.05, (b - a, 2)))
    for centre, reach in trees:
        near = np.hypot(*(motion.antenna - centre).T) < reach
        seen[near] += _drift(rng, n, 1.1, 12, STEP_S)[near]
    return seen


def trees_about(rng: Generator, motion: Motion, count: int) -> list[tuple[Array, float]]:
    """Places (m) at the outer side of where the machine has been, and how far they reach."""
    middle = np.median(motion.antenna, axis=0)
    out = []
    for angle in rng.uniform(0, 2 * np.pi, count):
        way = np.array([math.cos(angle), math.sin(angle)])
        inside = motion.where >= 0
        far = float(np.max((motion.antenna[inside] - middle) @ way))
        out.append((middle + way * far, float(rng.uniform(15, 40))))
    return out


def _carried(rng: Generator, motion: Motion) -> Array:
    """Where a phone in a pocket is: it goes for a walk whenever the machine stands for long."""
    out = motion.antenna.copy()
    edge = np.flatnonzero(np.diff(np.concatenate([[0], motion.speed_m_s < 0.05, [0]])))
    for a, b in zip(edge[::2], edge[1::2], strict=True):
        if (b - a) * STEP_S > 60:
            t = np.linspace(0, 1, b - a)[:, None]
            reach = min(22.0, 0.35 * (b - a) * STEP_S)
            way = rng.normal(0, 0.5, (2, 2)) * reach
            out[a:b] += way[0] * np.sin(np.pi * t) + way[1] * np.sin(2 * np.pi * t)
    return out


def _held(seen: Array, speed: Array) -> Array:
    """A phone that thinks it stands holds its place, then snaps to where it has got to."""
    still = np.convolve(speed < 0.25, np.ones(15) / 15)[: len(speed)] > 0.99
    index = np.arange(len(seen))
    start = np.where(still, 0, index)
    return seen[np.maximum.accumulate(start)]


def kept(
    rng: Generator, motion: Motion, seen: Array, log: Logger, trees: list[tuple[Array, float]]
) -> NDArray[np.int64]:
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
    elif log.smart:
        keep = _smart(motion, every)
    else:
        keep = np.arange(int(rng.integers(0, every)), n, every)
    keep = np.asarray(keep[~motion.dark[keep]], np.int64)
    first, last_ = log.late_share * n, (1 - log.early_share) * n
    keep = keep[(keep >= first) & (keep <= last_)]
    for _ in range(log.outages):
        begin = rng.integers(0, n)
        keep = keep[(keep < begin) | (keep > begin + rng.uniform(6, 50) / STEP_S)]
    for centre, reach in trees:
        hidden = np.hypot(*(motion.antenna[keep] - centre).T) < reach
        keep = keep[~(hidden & (rng.random(len(keep)) < 0.5))]
    return np.asarray(keep, np.int64)


def _smart(motion: Motion, every: int) -> NDArray[np.int64]:
    """Steps that a telematics unit writes: seldom while nothing changes."""
    at = np.arange(0, len(motion.at_s), every)
    way = np.unwrap(motion.facing)[at].tolist()
    speed = motion.speed_m_s[at].tolist()
    out, last = [0], 0
    for k in range(1, len(at)):
        if k - last >= 10 or abs(way[k] - way[last]) > 0.17 or abs(speed[k] - speed[last]) > 0.8:
            out.append(k)
            last = k
    return np.asarray(at[out])


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
