"""The bytes of the files to import: what cannot be read is told and stops no other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from oplog.flow.taking import FileTaken


def contents(
    files: Iterable[str], unread: list[FileTaken], written: dict[str, date] | None = None
) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each file, large ones in parts.

    unread: takes in those that cannot be read; written: the day that each was written.
    """
    from oplog.flow.taking import FileTaken

    for file in files:
        name = Path(file).name
        try:
            for part, data in _content(Path(file), name, unread):
                if written is not None:
                    written[part] = date.fromtimestamp(Path(file).stat().st_mtime)
                yield part, data
        except _TooLarge as too_large:
            unread.append(FileTaken(name, refused=str(too_large)))
        except OSError as error:
            unread.append(untold(error, file))


def untold(error: OSError, file: str = "") -> FileTaken:
    """What is said of a file or folder that cannot be read."""
    from oplog.flow.taking import FileTaken

    file = file or str(error.filename)
    why = (error.strerror or str(error)).lower()
    return FileTaken(
        Path(file).name,
        refused=f"{file} cannot be read: {why}. If a program or the device itself is using it, "
        "close that and import again. Nothing was added from it.",
    )


def is_a_log(folder: str) -> FileTaken:
    """What is said of a log among the folders to import."""
    from oplog.flow.taking import FileTaken

    name = Path(folder).name
    return FileTaken(
        name,
        refused=f"{name} is a log, not a track: oplog merge brings in what another log holds. "
        "Nothing was added from it.",
    )


class _TooLarge(Exception):
    """A file that can be read neither whole nor in parts."""


def _content(path: Path, name: str, unread: list[FileTaken]) -> Iterator[tuple[str, bytes]]:
    from oplog.readers import _parts

    size = path.stat().st_size
    if size <= _parts.WHOLE_BYTES:
        yield from _opened(path.read_bytes(), name, unread)
        return
    with path.open("rb") as opened:

        def read_at(place: int, count: int) -> bytes:
            opened.seek(place)
            return opened.read(count)

        parts = _parts.parts(read_at, size)
        if parts is None:
            raise _TooLarge(
                f"{name} holds {size / 1e9:.1f} GB and is none of the kinds that can be read in "
                "parts (GPX, NMEA and CSV). Export it in pieces of at most "
                f"{_parts.WHOLE_BYTES >> 20} MB. Nothing was added from it."
            )
        for number, part in enumerate(parts, 1):
            yield f"{name}, part {number}", part


def _opened(data: bytes, name: str, unread: list[FileTaken]) -> Iterator[tuple[str, bytes]]:
    """A file as it is; an archive of several files as if they lay in a folder, because they may be
    of several machines."""
    from oplog.flow.taking import FileTaken
    from oplog.readers import _containers
    from oplog.readers._tally import Tally

    if not _containers.is_container(data):
        yield name, data
        return
    tally = Tally(name)
    inside = _containers.members(data, name, tally)
    first, second = next(inside, None), next(inside, None)
    if first is None or second is None:
        yield name, data
        return
    yield from (first, second)
    yield from inside
    for p in tally.problems():
        rest = "" if p.done == _containers.BEGINNING_READ else " Nothing was added from it."
        unread.append(FileTaken(name, refused=f"{p}.{rest}"))
