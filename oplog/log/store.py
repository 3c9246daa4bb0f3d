"""The fixes and imported files of a log's folder: put there, found again, and copied."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path

from oplog.events import Event, TrackImported
from oplog.log import disk, kept
from oplog.log.folder import FIXES, RAW
from oplog.log.kept import Packed
from oplog.track import Track


def whole(path: Path, folder: str, digest: str) -> Iterator[bytes]:
    """The bytes of the files in a folder of a log that hold what has this digest, or stand in its
    place, and are what was written."""
    if not digest.isalnum():
        return
    found = (path / folder).glob(f"{digest}-*")
    # What is left after a forgetting comes before what it stands in the place of.
    for file in sorted(found, key=lambda p: (-p.name.count("-"), p.name)):
        if not kept.is_kept(file.name):  # still being written
            continue
        try:
            data = file.read_bytes()
        except OSError:
            continue
        if kept.as_named(file.name, data):
            yield data


def keep(
    path: Path,
    fixes: Mapping[str, Track | Packed],
    raw: Mapping[str, bytes | Packed],
    events: Iterable[Event],
) -> list[str]:
    """Put tracks and imported files that are not there yet into a log's folder.

    Returns: names of the files written, without their endings.
    Raises: CannotWrite; ValueError for what does not have the digest that it is given under.
    """
    stands_in = {e.file_digest: e.kept for e in events if isinstance(e, TrackImported) and e.kept}
    written = []
    for digest, track in fixes.items():
        content, data = _packed(track)
        if content != digest:
            raise ValueError(f"these fixes are not {digest}")
        if not any(whole(path, FIXES, digest)):
            name = kept.fixes_name(digest, data)
            disk.write_whole(path / FIXES, name, data)
            written.append(kept.stem(name))
    for digest, file in raw.items():
        content, data = _packed(file)
        if content != stands_in.get(digest, digest):
            raise ValueError(f"this file is not {digest}")
        if not any(whole(path, RAW, digest)):
            name = kept.raw_name(digest, data, stands_in.get(digest))
            disk.write_whole(path / RAW, name, data)
            written.append(kept.stem(name))
    return written


def _packed(content: Track | bytes | Packed) -> Packed:
    return content if isinstance(content, Packed) else kept.packed(content)


def copy(path: Path, other: Path, folder: str, not_here: Collection[str]) -> None:
    """Copy what another log keeps and this one does not. not_here: digests of what was forgotten.

    Raises: CannotWrite.
    """
    if not (other / folder).is_dir():
        return
    for file in sorted((other / folder).iterdir()):
        if not kept.is_kept(file.name):
            continue
        name = kept.parts(file.name)
        # Of what was forgotten only what is left of it is copied, never the whole.
        forgotten = name.stands_for in not_here and (
            folder == RAW or name.content == name.stands_for
        )
        if not forgotten and not any(whole(path, folder, name.stands_for)):
            data = file.read_bytes()
            if kept.as_named(file.name, data):
                disk.write_whole(path / folder, file.name, data)
