"""How a vehicle gets along: shortest turns at a least radius, and a driver who pursues a line.

Poses are (x_m, y_m, heading_rad anticlockwise from east) of the axle that does not steer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Pose = tuple[float, float, float]
Array = NDArray[np.float64]

STEP_S = 0.2
"""Time between the steps of the true path."""
SPACING_M = 0.4
"""Distance between the points of a line that is pursued."""
TAU = 2.0 * math.pi


@dataclass(frozen=True)
class Vehicle:
    """What limits a vehicle and its driver."""

    radius_m: float  # least turning radius
    lock_s: float  # from straight ahead to full lock
    accelerate_m_s2: float
    brake_m_s2: float
    aside_m_s2: float  # sideways acceleration that the driver puts up with
    look_m: float  # the driver looks so far ahead, and ...
    look_s: float  # ... so much further with speed


@dataclass(frozen=True, eq=False)
class Trace:
    """True motion in steps of `STEP_S`: pose, speed, and distance along the pursued line."""

    x: Array
    y: Array
    heading: Array
    speed: Array
    along: Array


def _words(a: float, b: float, d: float) -> list[tuple[str, float, float, float]]:
    """The six ways of two arcs with a straight or an arc between; lengths in radii."""
    sa, sb, ca, cb, cab = math.sin(a), math.sin(b), math.cos(a), math.cos(b), math.cos(a - b)
    out = []
    p = 2 + d * d - 2 * cab + 2 * d * (sa - sb)
    if p >= 0:
        t = math.atan2(cb - ca, d + sa - sb)
        out.append(("LSL", (t - a) % TAU, math.sqrt(p), (b - t) % TAU))
    p = 2 + d * d - 2 * cab + 2 * d * (sb - sa)
    if p >= 0:
        t = math.atan2(ca - cb, d - sa + sb)
        out.append(("RSR", (a - t) % TAU, math.sqrt(p), (t - b) % TAU))
    p = -2 + d * d + 2 * cab + 2 * d * (sa + sb)
    if p >= 0:
        m = math.sqrt(p)
        t = math.atan2(-ca - cb, d + sa + sb) - math.atan2(-2.0, m)
        out.append(("LSR", (t - a) % TAU, m, (t - b) % TAU))
    p = -2 + d * d + 2 * cab - 2 * d * (sa + sb)
    if p >= 0:
        m = math.sqrt(p)
        t = math.atan2(ca + cb, d - sa - sb) - math.atan2(2.0, m)
        out.append(("RSL", (a - t) % TAU, m, (b - t) % TAU))
    p = (6 - d * d + 2 * cab + 2 * d * (sa - sb)) / 8
    if abs(p) <= 1:
        m = (TAU - math.acos(p)) % TAU
        t = (a - math.atan2(ca - cb, d - sa + sb) + m / 2) % TAU
        out.append(("RLR", t, m, (a - b - t + m) % TAU))
    p = (6 - d * d + 2 * cab + 2 * d * (sb - sa)) / 8
    if abs(p) <= 1:
        m = (TAU - math.acos(p)) % TAU
        t = (-a + math.atan2(-ca + cb, d + sa - sb) + m / 2) % TAU
        out.append(("LRL", t, m, (b - a - t + m) % TAU))
    return out


def shortest_turn(start: Pose, end: Pose, radius_m: float) -> Array:
    """Points (n, 2) of the shortest way forwards from pose to pose, `SPACING_M` apart."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    turn = math.atan2(dy, dx)
    a, b = (start[2] - turn) % TAU, (end[2] - turn) % TAU
    options = _words(a, b, math.hypot(dx, dy) / radius_m)
    word, *lengths = min(options, key=lambda w: w[1] + w[2] + w[3])
    # Rounding leaves whole circles where there is nothing to turn.
    parts = [0.0 if k != "S" and TAU - v < 1e-6 else v for k, v in zip(word, lengths, strict=True)]
    pose, pieces = start, [np.array([[start[0], start[1]]])]
    for kind, length in zip(word, parts, strict=True):
        if length > 1e-9:
            points, pose = arc(pose, radius_m * length, {"L": 1, "R": -1, "S": 0}[kind] / radius_m)
            pieces.append(points[1:])
    return np.concatenate(pieces)


def arc(pose: Pose, length_m: float, bend: float, gear: int = 1) -> tuple[Array, Pose]:
    """Points of an arc of curvature `bend` (1/m, left positive in the driver's sight), its end."""
    n = max(2, math.ceil(length_m / SPACING_M) + 1)
    s = np.linspace(0.0, length_m * gear, n)
    x, y, h = pose
    if abs(bend) < 1e-12:
        points = np.column_stack([x + s * math.cos(h), y + s * math.sin(h)])
    else:
        u = h + bend * s
        points = np.column_stack(
            [x + (np.sin(u) - math.sin(h)) / bend, y - (np.cos(u) - math.cos(h)) / bend]
        )
    end = h + bend * length_m * gear
    return points, (float(points[-1, 0]), float(points[-1, 1]), end)


def evenly(points: Array, spacing_m: float = SPACING_M) -> tuple[Array, float]:
    """The line through points in equal steps, and its length (m)."""
    step = np.hypot(*np.diff(points, axis=0).T)
    keep = np.concatenate([[True], step > 1e-9])
    points, s = points[keep], np.concatenate([[0.0], np.cumsum(step[step > 1e-9])])
    if len(points) < 2:
        return points, 0.0
    at = np.linspace(0.0, s[-1], max(2, round(s[-1] / spacing_m) + 1))
    return np.column_stack([np.interp(at, s, points[:, 0]), np.interp(at, s, points[:, 1])]), s[-1]


def speed_limits(points: Array, wanted: Array, vehicle: Vehicle, end_m_s: float) -> Array:
    """Speed at each point: as wanted, slower in bends, and braking in time for what comes."""
    h = np.unwrap(np.arctan2(np.gradient(points[:, 1]), np.gradient(points[:, 0])))
    step = np.hypot(*np.diff(points, axis=0).T)
    s = np.concatenate([[0.0], np.cumsum(step)])
    bend = np.abs(np.gradient(h)) / max(s[-1] / max(len(s) - 1, 1), 1e-6)
    width = max(1, min(7, len(bend)))
    bend = np.convolve(bend, np.ones(width) / width, "same")
    v2 = np.minimum(wanted**2, vehicle.aside_m_s2 / np.maximum(bend, 1e-6))
    v2[-1] = min(v2[-1], end_m_s**2)
    ramp = v2 + 2 * vehicle.brake_m_s2 * s
    return np.sqrt(np.minimum.accumulate(ramp[::-1])[::-1] - 2 * vehicle.brake_m_s2 * s)


def pursue(
    pose: Pose, points: Array, wanted: Array, gear: int, vehicle: Vehicle, pace: Array
) -> Trace:
    """Drive along evenly spaced points (n, 2) to their end and stop there.

    `wanted` is the speed at each point; `pace` a slow factor on it, one per second, repeated.
    ValueError for a line that cannot be followed to its end.
    """
    limit = speed_limits(points, wanted, vehicle, 0.3).tolist()
    gap = float(np.hypot(*(points[1] - points[0])))
    tail = points[-1] + np.outer(np.arange(1, 60), points[-1] - points[-2])
    far = np.concatenate([points, tail])
    tangent = np.diff(far, axis=0) / gap
    px, py, tx, ty = far[:, 0].tolist(), far[:, 1].tolist(), *(c.tolist() for c in tangent.T)
    last, beyond = len(points) - 1, len(far) - 1
    (x, y, h), v, bend, i = pose, 0.0, 0.0, 0
    most, swing = 1.0 / vehicle.radius_m, STEP_S / (vehicle.radius_m * vehicle.lock_s)
    up, down = vehicle.accelerate_m_s2 * STEP_S, 1.6 * vehicle.brake_m_s2 * STEP_S
    factor = pace.tolist()
    out: list[tuple[float, float, float, float, float]] = []
    cos, sin = math.cos, math.sin
    for k in range(20 * len(points) + 400):
        ahead = 0
        while i < last and ahead < 12:
            past = (x - px[i + 1]) * tx[i] + (y - py[i + 1]) * ty[i]
            if past < 0:
                break
            i, ahead = i + 1, ahead + 1
        share = min(max(1.0 + ((x - px[i + 1]) * tx[i] + (y - py[i + 1]) * ty[i]) / gap, 0), 1)
        out.append((x, y, h, v, (i + (share if i < last else 0.0)) * gap))
        if i >= last:
            break
        goal = limit[i] * factor[(k // 5) % len(factor)]
        v = min(goal, v + up) if goal > v else max(goal, v - down)
        v = max(v, 0.15)
        j = min(i + 1 + int((vehicle.look_m + vehicle.look_s * v) / gap), beyond)
        dx, dy = px[j] - x, py[j] - y
        aside = gear * (cos(h) * dy - sin(h) * dx)
        if gear * (cos(h) * dx + sin(h) * dy) > 0:
            aim = min(max(2 * aside / max(dx * dx + dy * dy, 1.0), -most), most)
        else:
            aim = math.copysign(most, aside)
        bend = min(max(aim, bend - swing), bend + swing)
        h += v * bend * STEP_S
        x, y = x + gear * v * STEP_S * cos(h), y + gear * v * STEP_S * sin(h)
    if i < last:
        raise ValueError(f"line was lost {gap * i:.0f} m along it, {gap * (last - i):.0f} m to go")
    return Trace(*np.array(out).T)


def drawn(x: Array, y: Array, start_heading: float, tongue_m: float, heading: Array) -> Array:
    """Heading of a trailed implement whose hitch goes along (x, y): it is drawn, it never slips."""
    phi, most = start_heading, math.radians(80)
    out = [phi]
    dx, dy, hs = np.diff(x).tolist(), np.diff(y).tolist(), heading[1:].tolist()
    for ax, ay, h in zip(dx, dy, hs, strict=True):
        phi += (math.cos(phi) * ay - math.sin(phi) * ax) / tongue_m
        off = (phi - h + math.pi) % TAU - math.pi
        if abs(off) > most:
            phi = h + math.copysign(most, off)
        out.append(phi)
    return np.array(out)
