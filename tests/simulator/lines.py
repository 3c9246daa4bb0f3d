"""The lines of the bouts: headland laps, straight or curved lines side by side, their order."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Polygon

from tests.simulator.curves import Floats, arcs, dense, fillet, pose_at
from tests.simulator.drive import (
    Bout,
)
from tests.simulator.machines import Machine


@dataclass(frozen=True)
class Style:
    """How the driver goes about a field.

    laps: headland laps; first: worked before the bouts. pattern: next, skip, alternate, lands.
    corners: round (worked round with the machine's radius), shunt (worked out to the corner),
    zigzag (as shunt, the opening corners cut in slow strokes). along: straight, curved, spiral.
    angle: of the bouts, in radians; None for the longest edge.
    margin_m: left unworked all round. share: of the bouts that are worked, from the first.
    cover: how far bouts are run out so that the whole width is over the headland, 0-1.
    lap_share: share of the headland bouts that are worked. stop_chance: per bout.
    unload_stand: emptied where it stands. unload_moving: emptied into a trailer alongside, slower.
    fixed_order: always begun from the same side, so that
    shares of two days or machines fit. half_overlaps: share of bouts set half a width over.
    blockages: chance per bout of a blockage: up, back a few metres, stand, and on again.
    """

    laps: int = 2
    first: bool = True
    pattern: str = "next"
    corners: str = "round"
    along: str = "straight"
    angle: float | None = None
    margin_m: float = 0.0
    share: float = 1.0
    start_share: float = 0.0
    cover: float = 0.75
    lap_share: float = 1.0
    stop_chance: float = 0.01
    unload_stand: bool = False
    unload_moving: bool = False
    fixed_order: bool = False
    half_overlaps: float = 0.0
    blockages: float = 0.0


def polygons(shape: object) -> list[Polygon]:
    if isinstance(shape, Polygon):
        return [shape] if not shape.is_empty else []
    if isinstance(shape, MultiPolygon) or hasattr(shape, "geoms"):
        return [g for g in shape.geoms if isinstance(g, Polygon)]
    return []


def inset(ground: Polygon, d_m: float) -> list[Polygon]:
    return polygons(ground.buffer(-d_m, join_style="mitre", mitre_limit=3.0))


def longest_edge(ground: Polygon) -> float:
    xy = shapely.get_coordinates(ground.simplify(3.0).exterior)
    d = np.diff(xy, axis=0)
    k = int(np.argmax(np.hypot(*d.T)))
    return math.atan2(d[k, 1], d[k, 0])


def _sides(ring: Floats, sharp: float) -> list[Floats]:
    """A closed ring split at its sharp corners."""
    xy = ring[:-1]
    d = np.diff(np.vstack([xy[-1], xy, xy[0]]), axis=0)
    heading = np.arctan2(d[:, 1], d[:, 0])
    turn = (np.diff(heading) + np.pi) % (2 * np.pi) - np.pi
    corners = np.flatnonzero(np.abs(turn) > sharp)
    if len(corners) < 2:
        return [ring]
    sides = []
    for a, b in zip(corners, [*corners[1:], corners[0] + len(xy)], strict=True):
        sides.append(xy[np.arange(a, b + 1) % len(xy)])
    return sides


def laps(ground: Polygon, m: Machine, s: Style, clockwise: bool) -> list[list[Bout]]:
    """Headland laps from the outermost, each as its bouts in driving order."""
    out = []
    for k in range(s.laps):
        lap: list[Bout] = []
        for part in inset(ground, s.margin_m + m.width_m / 2 + k * m.spacing_m):
            for number, ring in enumerate([part.exterior, *part.interiors]):
                xy = shapely.get_coordinates(ring.simplify(0.2))
                if LineString(xy).length < 40:
                    continue
                if ring.is_ccw == clockwise:
                    xy = xy[::-1]
                lap += ring_bouts(xy, m, s, k, outer=number == 0)
        out.append(lap)
    return out


def ring_bouts(xy: Floats, m: Machine, s: Style, k: int, outer: bool) -> list[Bout]:
    """The bouts of one round: one where its corners are rounded, else one a side."""
    if s.corners == "round" or not outer:
        line = dense(fillet(xy, m.radius_m * 1.05, closed=True), 2.0)
        return [Bout(line, 0.0, float(arcs(line)[-1]) + 0.4)]
    bouts = []
    for side in _sides(xy, math.radians(40)):
        line = fillet(side, m.radius_m * 2.5) if len(side) > 2 else side
        size, half = float(arcs(line)[-1]), m.width_m / 2
        if size < 12:
            continue
        room = s.margin_m + half + k * m.spacing_m - 2.0
        if m.line_from_axle_m < 0 and not m.trailed_turns:
            end = size + min(half, room + m.line_from_axle_m)
            bouts.append(Bout(line, -half, max(end, 6.0), backed=k == 0))
        elif m.line_from_axle_m < 0:
            bouts.append(Bout(line, half * 0.5, size + min(half, room + m.line_from_axle_m * 0.6)))
        else:
            bouts.append(Bout(line, half * 0.6, size + half))
        if s.corners == "zigzag" and k == 0:
            bouts += _strokes(xy, line, m)
    return bouts


def _strokes(ring: Floats, side: Floats, m: Machine) -> list[Bout]:
    """Slow strokes that open a corner: short cuts fanned out from one side to the next."""
    p = pose_at(side, float(arcs(side)[-1]))
    i = int(np.argmin(np.hypot(*(ring[:-1] - side[-1]).T)))
    ahead = ring[(i + 1) % (len(ring) - 1)] - ring[i]
    turn = (math.atan2(ahead[1], ahead[0]) - p.heading + math.pi) % (2 * math.pi) - math.pi
    inward = 1 if Polygon(ring).exterior.is_ccw else -1
    if turn * inward < 0.6 or abs(turn) > 2.2:
        return []
    unit = ahead / np.hypot(*ahead)
    strokes = []
    for share in (0.3, 0.6, 0.85):
        end = side[-1] + unit * share * 2.7 * m.width_m
        heading = p.heading + turn * share
        start = end - 17.0 * np.array([math.cos(heading), math.sin(heading)])
        strokes.append(Bout(np.array([start, end]), 3.0, 17.0, slow=0.42))
    return strokes


def straight_lines(ground: Polygon, m: Machine, s: Style, angle: float) -> list[list[Bout]]:
    """Parallel bouts over a piece of ground: one list per line, from one side to the other."""
    centre = ground.centroid
    flat = affinity.rotate(ground, -angle, origin=centre, use_radians=True)
    west, south, east, north = flat.bounds
    w = m.spacing_m
    rows, y, k = [], south + w / 2, 0
    while y - w / 2 < north - m.width_m * 0.15 or not rows:
        line = LineString([(west - 30, y), (east + 30, y)])
        rows.append(_row(line, flat, m, s.cover))
        k += 1
        y += w * (0.5 if s.half_overlaps and k % round(1 / s.half_overlaps) == 0 else 1.0)
    turned = [[_rotated(b, angle, (centre.x, centre.y)) for b in row] for row in rows]
    return [row for row in turned if row]


def _rotated(b: Bout, angle: float, about: tuple[float, float]) -> Bout:
    c, s = math.cos(angle), math.sin(angle)
    d = b.line - np.array(about)
    xy = np.column_stack([d[:, 0] * c - d[:, 1] * s, d[:, 0] * s + d[:, 1] * c]) + np.array(about)
    return Bout(xy, b.start_m, b.end_m)


def _row(line: LineString, ground: Polygon, m: Machine, cover: float) -> list[Bout]:
    """The bouts of one line: where its strip lies over the ground."""
    strip = line.buffer(m.width_m / 2, cap_style="flat")
    xy = shapely.get_coordinates(line)
    bouts = []
    for part in polygons(strip.intersection(ground)):
        if part.area < 0.12 * m.width_m**2 + 15:
            continue
        at = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(part.exterior)))
        lo, hi = float(at.min()), float(at.max())
        middle = line.intersection(part)
        if not middle.is_empty and middle.length > 1:
            mid = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(middle)))
            lo = cover * lo + (1 - cover) * float(mid.min())
            hi = cover * hi + (1 - cover) * float(mid.max())
        if hi - lo > max(6.0, m.width_m * 0.4):
            bouts.append(Bout(xy, lo, hi))
    return bouts


def curved_lines(ground: Polygon, m: Machine, s: Style, guide: Floats) -> list[list[Bout]]:
    """Bouts that follow a curved guide line, each at one spacing from the last."""
    far = np.hypot(*(np.ptp(shapely.get_coordinates(ground), axis=0)))
    d = np.gradient(guide, axis=0)
    d /= np.hypot(*d.T)[:, None]
    normal = np.column_stack([-d[:, 1], d[:, 0]])
    count = math.ceil(far / m.spacing_m) + 1
    rows = []
    for k in range(-count, count + 1):
        line = LineString(guide + normal * (k * m.spacing_m))
        if line.is_simple and (row := _row(line, ground, m, s.cover)):
            rows.append(row)
    return rows


def chains(rows: list[list[Bout]]) -> list[list[Bout]]:
    """Bouts that lie side by side, chained into blocks of ground that are worked one by one."""
    open_: list[list[Bout]] = []
    done: list[list[Bout]] = []
    for row in rows:
        left = list(row)
        kept = []
        for chain in open_:
            last = chain[-1]
            match = [
                b for b in left
                if min(b.end_m, last.end_m) - max(b.start_m, last.start_m)
                > 0.4 * min(b.size_m, last.size_m)
            ]  # fmt: skip
            if match:
                chain.append(match[0])
                left.remove(match[0])
                kept.append(chain)
            else:
                done.append(chain)
        open_ = kept + [[b] for b in left]
    return done + open_


def ordered(chain: list[Bout], pattern: str) -> list[Bout]:
    """The order in which the bouts of a block are worked."""
    n = len(chain)
    if pattern == "skip":
        order = []
        block = 6
        for i in range(0, n, block):
            size = min(block, n - i)
            half = (size + 1) // 2
            for j in range(half):
                order += [i + j] + ([i + half + j] if half + j < size else [])
    elif pattern == "alternate":
        order = [*range(0, n, 2), *reversed(range(1, n, 2))]
    elif pattern == "lands":
        order = []
        block = 10
        for i in range(0, n, block):
            size = min(block, n - i)
            for j in range((size + 1) // 2):
                order += [i + j] + ([i + size - 1 - j] if size - 1 - j > j else [])
    else:
        order = list(range(n))
    return [chain[k] for k in order]


def guide_of(ground: Polygon) -> Floats:
    """The longest smooth edge of a field, run on at both ends."""
    ring = ground.exterior.simplify(0.05).coords
    sides = _sides(np.array(ring), math.radians(30))
    side = max(sides, key=lambda xy: float(arcs(xy)[-1]))
    s = arcs(side)
    at = np.linspace(0, s[-1], max(8, int(s[-1] / 4)))
    xy = np.column_stack([np.interp(at, s, side[:, 0]), np.interp(at, s, side[:, 1])])
    smooth = _smoothed(xy)
    first, last = smooth[0] - smooth[3], smooth[-1] - smooth[-4]
    first, last = first / np.hypot(*first), last / np.hypot(*last)
    reach = np.arange(4, 160, 4.0)[:, None]
    return np.vstack([(smooth[0] + first * reach)[::-1], smooth, smooth[-1] + last * reach])


def _smoothed(xy: Floats) -> Floats:
    """Running mean over 9 points, ends kept in place by reflection."""
    k = min(4, len(xy) // 3)
    head = 2 * xy[0] - xy[1 : k + 1][::-1]
    tail = 2 * xy[-1] - xy[-k - 1 : -1][::-1]
    padded = np.vstack([head, xy, tail])
    window = np.full(2 * k + 1, 1 / (2 * k + 1))
    return np.column_stack([np.convolve(padded[:, i], window, mode="valid") for i in (0, 1)])
