"""A track: where one receiver was, and when, in parallel columns."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass

Floats = NDArray[np.float64]
Times = NDArray[np.datetime64]

NOT_STATED = -1
"""Fix quality where the file says nothing of it (otherwise the NMEA GGA code)."""


@dataclass(frozen=True, eq=False)
class Track:
    """Fixes of one receiver in the order of the file. All columns have shape (n,).

    time: UTC, datetime64[us]; NaT where the file gives none.
    lat, lon: WGS 84. [degree]
    speed_m_s: speed over ground as the receiver gave it; NaN where it gave none. [m/s]
    course_deg: course over ground, clockwise from true north; NaN where not given. [degree]
    hdop: horizontal dilution of precision; NaN where not given. [1]
    quality: NMEA GGA fix quality (1 GPS, 2 differential, 4 RTK fixed, 5 RTK float, ...), or
        NOT_STATED.
    segment: 0, 1, 2, ...: a new number wherever reception broke off; nothing is measured across.
    device: what the file says of the device that wrote it ("" for nothing); used to remember
        which machine it belongs to.
    """

    time: Times
    lat: Floats
    lon: Floats
    speed_m_s: Floats
    course_deg: Floats
    hdop: Floats
    quality: NDArray[np.int8]
    segment: NDArray[np.int32]
    device: str = ""

    def __len__(self) -> int:
        return len(self.time)

    def take(self, rows: Any) -> Track:
        """The fixes that a mask, slice or index array selects, in that order."""
        return replace(self, **{name: getattr(self, name)[rows] for name in COLUMNS})

    def digest(self) -> str:
        """Content digest of the fixes (device left out): 32 hexadecimal digits.

        Positions count to 1e-7 degree (1 cm), times to the microsecond, speed to 1 mm/s and
        course to 0.01 degree, so that the same fixes give the same digest from any file.
        """
        hasher = hashlib.sha256()
        for column in (
            self.time.astype("datetime64[us]").astype(np.int64),
            fixed(self.lat, 1e7),
            fixed(self.lon, 1e7),
            fixed(self.speed_m_s, 1e3),
            fixed(self.course_deg, 1e2),
            self.segment.astype(np.int64),
        ):
            hasher.update(np.ascontiguousarray(column, dtype="<i8").tobytes())
        return hasher.hexdigest()[:32]

    def rounded(self) -> Track:
        """The fixes as the log keeps them: what comes back from it is equal to this, and has
        the same digest. Measure these, so that measuring again later gives the same figures.

        Positions to 1e-7 degree, speed to 1 mm/s, course and HDOP to 0.01, times to 1 us.
        """
        floats: dict[str, Any] = {
            name: as_float(fixed(getattr(self, name), s), s) for name, s in SCALES.items()
        }
        return replace(
            self,
            **floats,
            time=self.time.astype("datetime64[us]"),
            quality=self.quality.astype(np.int8),
            segment=self.segment.astype(np.int32),
        )


SCALES = {"lat": 1e7, "lon": 1e7, "speed_m_s": 1e3, "course_deg": 1e2, "hdop": 1e2}
"""What one unit of a column is divided into when it is kept or digested."""

COLUMNS = tuple(f.name for f in fields(Track) if f.name != "device")


def track(
    time: Any,
    lat: Any,
    lon: Any,
    *,
    speed_m_s: Any = None,
    course_deg: Any = None,
    hdop: Any = None,
    quality: Any = None,
    segment: Any = None,
    device: str = "",
) -> Track:
    """Build a Track; columns that are not given are filled with "not stated"."""
    n = len(time)
    nan = np.full(n, np.nan)
    return Track(
        time=np.asarray(time, dtype="datetime64[us]"),
        lat=np.asarray(lat, dtype=np.float64),
        lon=np.asarray(lon, dtype=np.float64),
        speed_m_s=nan if speed_m_s is None else np.asarray(speed_m_s, dtype=np.float64),
        course_deg=nan if course_deg is None else np.asarray(course_deg, dtype=np.float64),
        hdop=nan if hdop is None else np.asarray(hdop, dtype=np.float64),
        quality=np.full(n, NOT_STATED, dtype=np.int8)
        if quality is None
        else np.asarray(quality, dtype=np.int8),
        segment=np.zeros(n, dtype=np.int32)
        if segment is None
        else np.asarray(segment, dtype=np.int32),
        device=device,
    )


def without(fixes: Track, gone: NDArray[np.bool_]) -> Track:
    """The fixes that a mask does not take out; a segment ends where some were taken out."""
    rows = np.flatnonzero(~gone)
    taken = np.cumsum(gone)[rows]
    apart = (np.diff(taken) > 0) | (np.diff(fixes.segment[rows]) != 0)
    segment = np.concatenate([[0], np.cumsum(apart)]) if len(rows) else np.zeros(0)
    return replace(fixes.take(rows), segment=segment.astype(np.int32))


def empty() -> Track:
    """A track without fixes."""
    return track([], [], [])


def concat(tracks: Sequence[Track]) -> Track:
    """Tracks one behind the other; segments are renumbered so that none runs across a seam."""
    if not tracks:
        return empty()
    joined = {name: np.concatenate([getattr(t, name) for t in tracks]) for name in COLUMNS}
    offset, segments = 0, []
    for t in tracks:
        segments.append(t.segment + offset)
        offset += int(t.segment.max()) + 1 if len(t) else 0
    joined["segment"] = np.concatenate(segments).astype(np.int32)
    return Track(**joined, device=tracks[0].device)


MISSING = int(np.iinfo(np.int64).min)
"""What stands for "not stated" among fixed-point integers."""


def as_float(values: NDArray[np.int64], scale: float) -> Floats:
    """Floats from fixed-point integers; the smallest integer becomes NaN."""
    return np.where(values == MISSING, np.nan, values / scale)


def fixed(values: Floats, scale: float) -> NDArray[np.int64]:
    """Fixed-point integers; NaN becomes the smallest integer."""
    scaled = np.rint(values * scale)
    missing = ~np.isfinite(scaled)
    return np.where(missing, MISSING, np.where(missing, 0, scaled).astype(np.int64))


def median(values: Sequence[float] | Floats) -> float:
    """Middle value, NaN of none; values: none of them NaN.

    NumPy's own loads its masked arrays at every start, and takes far longer over a few values.
    """
    many = np.asarray(values, dtype=np.float64)
    if not len(many):
        return float("nan")
    upper = len(many) // 2
    lower = upper if len(many) % 2 else upper - 1
    middle = np.partition(many, (lower, upper))
    return float((middle[lower] + middle[upper]) / 2)
