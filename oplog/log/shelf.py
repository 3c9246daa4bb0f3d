"""Tables worked out from a log, kept between commands in the user's cache. Disposable.

What is kept is of one state of one log, under a digest of all that the tables follow from: the
names of the log's files, each of which was held against its bytes, and this program's own source.
A log that has one entry more, or another version of the program, has another digest, so that
nothing kept can be out of date. Of a log only its last state is kept. Where anything cannot be
read, is damaged or unusual, nothing is kept, and everything is worked out from the log.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import field
from pathlib import Path
from typing import Any

from oplog import __version__
from oplog.log.cache import cache_folder
from oplog.log.disk import digest
from oplog.log.folder import EVENTS, MANY_FILES, SUFFIX
from oplog.records import dataclass

METHOD = "tables 1"
"""Changed whenever the form of what is kept here changes."""

FOLDER = "tables"

LARGEST_BYTES = 16 << 20
"""A larger table is worked out anew each time."""

LARGEST_SHELF_BYTES = 256 << 20
"""What the tables of all logs of a user may take; the oldest go first."""

_CONTENTS = "contents.json"

_ASIDE = ".writing"


@dataclass(frozen=True)
class Contents:
    """What is kept of a log.

    zone: of the farm. seal: of the log. settled: names of base tables on which nothing unsettled
    bears. tables: a Parquet file for each table, by the name that it is kept under.
    """

    zone: str
    seal: str
    settled: frozenset[str]
    tables: Mapping[str, Path] = field(default_factory=dict)


@dataclass(frozen=True)
class Shelf:
    """Where the tables of one state of a log are kept. files: names of the log's files."""

    folder: Path
    log: Path
    files: tuple[str, ...]

    def contents(self) -> Contents | None:
        """What is kept and is what was written; None where there is nothing."""
        with suppress(OSError, ValueError, KeyError, TypeError, AttributeError):
            held = _whole(self.folder / _CONTENTS)
            tables = {n: self.folder / _file(n, d) for n, d in held["tables"].items()}
            return Contents(held["zone"], held["seal"], frozenset(held["settled"]), tables)
        return None

    def paths(self) -> list[str]:
        """The log's files."""
        return [str(self.log / EVENTS / name) for name in self.files]

    def aside(self) -> Path:
        """Where to put a file for a moment, for this user's eyes only. Raises: OSError."""
        _make_room(self.folder)
        return self.folder / f"{os.urandom(4).hex()}{_ASIDE}"

    def keep(self, contents: Contents, tables: Mapping[str, bytes]) -> None:
        """Keep tables, with those that are kept already, unless the log has changed meanwhile."""
        fitting = {n: data for n, data in tables.items() if len(data) <= LARGEST_BYTES}
        if not fitting or _names(self.log) != self.files:
            return
        before = self.contents()
        known = {n: p.stem.rpartition("-")[2] for n, p in before.tables.items()} if before else {}
        known |= {n: digest(data) for n, data in fitting.items()}
        told = {"zone": contents.zone, "seal": contents.seal,
                "settled": sorted(contents.settled), "tables": known}  # fmt: skip
        with suppress(OSError):
            _make_room(self.folder)
            for name, data in fitting.items():
                _write(self.folder / _file(name, known[name]), data)
            text = json.dumps(told)
            _write(self.folder / _CONTENTS, f"{digest(text.encode())}\n{text}".encode())


def shelf_of(log: Path) -> Shelf | None:
    """Where tables of a log as it is now are kept; None where they must be worked out: a file is
    not what its name says, or they are so many that the next reader is to tidy them."""
    try:
        names = _names(log)
        if len(names) > MANY_FILES or not all(_as_named(log / EVENTS / n) for n in names):
            return None
        state = digest("\n".join([METHOD, __version__, *_program(), *names]).encode())
        place = digest(str(log.resolve()).encode())[:16]
    except OSError:
        return None
    return Shelf(cache_folder() / FOLDER / place / state, log, names)


def whole_table(path: Path) -> bool:
    """Whether a table that is kept is what was written."""
    try:
        return path.stem.endswith(f"-{digest(path.read_bytes())}")
    except OSError:
        return False


def clear() -> None:
    """Throw away what is kept of every log."""
    shutil.rmtree(cache_folder() / FOLDER, ignore_errors=True)


def _names(log: Path) -> tuple[str, ...]:
    return tuple(sorted(n for n in os.listdir(log / EVENTS) if n.endswith(SUFFIX)))


def _as_named(file: Path) -> bool:
    """Whether a file of the log has the bytes that its name speaks of."""
    with open(file, "rb") as content:
        found = hashlib.file_digest(content, "sha256").hexdigest()
    return file.name == found[:32] + SUFFIX


def _program() -> Iterator[str]:
    """Name, size and time of every source of this program."""
    folders = [os.path.dirname(os.path.dirname(__file__))]
    while folders:
        for entry in sorted(os.scandir(folders.pop()), key=lambda e: e.name):
            if entry.is_dir():
                folders.append(entry.path)
            elif entry.name.endswith(".py"):
                said = entry.stat()
                yield f"{entry.path} {said.st_size} {said.st_mtime_ns}"


def _file(name: str, content: str) -> str:
    return f"{name}-{content}.parquet"


def _whole(path: Path) -> Any:
    """What a file of contents says. Raises: ValueError where it is not what was written."""
    said, _, text = path.read_text("utf-8").partition("\n")
    if said != digest(text.encode()):
        raise ValueError(path)
    return json.loads(text)


def _write(path: Path, data: bytes) -> None:
    """Put a file there, for this user's eyes only, whole or not at all."""
    aside = path.with_name(f"{os.urandom(4).hex()}{_ASIDE}")
    try:
        with open(os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(data)
        os.replace(aside, path)
    except OSError:
        with suppress(OSError):
            os.unlink(aside)
        raise


def _make_room(folder: Path) -> None:
    """The folder of a state, with earlier states of its log gone, and the oldest of other logs
    where all together have become too large."""
    os.makedirs(folder.parent.parent, mode=0o700, exist_ok=True)
    for made in (folder.parent.parent, folder.parent, folder):
        made.mkdir(mode=0o700, exist_ok=True)
    for other in folder.parent.iterdir():
        if other != folder:
            shutil.rmtree(other, ignore_errors=True)
    logs = sorted(folder.parent.parent.iterdir(), key=lambda p: p.stat().st_mtime)
    sizes = {p: sum(f.stat().st_size for f in p.rglob("*")) for p in logs}
    for log in logs:
        if log != folder.parent and sum(sizes.values()) > LARGEST_SHELF_BYTES:
            shutil.rmtree(log, ignore_errors=True)
            sizes.pop(log)
