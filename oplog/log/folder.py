"""The folder that is a log: how it is laid out, and how it is known."""

from __future__ import annotations

import json
from pathlib import Path

from oplog.errors import NotALog
from oplog.log import disk

MARKER = "oplog.json"
FORMAT = 1
"""Version of the layout of the folder; a program never writes to a log with a higher one."""

EVENTS, FIXES, RAW = "events", "fixes", "raw"
PARTS = (EVENTS, FIXES, RAW, MARKER, disk.LOCK)
"""What a log's folder holds of its own."""

SUFFIX = ".parquet"
"""What the names of files of events end in."""

MANY_FILES = 100
"""Writing never leaves as many small files as this; copying can."""

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


def known(path: Path) -> Path:
    """A folder that holds a log, as it was named. Raises: NotALog."""
    if not is_log(path):
        what = "does not exist"
        if path.exists():
            what = "is not a log" if path.is_dir() else "is not a folder"
        raise NotALog(f"{path} {what}. {HOW_TO_OPEN}")
    return path
