"""Where a machine stopped during a visit, how long, and what for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from oplog.events import WorkMeasured
from oplog.records import dataclass
from oplog.sheets.pages.trails import Trail

SHORT_S = 60.0
"""Stands shorter than this are summed up, not drawn."""
SAME_STOP = timedelta(minutes=1)
"""Two stops of one kind this close in time are one that was nudged."""
TOGETHER = 14.0
"""Stops nearer to each other than this are one place on paper. [unit]"""
STOPPED = ("filling", "standing")


@dataclass(frozen=True)
class Stop:
    """One stop. seconds: stopped, without what lay between."""

    kind: str
    started_at: datetime
    ended_at: datetime
    seconds: float


@dataclass(frozen=True)
class Place:
    """A place on a picture and the stops made there. [unit]"""

    x: float
    y: float
    stops: tuple[Stop, ...]


@dataclass(frozen=True)
class Stops:
    """Places drawn, and the stands too short to draw."""

    places: tuple[Place, ...]
    short: tuple[Stop, ...]


def stops(visit: WorkMeasured, trail: Trail, points: Callable[[Any, Any], Any]) -> Stops:
    """The stops of a visit. points: turns lon, lat in degrees into units (Frame.points)."""
    places: list[Place] = []
    short = []
    for stop in _stops(visit):
        if stop.kind == "standing" and stop.seconds < SHORT_S:
            short.append(stop)
            continue
        lon, lat = trail.at(stop.started_at + (stop.ended_at - stop.started_at) / 2)
        ((x, y),) = points([lon], [lat])
        _add(places, float(x), float(y), stop)
    return Stops(tuple(places), tuple(short))


def _stops(visit: WorkMeasured) -> list[Stop]:
    """The stops in order of time, those that were only nudged on joined."""
    found: list[Stop] = []
    for span in visit.spans:
        if span.state not in STOPPED:
            continue
        seconds = (span.ended_at - span.started_at).total_seconds()
        last = found[-1] if found else None
        if last and last.kind == span.state and span.started_at - last.ended_at < SAME_STOP:
            long = last.seconds >= SHORT_S or seconds >= SHORT_S
            if long or span.state == "filling":
                found[-1] = replace(last, ended_at=span.ended_at, seconds=last.seconds + seconds)
                continue
        found.append(Stop(span.state, span.started_at, span.ended_at, seconds))
    return found


def _add(places: list[Place], x: float, y: float, stop: Stop) -> None:
    for i, p in enumerate(places):
        if abs(p.x - x) < TOGETHER and abs(p.y - y) < TOGETHER:
            places[i] = replace(p, stops=(*p.stops, stop))
            return
    places.append(Place(x, y, (stop,)))
