"""What a simulated day consists of: the track as logged, the fields, and the truth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

STATES = ("working", "turning", "filling", "standing", "travelling")


@dataclass(frozen=True, eq=False)
class Ground:
    """A field: as the user drew it (None: never drawn) and as it is, in degrees lon/lat."""

    name: str
    boundary: Polygon | None
    true: Polygon


@dataclass(frozen=True, eq=False)
class Stay:
    """One time in one field, as it truly was, within the time that the track spans.

    `worked` is in degrees lon/lat; `worked_m2` the part of it within the boundary as drawn (the
    true field where none is drawn); `gross_m2` distance worked times width; `seconds` by state
    add up to `ended - started` (UTC); `working_speed_m_s` is that of the implement's middle.
    """

    field: str
    started: datetime
    ended: datetime
    worked: Polygon | MultiPolygon
    worked_m2: float
    gross_m2: float
    seconds: dict[str, float]
    working_speed_m_s: float


@dataclass(frozen=True, eq=False)
class Day:
    """A track of n fixes with its truth; `labels` holds from each fix to the next."""

    name: str
    quality: str
    interval_s: float
    time: NDArray[np.datetime64]
    lat: NDArray[np.float64]
    lon: NDArray[np.float64]
    labels: NDArray[np.str_]
    fields: list[Ground]
    stays: list[Stay]
    rig: dict[str, Any]
