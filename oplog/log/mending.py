"""Putting a damaged log right as far as that can be done. Nothing is deleted: what cannot be
read is set aside, and what is left of it is written anew."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from oplog.events import Event, TrackImported
from oplog.log import disk, kept, schema
from oplog.log.book import Log
from oplog.log.checking import check
from oplog.log.folder import FIXES, MARKER, write_marker
from oplog.log.opening import open_log
from oplog.log.reading import UNREADABLE, is_whole, salvage
from oplog.log.refusing import later_version
from oplog.log.report import (
    ALTERED,
    FOREIGN,
    NEWER,
    ROTTEN,
    TORN,
    UNFINISHED,
    Finding,
    Mended,
)
from oplog.track import Track

SET_ASIDE = "set-aside"

FixesAgain = Callable[[TrackImported, bytes], Track | None]
"""Works out the fixes of an import again from the bytes of its file; None where it cannot."""


def mend(path: Path, fixes_again: FixesAgain | None = None) -> Mended:
    """Restore what can be restored, and say what could not be.

    Events files that are not what was written are set aside, and those of their events that
    still are what their id says are written anew. Rotten fixes are set aside and worked out
    again from the raw file (fixes_again); a result that is not exactly what was there is not
    taken. Merging another copy of the log brings back the rest.
    Raises: NotALog, LogBusy, CannotWrite (also for a log of a newer version).
    """
    log = open_log(Path(path))
    with disk.held(log.path):
        before = check(log.path)
        if any(f.kind == NEWER for f in before.findings):
            raise later_version(log.path)
        done = [d for f in before.findings if (d := _file_mended(log, f))]
        done += _fixes_mended(log, fixes_again)
    if log.finish_forgetting():
        done.append("what was forgotten and still here: taken out")
    return Mended(tuple(done), check(log.path))


def _file_mended(log: Log, finding: Finding) -> str | None:
    path = log.path / finding.file
    if finding.file == MARKER:
        write_marker(log.path)
        return f"{finding.file}: written anew"
    if not finding.file or not path.is_file():
        return None
    if finding.kind in (ALTERED, TORN) or (finding.kind == FOREIGN and finding.damage):
        return _events_mended(log, path, finding.file)
    if finding.kind in (ROTTEN, UNFINISHED):
        disk.set_aside(path, log.path / SET_ASIDE)
        return f"{finding.file}: set aside"
    return None


def _events_mended(log: Log, path: Path, name: str) -> str:
    aside = log.path / SET_ASIDE
    try:
        data = path.read_bytes()
    except OSError:
        disk.set_aside(path, aside)
        return f"{name}: set aside; the disk does not give it back"
    # First a copy, then what is whole under its own name, which may be the very name of the file
    # that was damaged: at no moment is anything gone.
    disk.write_whole(aside, disk.free_name(aside, path.name), data)
    whole, made = _whole(data), ""
    if whole:
        anew = schema.encode(whole)
        made = f"{disk.digest(anew)}.parquet"
        disk.write_whole(path.parent, made, anew)
    if path.name != made:
        disk.remove(path)
    return f"{name}: set aside; {len(whole)} whole events of it written anew"


def _whole(data: bytes) -> list[Event]:
    try:
        return [e for e in salvage(data) if is_whole(e)]
    except UNREADABLE:
        return []


def _fixes_mended(log: Log, fixes_again: FixesAgain | None) -> list[str]:
    if fixes_again is None:
        return []
    imports = [e for e in log.events(without=schema.GEOMETRIES) if isinstance(e, TrackImported)]
    done = []
    for event in imports:
        if not log.has_fixes(event.fixes) and log.has_raw(event.file_digest):
            track = fixes_again(event, log.raw(event.file_digest))
            if track is not None and track.digest() == event.fixes:
                data = kept.encode_fixes(track)
                disk.write_whole(log.path / FIXES, kept.fixes_name(event.fixes, data), data)
                done.append(f"fixes {event.fixes[:12]}: worked out again from the raw file")
    return done
