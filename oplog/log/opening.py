"""Starting a log, and opening one that is there."""

from __future__ import annotations

from pathlib import Path

from oplog.errors import CannotWrite
from oplog.events import FarmOpened
from oplog.log import disk
from oplog.log.book import Log
from oplog.log.folder import EVENTS, FIXES, RAW, is_log, known, write_marker


def create(path: Path, farm_name: str, zone: str, day_turns_at: str = "04:00") -> Log:
    """Start a log in a folder that is new, or holds no log.

    The same farm (name, zone, turn of the day) is the same event wherever it is opened, so that
    logs begun apart on two computers can be brought together.
    Raises: CannotWrite where the folder holds a log already or cannot be written to.
    """
    path = Path(path)
    if is_log(path):
        raise CannotWrite(f"There is a log in {path} already. Nothing was changed.")
    try:
        path.mkdir(parents=True, exist_ok=True)
        for folder in (EVENTS, FIXES, RAW):
            (path / folder).mkdir(exist_ok=True)
    except OSError as error:
        raise disk.cannot_write(path, error) from error
    log = Log(path)
    opened = FarmOpened(farm_name=farm_name, zone=zone, day_turns_at=day_turns_at)
    log.append([opened], command="new")
    write_marker(path)
    return log


def open_log(path: Path) -> Log:
    """The log in a folder. Raises: NotALog."""
    return Log(known(Path(path)))
