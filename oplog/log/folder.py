"""The folder that is a log: how it is laid out, how it is known, and when it is not written to."""

from __future__ import annotations

import json
from pathlib import Path

from oplog.errors import CannotWrite, NotALog, OplogError
from oplog.events import FarmOpened
from oplog.log import disk
from oplog.log.reading import UNREADABLE, Index

MARKER = "oplog.json"
FORMAT = 1
"""Version of the layout of the folder; a program never writes to a log with a higher one."""

EVENTS, FIXES, RAW = "events", "fixes", "raw"

HOW_TO_OPEN = "Start one with: oplog new FOLDER. Or name an existing one: oplog --log FOLDER ..."


def write_marker(path: Path) -> None:
    """Mark a folder as a log. Raises: CannotWrite."""
    disk.write_whole(path, MARKER, marker())


def marker() -> bytes:
    """What is in the file that marks a folder as a log."""
    return json.dumps({"oplog": "field-work log", "format": FORMAT}, indent=1).encode() + b"\n"


def find(start: Path) -> Path:
    """The log in a folder or the nearest one above it. Raises: NotALog."""
    start = Path(start).absolute()
    for folder in (start, *start.parents):
        if is_log(folder):
            return folder
    raise NotALog(f"There is no log in {start} or the folders above it. {HOW_TO_OPEN}")


def is_log(path: Path) -> bool:
    """Whether a folder holds a log: its marker, or, where that was lost, files of events."""
    try:
        if (path / MARKER).is_file():
            return True
        return (path / EVENTS).is_dir() and any((path / EVENTS).glob("*.parquet"))
    except OSError:
        return False


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
