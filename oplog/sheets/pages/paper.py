"""Drawing on paper: ground in lon/lat becomes paths of a picture, no finer than can be seen.

A picture is about 340 units wide, so that on a phone a unit is a dot of the screen and text in it
is as large as text beside it. North is up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from oplog import geodesy
from oplog.records import dataclass
from oplog.units import FOOT_M

Floats = NDArray[np.float64]

FINEST = 0.2
"""What is smaller than this is not drawn. [unit]"""


@dataclass(frozen=True)
class Frame:
    """A rectangle of paper and the ground that it shows.

    x = (east - left_m) * scale, y = (top_m - north) * scale. [unit, metre, unit/metre]
    """

    plane: geodesy.Plane
    left_m: float
    top_m: float
    scale: float
    width: float
    height: float

    def points(self, lon: Any, lat: Any) -> Floats:
        """(n,) degrees -> (n, 2) units."""
        x, y = self.plane.xy(np.asarray(lon, dtype=float), np.asarray(lat, dtype=float))
        return self._to_units(np.column_stack([x, y]))

    def area(self, ground: Any) -> str:
        """The path of some ground; pieces and detail too small to see are left out."""
        shape = shapely.transform(ground, lambda c: self.points(c[:, 0], c[:, 1]))
        shape = shapely.simplify(shape, FINEST, preserve_topology=False)
        rings = []
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon" and part.area >= FINEST:
                rings += [part.exterior, *(r for r in part.interiors if _area(r) >= FINEST)]
        return "".join(f"{path(shapely.get_coordinates(r)[:-1])}z" for r in rings)

    def line(self, lon: Any, lat: Any) -> str:
        """The path through fixes."""
        points = self.points(lon, lat)
        if len(points) < 2:
            return ""
        line = shapely.simplify(shapely.LineString(points), FINEST, preserve_topology=False)
        return path(shapely.get_coordinates(line))

    def lines(self, lines: Iterable[Any]) -> str:
        """The paths of some lines, one after the other."""
        return "".join(self.line(*shapely.get_coordinates(line).T) for line in lines)

    def _to_units(self, metres: Floats) -> Floats:
        return (metres - [self.left_m, self.top_m]) * [self.scale, -self.scale]


def fit(
    grounds: Sequence[Any], *, width: float, lowest: float, highest: float, pad: float
) -> Frame:
    """A frame of a width that shows all of some geometries, `pad` units clear of the edge.

    lowest, highest: the height lies between these. [unit]
    """
    box = _bounds([g for g in grounds if not g.is_empty])
    plane = geodesy.Plane((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    ring = shapely.segmentize(shapely.box(*box), max(box[2] - box[0], box[3] - box[1], 1e-9) / 8)
    west, south, east, north = plane.project(ring).bounds
    across, along = max(east - west, 1.0), max(north - south, 1.0)
    scale = min((width - 2 * pad) / across, (highest - 2 * pad) / along)
    height = max(lowest, along * scale + 2 * pad)
    left = (west + east) / 2 - width / scale / 2
    top = (south + north) / 2 + height / scale / 2
    return Frame(plane, left, top, scale, width, height)


def path(points: Floats) -> str:
    """(n, 2) units -> path data, relative, to a tenth of a unit."""
    tenths = np.rint(points * 10).astype(np.int64)
    steps = np.diff(tenths, axis=0)
    steps = steps[np.any(steps != 0, axis=1)]
    start = f"M{_tenth(int(tenths[0, 0]))} {_tenth(int(tenths[0, 1]))}"
    return start + "".join(f"l{_tenth(dx)} {_tenth(dy)}" for dx, dy in steps.tolist())


def _tenth(n: int) -> str:
    return f"{n / 10:g}"


def _area(ring: Any) -> float:
    return float(shapely.Polygon(ring).area)


def _bounds(grounds: Sequence[Any]) -> tuple[float, float, float, float]:
    """West, south, east and north of all; longitudes follow the first across the date line."""
    boxes: list[tuple[float, float, float, float]] = []
    for g in grounds:
        west, south, east, north = g.bounds
        turn = 360.0 * round((west - boxes[0][0]) / 360.0) if boxes else 0.0
        boxes.append((west - turn, south, east - turn, north))
    low = np.min(boxes, axis=0)
    high = np.max(boxes, axis=0)
    return float(low[0]), float(low[1]), float(high[2]), float(high[3])


@dataclass(frozen=True)
class ScaleBar:
    """A bar of a round length. length: on paper. [unit] label: its length in words."""

    length: float
    label: str


def scale_bar(frame: Frame, *, metric: bool, longest: float = 90.0) -> ScaleBar:
    """The longest round length that fits."""
    unit_m, unit = (1.0, "m") if metric else (FOOT_M, "ft")
    room = longest / frame.scale / unit_m
    power = 10.0 ** np.floor(np.log10(room))
    size = float(max(s * power for s in (1, 2, 5) if s * power <= room))
    if metric and size >= 1000:
        return ScaleBar(size * frame.scale, f"{size / 1000:g} km")
    return ScaleBar(size * unit_m * frame.scale, f"{size:g} {unit}")
