"""Bring together what one machine's receivers recorded, so that each instant counts once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from oplog.events import TrackImported
from oplog.flow.days import within
from oplog.track import Track, concat, empty, median

_SAME_PIECE_S = 30.0
"""Fixes of a second receiver inside a gap shorter than this tell nothing new."""
_SEAM_S = 10.0
"""Two exports of one device that meet within this are one recording."""

Mask = NDArray[np.bool_]


def ready(track: Track) -> Track:
    """A track as the log keeps it: timed fixes in order of time, exact repeats left out.

    Rounded as the log rounds them, so that figures worked out before and after storing agree.
    """
    timed = track.take(~np.isnat(track.time) & np.isfinite(track.lat) & np.isfinite(track.lon))
    timed = timed.take(np.argsort(timed.time, kind="stable")).rounded()
    if bool((np.diff(timed.time) > np.timedelta64(0, "us")).all()):
        return timed  # no two at one instant, so no repeats
    _, first = np.unique(_keys(timed), return_index=True)
    return timed.take(np.sort(first))


def unknown(track: Track, held: Iterable[Track]) -> Track:
    """The fixes of a track that none of the held ones has at the same time and place."""
    keys = [_keys(h) for h in held]
    if not keys:
        return track
    return track.take(~np.isin(_keys(track), np.concatenate(keys)))


def day_track(
    imported: Sequence[TrackImported],
    fixes: Callable[[str], Track],
    started_at: datetime,
    ended_at: datetime,
) -> tuple[Track, tuple[str, ...]]:
    """All fixes of a machine between two moments, and the digests of the imports they are from.

    imported: the machine's imports; fixes: gives the fixes of a digest.
    The order of the imports makes no difference: the fullest recording of the day comes first,
    others fill what it leaves open.
    """
    pieces = []
    for one in imported:
        if one.first_at < ended_at and one.last_at >= started_at:
            piece = within(fixes(one.fixes), started_at, ended_at)
            if len(piece):
                pieces.append((one.fixes, piece))
    pieces.sort(key=lambda p: (-len(p[1]), p[0]))
    used: list[tuple[str, Track]] = []
    for digest, piece in pieces:
        piece = piece.take(~_covered(piece, [t for _, t in used]))
        if len(piece):
            used.append((digest, piece))
    return _merged([t for _, t in used]), tuple(sorted({d for d, _ in used}))


def overlapping(
    imported: Iterable[TrackImported], first_at: datetime, last_at: datetime
) -> list[TrackImported]:
    """The imports whose time meets a period."""
    return [i for i in imported if i.first_at <= last_at and i.last_at >= first_at]


def apart_m(track: Track, held: Iterable[Track]) -> float:
    """How far apart two recordings put one machine at the same instants: the median. [m]

    0 where they share fewer than 30 instants.
    """
    far: list[NDArray[np.float64]] = []
    for other in held:
        if not len(other) or not len(track):
            continue
        _, mine, theirs = np.intersect1d(track.time, other.time, return_indices=True)
        far.append(
            np.hypot(
                (track.lat[mine] - other.lat[theirs]) * 111_195.0,
                (track.lon[mine] - other.lon[theirs])
                * 111_195.0
                * np.cos(np.radians(track.lat[mine])),
            )
        )
    joined = np.concatenate(far) if far else np.zeros(0)
    return median(joined) if len(joined) >= 30 else 0.0


def _covered(piece: Track, used: list[Track]) -> Mask:
    """Which fixes fall on or between close neighbours that are already there."""
    held = np.sort(np.concatenate([t.time for t in used])) if used else np.zeros(0, "M8[us]")
    if not len(held):
        return np.zeros(len(piece), dtype=bool)
    after = np.searchsorted(held, piece.time)
    before = np.maximum(np.searchsorted(held, piece.time, side="right") - 1, 0)
    gap = held[np.minimum(after, len(held) - 1)] - held[before]
    inside = (piece.time >= held[0]) & (piece.time <= held[-1])
    return np.asarray(inside & (gap <= np.timedelta64(int(_SAME_PIECE_S * 1e6), "us")))


def _merged(pieces: list[Track]) -> Track:
    """One track in order of time, one fix for each instant, seams of one device closed."""
    if not pieces:
        return empty()
    joined = concat(pieces)
    origin = np.concatenate([np.full(len(p), i) for i, p in enumerate(pieces)])
    devices = np.array([p.device for p in pieces])
    order = np.argsort(joined.time, kind="stable")
    order = order[np.concatenate([[True], np.diff(joined.time[order]) > np.timedelta64(0, "us")])]
    joined, origin = joined.take(order), origin[order]
    seconds = np.diff(joined.time) / np.timedelta64(1, "s")
    seam = origin[1:] != origin[:-1]
    same = devices[origin[1:]] == devices[origin[:-1]]
    broken = np.where(seam, ~(same & (seconds <= _SEAM_S)), np.diff(joined.segment) != 0)
    segment = np.concatenate([[0], np.cumsum(broken)]).astype(np.int32)
    return replace(joined, segment=segment)


def _keys(track: Track) -> NDArray[np.uint64]:
    """One number for time and place of each fix (64 bits, mixed so that none meet by chance)."""
    with np.errstate(over="ignore"):
        key = track.time.astype("M8[us]").astype(np.int64).view(np.uint64).copy()
        for column in (track.lat, track.lon):
            key ^= key >> np.uint64(31)
            key *= np.uint64(0x9E3779B97F4A7C15)
            key += np.rint(column * 1e7).astype(np.int64).view(np.uint64)
        key ^= key >> np.uint64(29)
        key *= np.uint64(0xBF58476D1CE4E5B9)
    return key ^ (key >> np.uint64(32))
