"""Spacing: how far apart neighbouring bouts lie, which is the width really worked.

At stations along each bout a line is cast to either side; where it first meets another bout that
runs the same way or straight against it, that is a neighbour. The commonest distance is the bout
width. Bouts driven in turn up and down also show an antenna that is not on the centre line: every
second gap is wider by four times the offset than the ones between.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats, median
from oplog.work.boxes import Points, boxes_of, meeting

Flags = NDArray[np.bool_]
PARALLEL_RAD = np.radians(12.0)
STATION_M, STATIONS = 8.0, 800
"""How far stations lie apart along the bouts, and about how many are enough: where the way is
longer, they lie further apart."""
LEG_M = 5.0
"""Length of the straight legs that a bout is taken for."""
LOOSE, WANDER = 0.15, 1.7
"""Spread of distances, in widths, that only wandering explains; and the drift for such a spread,
as neighbours share some of it (simulators)."""
ALIKE = 0.2
"""How much the mean distance either way may differ from that of bouts driven alike."""
STATED = 0.08
"""How much the distance of bouts differs from the stated width at most, overlap and all."""
FEWEST = 12
"""Stations with a neighbour that an estimate needs."""


@dataclass(frozen=True, eq=False)
class Spacing:
    """Bout width and what its spread says of the noise; None in place of it where unknown.

    width_m: commonest distance between neighbours. sd_m: its standard error.
    spread_m: robust spread of single distances about it, along and between bouts. [m]
    right_m: antenna right of the centre line, where up-and-down pairs show one; else None.
    right_sd_m: its standard error. pairs: bouts that have a neighbour.
    distance: single distances about the width. [m] odd: share of bouts driven against each other
    that lie at another distance.
    """

    width_m: float
    sd_m: float
    spread_m: float
    right_m: float | None
    right_sd_m: float | None
    pairs: int
    distance: Floats
    odd: float = 0.0


def gap_m(found: Spacing | None, width_m: float) -> float:
    """Half of what neighbouring bouts leave between them, in nine cases of ten. [m]

    From a thirtieth to a quarter of the width: less cannot be told, and more is ground missed.
    """
    if found is None:
        return 0.05 * width_m
    near = found.distance[(found.distance > 0.7 * width_m) & (found.distance < 1.4 * width_m)]
    if len(near) < FEWEST:
        return 0.05 * width_m
    between = (float(np.percentile(near, 90)) - width_m) / 2
    return float(np.clip(between, width_m / 30, width_m / 4))


def drift_seen_m(found: Spacing | None, drift_m: float, width_m: float) -> float:
    """How far positions wander, as the spacing of bouts shows where it is much. [m]

    Of a receiver that is not steady. drift_m: what is taken from how they tremble. One that
    filters well trembles little for how far it wanders; but no driver keeps so little to his
    neighbour as LOOSE.
    """
    if found is None or found.spread_m < LOOSE * width_m:
        return drift_m
    return max(drift_m, WANDER * found.spread_m)


def wander_m(found: Spacing | None, width_m: float) -> float:
    """Half of the widest gap between neighbours that wandering leaves, by their spacing. [m]

    Of a receiver that is not steady. Bouts are driven edge to edge; where their distances spread,
    the record wanders, not the driver. Distances too far from the usual are left out of the
    spread, which falls short so where it is large.
    """
    if found is None:
        return 0.0
    spread = found.spread_m / width_m
    return min(1.2 * spread + 4.0 * spread**2, 0.45) * width_m


@dataclass(frozen=True, eq=False)
class _Neighbours:
    bout: NDArray[np.intp]
    distance: Floats
    left: Flags
    against: Flags


def spacing(
    x: Floats, y: Floats, heading: Floats, bout: NDArray[np.int32], reach_m: float,
    stated_m: float | None = None,
) -> Spacing | None:  # fmt: skip
    """Spacing of bouts: (m,) positions, headings, bout numbers (0: none).

    reach_m: how far to either side a neighbour is looked for; stated_m: the width as stated. [m]
    Returns None where too few bouts lie side by side.
    """
    found = _neighbours(x, y, heading, bout, reach_m)
    if found is None or len(found.distance) < FEWEST:
        return None
    right_m, right_sd_m = _offset(found)
    distance, peak = found.distance, _commonest(found.distance)
    if right_m is not None:
        shift = np.where(found.left, -2 * right_m, 2 * right_m)
        moved = distance + np.where(found.against, shift, 0.0)
        if _as_stated(peak, stated_m) and not _as_stated(_commonest(moved), stated_m):
            right_m = right_sd_m = None
        else:
            distance, peak = moved, _commonest(moved)
    near = np.abs(distance - peak) < 0.35 * peak
    pairs = len(np.unique(found.bout[near]))
    if near.sum() < FEWEST or pairs < 3:
        return None
    width = _middle(distance[near])
    spread = _mad(distance[near])
    return Spacing(
        width_m=width,
        sd_m=max(spread / np.sqrt(pairs), 0.005 * width),
        spread_m=spread,
        right_m=right_m,
        right_sd_m=right_sd_m,
        pairs=pairs,
        distance=distance[near],
        odd=_odd(distance[found.against], width),
    )


def _neighbours(
    x: Floats, y: Floats, heading: Floats, bout: NDArray[np.int32], reach_m: float
) -> _Neighbours | None:
    rows, (step, after) = _stations(x, y, bout), _legs(x, y, bout)
    if len(rows) < FEWEST or len(step) < FEWEST:
        return None
    # To the left from each station, then to the right.
    side = np.repeat([1.0, -1.0], len(rows))
    rows = np.concatenate([rows, rows])
    nx, ny = -np.sin(heading[rows]) * side, np.cos(heading[rows]) * side
    start = (x[rows] + 0.3 * nx, y[rows] + 0.3 * ny)
    end = (x[rows] + reach_m * nx, y[rows] + reach_m * ny)
    first, last = (x[step], y[step]), (x[after], y[after])
    ray, leg = meeting(boxes_of(start, end), boxes_of(first, last))
    turn = np.abs(_wrapped(heading[step[leg]] - heading[rows[ray]]))
    ok = (turn < PARALLEL_RAD) | (turn > np.pi - PARALLEL_RAD)
    ok &= bout[step[leg]] != bout[rows[ray]]
    ray, leg, turn = ray[ok], leg[ok], turn[ok]
    share, meets = _along(*((at[0][of], at[1][of]) for at, of in (
        (start, ray), (end, ray), (first, leg), (last, leg))))  # fmt: skip
    ray, turn, away = ray[meets], turn[meets], 0.3 + share[meets] * (reach_m - 0.3)
    order = np.lexsort([away, ray])
    nearest = order[np.diff(ray[order], prepend=-1) > 0]
    ray = ray[nearest]
    return _Neighbours(bout[rows[ray]], away[nearest], side[ray] > 0, turn[nearest] > np.pi / 2)


def _along(start: Points, end: Points, first: Points, last: Points) -> tuple[Floats, Flags]:
    """How far along each ray it meets a leg, 0 at its start and 1 at its end; and whether it does.

    start, end: of the k rays; first, last: of as many legs, none of them along its ray.
    """
    ux, uy = end[0] - start[0], end[1] - start[1]
    vx, vy = last[0] - first[0], last[1] - first[1]
    wx, wy = first[0] - start[0], first[1] - start[1]
    across = ux * vy - uy * vx
    # One that stands still has no direction to be crossed in.
    across = np.where(across == 0, np.inf, across)
    of_ray, of_leg = (wx * vy - wy * vx) / across, (wx * uy - wy * ux) / across
    hair = 1e-9
    meets = (np.minimum(of_ray, of_leg) >= -hair) & (np.maximum(of_ray, of_leg) <= 1 + hair)
    return np.clip(of_ray, 0.0, 1.0), np.asarray(meets & np.isfinite(across))


def _stations(x: Floats, y: Floats, bout: NDArray[np.int32]) -> NDArray[np.intp]:
    """One row about every eight metres along the bouts, or fewer on a long way."""
    way = np.cumsum(np.hypot(np.diff(x, prepend=x[0]), np.diff(y, prepend=y[0])))
    mark = np.floor(way / max(STATION_M, float(way[-1]) / STATIONS))
    return np.flatnonzero((np.diff(mark, prepend=-1) > 0) & (bout > 0))


def _legs(x: Floats, y: Floats, bout: NDArray[np.int32]) -> tuple[NDArray[np.intp], ...]:
    """Rows at which straight legs along the bouts begin, and at which they end."""
    rows = np.flatnonzero(bout > 0)
    first = np.diff(bout[rows], prepend=0) != 0
    apart = np.hypot(np.diff(x[rows], prepend=np.nan), np.diff(y[rows], prepend=np.nan))
    usual_m = median(apart[~first]) if not first.all() else LEG_M
    each = int(np.clip(LEG_M / max(usual_m, 0.1), 1, 10))
    place = np.arange(len(rows))
    place -= np.maximum.accumulate(np.where(first, place, 0))
    last = np.diff(bout[rows], append=0) != 0
    kept = rows[(place % each == 0) | last]
    along = bout[kept[:-1]] == bout[kept[1:]]
    return kept[:-1][along], kept[1:][along]


def _commonest(distance: Floats) -> float:
    """Peak of the density of distances, on a scale of equal ratios."""
    logs = np.log(np.maximum(distance, 0.3))
    grid, step = np.linspace(logs.min(), logs.max() + 1e-9, 400, retstep=True)
    count = np.bincount(np.rint((logs - grid[0]) / step).astype(np.intp), minlength=len(grid))
    apart = np.arange(1 - len(grid), len(grid)) * step / 0.08
    density = np.convolve(np.exp(-0.5 * apart * apart), count, mode="valid")
    return float(np.exp(grid[int(density.argmax())]))


def _middle(distance: Floats) -> float:
    """Mean of the middle half: robust, and better than the median for rounded positions."""
    low, high = np.percentile(distance, [25, 75])
    return float(distance[(distance >= low) & (distance <= high)].mean())


def _offset(found: _Neighbours) -> tuple[float | None, float | None]:
    """Antenna offset from gaps to the left and to the right of up-and-down neighbours.

    An antenna r right of the centre puts an opposite neighbour at w + 2r on the left and w - 2r
    on the right. Only where either side keeps to its own distance as steering by satellite does
    or the sides differ by far more than either spreads (a driver who laps a little more on one
    side than on the other looks the same), and only where it is three times its standard error.
    """
    left = found.distance[found.against & found.left]
    right = found.distance[found.against & ~found.left]
    bouts = len(np.unique(found.bout[found.against]))
    if len(left) < FEWEST or len(right) < FEWEST or bouts < 6:
        return None, None
    between, spread = (median(left) + median(right)) / 2, max(_mad(left), _mad(right))
    offset = (median(left) - median(right)) / 4
    error = max(float(spread) / 2 / np.sqrt(bouts / 2), 0.01)
    loose = spread > max(0.06 * between, 0.15 * 4 * abs(offset))
    if (
        loose
        or not _as_wide(between, found.distance[~found.against])
        or abs(offset) < max(3 * error, 0.02 * between)
    ):
        return None, None
    return offset, error


def _as_stated(apart_m: float, stated_m: float | None) -> bool:
    """Whether bouts lie as far apart as the implement is stated to be wide. Those that do leave
    nothing for an offset to explain: ways beside laps may look like one."""
    return stated_m is not None and abs(apart_m / stated_m - 1) < STATED


def _as_wide(between_m: float, along: Floats) -> bool:
    """Whether bouts driven against each other lie as far apart, all in all, as those driven alike.

    along: distances of the latter, neighbours or every second one. In lands few meet against each
    other, at distances that hang on where the lands end.
    """
    if len(along) < 4 * FEWEST:
        return True
    usual = _commonest(along)
    return min(abs(between_m / usual - 1), abs(2 * between_m / usual - 1)) < ALIKE


def _odd(against: Floats, width_m: float) -> float:
    """Share of the distances between bouts driven against each other that are not the width."""
    if len(against) < 2 * FEWEST:
        return 0.0
    return float((np.abs(against - width_m) > 0.15 * width_m).mean())


def _mad(values: Floats) -> float:
    return median(np.abs(values - median(values))) / 0.6745


def _wrapped(angle: Floats) -> Floats:
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)
