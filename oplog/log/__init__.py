"""The log on disk: a grow-only set of events in a folder. The only user of pyarrow."""

from oplog.log.book import Entry, Log, create, find, is_log, open_log
from oplog.log.reading import LaterEvent
from oplog.log.writer import name as writer_name

__all__ = ["Entry", "LaterEvent", "Log", "create", "find", "is_log", "open_log", "writer_name"]
