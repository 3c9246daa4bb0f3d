"""What is slow to work out, kept between commands in the user's cache. Disposable.

Names are digests of what a value was worked out from, so one memory serves every log of a user,
and nothing in it can be out of date. Where it cannot be read or written, everything is worked out
again; nothing is lost by that.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterator, MutableMapping
from contextlib import suppress
from pathlib import Path

from oplog.log.cache import cache_folder

LARGEST_BYTES = 1 << 30
"""A memory that has grown beyond this begins anew."""


class Memory(MutableMapping[str, bytes]):
    """Values by name, in a file of its own, with a checksum; here where the file will not do."""

    def __init__(self, path: Path) -> None:
        self._here: dict[str, bytes] = {}
        self._file: sqlite3.Connection | None = None
        with suppress(OSError, sqlite3.Error):
            path.parent.mkdir(parents=True, exist_ok=True)
            if path.exists() and path.stat().st_size > LARGEST_BYTES:
                path.unlink()
            self._file = sqlite3.connect(path, timeout=0.2, isolation_level=None)
            self._file.execute("PRAGMA synchronous = OFF")
            self._file.execute("PRAGMA journal_mode = WAL")
            self._file.execute(
                "CREATE TABLE IF NOT EXISTS kept (name TEXT PRIMARY KEY, crc INTEGER, value BLOB)"
            )

    def __getitem__(self, name: str) -> bytes:
        with suppress(sqlite3.Error):
            if self._file is not None:
                asked = "SELECT crc, value FROM kept WHERE name = ?"
                row = self._file.execute(asked, [name]).fetchone()
                if row and zlib.crc32(row[1]) == row[0]:
                    return bytes(row[1])
        return self._here[name]

    def __setitem__(self, name: str, value: bytes) -> None:
        try:
            if self._file is None:
                raise sqlite3.OperationalError
            put = "INSERT OR REPLACE INTO kept VALUES (?, ?, ?)"
            self._file.execute(put, [name, zlib.crc32(value), value])
        except sqlite3.Error:
            self._here[name] = value

    def __delitem__(self, name: str) -> None:
        del self._here[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._here)

    def __len__(self) -> int:
        return len(self._here)


def memory() -> Memory:
    """This user's memory."""
    return Memory(cache_folder() / "memory.sqlite")
