"""What was truly done: worked ground, distances, and the seconds in each state."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Polygon

from tests.simulator.drive import Drive
from tests.simulator.motion import DWELLS, RATE_HZ, Motion

Floats = NDArray[np.float64]
STATES = (
    "working", "turning", "filling", "standing", "travelling", "unrecorded", "road",
)  # fmt: skip
STANDING_S = 5.0
"""A stop of at least this long is standing, whatever went on around it."""
BREAK_S = 1200.0


@dataclass(frozen=True, eq=False)
class StayTruth:
    """One stay in a field, in local metres and seconds.

    worked: all ground swept while down; gross_m2: distance of the working line x width.
    inside, outside: the same within and beyond the true field.
    """

    place: int
    start_s: float
    end_s: float
    worked: Polygon | MultiPolygon
    gross_m2: float
    swept_m2: float
    working_m: float
    seconds: dict[str, float]
    bouts: list[LineString]
    working_speed_m_s: float


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open index ranges where a mask holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def states(d: Drive, m: Motion) -> NDArray[np.int8]:
    """State at each sample as an index into STATES."""
    place = np.array([p.place for p in d.pieces])[m.piece]
    kind = np.array([{"bout": 0, "turn": 1, "travel": 2, "road": 3}[p.kind] for p in d.pieces])[
        m.piece
    ]
    out = np.full(len(m.t), STATES.index("road"), dtype=np.int8)
    for number in range(len(d.stays)):
        here = place == number
        out[here] = STATES.index("travelling")
        down = here & m.down
        out[down] = STATES.index("working")
        spans = runs(down)
        for (_, a), (b, _) in pairwise(spans):
            gap = slice(a, b)
            if not np.any(kind[gap] >= 2) and not np.any(m.dwell[gap] == DWELLS["fill"]):
                out[gap] = STATES.index("turning")
        out[here & (m.dwell == DWELLS["fill"])] = STATES.index("filling")
        still = np.isin(m.dwell, [DWELLS["stand"], DWELLS["brief"], DWELLS["off"]])
        for a, b in runs(here & still):
            if (b - a) / RATE_HZ >= STANDING_S:
                out[a:b] = STATES.index("standing")
    return out


def strip(x: Floats, y: Floats, h: Floats, width_m: float) -> tuple[Polygon | MultiPolygon, float]:
    """Ground swept by a line of this width, and the sum of its quadrilaterals. (m2)

    The line's samples are thinned where it goes straight: chord error of about 1 cm at
    most in a bend. Where both ends of the line only move on and their ways meet nowhere, no two of
    the quadrilaterals share any ground: what lies between the ways is all of them.
    """
    keep = _thinned(x, y, h)
    x, y, h = x[keep], y[keep], h[keep]
    half = width_m / 2
    left = np.column_stack([x - half * np.sin(h), y + half * np.cos(h)])
    right = np.column_stack([x + half * np.sin(h), y - half * np.cos(h)])
    if _onward(left, h) and _onward(right, h):
        whole = Polygon(np.vstack([left, right[::-1]]))
        if whole.is_valid:
            return whole, whole.area
    quads = np.stack([left[:-1], left[1:], right[1:], right[:-1], left[:-1]], axis=1)
    shapes = shapely.polygons(quads)
    shapes = np.where(shapely.is_valid(shapes), shapes, shapely.convex_hull(shapes))
    shapes = shapes[shapely.area(shapes) > 1e-6]
    return shapely.union_all(shapes), float(shapely.area(shapes).sum())


def _onward(side: Floats, h: Floats) -> bool:
    """Whether an end of the line moves ahead in every step."""
    step = np.diff(side, axis=0)
    return bool(np.all(step[:, 0] * np.cos(h[1:]) + step[:, 1] * np.sin(h[1:]) > 1e-3))


def _thinned(x: Floats, y: Floats, h: Floats) -> NDArray[np.intp]:
    """Indices to keep: a new one after 0.6 degree of turning or 25 m."""
    s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    turned = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(h)))])
    cell = np.floor(turned / np.radians(0.6)).astype(np.int64) + np.floor(s / 25.0).astype(np.int64)
    change = np.flatnonzero(np.diff(cell) > 0)
    return np.unique(np.concatenate([[0], change, [len(x) - 1]]))


def stays(d: Drive, m: Motion, state: NDArray[np.int8], off: NDArray[np.bool_]) -> list[StayTruth]:
    """The truth of every stay. off: samples while the logger was off."""
    place = np.array([p.place for p in d.pieces])[m.piece]
    out = []
    for number, stay in enumerate(d.stays):
        here = np.flatnonzero(place == number)
        if len(here) == 0:
            continue
        machine = d.machines[stay.machine]
        parts, bouts, swept, distance, moving_s = [], [], 0.0, 0.0, 0.0
        for a, b in runs((place == number) & m.down):
            if b - a < 3:
                continue
            x, y, h = m.line_x[a:b], m.line_y[a:b], m.line_heading[a:b]
            shape, area = strip(x, y, h, machine.width_m)
            parts.append(shape)
            swept += area
            distance += float(np.hypot(np.diff(x), np.diff(y)).sum())
            moving_s += float((state[a:b] == 0).sum()) / RATE_HZ
            thin = _thinned(x, y, h)
            if len(thin) > 1:
                bouts.append(LineString(np.column_stack([x[thin], y[thin]])))
        worked = shapely.union_all(shapely.set_precision(parts, 1e-4)) if parts else Polygon()
        label = np.where(off[here], STATES.index("unrecorded"), state[here])
        seconds = {
            name: float((label == i).sum()) / RATE_HZ
            for i, name in enumerate(STATES) if name != "road"
        }  # fmt: skip
        seconds["break"] = sum(
            (b - a) / RATE_HZ
            for a, b in runs(label == STATES.index("standing"))
            if (b - a) / RATE_HZ >= BREAK_S
        )
        out.append(
            StayTruth(
                place=number, start_s=float(m.t[here[0]]), end_s=float(m.t[here[-1]]) + 0.1,
                worked=worked, gross_m2=distance * machine.width_m, swept_m2=swept,
                working_m=distance, seconds=seconds, bouts=bouts,
                working_speed_m_s=distance / moving_s if moving_s else 0.0,
            )
        )  # fmt: skip
    return out
