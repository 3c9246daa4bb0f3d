"""Private places into the log, and what the log holds of them already."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from oplog.errors import OplogError, Problem, UnknownName, UnreadableFile
from oplog.events import EntryStruck, PrivatePlace
from oplog.flow.history import read, stated
from oplog.flow.measuring import as_wkb
from oplog.geodesy import Plane
from oplog.log import Log
from oplog.records import dataclass

if TYPE_CHECKING:
    from oplog.fold import Farm

SMALLEST_M, LARGEST_M = 10.0, 5_000.0
"""Radius of a private circle. A smaller one lets a receiver's wandering out; a larger one is
a slip of the hand. [m]"""

CORNERS = 72
"""Of the polygon around a circle; it lies outside the circle everywhere."""


@dataclass(frozen=True)
class Stated:
    """What was stated: names of the places, and what was wrong with the file."""

    names: tuple[str, ...]
    problems: tuple[Problem, ...] = ()


def state_circle(
    log: Log, name: str, lat: float, lon: float, radius_m: float, command: str = "private add"
) -> Stated:
    """State a circle as private; one of the same name is replaced. Raises: OplogError."""
    if not (-90.0 < lat < 90.0 and -180.0 <= lon <= 180.0):
        raise OplogError(f"{lat:g},{lon:g} is nowhere on earth: write latitude,longitude.")
    if not SMALLEST_M <= radius_m <= LARGEST_M:
        raise OplogError(
            f"A radius of {radius_m:g} m cannot be right here: {SMALLEST_M:g} m to "
            f"{LARGEST_M / 1000.0:g} km."
        )
    return _state(log, [(name, circle(lat, lon, radius_m), radius_m)], command)


def state_file(log: Log, name: str, data: bytes, file: str, command: str = "private add") -> Stated:
    """State the polygons of a boundary file as one private place; one of the same name is
    replaced. Raises: UnreadableFile where the file holds no polygon."""
    from shapely import unary_union

    from oplog.readers.boundaries import read_boundaries

    drawings, problems = read_boundaries(data, name=file)
    if not drawings:
        why = "; ".join(p.message for p in problems) or "it holds no polygon"
        raise UnreadableFile(f"{file}: no place could be read from it: {why}. Nothing was added.")
    shape = unary_union([d.geometry for d in drawings])
    done = _state(log, [(name, shape, None)], command)
    return Stated(done.names, tuple(problems))


def remove(log: Log, name: str, because: str, command: str = "private remove") -> str:
    """Take back that a place is private: tracks imported from now on are kept whole there.

    Raises: UnknownName, OplogError.
    """
    if not because.strip():
        raise OplogError("Say why: --because TEXT. Nothing was changed.")
    history = read(log)
    old = _named(history.farm, name)
    if not old:
        raise UnknownName(
            "private place",
            name,
            (p.place for p in history.farm.private),
            "oplog private lists them.",
        )
    struck = EntryStruck(
        supersedes=tuple(sorted(p.event_id for p in old)), because=because.strip(), **stated()
    )
    history.append([struck], command=command)
    return old[0].place


def circle(lat: float, lon: float, radius_m: float) -> Any:
    """A polygon in lon/lat around a circle, no point of the circle outside it."""
    from shapely.geometry import Polygon

    plane = Plane(lon, lat)
    out_m = (radius_m + 0.1) / math.cos(math.pi / CORNERS)
    turn = np.linspace(0.0, 2.0 * np.pi, CORNERS, endpoint=False)
    ring = np.column_stack([out_m * np.cos(turn), out_m * np.sin(turn)])
    return plane.unproject(Polygon(ring))


def _named(farm: Farm, name: str) -> list[PrivatePlace]:
    return [p for p in farm.private if p.place.casefold() == name.strip().casefold()]


def _state(log: Log, places: list[tuple[str, Any, float | None]], command: str) -> Stated:
    history = read(log)
    events = []
    for name, shape, radius_m in places:
        if not name.strip():
            raise OplogError("A private place needs a name. Nothing was changed.")
        geometry = as_wkb(shape)
        if geometry is None:
            raise OplogError(f"{name}: there is no ground in this place. Nothing was changed.")
        old = _named(history.farm, name)
        events.append(
            PrivatePlace(
                place=old[0].place if old else name.strip(),
                geometry=geometry,
                radius_m=radius_m,
                supersedes=tuple(sorted(p.event_id for p in old)),
                **stated(),
            )
        )
    history.append(events, command=command)
    return Stated(tuple(e.place for e in events))
