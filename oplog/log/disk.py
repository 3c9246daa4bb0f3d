"""The folder on disk: the thin edge of the log. Whole files or none, and one writer at a time.

A file is encoded in memory, written aside under a name that no reader takes for a file of the
log, flushed to the disk, renamed, and its folder is flushed too; only then is it acknowledged.
Names are made of digests, so that no name of a person, a field or a file becomes a path, and no
two different files share one. Nothing here needs hard links or a file system that tells capital
letters apart.
"""

from __future__ import annotations

import errno
import hashlib
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from oplog.errors import CannotWrite, LogBusy
from oplog.log import locking

ASIDE = ".writing"
"""What the name of a file ends in while it is being written."""

LOCK = "lock"
"""Name of the file that a writer holds; it is always empty."""

WAIT_S = 15.0
"""How long to wait for another program that holds the log. [s]"""

RENAME_TRIES = 8
"""A virus scanner may hold a new file for a moment; a rename is tried this often."""

_NO_ROOM = {errno.ENOSPC, errno.EDQUOT}
_NO_LOCKS = {errno.ENOSYS, errno.ENOTSUP}
_NOT_ALLOWED = {errno.EROFS, errno.EACCES, errno.EPERM}


def digest(data: bytes) -> str:
    """SHA-256 of bytes, cut to 32 hexadecimal digits: what names the files of the log."""
    return hashlib.sha256(data).hexdigest()[:32]


def write_whole(folder: Path, name: str, data: bytes) -> None:
    """Put a file into a folder, whole or not at all; when this returns, it outlives a power cut.

    A file of that name is taken to be the same file (names are made of content) and replaced.
    Raises: CannotWrite; nothing of the file is then left behind.
    """
    target = folder / name
    aside = folder / f"{name}.{os.urandom(4).hex()}{ASIDE}"
    try:
        folder.mkdir(exist_ok=True)
        was_there = target.exists()
        try:
            _write_and_flush(aside, data)
            rename(aside, target)
            flush_folder(folder)
        except BaseException:
            for left in (aside,) if was_there else (aside, target):
                with suppress(OSError):
                    os.unlink(left)
            raise
    except OSError as error:
        raise cannot_write(folder, error) from error


def set_aside(path: Path, folder: Path) -> None:
    """Move a file into a folder of things set aside. Raises: CannotWrite."""
    try:
        folder.mkdir(exist_ok=True)
        rename(path, folder / free_name(folder, path.name))
        flush_folder(folder)
        flush_folder(path.parent)
    except OSError as error:
        raise cannot_write(folder, error) from error


def free_name(folder: Path, name: str) -> str:
    """A name, or where it is taken in a folder, that name with a number."""
    number, free = 1, name
    while (folder / free).exists():
        number += 1
        free = f"{name}.{number}"
    return free


def remove(path: Path) -> bool:
    """Remove a file that is no longer needed; False where something still holds it."""
    try:
        os.unlink(path)
    except FileNotFoundError:
        return True
    except OSError:
        return False
    return True


def flush_folder(folder: Path) -> None:
    """Make the names in a folder outlive a power cut. Windows has no such call and needs none."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # no such thing on this file system
            raise
    finally:
        os.close(handle)


def cannot_write(folder: Path, error: OSError) -> CannotWrite:
    """What to tell the person when the disk refuses."""
    if error.errno in _NO_ROOM:
        why = "the disk is full. Make room and do it again."
    elif error.errno in _NOT_ALLOWED:
        why = "the disk or folder is read-only, or belongs to another user."
    else:
        why = f"the disk reported: {error.strerror or error}."
    return CannotWrite(f"Nothing was written to {folder}: {why}")


@contextmanager
def held(path: Path, wait_s: float | None = None) -> Iterator[None]:
    """Hold the log at `path` against other writers; readers are never in the way.

    Raises: LogBusy after the time limit, CannotWrite on a read-only disk.
    """
    wait_s = WAIT_S if wait_s is None else wait_s
    try:
        release = locking.locked(path / LOCK, wait_s)
    except OSError as error:
        if error.errno not in _NO_LOCKS:
            raise cannot_write(path, error) from error
        # Some network drives know no locks. A set of files named by content needs none to be
        # safe; the worst that two writers can then do is to fork a chain, which a check tells.
        release = _nothing
    if release is None:
        raise LogBusy(
            f"Another program has been writing to the log in {path} for more than "
            f"{wait_s:.0f} s. Nothing was changed. Try again when it is done."
        )
    try:
        yield
    finally:
        release()


def _nothing() -> None:
    """What is to be done to give back a lock that there is none of."""


def _write_and_flush(path: Path, data: bytes) -> None:
    with open(path, "xb", buffering=0) as file:
        view = memoryview(data)
        while view:
            view = view[file.write(view) :]
        os.fsync(file.fileno())


def rename(source: Path, target: Path, replace: Callable[[Path, Path], None] | None = None) -> None:
    """Put a file in the place of another, again where a virus scanner holds one of them.

    replace: what does it; the system's.
    """
    for attempt in range(RENAME_TRIES):
        try:
            (replace or os.replace)(source, target)
            return
        except PermissionError:
            if os.name != "nt" or attempt == RENAME_TRIES - 1:
                raise
            time.sleep(0.05 * 2**attempt)
