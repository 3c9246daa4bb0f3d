"""The log on disk: a grow-only set of events in a folder. The only user of pyarrow.

What is named here is imported when it is first asked for: a question of which the tables are kept
needs to know where a log is and not how it is read.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from oplog.log.book import Log
    from oplog.log.chain import Sealed
    from oplog.log.checking import check, check_seal
    from oplog.log.entering import Entry
    from oplog.log.folder import find, is_log
    from oplog.log.kept import Packed, packed
    from oplog.log.mending import mend
    from oplog.log.opening import create, open_log
    from oplog.log.reading import LaterEvent
    from oplog.log.report import Finding, Mended, Report
    from oplog.log.writer import name as writer_name

__all__ = [
    "Entry",
    "Finding",
    "LaterEvent",
    "Log",
    "Mended",
    "Packed",
    "Report",
    "Sealed",
    "check",
    "check_seal",
    "create",
    "find",
    "is_log",
    "mend",
    "open_log",
    "packed",
    "writer_name",
]

_PLACES = {
    "book": ("Log",),
    "chain": ("Sealed",),
    "checking": ("check", "check_seal"),
    "entering": ("Entry",),
    "folder": ("find", "is_log"),
    "kept": ("Packed", "packed"),
    "mending": ("mend",),
    "opening": ("create", "open_log"),
    "reading": ("LaterEvent",),
    "report": ("Finding", "Mended", "Report"),
    "writer": ("name",),
}
_MODULE_OF = {name: module for module, names in _PLACES.items() for name in names}
_CALLED = {"writer_name": "name"}


def __getattr__(asked: str) -> Any:
    name = _CALLED.get(asked, asked)
    if asked not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {asked!r}")
    return getattr(import_module(f"{__name__}.{_MODULE_OF[name]}"), name)
