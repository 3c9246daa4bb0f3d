"""Private places cut from tracks, before anything of them is stored. Pure.

A cut is never bridged: path and ground are worked out across gaps of some seconds, so that a
gap is widened until nothing bridges it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from oplog.events import PrivatePlace, Span
from oplog.flow.days import stamp
from oplog.readers.mentions import Box
from oplog.records import dataclass
from oplog.track import Track

if TYPE_CHECKING:
    from shapely.geometry import MultiPolygon, Polygon

GAP_S = 61.0
"""Fixes on both sides of a cut are at least this far apart. Work bridges six of a receiver's
intervals at the most; none that does field work writes more seldom than every ten seconds. [s]"""

GAP_INTERVALS = 7.0
"""Nor nearer than this many of the file's own intervals."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Private:
    """The private places of a log, ready for cutting. shapes: lon/lat."""

    names: tuple[str, ...]
    shapes: tuple[Polygon | MultiPolygon, ...]

    def __bool__(self) -> bool:
        return bool(self.shapes)

    @property
    def boxes(self) -> list[Box]:
        """West, south, east, north of each place. [degree]"""
        return [tuple(s.bounds) for s in self.shapes]

    def inside(self, track: Track) -> Mask:
        """Which fixes lie in a private place, timed or not: (n,)."""
        found = np.zeros(len(track), dtype=bool)
        for shape in self.shapes:
            found |= _inside(shape, track.lon, track.lat)
        return found


def private(places: Iterable[PrivatePlace]) -> Private:
    """The private places that were stated, by name."""
    import shapely

    ordered = sorted(places, key=lambda p: (p.place.casefold(), p.event_id))
    return Private(
        tuple(p.place for p in ordered), tuple(shapely.from_wkb(p.geometry) for p in ordered)
    )


def without_places(fixes: Track, places: Private) -> Track:
    """Timed fixes in order of time, without those in private places and those that a way through
    one would be drawn between. A segment ends at every cut."""
    gone, through = _of_places(fixes, places)
    return _cut(fixes, gone, through)


def taken_by_places(fixes: Track, places: Private) -> Mask:
    """Which fixes `without_places` leaves out: (n,)."""
    return ~_keep(fixes, *_of_places(fixes, places))


def without_spans(fixes: Track, spans: Sequence[Span]) -> Track:
    """The fixes that are in none of some stretches of time, ends included; the very same track
    where there is nothing to take out."""
    return _cut(fixes, *_of_spans(fixes, spans))


def taken_by_spans(fixes: Track, spans: Sequence[Span]) -> Mask:
    """Which fixes `without_spans` leaves out: (n,)."""
    return ~_keep(fixes, *_of_spans(fixes, spans))


def in_spans(fixes: Track, spans: Sequence[Span]) -> Mask:
    """Which fixes are in some stretches of time, ends included: (n,)."""
    found = np.zeros(len(fixes), dtype=bool)
    for span in spans:
        found |= (fixes.time >= stamp(span.started_at)) & (fixes.time <= stamp(span.ended_at))
    return found


def _of_places(fixes: Track, places: Private) -> tuple[Mask, Mask]:
    """Fixes in private places: (n,), and steps that lead through one: (n-1,)."""
    gone = places.inside(fixes)
    through = np.zeros(max(len(fixes) - 1, 0), dtype=bool)
    for shape in places.shapes:
        through |= _through(shape, fixes, gone)
    return gone, through


def _of_spans(fixes: Track, spans: Sequence[Span]) -> tuple[Mask, Mask]:
    return in_spans(fixes, spans), np.zeros(max(len(fixes) - 1, 0), dtype=bool)


def _inside(shape: Any, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> Mask:
    import shapely

    west, south, east, north = shape.bounds
    found = np.zeros(len(lon), dtype=bool)
    for turn in (0.0, 360.0, -360.0):  # a shape across the date line runs on past 180
        x = lon + turn
        near = np.flatnonzero((x >= west) & (x <= east) & (lat >= south) & (lat <= north))
        if len(near):
            found[near] |= shapely.intersects_xy(shape, x[near], lat[near])
    return found


def _through(shape: Any, fixes: Track, gone: Mask) -> Mask:
    """Steps between neighbouring fixes outside a place that lead through it: (n-1,)."""
    import shapely

    west, south, east, north = shape.bounds
    found = np.zeros(max(len(fixes) - 1, 0), dtype=bool)
    for turn in (0.0, 360.0, -360.0):
        x, y = fixes.lon + turn, fixes.lat
        near = np.flatnonzero(
            ~(gone[1:] | gone[:-1])
            & (np.maximum(x[1:], x[:-1]) >= west) & (np.minimum(x[1:], x[:-1]) <= east)
            & (np.maximum(y[1:], y[:-1]) >= south) & (np.minimum(y[1:], y[:-1]) <= north)
        )  # fmt: skip
        if len(near):
            ends = np.stack([np.column_stack([x[near + k], y[near + k]]) for k in (0, 1)], axis=1)
            found[near] |= shapely.intersects(shape, shapely.linestrings(ends))
    return found


def _cut(fixes: Track, gone: Mask, through: Mask) -> Track:
    """Take fixes out; a segment ends at every cut. The same track where there is none."""
    if not gone.any() and not through.any():
        return fixes
    rows = np.flatnonzero(_keep(fixes, gone, through))
    cut = np.concatenate([[0], np.cumsum(gone)])[rows]
    over = np.concatenate([[0], np.cumsum(through)])[rows]
    apart = (np.diff(rows) > 1) | (np.diff(cut) > 0) | (np.diff(over) > 0)
    apart |= np.diff(fixes.segment[rows]) != 0
    segment = np.concatenate([[0], np.cumsum(apart)]) if len(rows) else np.zeros(0)
    return replace(fixes.take(rows), segment=segment.astype(np.int32))


def _keep(fixes: Track, gone: Mask, through: Mask) -> Mask:
    """Fixes that stay, fewer on both sides of a cut until it is too long to be bridged: (n,).

    gone: (n,) fixes to be taken out; through: (n-1,) steps over which nothing may be drawn.
    """
    keep = ~gone
    if not gone.any() and not through.any():
        return keep
    steps = np.diff(fixes.time) / np.timedelta64(1, "s")
    gap_s = max(GAP_S, GAP_INTERVALS * float(np.median(steps))) if len(steps) else GAP_S
    gap = np.timedelta64(int(gap_s * 1e6), "us")
    for last, first in _edges(gone, through):
        while last >= 0 and first < len(fixes) and fixes.time[first] - fixes.time[last] < gap:
            keep[last] = keep[first] = False
            last, first = last - 1, first + 1
    return keep


def _edges(gone: Mask, through: Mask) -> list[tuple[int, int]]:
    """Last row before and first row after each cut."""
    edges = np.diff(np.concatenate([[False], gone, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    cuts = [(int(a) - 1, int(b)) for a, b in zip(starts, ends, strict=True)]
    return cuts + [(int(k), int(k) + 1) for k in np.flatnonzero(through)]
