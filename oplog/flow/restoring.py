"""Fixes worked out again from the raw file, where the log's copy of them has gone bad."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from oplog import readers
from oplog.errors import LogDamaged
from oplog.events import TrackImported
from oplog.flow import gather
from oplog.flow.history import read
from oplog.log import Log
from oplog.log.mend import FixesAgain
from oplog.readers.rollover import CYCLE_DAYS
from oplog.track import Track


def fixes_again(log: Log) -> FixesAgain:
    """Works out the fixes of an import of this log again; None where they do not come out the
    same."""
    farm = read(log).farm

    def again(imported: TrackImported, raw: bytes) -> Track | None:
        others = [
            t
            for t in gather.overlapping(farm.tracks, imported.first_at, imported.last_at)
            if t.machine == imported.machine and t.fixes != imported.fixes
        ]
        held = [h for h in (_held(log, t.fixes) for t in others) if h is not None]
        for zone in (None, farm.zone):
            track, _ = readers.read(raw, zone=zone)
            fixes = gather.ready(_dated(track, imported))
            for candidate in (fixes, gather.unknown(fixes, held)):
                if candidate.digest() == imported.fixes:
                    return candidate
        return None

    return again


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
