"""Curves a vehicle can drive: shortest turns of limited radius, rounded polylines."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEP_M = 0.25
"""Spacing of the nodes of a path. [m]"""


class Pose(NamedTuple):
    """Where the axle is and which way it looks. [m, m, rad]"""

    x: float
    y: float
    heading: float

    def moved(self, ahead: float, left: float = 0.0) -> Pose:
        c, s = math.cos(self.heading), math.sin(self.heading)
        return Pose(self.x + ahead * c - left * s, self.y + ahead * s + left * c, self.heading)

    def turned(self, angle: float) -> Pose:
        return Pose(self.x, self.y, self.heading + angle)


def _mod(angle: float) -> float:
    """Into [0, 2 pi); what is a whole turn but for rounding is no turn."""
    angle %= 2 * math.pi
    return 0.0 if angle > 2 * math.pi - 1e-9 else angle


def _words(a: float, b: float, d: float) -> list[tuple[str, float, float, float]]:
    """All words of Dubins (1957) between headings a and b at distance d, radius 1."""
    sa, sb, ca, cb, cab = math.sin(a), math.sin(b), math.cos(a), math.cos(b), math.cos(a - b)
    words = []
    p2 = max(2 + d * d - 2 * cab + 2 * d * (sa - sb), 0.0)
    k = math.atan2(cb - ca, d + sa - sb) if p2 > 1e-9 else b
    words.append(("LSL", _mod(k - a), math.sqrt(p2), _mod(b - k)))
    p2 = max(2 + d * d - 2 * cab + 2 * d * (sb - sa), 0.0)
    k = math.atan2(ca - cb, d - sa + sb) if p2 > 1e-9 else b
    words.append(("RSR", _mod(a - k), math.sqrt(p2), _mod(k - b)))
    p2 = d * d - 2 + 2 * cab + 2 * d * (sa + sb)
    if p2 >= 0:
        p = math.sqrt(p2)
        k = math.atan2(-ca - cb, d + sa + sb) - math.atan2(-2.0, p)
        words.append(("LSR", _mod(k - a), p, _mod(k - b)))
    p2 = d * d - 2 + 2 * cab - 2 * d * (sa + sb)
    if p2 >= 0:
        p = math.sqrt(p2)
        k = math.atan2(ca + cb, d - sa - sb) - math.atan2(2.0, p)
        words.append(("RSL", _mod(a - k), p, _mod(b - k)))
    for word, sign in (("RLR", 1.0), ("LRL", -1.0)):
        k = (6 - d * d + 2 * cab + 2 * d * sign * (sa - sb)) / 8
        if abs(k) <= 1:
            p = _mod(2 * math.pi - math.acos(k))
            e = math.atan2(ca - cb, d - sign * (sa - sb))
            if sign > 0:
                t = _mod(a - e + p / 2)
                words.append((word, t, p, _mod(a - b - t + p)))
            else:
                e = math.atan2(cb - ca, d + sa - sb)
                t = _mod(-a + e + p / 2)
                words.append((word, t, p, _mod(b - a - t + p)))
    return words


def _trace(start: Pose, word: str, parts: tuple[float, float, float], radius: float) -> Floats:
    """Nodes of a word (n, 2), the first at the start, the last at the end."""
    x, y, h = start
    xs, ys = [np.array([x])], [np.array([y])]
    for letter, part in zip(word, parts, strict=True):
        n = max(1, math.ceil(part * radius / STEP_M))
        u = np.arange(1, n + 1) * (part / n)
        u[-1] = part
        if letter == "S":
            east, north = x + u * radius * math.cos(h), y + u * radius * math.sin(h)
        else:
            sign = 1.0 if letter == "L" else -1.0
            cx, cy = x - sign * radius * math.sin(h), y + sign * radius * math.cos(h)
            turned = h + sign * u
            east = cx + sign * radius * np.sin(turned)
            north = cy - sign * radius * np.cos(turned)
            h += sign * part
        if part > 1e-9:
            xs.append(east)
            ys.append(north)
            x, y = float(east[-1]), float(north[-1])
    return np.array([np.concatenate(xs), np.concatenate(ys)]).T.copy()


def dubins(
    start: Pose, end: Pose, radius: float, most: int = 6, longest_m: float = math.inf
) -> list[Floats]:
    """Forward paths of limited radius between two poses, shortest first; so many at most.

    longest_m: paths that are longer for certain are not wanted.
    """
    dx, dy = end.x - start.x, end.y - start.y
    d, bearing = math.hypot(dx, dy) / radius, math.atan2(dy, dx)
    words = _words(_mod(start.heading - bearing), _mod(end.heading - bearing), d)
    words.sort(key=lambda w: w[1] + w[2] + w[3])
    paths = []
    for word, t, p, q in words:
        # Chords between nodes are shorter than the arc, by far less than a hundredth.
        if 0.99 * (t + p + q) * radius > longest_m:
            break
        path = _trace(start, word, (t, p, q), radius)
        if math.hypot(path[-1, 0] - end.x, path[-1, 1] - end.y) < 0.01:
            paths.append(path)
        if len(paths) == most:
            break
    return paths


def length(xy: Floats) -> float:
    """Of a polyline. [m]"""
    step = xy[1:] - xy[:-1]
    return float(np.hypot(step[:, 0], step[:, 1]).sum())


def arcs(xy: Floats) -> Floats:
    """Distance along a polyline at each of its points, from 0. [m]"""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])


def dense(xy: Floats, step_m: float = STEP_M) -> Floats:
    """A polyline with nodes at even spacing."""
    s = arcs(xy)
    keep = np.concatenate([[True], np.diff(s) > 1e-9])
    s, xy = s[keep], xy[keep]
    at = np.linspace(0, s[-1], max(2, math.ceil(s[-1] / step_m) + 1))
    return np.column_stack([np.interp(at, s, xy[:, 0]), np.interp(at, s, xy[:, 1])])


def cut(xy: Floats, start_m: float, end_m: float) -> Floats:
    """The stretch of a polyline between two arcs; beyond its ends it goes on straight."""
    s = arcs(xy)
    inside = (s > start_m + 1e-6) & (s < end_m - 1e-6)
    return np.vstack([_at(xy, s, start_m), xy[inside], _at(xy, s, end_m)])


def _at(xy: Floats, s: Floats, arc: float) -> Floats:
    """The place at an arc of a polyline with these arcs at its points, or straight beyond it."""
    if arc < 0:
        first = xy[1] - xy[0]
        return np.asarray(xy[0] + first / np.hypot(*first) * arc)
    if arc > s[-1]:
        last = xy[-1] - xy[-2]
        return np.asarray(xy[-1] + last / np.hypot(*last) * (arc - s[-1]))
    return np.array([np.interp(arc, s, xy[:, 0]), np.interp(arc, s, xy[:, 1])])


def pose_at(xy: Floats, arc: float) -> Pose:
    """Place and direction of a polyline at an arc."""
    s = arcs(xy)
    before, middle, after = (_at(xy, s, arc + ahead) for ahead in (-0.05, 0.0, 0.05))
    d = after - before
    return Pose(float(middle[0]), float(middle[1]), math.atan2(d[1], d[0]))


def fillet(xy: Floats, radius: float, closed: bool = False) -> Floats:
    """A polyline with its corners rounded, as far as its sides allow."""
    points = [np.asarray(p, dtype=float) for p in xy]
    if closed:
        points = points[:-1] if np.allclose(points[0], points[-1]) else points
        middle = (points[-1] + points[0]) / 2
        points = [middle, *points, middle]
    out = [points[0]]
    for before, corner, after in zip(points, points[1:], points[2:], strict=False):
        a, b = before - corner, after - corner
        la, lb = float(np.hypot(*a)), float(np.hypot(*b))
        if la < 1e-6 or lb < 1e-6:
            continue
        a, b = a / la, b / lb
        half = math.acos(max(-1.0, min(1.0, float(a @ b)))) / 2
        if half > math.pi / 2 - 1e-3 or half < 1e-3:
            out.append(corner)
            continue
        reach = min(radius / math.tan(half), la / 2, lb / 2)
        r = reach * math.tan(half)
        bisector = (a + b) / np.hypot(*(a + b))
        centre = corner + bisector * r / math.sin(half)
        p, q = corner + a * reach - centre, corner + b * reach - centre
        t0 = math.atan2(p[1], p[0])
        turn = (math.atan2(q[1], q[0]) - t0 + math.pi) % (2 * math.pi) - math.pi
        n = max(3, math.ceil(abs(turn) * r / STEP_M))
        t = t0 + np.linspace(0, turn, n)
        out.extend(centre + r * np.column_stack([np.cos(t), np.sin(t)]))
    out.append(points[-1])
    return np.array(out)
