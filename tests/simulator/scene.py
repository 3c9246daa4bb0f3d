"""A scene on the globe: fields by a road, a day driven over them, and what was recorded."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from oplog.track import Track, track
from tests.simulator import drive as drv
from tests.simulator.curves import Pose
from tests.simulator.drive import Drive
from tests.simulator.machines import Machine
from tests.simulator.motion import RATE_HZ, Motion, move
from tests.simulator.receiver import NOISE, Receiver, faults, instants, wander
from tests.simulator.truth import STATES, StayTruth, states, stays

Floats = NDArray[np.float64]
Ground = Polygon | MultiPolygon


@dataclass(frozen=True)
class Place:
    """Where a scene lies: local metres, turned by an angle, about a point of the globe."""

    lon: float = -0.35
    lat: float = 52.4
    turned: float = 0.0

    def lonlat(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        c, s = math.cos(self.turned), math.sin(self.turned)
        return _globe(self.lon, self.lat)(x * c - y * s, x * s + y * c, inverse=True)  # type: ignore[no-any-return]

    def shape(self, geometry: Any) -> Any:
        """A geometry in lon/lat; longitudes run on past 180 where it lies across the date line."""

        def put(c: Floats) -> Floats:
            lon, lat = self.lonlat(c[:, 0], c[:, 1])
            near = self.lon + (np.asarray(lon) - self.lon + 180) % 360 - 180
            return np.column_stack([near, lat])

        return shapely.transform(geometry, put)


@cache
def _globe(lon: float, lat: float) -> pyproj.Proj:
    """Azimuthal equidistant: true to scale within 1e-7 for some kilometres about its centre."""
    return pyproj.Proj(f"+proj=aeqd +lat_0={lat} +lon_0={lon} +ellps=WGS84 +units=m")


@dataclass(frozen=True, eq=False)
class VisitTruth:
    """The truth of one stay in one field.

    worked: lon/lat, within the true field. worked_m2: its area; in_boundary_m2: the area worked
    within the boundary as given (the true field where none is given); outside_m2: worked beyond
    the true field. gross_m2: distance x width; overlap_m2: ground worked more than once.
    seconds: per state, inside the field, plus "break" (part of standing).
    """

    field: str
    started: datetime
    ended: datetime
    worked: Ground
    worked_m2: float
    in_boundary_m2: float
    outside_m2: float
    gross_m2: float
    overlap_m2: float
    seconds: dict[str, float]
    working_speed_m_s: float
    rig: dict[str, Any]
    bouts: list[LineString]


@dataclass(frozen=True, eq=False)
class Scenario:
    """What was recorded, what the user says, and what was true.

    fields: dicts of name, farm, boundary (lon/lat as given to the user, or None) and true
    (lon/lat). fixes: time [datetime64[us]], lat, lon and perhaps speed. rig: as stated.
    labels: (n,) the state of the interval from each fix to the next (the last repeated).
    at_edges: (n,) whether the working line is over its bout then: what could be known at best of
    an implement that is lowered and lifted by hand.
    also: other machines or days of the same story. mixed: fixes hold more than one machine.
    """

    name: str
    fields: list[dict[str, Any]]
    visits_truth: list[VisitTruth]
    fixes: dict[str, Any]
    rig: dict[str, Any]
    quality: str
    interval_s: float
    labels: NDArray[np.str_]
    at_edges: NDArray[np.bool_]
    also: list[Scenario] = field(default_factory=list)
    mixed: bool = False

    def track(self) -> Track:
        return track(
            self.fixes["time"],
            self.fixes["lat"],
            self.fixes["lon"],
            speed_m_s=self.fixes.get("speed"),
        )

    def rig_for(self, name: str, started: datetime, ended: datetime) -> dict[str, Any]:
        """The rig as stated for a stay: that of the true visit with the greatest overlap."""

        def shared(v: VisitTruth) -> float:
            return (min(ended, v.ended) - max(started, v.started)).total_seconds()

        here = [v for v in self.visits_truth if v.field == name] or self.visits_truth
        return max(here, key=shared).rig if here else self.rig


@dataclass
class Scene:
    """Fields beside a road that runs along y = 0; gates on their lower edges."""

    rng: np.random.Generator
    shapes: list[Polygon]
    gates: list[tuple[float, float]]
    names: list[str]
    farm: str = "Home"


def scene(rng: np.random.Generator, *shapes: Polygon, gap_m: float = 60.0) -> Scene:
    """Lay fields out from left to right, each with a gate to the road."""
    laid, gates, x = [], [], 0.0
    for shape in shapes:
        west, _, east, _ = shape.bounds
        x += (east - west) / 2
        put = affinity.translate(shape, x, 30.0)
        laid.append(put)
        gates.append(gate_of(put, rng))
        x += (east - west) / 2 + gap_m
    return Scene(rng, laid, gates, [f"field {i + 1}" for i in range(len(shapes))])


def gate_of(shape: Polygon, rng: np.random.Generator) -> tuple[float, float]:
    """A point of the lower edge of a field."""
    west, south, east, north = shape.bounds
    for _ in range(20):
        x = west + (east - west) * float(rng.uniform(0.3, 0.7))
        hit = shape.exterior.intersection(LineString([(x, south - 5), (x, north + 5)]))
        if not hit.is_empty:
            return x, float(hit.bounds[1])
    raise AssertionError("a field without a lower edge")


def begin(
    w: Scene, *machines: Machine, at: tuple[float, float] = (-420.0, 0.0), still_s: float = 40.0
) -> Drive:
    """The day begins in the yard, on the road."""
    d = Drive(w.rng, list(machines), Pose(at[0], at[1], 0.0), fields=list(w.shapes))
    drv.road(d, (at[0] + 30.0, at[1]), v=2.0)
    drv.stop(d, still_s, "stand")
    return d


def come(d: Drive, w: Scene, k: int, machine: int | None = None) -> None:
    """By road to the gate of a field and in."""
    x, y = w.gates[k]
    drv.road(d, (x - 12 if d.pose.x < x else x + 12, 0.0), (x, 6.0), (x, y))
    drv.enter(d, k, machine)
    drv.ahead(d, 9.0, "travel", min(2.0, d.m.travel_m_s))


def go(d: Drive, w: Scene, k: int) -> None:
    """Out of a field by its gate, down to the road."""
    x, y = w.gates[k]
    drv.travel_to(d, Pose(x, y, -math.pi / 2))
    drv.leave(d)
    drv.road(d, (x, y - 8.0), (x + 10, 0.0), (x + 45.0, 0.0))


def home(d: Drive, at: tuple[float, float] = (-420.0, 0.0)) -> None:
    drv.road(d, at)
    drv.stop(d, 30.0)


def record(
    name: str,
    d: Drive,
    w: Scene,
    place: Place,
    receiver: Receiver,
    *,
    started: datetime | None = None,
    boundaries: Sequence[Polygon | None] | None = None,
    rig: dict[str, Any] | None = None,
    crop_s: tuple[float, float] | None = None,
) -> Scenario:
    """Drive it, record it, and put both record and truth on the globe.

    boundaries: as given to the user (the true fields by default; None for none on file).
    rig: what the user states, over the true figures. crop_s: recorded only between these.
    """
    started = started or datetime(2026, 4, 14, 6, 40, tzinfo=UTC)
    m = move(d)
    if crop_s is not None:
        m = _between(m, *crop_s)
    state = states(d, m)
    off = np.array([p.dwell_kind == "off" for p in d.pieces])[m.piece] & (m.dwell > 0)
    truths = stays(d, m, state, off)
    given = list(boundaries) if boundaries is not None else list(w.shapes)
    fixes, true = _recorded(w.rng, m, off, receiver, place, started)
    stated = d.machines[d.stays[0].machine].rig() if d.stays else d.machines[0].rig()
    stated |= rig or {}
    return Scenario(
        name=name,
        fields=[
            {
                "name": w.names[k],
                "farm": w.farm,
                "boundary": None if given[k] is None else orient(place.shape(given[k])),
                "true": orient(place.shape(shape)),
            }
            for k, shape in enumerate(w.shapes)
        ],
        visits_truth=[_visit(t, d, w, given, place, started, rig or {}) for t in truths],
        fixes=fixes,
        rig=stated,
        quality=receiver.quality,
        interval_s=receiver.interval_s,
        labels=_labels(m, state, off, true),
        at_edges=_labels(m, _at_edges(m, state), off, true) == STATES[0],
    )


def _between(m: Motion, a: float, b: float) -> Motion:
    rows = (m.t >= a) & (m.t < b)
    return Motion(**{k: v[rows] for k, v in vars(m).items()})


def _recorded(
    rng: np.random.Generator, m: Motion, off: NDArray[np.bool_], r: Receiver, place: Place,
    started: datetime,
) -> tuple[dict[str, Any], Floats]:  # fmt: skip
    stamp = instants(rng, r, m.t, m.antenna_x, m.antenna_y)
    true = stamp
    if r.jitter_s:
        true = stamp + rng.uniform(-r.jitter_s, r.jitter_s, len(stamp))
        true = np.maximum.accumulate(np.clip(true, m.t[0], m.t[-1]))
    on = ~off[np.clip(np.round((true - m.t[0]) * RATE_HZ).astype(int), 0, len(off) - 1)]
    stamp, true = stamp[on], true[on]
    xy = np.column_stack([np.interp(true, m.t, m.antenna_x), np.interp(true, m.t, m.antenna_y)])
    xy = xy + wander(rng, true, r.quality)
    stamp, xy, true = faults(rng, r, stamp, xy, true)
    lon, lat = place.lonlat(xy[:, 0], xy[:, 1])
    base = np.datetime64(started.replace(tzinfo=None), "us")
    fixes: dict[str, Any] = {
        "time": base + np.round(stamp * 1e6).astype("timedelta64[us]"),
        "lat": np.round(lat, 9),
        "lon": np.round((np.asarray(lon) + 180) % 360 - 180, 9),
    }
    if r.speed:
        noise = rng.normal(0, NOISE[r.quality][2], len(true))
        fixes["speed"] = np.abs(np.interp(true, m.t, m.speed) + noise).round(3)
    return fixes, true


def _at_edges(m: Motion, state: NDArray[np.int8]) -> NDArray[np.int8]:
    """Working over the ideal bouts, save where the machine stands in one."""
    stopped = np.isin(state, [STATES.index("standing"), STATES.index("filling")])
    return np.where(m.over & ~stopped, STATES.index("working"), STATES.index("turning")).astype(
        np.int8
    )


def _labels(
    m: Motion, state: NDArray[np.int8], off: NDArray[np.bool_], true: Floats
) -> NDArray[np.str_]:
    """The state that fills most of each interval."""
    code = np.where(off, STATES.index("unrecorded"), state)
    held = np.zeros((len(STATES), len(true)))
    for i in range(len(STATES)):
        total = np.concatenate([[0.0], np.cumsum(code == i)])
        at = np.interp(true, np.concatenate([m.t, [m.t[-1] + 0.1]]), total)
        held[i, :-1] = np.diff(at)
    best = held.argmax(axis=0)
    now = code[np.clip(np.round((true - m.t[0]) * RATE_HZ).astype(int), 0, len(code) - 1)]
    best = np.where(held.sum(axis=0) > 0, best, now)
    if len(best) > 1:
        best[-1] = best[-2]
    return np.array(STATES)[best]


def _areas(shape: Any) -> Ground:
    """The areas of an intersection; lines and points where edges only touch left out."""
    parts = [g for g in shapely.get_parts(shape) if isinstance(g, Polygon) and not g.is_empty]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def _visit(
    t: StayTruth, d: Drive, w: Scene, given: list[Polygon | None], place: Place, started: datetime,
    rig: dict[str, Any],
) -> VisitTruth:  # fmt: skip
    number = d.stays[t.place].field
    inside = _areas(t.worked.intersection(w.shapes[number]))
    boundary = given[number] or w.shapes[number]

    def clock(seconds: float) -> datetime:
        return datetime.fromtimestamp(started.timestamp() + seconds, UTC)

    return VisitTruth(
        field=w.names[number],
        started=clock(t.start_s),
        ended=clock(t.end_s),
        worked=place.shape(inside),
        worked_m2=inside.area,
        in_boundary_m2=t.worked.intersection(boundary).area,
        outside_m2=t.worked.area - inside.area,
        gross_m2=t.gross_m2,
        overlap_m2=max(t.gross_m2 - t.worked.area, 0.0),
        seconds=t.seconds,
        working_speed_m_s=t.working_speed_m_s,
        rig=d.machines[d.stays[t.place].machine].rig() | rig,
        bouts=[place.shape(b) for b in t.bouts],
    )
