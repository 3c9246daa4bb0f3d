"""The computer's own time zone, by its name in the zone database."""

from __future__ import annotations

import os
from pathlib import Path
from zoneinfo import available_timezones


def system_zone() -> str | None:
    """The zone that the system is set to; None where it does not tell by name."""
    candidates = [os.environ.get("TZ", "").lstrip(":")]
    for source in ("/etc/localtime", "/etc/timezone"):
        path = Path(source)
        try:
            if path.is_symlink():
                candidates.append(str(path.resolve()).rpartition("zoneinfo/")[2])
            elif source == "/etc/timezone" and path.is_file():
                candidates.append(path.read_text(encoding="utf-8").strip())
        except (OSError, UnicodeDecodeError):
            continue
    known = available_timezones()
    return next((c for c in candidates if c in known), None)


def known_zone(name: str) -> str:
    """The zone's name as the database spells it. Raises: UnknownName."""
    from oplog.errors import UnknownName

    zones = {z.casefold(): z for z in available_timezones()}
    if name.casefold() in zones:
        return zones[name.casefold()]
    raise UnknownName(
        "time zone", name, zones.values(), "Write it as Area/City, such as Europe/London."
    )
