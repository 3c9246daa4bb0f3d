"""Fixes as a table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, tzinfo
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from oplog.sheets.table import Column, Table
from oplog.track import Track
from oplog.units import kmh

COLUMNS = (
    Column("time", "time"),
    Column("lat", "lat", "degree"),
    Column("lon", "lon", "degree"),
    Column("speed_kmh", "speed", "km/h"),
    Column("machine", "machine"),
    Column("field", "field"),
    Column("state", "state"),
    Column("bout", "bout"),
)


class _Labelled(Protocol):
    machine: str
    track: Track
    speed_m_s: NDArray[np.float64]
    field: NDArray[np.str_]
    state: NDArray[np.str_]
    bout: NDArray[np.int64]


def fixes_table(days: Iterable[Any]) -> Table:
    """One row per fix. Takes what flow.fixes.day_fixes gives."""
    return Table("", COLUMNS, tuple(row for day in days for row in _rows(day)))


def fixes_screen(days: Iterable[Any], zone: tzinfo) -> Table:
    """The same for people: the time of day to the second, one line a fix."""
    return Table(
        "",
        COLUMNS,
        tuple((f"{r[0].astimezone(zone):%H:%M:%S}", *r[1:]) for day in days for r in _rows(day)),
    )


def _rows(day: _Labelled) -> Iterator[tuple[Any, ...]]:
    times = (t.replace(tzinfo=UTC) for t in day.track.time.astype("datetime64[us]").tolist())
    speed = kmh(day.speed_m_s)
    for time, lat, lon, v, field, state, bout in zip(
        times, day.track.lat.tolist(), day.track.lon.tolist(), speed.tolist(),
        day.field.tolist(), day.state.tolist(), day.bout.tolist(), strict=True,
    ):  # fmt: skip
        moving = None if v != v else v
        yield time, lat, lon, moving, day.machine, field or None, state, bout or None
