"""Where a machine was, and when, on one day: what pictures need of its fixes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trail:
    """Fixes of one machine in order of time, (n,) each; in_field: inside any field then."""

    machine: str
    time: NDArray[np.datetime64]
    lon: Floats
    lat: Floats
    segment: NDArray[np.int32]
    in_field: NDArray[np.bool_]

    def at(self, moment: datetime) -> tuple[float, float]:
        """Where it was at a moment, between the fixes around it: lon, lat in degrees. Takes two
        fixes or more."""
        when = stamp(moment)
        after = int(np.clip(np.searchsorted(self.time, when), 1, len(self.time) - 1))
        rows = [after - 1, after]
        start, end = self.time[rows]
        share = float(np.clip((when - start) / max(end - start, np.timedelta64(1, "us")), 0, 1))
        (west, east), (south, north) = self.lon[rows], self.lat[rows]
        step = (east - west + 180.0) % 360.0 - 180.0
        return float(west + share * step), float(south + share * (north - south))

    def outside(self) -> Iterator[tuple[Floats, Floats]]:
        """Unbroken runs of fixes outside fields, each joined to the fix on either side."""
        breaks = np.flatnonzero(np.diff(self.segment)) + 1
        for rows in np.split(np.arange(len(self.time)), breaks):
            out = ~self.in_field[rows]
            edges = np.flatnonzero(np.diff(out.astype(np.int8), prepend=0, append=0))
            for start, end in zip(edges[::2], edges[1::2], strict=True):
                run = rows[max(start - 1, 0) : end + 1]
                if len(run) > 1:
                    yield self.lon[run], self.lat[run]


def trails(labelled: Iterable[Any]) -> dict[str, Trail]:
    """Trails by machine. Takes what flow.fixes.day_fixes gives."""
    found = {}
    for day in labelled:
        t = day.track
        kept = ~np.isnat(t.time)
        found[day.machine] = Trail(
            day.machine, t.time[kept], t.lon[kept], t.lat[kept], t.segment[kept],
            (day.field != "")[kept],
        )  # fmt: skip
    return found


def stamp(moment: datetime) -> np.datetime64:
    """A time with zone as numpy holds it: UTC, microseconds."""
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "us")
