"""The log on disk: a grow-only set of events in a folder. The only user of pyarrow."""

from oplog.log.book import Log
from oplog.log.chain import Sealed
from oplog.log.check import check, check_seal
from oplog.log.entering import Entry
from oplog.log.folder import find, is_log
from oplog.log.mend import mend
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
    "Report",
    "Sealed",
    "check",
    "check_seal",
    "create",
    "find",
    "is_log",
    "mend",
    "open_log",
    "writer_name",
]
