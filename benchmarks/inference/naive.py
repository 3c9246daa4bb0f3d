"""What others would do with the same fixes: five plain methods, to stand beside the table.

All are given what our own method is given (fixes, boundary, stated width) and nothing more.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, MultiPoint, contains_xy, intersection, prepare, union_all

from oplog.geodesy import plane_of
from tests.simulator.scene import Scenario, VisitTruth

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SLOW_KMH, FAST_KMH = 2.0, 12.0
"""The speed threshold: the same as in the corpus's own baselines."""

STOP_WITHIN_M, STOP_FOR_S = 20.0, 30.0
"""A stop to the general library: no further than this for at least this long."""


class Score(NamedTuple):
    """Errors as shares of the truth, and F1 of "working"; None where a method gives none."""

    area: float
    hours: float | None
    f1: float | None


@dataclass(frozen=True, eq=False)
class Fixes:
    """Fixes of one stay in a plane. dt: to the next fix; step: way to it (0 across a gap)."""

    x: Floats
    y: Floats
    dt: Floats
    step: Floats
    inside: Flags
    boundary: Any


def fixes_in(time_s: Floats, lon: Floats, lat: Floats, boundary: Any) -> Fixes:
    """Fixes with the boundary they are to be clipped to, lon/lat."""
    plane = plane_of(boundary)
    x, y = plane.xy(lon, lat)
    ground = plane.project(boundary)
    dt = np.diff(time_s, append=time_s[-1:])
    step = np.hypot(np.diff(x, append=x[-1:]), np.diff(y, append=y[-1:]))
    prepare(ground)
    return Fixes(
        x, y, np.where(dt <= 30, dt, 0.0), np.where(dt <= 30, step, 0.0),
        np.asarray(contains_xy(ground, x, y)), ground,
    )  # fmt: skip


def by_method(f: Fixes, width_m: float) -> dict[str, tuple[float, Flags | None]]:
    """Each method's area [m2] and what it takes for working, fix by fix."""
    kmh = 3.6 * f.step / np.maximum(f.dt, 0.05)
    in_band = f.inside & (kmh >= SLOW_KMH) & (kmh <= FAST_KMH)
    found: dict[str, tuple[float, Flags | None]] = {
        "boundary area": (float(f.boundary.area), None),
        "distance x width": (float(f.step[f.inside].sum()) * width_m, f.inside),
        "speed 2-12 km/h x width": (float(f.step[in_band].sum()) * width_m, in_band),
        "buffered union": (_union_m2(f, width_m), None),
    }
    moving = _not_in_a_stop(f)
    if moving is not None:
        moving &= f.inside
        found["stop detection"] = (float(f.step[moving].sum()) * width_m, moving)
    return found


def scores(scenario: Scenario, truth: VisitTruth) -> dict[str, Score]:
    """The methods' errors for one true stay."""
    width_m = truth.rig["width_m"]
    boundary = next(f["boundary"] for f in scenario.fields if f["name"] == truth.field)
    at = np.asarray(scenario.fixes["time"], dtype="datetime64[us]").astype(np.int64) / 1e6
    rows = (at >= truth.started.timestamp()) & (at < truth.ended.timestamp())
    if width_m is None or boundary is None or rows.sum() < 10:
        return {}
    f = fixes_in(at[rows], scenario.fixes["lon"][rows], scenario.fixes["lat"][rows], boundary)
    label = scenario.labels[rows] == "working"
    return {
        name: score(f, area, said, label, truth.in_boundary_m2, truth.seconds["working"])
        for name, (area, said) in by_method(f, width_m).items()
    }


def score(
    f: Fixes, area_m2: float, said: Flags | None, label: Flags, true_m2: float, true_s: float
) -> Score:
    """A method against the truth."""
    area = area_m2 / true_m2 - 1
    if said is None:
        return Score(area, None, None)
    both = float(f.dt[said & label].sum())
    either = float(f.dt[said].sum() + f.dt[label].sum())
    return Score(area, float(f.dt[said].sum()) / max(true_s, 1.0) - 1, 2 * both / max(either, 1.0))


def _union_m2(f: Fixes, width_m: float) -> float:
    """The whole track in the field, widened and joined."""
    index = np.flatnonzero(f.inside)
    if len(index) < 2:
        return 0.0
    cuts = np.flatnonzero((np.diff(index) > 1) | (f.step[index[:-1]] == 0) & (np.diff(index) > 3))
    lines = [
        LineString(np.column_stack([f.x[part], f.y[part]]))
        for part in np.split(index, cuts + 1)
        if len(part) >= 2
    ]
    swaths = [line.simplify(0.02).buffer(width_m / 2, cap_style="flat") for line in lines]
    whole = union_all(swaths, grid_size=0.001)
    return float(intersection(whole, f.boundary, grid_size=0.001).area)


def _not_in_a_stop(f: Fixes) -> Flags | None:
    """Fixes outside every stop that movingpandas finds; None where it is not installed."""
    try:
        import geopandas
        import pandas

        with warnings.catch_warnings(action="ignore", category=UserWarning):
            import movingpandas
    except ImportError:
        return None
    seconds = np.concatenate([[0.0], np.cumsum(np.maximum(f.dt[:-1], 1e-3))])
    time = pandas.Timestamp("2026-01-01") + pandas.to_timedelta(seconds, unit="s")
    frame = geopandas.GeoDataFrame(
        geometry=geopandas.points_from_xy(f.x, f.y), index=time, crs="EPSG:32631"
    )
    detector = movingpandas.TrajectoryStopDetector(movingpandas.Trajectory(frame, 1))
    stops = detector.get_stop_time_ranges(
        max_diameter=STOP_WITHIN_M, min_duration=timedelta(seconds=STOP_FOR_S)
    )
    moving = np.ones(len(f.x), dtype=bool)
    for stop in stops:
        moving &= ~np.asarray((time >= stop.t_0) & (time < stop.t_n))
    return moving


def hull_of(x: Floats, y: Floats) -> Any:
    """Ground about positions, for recordings without a boundary: grown by 28 m, shrunk by 20 m."""
    return MultiPoint(np.column_stack([x, y])[::4]).buffer(28.0, quad_segs=2).buffer(-20.0)
