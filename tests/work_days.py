"""Small pieces of driving whose figures can be worked out in the head."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from oplog.geodesy import Plane, area_m2
from oplog.kit import Rig
from oplog.land import Field
from oplog.track import Track, track
from oplog.work.clean import Cleaned, Noise, clean
from oplog.work.motion import Path, path

Floats = NDArray[np.float64]
HERE = Plane(-0.35, 52.4)
START = np.datetime64("2026-04-14T06:00:00", "us")
PLAIN = Rig(implement="harrow", operation="cultivating", width_m=10.0, line_m=0.0)
STILL = Noise(0.02, 0.02)


def leg(points: Sequence[tuple[float, float]], speed: float = 2.0) -> tuple[Floats, Floats]:
    """Positions once a second along straight legs at an even speed. [m]"""
    corners = np.asarray(points, dtype=np.float64)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    at = np.arange(0.0, way[-1] + 1e-9, speed)
    return np.interp(at, way, corners[:, 0]), np.interp(at, way, corners[:, 1])


def up_and_down(
    bouts: int = 10, width_m: float = 10.0, length_m: float = 100.0, shift_m: float = 0.0
) -> list[tuple[float, float]]:
    """Corners of bouts side by side, run on by 4 m at either end, with half circles for turns.

    shift_m: moves bouts driven up to the right and bouts driven down to the left.
    """
    found: list[tuple[float, float]] = []
    for k in range(bouts):
        x, up = (k + 0.5) * width_m, k % 2 == 0
        x += shift_m if up else -shift_m
        ends = [(x, -4.0), (x, length_m + 4.0)]
        found += ends if up else ends[::-1]
        if k < bouts - 1:
            end, away = (length_m + 4.0, 1.0) if up else (-4.0, -1.0)
            after = (k + 1.5) * width_m + (-shift_m if up else shift_m)
            r, centre = (after - x) / 2, (after + x) / 2
            turn = np.linspace(0, np.pi, 13)[1:-1]
            found += [(centre - r * np.cos(a), end + away * abs(r) * np.sin(a)) for a in turn]
    return found


def recorded(x: Floats, y: Floats, seconds: Floats | None = None, plane: Plane = HERE) -> Track:
    """A track of positions in a plane; once a second unless said otherwise."""
    at = np.arange(len(x), dtype=np.float64) if seconds is None else np.asarray(seconds)
    lon, lat = plane.lonlat(np.asarray(x), np.asarray(y))
    return track(START + np.round(at * 1e6).astype("timedelta64[us]"), lat, lon)


def cleaned(x: Floats, y: Floats, seconds: Floats | None = None) -> Cleaned:
    return clean(recorded(x, y, seconds), HERE)


def driven(x: Floats, y: Floats, seconds: Floats | None = None, noise: Noise = STILL) -> Path:
    """The even path of positions, with next to no noise."""
    return path(cleaned(x, y, seconds), noise)


def field(ground: Polygon | None = None, name: str = "square", plane: Plane = HERE) -> Field:
    """A field in a plane: a square of a hectare unless said otherwise."""
    drawn = plane.unproject(box(0, 0, 100, 100) if ground is None else ground)
    return Field(name, "", drawn, area_m2(drawn))


def carries(rig: Rig) -> object:
    """The same rig for every visit."""

    def rig_for(name: str, started: datetime, ended: datetime) -> Rig:
        return rig

    return rig_for


def day_in_the_square(**how: float) -> tuple[Floats, Floats]:
    """In by the lower edge, ten bouts of 10 m, out by the lower edge: a hectare at 2 m/s."""
    bouts = up_and_down(**how)  # type: ignore[arg-type]
    x, _ = bouts[-1]
    return leg([(-60, -150), (5, -150), (5, -20), *bouts, (x, -20), (x, -150), (-60, -150)])
