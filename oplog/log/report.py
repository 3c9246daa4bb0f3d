"""What a check of a log found."""

from __future__ import annotations

from pathlib import Path

from oplog import errors
from oplog.records import dataclass

ALTERED, MISSING, TORN, FOREIGN = "altered", "missing", "torn", "foreign"
ORPHAN, ROTTEN, WAITING, FORKED = "orphan", "rotten", "waiting", "forked"
NEWER, UNFINISHED, RENAMED, BESIDE = "newer", "unfinished", "renamed", "beside"
FORGOTTEN, STILL_HERE = "forgotten", "still here"

HARMLESS = (UNFINISHED, RENAMED, FORGOTTEN, BESIDE)
"""Findings that say how things are and ask nothing of anybody."""


@dataclass(frozen=True)
class Finding:
    """One thing that a check found.

    kind: altered (an event or file is not what was written), missing (something that an entry
        names is not there), torn (an events file that cannot be read), foreign (a file that is
        not of a log, among the log's own), beside (one that lies in the log's folder, as a page
        does that was made there), orphan (an event that no entry names, or fixes or a raw file
        that no event names), rotten (fixes or a raw file that are not what was written), waiting
        (on its way through a synced folder), forked (two entries with one number), newer (of a
        later version), unfinished (left by a write that was broken off), renamed, forgotten
        (taken out on purpose: by whom, when and why), still here (forgotten, and not yet taken
        out).
    file: within the log, "" for none. event: its id.
    damage: whether the log is not what was written.
    """

    kind: str
    message: str
    file: str = ""
    event: str | None = None
    damage: bool = True

    def __str__(self) -> str:
        where = f"{self.file}: " if self.file else ""
        return f"{self.kind}: {where}{self.message}"


@dataclass(frozen=True)
class Report:
    """What a check found: findings, the seal, and how much was read.

    events: events found whole, entry records among them.
    """

    path: Path
    findings: tuple[Finding, ...]
    seal: str
    files: int
    events: int
    entries: int
    bytes_read: int

    @property
    def damaged(self) -> bool:
        """Whether the log on disk is not what was written."""
        return any(f.damage for f in self.findings)

    @property
    def exit_code(self) -> int:
        """4 for a damaged log, 3 for anything else that asks for attention, 0 otherwise."""
        if self.damaged:
            return errors.DAMAGED
        asks = any(f.kind not in HARMLESS for f in self.findings)
        return errors.DONE_WITH_PROBLEMS if asks else errors.DONE


@dataclass(frozen=True)
class Mended:
    """What a mending did, and the check after it: its findings are what could not be mended."""

    done: tuple[str, ...]
    after: Report
