"""Clean: one machine's fixes in order, each instant once, without impossible positions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.geodesy import Plane
from oplog.records import dataclass
from oplog.track import NOT_STATED, Floats, Track, median
from oplog.work.jumps import impossible, plausible, shifted

CROSS_NOISE_GAIN = np.sqrt(1.5)
"""Spread of a second difference about the mean of its neighbours, for white noise of 1."""

GRID_DEGREES = (1e-2, 1e-2 / 6, 1e-3, 1e-3 / 6, 1e-4, 1e-3 / 60, 1e-5)
"""Steps in which loggers write latitudes, from the coarsest: places of a degree or of a minute."""
SAME_DEGREES = 1.7e-8
LOOKED_AT = 400
DEGREE_M = 111_200.0
GRID_M = 5.0
"""Where places are written less finely, they are off by what that makes, evenly spread."""

STEADY_M = 0.02
"""Only RTK trembles less than this."""


@dataclass(frozen=True, eq=False)
class Cleaned:
    """Fixes in time order in a plane.

    seconds: (n,) since the first fix, strictly increasing. [s]
    x, y: (n,) in `plane`. [m]
    rows: (n,) row of the input track that each fix came from.
    repeats, jumps, thrown: how many fixes were left out: of one instant twice, where no machine
    can have been, and in short stretches thrown aside.
    grid_m: how finely latitudes are written, see `written_m`. [m]
    """

    plane: Plane
    start: np.datetime64
    seconds: Floats
    x: Floats
    y: Floats
    rows: NDArray[np.intp]
    repeats: int
    jumps: int
    thrown: int = 0
    grid_m: float = 0.0

    def __len__(self) -> int:
        return len(self.seconds)


def clean(track: Track, plane: Plane) -> Cleaned:
    """Order the fixes of one machine by time; drop repeats, and positions it cannot have had."""
    usable = ~np.isnat(track.time) & np.isfinite(track.lat) & np.isfinite(track.lon)
    rows = np.flatnonzero(usable)
    rows = rows[np.argsort(track.time[rows], kind="stable")]
    seconds = _seconds(track.time[rows])
    first = np.ones(len(rows), dtype=bool)
    first[1:] = np.diff(seconds) > 1e-6
    repeats = int((~first).sum())
    rows, seconds = rows[first], seconds[first]
    x, y = plane.xy(track.lon[rows], track.lat[rows])
    keep = plausible(seconds, x, y)
    jumps = int((~keep).sum())
    thrown = np.flatnonzero(keep)[shifted(seconds[keep], x[keep], y[keep])]
    keep[thrown] = False
    return Cleaned(
        plane=plane,
        start=track.time[rows[0]] if len(rows) else np.datetime64("NaT"),
        seconds=seconds[keep],
        x=x[keep],
        y=y[keep],
        rows=rows[keep],
        repeats=repeats,
        jumps=jumps,
        thrown=len(thrown),
        grid_m=written_m(track.lat[rows]),
    )


def interleaved(cleaned: Cleaned) -> bool:
    """Whether the track looks like two machines written into one file.

    One machine cannot be in two places: many steps that no machine can make, back and forth
    between places far apart, are two receivers whose stamps interleave.
    """
    if len(cleaned) < 20:
        return False
    step = np.hypot(np.diff(cleaned.x), np.diff(cleaned.y))
    too_far = impossible(np.diff(cleaned.seconds), step)
    return int(too_far.sum()) >= max(10, len(cleaned) // 500)


@dataclass(frozen=True)
class Noise:
    """Noise of positions from fix to fix, across and along the direction of travel. [m]

    Along the track, stamps that jitter look like noise; across it they do not.
    steady: whether the positions keep to centimetres over hours, as RTK's do.
    """

    across_m: float
    along_m: float
    steady: bool = True


def noise(cleaned: Cleaned, quality: NDArray[np.int8]) -> Noise:
    """What trembles from fix to fix in a moving track: second differences, robustly.

    Slow drift does not show: see `drift_m`. quality: (n,) GGA codes of the cleaned fixes; a code
    sets a floor. Where too little moves, a metre is taken. A machine that drives along a grid of
    written places keeps to one line of it, and trembles not at all: it is not taken for steady.
    """
    if len(cleaned) < 5:
        return Noise(1.0, 1.0, steady=False)
    dx, dy = cleaned.x[2:] - cleaned.x[:-2], cleaned.y[2:] - cleaned.y[:-2]
    dt = cleaned.seconds[2:] - cleaned.seconds[:-2]
    part = (cleaned.seconds[1:-1] - cleaned.seconds[:-2]) / dt
    mx = cleaned.x[1:-1] - (cleaned.x[:-2] + part * dx)
    my = cleaned.y[1:-1] - (cleaned.y[:-2] + part * dy)
    span = np.hypot(dx, dy)
    moving = (span > 1.0) & (dt < 20.0)
    if moving.sum() < 5:
        return Noise(1.0, 1.0, steady=False)
    ux, uy = dx[moving] / span[moving], dy[moving] / span[moving]
    across = _spread(mx[moving] * uy - my[moving] * ux)
    along = _spread(mx[moving] * ux + my[moving] * uy)
    steady = _steady(across, quality) and not cleaned.grid_m
    off_m = cleaned.grid_m / np.sqrt(12.0) if cleaned.grid_m > GRID_M else 0.0
    return Noise(max(across, off_m, _floor_m(quality)), max(along, off_m), steady)


def _spread(second_difference: Floats) -> float:
    return median(np.abs(second_difference)) / 0.6745 / float(CROSS_NOISE_GAIN)


def drift_m(noise_m: float) -> float:
    """How far the positions wander over minutes, from how they tremble from fix to fix. [m]

    RTK trembles by 1-2 cm and drifts by as much; with SBAS 5 cm go with 0.2-0.3 m, with a phone
    half a metre with 2-3 m (sizes of error: references in DEVELOPERS.md). What changes slowly
    cannot be seen in one track, so the ratio is a rule, not a measurement.
    """
    return max(noise_m, 6.0 * (noise_m - 0.03))


def _floor_m(quality: NDArray[np.int8]) -> float:
    """Smallest noise that a fix quality is known for.

    RTK 1-2 cm (Carballido et al. 2014: 1.43 cm); SBAS and autonomous much better from one fix
    to the next than absolutely, so their floor is low.
    """
    stated = quality[quality != NOT_STATED]
    if len(stated) and median(stated) == 4:
        return 0.01
    return 0.02


def _steady(across_m: float, quality: NDArray[np.int8]) -> bool:
    """Whether a receiver works by RTK: as its fixes say, or as only such a one trembles so little.

    SBAS filters well, and still trembles by 3 to 6 cm where RTK does by 1 (recorded and simulated
    tracks); it wanders by half a metre all the same.
    """
    stated = quality[quality != NOT_STATED]
    if len(stated):
        return median(stated) == 4
    return across_m < STEADY_M


def written_m(lat: Floats) -> float:
    """How finely latitudes are written, in metres; 0 where more finely than to a metre.

    To so many places of a degree or of a minute, as loggers cut them off. Of a single latitude
    nothing can be said. [degrees]
    """
    if not len(lat) or np.ptp(lat) == 0.0:
        return 0.0
    some = lat[:: max(len(lat) // LOOKED_AT, 1)]
    for step in GRID_DEGREES:
        if _on_grid(some, step) and _on_grid(lat, step):
            return step * DEGREE_M
    return 0.0


def _on_grid(lat: Floats, step: float) -> bool:
    off = np.abs(lat - step * np.rint(lat / step))
    return bool((off < SAME_DEGREES).mean() > 0.99)


def _seconds(time: NDArray[np.datetime64]) -> Floats:
    if not len(time):
        return np.zeros(0)
    return np.asarray((time - time[0]) / np.timedelta64(1, "us"), dtype=np.float64) / 1e6
