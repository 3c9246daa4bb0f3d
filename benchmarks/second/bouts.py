"""Where a driver means to go in a field: laps along its edge, bouts across it, and their order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, prepare
from shapely.ops import substring

from benchmarks.second.outlines import parts_of
from benchmarks.second.steering import evenly

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Bout:
    """The line of the implement's middle (n, 2), extended by `lead_m` at both ends of the work."""

    points: Array
    lead_m: float

    def turned(self) -> Bout:
        return Bout(self.points[::-1], self.lead_m)


def longest_side(polygon: Polygon) -> float:
    """Direction (rad) of the longest fairly straight side."""
    rim = np.array(polygon.simplify(4.0).exterior.coords)
    side = np.diff(rim, axis=0)
    best = side[np.argmax(np.hypot(*side.T))]
    return math.atan2(best[1], best[0])


def spacings(
    rng: Generator, start: float, stop: float, width_m: float, overlap_m: float, uneven_m: float
) -> list[float]:
    """Places of the bouts' middles across the field; by eye, each is set off the one before."""
    out, at = [], start + width_m / 2
    while at - width_m / 2 < stop - 0.15 * width_m:
        out.append(at)
        at += width_m - overlap_m + rng.normal(0, uneven_m)
    return out


def lines_across(
    rng: Generator,
    inside: Polygon,
    direction: float,
    width_m: float,
    overlap_m: float,
    uneven_m: float,
    bow_m: float = 0.0,
    edge_m: float = 0.0,
) -> list[Array]:
    """Lines over the whole of a field, side by side; with `bow_m` all follow one contour."""
    c, s = math.cos(direction), math.sin(direction)
    rotate = np.array([[c, -s], [s, c]])
    rim = np.array(inside.exterior.coords) @ rotate
    (x0, y0), (x1, y1) = rim.min(axis=0), rim.max(axis=0)
    x = np.arange(x0 - 60, x1 + 61, 2.0)
    turns_per_m = 2 * np.pi / (rng.uniform(1.0, 1.8) * (x1 - x0))
    # No sharper than lets the line at the far side follow without folding over.
    bow_m = min(bow_m, 0.5 / (turns_per_m**2 * (y1 - y0 + 10.0)))
    base = bow_m * np.sin(turns_per_m * (x - x0) + rng.uniform(0, 6))
    slope = np.gradient(base, x)
    out = []
    reach = abs(bow_m)
    first = y0 - reach + edge_m - (rng.uniform(0, 0.5) * width_m if bow_m else 0.0)
    for at in spacings(rng, first, y1 + reach - edge_m, width_m, overlap_m, uneven_m):
        off = at - first
        norm = np.hypot(1, slope)
        shifted = np.column_stack([x - off * slope / norm, first + base + off / norm])
        out.append(shifted @ rotate.T)
    return out


def pieces_within(
    inside: Polygon, line: Array, width_m: float, finish: bool, least_m: float
) -> list[tuple[float, float]]:
    """Where along a line there is ground to work: to the last corner of it, or by the middle."""
    path = LineString(line)
    if finish:
        shape = path.buffer(0.46 * width_m, cap_style="flat").intersection(inside)
        groups = [np.array(p.exterior.coords) for p in parts_of(shape) if p.area > width_m]
    else:
        shape = path.intersection(inside)
        parts = getattr(shape, "geoms", [shape])
        groups = [np.array(p.coords) for p in parts if p.geom_type == "LineString" and p.length]
    out = []
    for points in groups:
        at = [path.project(Point(p)) for p in points]
        if max(at) - min(at) > least_m:
            out.append((min(at), max(at)))
    out.sort()
    # What lies less than a swath apart is one piece: nobody lifts for that.
    joined: list[tuple[float, float]] = []
    for a, b in out:
        if joined and a - joined[-1][1] < 1.0:
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    return joined


def cells(
    inside: Polygon,
    lines: Sequence[Array],
    width_m: float,
    finish: bool,
    lead_m: float,
) -> list[list[Bout]]:
    """The bouts, parted where the field forks (a horn of a U, either side of a pond)."""
    prepare(inside)
    done: list[list[Bout]] = []
    open_: list[tuple[tuple[float, float], list[Bout]]] = []
    for line in lines:
        path = LineString(line)
        found = pieces_within(inside, line, width_m, finish, max(4.0, 0.5 * width_m))
        bouts = []
        for a, b in found:
            part = substring(path, max(a - lead_m, 0), b + lead_m)
            bouts.append(((a, b), Bout(evenly(np.array(part.coords))[0], lead_m)))
        taken: list[tuple[tuple[float, float], list[Bout]]] = []
        for span, bout in bouts:
            over = [o for o in open_ if o[0][0] < span[1] and o[0][1] > span[0]]
            rivals = [s for s, _ in bouts if over and s[0] < over[0][0][1] and s[1] > over[0][0][0]]
            if len(over) == 1 and len(rivals) == 1:
                over[0][1].append(bout)
                taken.append((span, over[0][1]))
            else:
                done.append([bout])
                taken.append((span, done[-1]))
        open_ = taken
    return done


def order(count: int, pattern: str, step: int) -> list[int]:
    """In which order bouts are driven.

    side: one beside the other; skip: `step` bouts on, then back for those left; cast: a land of
    `2 * step` from its sides to its middle; gather: from its middle out; pairs: out on one, home
    two on (leaves every other pair for a second machine).
    """
    if pattern == "side" or count < 4:
        return list(range(count))
    out: list[int] = []
    block = 2 * max(step, 1)
    for first in range(0, count, block):
        land = list(range(first, min(first + block, count)))
        if pattern == "skip":
            half = (len(land) + 1) // 2
            for a, b in zip(land[:half], [*land[half:], None], strict=False):
                out += [a] if b is None else [a, b]
        else:
            ends = [x for pair in zip(land, land[::-1], strict=True) for x in pair][: len(land)]
            out += ends if pattern == "cast" else ends[::-1]
    return list(dict.fromkeys(out))


def rings(field: Polygon, first_m: float, step_m: float, count: int, round_m: float) -> list[Array]:
    """Closed laps inside a field's edge, outermost first, corners rounded to `round_m`.

    Around ponds too. Laps that the rounding would lose keep their corners.
    """
    out: list[Array] = []
    for k in range(count):
        shape = field.buffer(-(first_m + k * step_m), join_style="mitre")
        if shape.is_empty:
            break
        for part in parts_of(shape):
            if round_m:
                soft = part.buffer(-round_m).buffer(2 * round_m).buffer(-round_m)
                if soft.area > 0.6 * part.area:
                    part = max(parts_of(soft), key=lambda p: p.area)
            for rim in (part.exterior, *part.interiors):
                if rim.length > 30:
                    out.append(np.array(rim.simplify(0.05).coords))
    return out


def started_at(ring: Array, near: tuple[float, float], backwards: bool, on_m: float = 0.0) -> Array:
    """A closed lap that starts (and ends) `on_m` beyond its point nearest to `near`."""
    points = evenly(ring[::-1] if backwards else ring)[0][:-1]
    k = int(np.argmin(np.hypot(points[:, 0] - near[0], points[:, 1] - near[1])))
    points = np.roll(points, -k - round(on_m / 0.4), axis=0)
    return np.concatenate([points, points[:1]])


def sides(ring: Array, corner_rad: float) -> list[Array]:
    """A closed lap cut at its sharp corners into runs; at least one."""
    rim = np.array(LineString(ring).simplify(0.8).coords)[:-1]
    step = np.diff(np.concatenate([rim, rim[:1]]), axis=0)
    h = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs((h - np.roll(h, 1) + np.pi) % (2 * np.pi) - np.pi)
    corners = np.flatnonzero(turn > corner_rad)
    if len(corners) == 0:
        return [np.concatenate([rim, rim[:1]])]
    rim = np.roll(rim, -corners[0], axis=0)
    cuts = [*(corners - corners[0]), len(rim)]
    rim = np.concatenate([rim, rim[:1]])
    return [rim[a : b + 1] for a, b in pairwise(cuts)]


def spiral(
    field: Polygon,
    near: tuple[float, float],
    width_m: float,
    overlap_m: float,
    round_m: float,
    slide_m: float,
    most: int,
) -> tuple[Array, Polygon]:
    """Round and round without a stop, each lap sliding inwards after the one before has closed.

    Begins about `near`; ends after `most` laps, or where the corners have become too tight to
    turn in; also gives what is then left in the middle.
    """
    laps: list[Array] = []
    step = width_m - overlap_m
    left = field
    for k in range(most):
        shape = field.buffer(-(width_m / 2 + k * step), join_style="mitre")
        parts = parts_of(shape.buffer(-round_m).buffer(2 * round_m).buffer(-round_m))
        if not parts or (laps and len(parts) > 1):
            break
        part = max(parts, key=lambda p: p.area)
        if k > 1 and part.area < 0.9 * shape.area:
            break
        ring = np.array(part.exterior.coords)
        lap = started_at(ring, near, False, 0.0 if laps else slide_m)
        laps.append(lap)
        ahead = lap[min(round(slide_m / 0.4), len(lap) - 1)]
        near = (float(ahead[0]), float(ahead[1]))
        left = field.buffer(-(k + 1) * step, join_style="mitre")
    return np.concatenate(laps), left


def swerved(points: Array, obstacle: tuple[float, float], clear_m: float) -> Array:
    """A line that gives way to a pole or tree by so much, and comes back."""
    step = np.gradient(points, axis=0)
    normal = np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None]
    rel = points - np.array(obstacle)
    k = int(np.argmin(np.hypot(*rel.T)))
    aside = float(rel[k] @ normal[k])
    if abs(aside) >= clear_m or np.hypot(*rel[k]) > clear_m:
        return points
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    push = math.copysign(clear_m - abs(aside), aside)
    length = 6 + 3.0 * math.sqrt(abs(push) * 6)
    bump = np.where(np.abs(s - s[k]) < length, np.cos((s - s[k]) * np.pi / 2 / length) ** 2, 0.0)
    out: Array = points + normal * (push * bump)[:, None]
    return out


def weave(rng: Generator, n: int, spacing_m: float, amplitude_m: float) -> Array:
    """Sideways wandering (n,) in metres of a driver along a line: a few slow waves together."""
    s = np.arange(n) * spacing_m
    out = np.zeros(n)
    for _ in range(4):
        out += rng.normal(0, 0.6) * np.sin(
            2 * np.pi * s / rng.uniform(18, 110) + rng.uniform(0, 6.3)
        )
    return amplitude_m * out
