"""When a log is not written to: a later version's, and one of another farm."""

from __future__ import annotations

import json
from pathlib import Path

from oplog.errors import CannotWrite, OplogError
from oplog.events import FarmOpened
from oplog.log.folder import FORMAT, MARKER
from oplog.log.reading import UNREADABLE, Index


def format_of(path: Path) -> int:
    """Version of the layout of the folder; this program's where the marker cannot be read."""
    try:
        return int(json.loads((path / MARKER).read_text(encoding="utf-8"))["format"])
    except (*UNREADABLE, AttributeError):
        return FORMAT


def later_version(path: Path) -> CannotWrite:
    """What to say of a log that a later version has written to."""
    return CannotWrite(
        f"The log in {path} was written by a newer version of oplog. This version reads what "
        "it can and does not write to it: nothing was changed. Update oplog."
    )


def refuse_later(path: Path, index: Index) -> None:
    """Raises: CannotWrite for a log that a later version has written to."""
    if format_of(path) > FORMAT or index.later:
        raise later_version(path)


def refuse_other_farm(path: Path, other: Path, ours: Index, theirs: Index) -> None:
    """Raises: OplogError for two logs that are not of one farm."""
    farms, other_farms = ours.of_type(FarmOpened), theirs.of_type(FarmOpened)
    same = farms & other_farms
    # A damaged log may have lost the event that says whose it is; then what they share tells.
    shared = not ours.types or ours.types.keys() & theirs.types.keys()
    lost = not (farms and other_farms) and shared
    if not same and not lost:
        raise OplogError(
            f"The log in {other} is not of the same farm as the one in {path} (name, time zone "
            "and turn of the day differ), so that they were not merged. Nothing was changed."
        )
