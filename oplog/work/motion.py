"""Motion: an even, smoothed path once a second, with speed, heading and forward or reverse.

All later steps work on this path. Times that jitter by a whole second, noise that bends the
heading, and sampling from ten fixes a second to one in twenty seconds are dealt with here, so
that one set of rules serves every receiver.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats, median
from oplog.work.clean import Cleaned, Noise, drift_m
from oplog.work.gaps import bridged

OFTEN_S, STRAIGHT_S, BACK = 2.0, 4, np.radians(150)
"""Up to what interval a turn on the spot is seen, how many seconds before and after a flip tell
whether it leads straight back, and by how much the course changes then."""
SHUTTLES, SHUTTLE_M, SLOWER = 8, (25.0, 150.0), 0.85
"""So often in a row the way leads straight back, after runs of such lengths, where a bank is worked
up and down; backed up are those that are slower by so much."""


SHAKES_M, PACE_S, ABOUT_S, PACE_M_S = 0.2, 10, 30, 2.0
"""Where positions tremble by more, a machine slower than the last is smoothed more; so long before
and after tells its pace, and the fastest within ABOUT_S counts. [s, m/s]"""


@dataclass(frozen=True, eq=False)
class Path:
    """One machine's way, once a second, without holes within a piece.

    seconds: (m,) since the first fix of the track. [s]
    x, y: (m,) antenna. [m]
    speed: (m,) [m/s]; heading: (m,) direction in which the machine faces, anticlockwise from
    east, unwrapped within a piece. [rad]
    turn_rate: (m,) change of heading. [rad/s]
    reverse: (m,) going backwards.
    piece: (m,) number of the unbroken piece. noise_m: of the smoothed positions;
    drift_m: how far they wander over minutes. [m]
    interval_s: median interval of the fixes. [s]
    steady: whether positions keep to centimetres over hours.
    """

    seconds: Floats
    x: Floats
    y: Floats
    speed: Floats
    heading: Floats
    turn_rate: Floats
    reverse: NDArray[np.bool_]
    piece: NDArray[np.int32]
    noise_m: float
    drift_m: float
    interval_s: float
    steady: bool = True

    def __len__(self) -> int:
        return len(self.seconds)


def part_of(way: Path, chosen: NDArray[np.bool_]) -> Path:
    """The seconds of a path that a mask selects."""
    columns = ("seconds", "x", "y", "speed", "heading", "turn_rate", "reverse", "piece")
    return replace(way, **{name: getattr(way, name)[chosen] for name in columns})


def joined(parts: list[Path]) -> Path:
    """Several stretches of one machine's path as one; nothing is bridged between them."""
    columns = ("seconds", "x", "y", "speed", "heading", "turn_rate", "reverse")
    together: dict[str, Any] = {c: np.concatenate([getattr(p, c) for p in parts]) for c in columns}
    offset, pieces = 0, []
    for part in parts:
        pieces.append(part.piece - part.piece.min(initial=0) + offset)
        offset = int(pieces[-1].max(initial=offset)) + 1
    return replace(parts[0], **together, piece=np.concatenate(pieces).astype(np.int32))


def path(cleaned: Cleaned, noise: Noise) -> Path:
    """Put the fixes on an even grid of a second and smooth them as far as the noise asks."""
    intervals = np.diff(cleaned.seconds)
    interval_s = median(intervals) if len(intervals) else 1.0
    cleaned, cuts = bridged(cleaned, interval_s)
    pieces = [
        _piece(cleaned, part, k, noise, interval_s)
        for k, part in enumerate(np.split(np.arange(len(cleaned)), cuts))
        if len(part) >= 2
    ]
    columns = ("seconds", "x", "y", "speed", "heading", "turn_rate", "reverse", "piece")
    joined: dict[str, Any] = {
        name: np.concatenate([getattr(p, name) for p in pieces]) if pieces else np.zeros(0)
        for name in columns
    }
    return Path(
        **joined, noise_m=noise.across_m, drift_m=drift_m(noise.across_m), interval_s=interval_s,
        steady=noise.steady,
    )  # fmt: skip


def _piece(
    cleaned: Cleaned, part: NDArray[np.intp], number: int, noise: Noise, interval_s: float
) -> Path:
    t = even_stamps(cleaned.seconds[part], cleaned.x[part], cleaned.y[part])
    first, last = np.ceil(t[0]), np.floor(t[-1])
    grid = np.arange(first, last + 0.5) if last > first else np.array([t[0], t[-1]])
    x, y = _onto(grid, t, (cleaned.x[part], cleaned.y[part]))
    width = smoothing_s(noise.across_m, interval_s)
    if noise.along_m > max(0.15, 3 * noise.across_m):
        x, y = _evened(x, y, width)
    elif noise.across_m > SHAKES_M:
        x, y = _smoothed_by_pace(x, y, width)
    else:
        x, y = _smooth(x, width), _smooth(y, width)
    speed, course, moved = _velocity(x, y, noise.across_m)
    reverse = _reversing(course, speed, moved, interval_s <= OFTEN_S)
    heading = _unwrapped(np.where(reverse, course + np.pi, course))
    turn_rate = np.gradient(_smooth(heading, 1.0)) if len(heading) > 2 else np.zeros(len(heading))
    return Path(
        seconds=grid, x=x, y=y, speed=speed, heading=heading, turn_rate=turn_rate,
        reverse=reverse, piece=np.full(len(grid), number, dtype=np.int32),
        noise_m=noise.across_m, drift_m=drift_m(noise.across_m), interval_s=interval_s,
        steady=noise.steady,
    )  # fmt: skip


def even_stamps(seconds: Floats, x: Floats, y: Floats) -> Floats:
    """Undo stamps that were rounded to whole seconds while the logger ran unevenly. [s]

    A logger that writes about every 1.3 s with stamps cut to seconds gives speeds that double
    and halve. Where a running mean of the stamps over the fixes makes the speed steadier by a
    third, and no stamp moves by more than it can have been rounded, the mean is taken.
    """
    if len(seconds) < 12 or not np.allclose(seconds, np.rint(seconds), atol=1e-3):
        return seconds
    dt = np.diff(seconds)
    if np.ptp(dt) < 0.5:
        return seconds
    smooth = seconds + np.clip(_smooth(seconds, 2.0) - seconds, -1.0, 1.0)
    # Held back by the one before, two may come to one moment, and no speed leads from it to itself.
    smooth = np.maximum.accumulate(smooth) + np.arange(len(smooth)) * 1e-6
    step = np.hypot(np.diff(x), np.diff(y))
    moving = step > 0.5
    if moving.sum() < 10:
        return seconds
    rough = median(np.abs(np.diff(step / dt))[moving[1:]])
    even = median(np.abs(np.diff(step / np.maximum(np.diff(smooth), 0.05)))[moving[1:]])
    return smooth if even < 0.67 * rough else seconds


def smoothing_s(noise_m: float, interval_s: float) -> float:
    """Half-width of the smoothing, from the noise: none for RTK, about 4 s for a phone. [s]

    A machine changes course with about 0.5 m/s2 at the headland: noise s sampled every T is
    balanced against the bend that a window of h seconds cuts off (0.5 * a * h^2 / 6).
    """
    return float(np.clip(1.6 * (noise_m * np.sqrt(max(interval_s, 1.0))) ** 0.4, 0.7, 5.0))


def _smoothed_by_pace(x: Floats, y: Floats, width: float) -> tuple[Floats, Floats]:
    """Smooth a path, the more the slower the machine is: it bends no more sharply for that, so
    that a window of as many metres cuts off as much."""
    row, last = np.arange(len(x)), len(x) - 1
    a, b = np.maximum(row - PACE_S, 0), np.minimum(row + PACE_S, last)
    pace = np.hypot(x[b] - x[a], y[b] - y[a]) / np.maximum(b - a, 1)
    # A turn is as short for being slow: what counts is the pace of the bouts before it or after.
    pace = np.max([pace[np.clip(row + by, 0, last)] for by in range(-ABOUT_S, ABOUT_S + 1)], axis=0)
    share = np.clip((PACE_M_S / np.maximum(pace, 0.1)) ** 0.8 - 1, 0.0, 1.0)
    total = np.concatenate([[0.0], np.cumsum(share)])
    share = (total[b + 1] - total[a]) / (b - a + 1)
    plain = _smooth(x, width), _smooth(y, width)
    wide = _smooth(x, 2 * width), _smooth(y, 2 * width)
    return plain[0] + share * (wide[0] - plain[0]), plain[1] + share * (wide[1] - plain[1])


def _onto(grid: Floats, t: Floats, columns: Sequence[Floats]) -> list[Floats]:
    """Values at even times: means of the fixes around where there are many, curves where few."""
    if len(t) > 1.5 * len(grid) and len(grid) > 2:
        bins = np.clip(np.rint(t - grid[0]).astype(np.intp), 0, len(grid) - 1)
        count = np.bincount(bins, minlength=len(grid))
        when, *means = (
            np.bincount(bins, weights=values, minlength=len(grid)) / np.maximum(count, 1)
            for values in (t, *columns)
        )
        have = count > 0
        return [np.interp(grid, when[have], mean[have]) for mean in means]
    return _curves(grid, t, columns)


def _curves(grid: Floats, t: Floats, columns: Sequence[Floats]) -> list[Floats]:
    """Cubics through the fixes with slopes by finite differences (Catmull-Rom, uneven times)."""
    if len(t) < 3:
        return [np.interp(grid, t, values) for values in columns]
    h = np.diff(t)
    k = np.clip(np.searchsorted(t, grid, side="right") - 1, 0, len(t) - 2)
    u = (grid - t[k]) / h[k]
    # Over an interval much longer than the rest nothing is known of the way: a straight line.
    straight = h[k] > max(20.0, 3 * median(h))
    found = []
    for values in columns:
        secant = np.diff(values) / h
        slope = np.empty_like(values)
        slope[1:-1] = (secant[:-1] * h[1:] + secant[1:] * h[:-1]) / (h[1:] + h[:-1])
        slope[0], slope[-1] = secant[0], secant[-1]
        a, b = values[k], values[k + 1]
        curve = (
            a * (1 + 2 * u) * (1 - u) ** 2
            + slope[k] * h[k] * u * (1 - u) ** 2
            + b * u**2 * (3 - 2 * u)
            + slope[k + 1] * h[k] * u**2 * (u - 1)
        )
        found.append(np.where(straight, a + u * (b - a), curve))
    return found


def _smooth(values: Floats, sigma: float) -> Floats:
    """Local quadratic fit with Gaussian weights: keeps bends, unlike a moving mean."""
    n = len(values)
    reach = int(np.ceil(3 * sigma))
    if n < 5 or reach < 1:
        return values
    reach = min(reach, n - 1)
    u = np.arange(-reach, reach + 1, dtype=np.float64)
    g = np.exp(-0.5 * (u / sigma) ** 2)
    m0, m2, m4 = g.sum(), (g * u**2).sum(), (g * u**4).sum()
    kernel = g * (m4 - m2 * u**2) / (m0 * m4 - m2**2)
    before = 2 * values[0] - values[reach:0:-1]
    after = 2 * values[-1] - values[-2 : -reach - 2 : -1]
    return np.convolve(np.concatenate([before, values, after]), kernel, mode="valid")


def _evened(x: Floats, y: Floats, width: float) -> tuple[Floats, Floats]:
    """Smooth a path whose stamps jitter: hard along the way, as little as the noise asks across.

    Stamps that stray put each fix too far on or too far back, which lengthens the way and makes
    the speed double and halve, but does not move it sideways.
    """
    wide_x, wide_y = _smooth(x, 3.0), _smooth(y, 3.0)
    course = np.arctan2(np.gradient(wide_y), np.gradient(wide_x))
    nx, ny = -np.sin(course), np.cos(course)
    side = _smooth((x - wide_x) * nx + (y - wide_y) * ny, width)
    return wide_x + side * nx, wide_y + side * ny


def _velocity(x: Floats, y: Floats, noise_m: float) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Speed [m/s], course [rad] and whether the course means anything, per grid point."""
    vx, vy = np.gradient(x), np.gradient(y)
    speed = np.hypot(vx, vy)
    moved = speed > max(0.15, 0.5 * noise_m / 3.0)
    course = np.arctan2(vy, vx)
    if not moved.any():
        return speed, np.zeros_like(speed), moved
    return speed, course[_last(moved)], moved


def _last(flags: NDArray[np.bool_]) -> NDArray[np.intp]:
    """For each row the last up to it at which a flag is set, or the first of all: (m,)."""
    return np.maximum.accumulate(np.where(flags, np.arange(len(flags)), int(flags.argmax())))


def _reversing(
    course: Floats, speed: Floats, moved: NDArray[np.bool_], often: bool
) -> NDArray[np.bool_]:
    """Which grid points are driven backwards. often: fixes are so frequent that a turn on the spot
    is told from a change of gear.

    A machine that goes back on itself within a few seconds has changed gear: its course flips
    by far more than it can steer. The runs between flips alternate between forward and reverse;
    long runs are forward (two-state dynamic programming over the runs).
    """
    known = np.flatnonzero(moved)
    reverse = np.zeros(len(course), dtype=bool)
    if len(known) < 4:
        return reverse
    turn = np.abs(_wrapped(np.diff(course[known])))
    span = np.diff(known)
    flip = _cusps(course[known], speed[known], turn, span)
    if not flip.any():
        return reverse
    run = np.concatenate([[0], np.cumsum(flip)])
    length = np.asarray(np.bincount(run, weights=speed[known]), dtype=np.float64)
    away = np.flatnonzero(flip)
    before, after = (np.clip(away + by, 0, len(known) - 1) for by in (-STRAIGHT_S, STRAIGHT_S + 1))
    back = np.abs(_wrapped(course[known][after] - course[known][before])) > BACK
    backward = _alternate(length)
    if often:
        backward = _shuttled(backward, length, length / np.bincount(run), back)
    reverse[known] = backward[run]
    return reverse[_last(moved)]


def _cusps(
    course: Floats, speed: Floats, turn: Floats, span: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Where the course flips: (k-1,) mask over steps between known courses.

    A flip may be spread over up to three steps by smoothing; the step that turns most is taken.
    It is looked for where the machine goes slowly and turns at all, which is seldom.
    """
    n = len(course)
    slow = np.minimum(speed[:-1], speed[1:]) < 1.2
    asked = np.flatnonzero(slow & ((turn > np.radians(50)) | (span > 1)))
    wide = np.zeros(len(asked))
    for reach in (1, 2, 3):
        a = np.maximum(asked - (reach - 1) // 2, 0)
        b = np.minimum(asked + 1 + reach // 2, n - 1)
        wide = np.maximum(wide, np.abs(_wrapped(course[b] - course[a])))
    index = asked[wide > np.radians(115)]
    flip = np.zeros(n - 1, dtype=bool)
    k = 0
    while k < len(index):
        group = [index[k]]
        while k + 1 < len(index) and index[k + 1] - group[-1] <= 3:
            k += 1
            group.append(index[k])
        flip[max(group, key=lambda i: turn[i])] = True
        k += 1
    return flip


def _alternate(length_m: Floats) -> NDArray[np.bool_]:
    """Forward or reverse for runs between flips: long runs forward, neighbours differ."""
    same = 6.0
    cost = np.zeros((len(length_m), 2))
    cost[:, 1] = np.minimum(length_m, 60.0) * 0.3
    cost[:, 0] = 0.5
    back = np.zeros((len(length_m), 2), dtype=int)
    total = cost[0].copy()
    for k in range(1, len(length_m)):
        step = np.array([[total[0] + same, total[1]], [total[0], total[1] + same]])
        back[k] = step.argmin(axis=1)
        total = step.min(axis=1) + cost[k]
    state = int(total.argmin())
    result = np.zeros(len(length_m), dtype=bool)
    for k in range(len(length_m) - 1, -1, -1):
        result[k] = state == 1
        state = back[k][state]
    return result


def _shuttled(
    backward: NDArray[np.bool_], length_m: Floats, speed_m_s: Floats, back: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Forward or reverse, runs up and down a bank told by their speed: all are as long, but nobody
    backs up as fast as he works. back: (k-1,) flips that lead straight back, as no turn does."""
    told = backward.copy()
    fits = (length_m > SHUTTLE_M[0]) & (length_m < SHUTTLE_M[1])
    joined = np.concatenate([[False], back & fits[1:] & fits[:-1], [False]])
    for first, last in np.flatnonzero(np.diff(joined)).reshape(-1, 2).tolist():
        speeds = [np.median(speed_m_s[first + side : last + 1 : 2]) for side in (0, 1)]
        if last - first < SHUTTLES or min(speeds) > SLOWER * max(speeds):
            continue
        slower = int(np.argmin(speeds))
        told[first : last + 1] = np.arange(last + 1 - first) % 2 == slower
    return told


def _unwrapped(heading: Floats) -> Floats:
    return np.asarray(np.unwrap(heading))


def _wrapped(angle: Floats) -> Floats:
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)
