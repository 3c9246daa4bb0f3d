"""Fixes worked out again from the raw file, where the log's copy of them has gone bad."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from oplog import readers
from oplog.errors import LogDamaged
from oplog.events import TrackImported
from oplog.flow import gather
from oplog.flow.days import moment
from oplog.flow.history import read
from oplog.log import Log
from oplog.log.mending import FixesAgain
from oplog.readers.rollover import CYCLE_DAYS
from oplog.track import Track


def fixes_again(log: Log) -> FixesAgain:
    """Works out the fixes of an import of this log again; None where they do not come out the
    same."""
    farm = read(log).farm

    def again(imported: TrackImported, raw: bytes) -> Track | None:
        own = [
            t for t in farm.tracks if t.machine == imported.machine and t.fixes != imported.fixes
        ]
        for fixes in _readings(imported, raw, farm.zone):
            if fixes.digest() == imported.fixes:
                return fixes
            if not len(fixes):
                continue
            # A file that had grown: what the log held of it before was left out.
            met = gather.overlapping(own, moment(fixes.time[0]), moment(fixes.time[-1]))
            held = [h for h in (_held(log, t.fixes) for t in met) if h is not None]
            new = gather.unknown(fixes, held)
            if new.digest() == imported.fixes:
                return new
        return None

    return again


def _readings(imported: TrackImported, raw: bytes, zone: str) -> Iterator[Track]:
    """What the file may have been read as: its own times, those of the farm's zone, and those
    moved to where the import has them (another zone was named then, or days were added)."""
    for named in (None, zone):
        yield gather.ready(_dated(readers.read(raw, zone=named)[0], imported))
    track, _ = readers.read(raw, zone="UTC")
    timed = track.time[~np.isnat(track.time)]
    if not len(timed):
        return
    ends = ((imported.first_at, timed.min()), (imported.last_at, timed.max()))
    for there, here in ends:
        off = np.datetime64(there.replace(tzinfo=None), "us") - here
        yield gather.ready(replace(track, time=track.time + off))


def _dated(track: Track, imported: TrackImported) -> Track:
    """The track with its dates moved as they were on import."""
    timed = track.time[~np.isnat(track.time)]
    if not len(timed):
        return track
    off = np.datetime64(imported.first_at.date(), "D") - timed.min().astype("datetime64[D]")
    cycles = round(int(off.astype(np.int64)) / CYCLE_DAYS)
    return replace(track, time=track.time + np.timedelta64(cycles * CYCLE_DAYS, "D"))


def _held(log: Log, digest: str) -> Track | None:
    try:
        return log.fixes(digest)
    except LogDamaged:
        return None
