"""Fixes worked out again from the raw file, where the log's copy of them has gone bad."""

from __future__ import annotations

from oplog import readers
from oplog.errors import LogDamaged
from oplog.events import TrackImported
from oplog.flow import gather
from oplog.flow.history import read
from oplog.log import Log
from oplog.log.mend import FixesAgain
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
            fixes = gather.ready(track)
            for candidate in (fixes, gather.unknown(fixes, held)):
                if candidate.digest() == imported.fixes:
                    return candidate
        return None

    return again


def _held(log: Log, digest: str) -> Track | None:
    try:
        return log.fixes(digest)
    except LogDamaged:
        return None
