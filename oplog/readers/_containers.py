"""Files inside files: gzip and zip, opened in memory, with a guard against bombs."""

from __future__ import annotations

import gzip
import io
import zipfile
import zlib
from collections.abc import Iterator

from oplog.readers._tally import Tally

LARGEST_RATIO = 200
"""A track shrinks to a tenth or so; what unpacks to 200 times its size is a bomb."""
SMALL_BYTES = 1 << 20
LARGEST_BYTES = 2 << 30
DEEPEST = 4
MOST_MEMBERS = 10_000


def is_container(data: bytes) -> bool:
    """Whether the bytes begin as gzip or zip do."""
    return data[:2] == b"\x1f\x8b" or data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def members(data: bytes, name: str, tally: Tally, depth: int = 0) -> Iterator[tuple[str, bytes]]:
    """Names and bytes of what is inside, containers in containers opened too.

    Names are for telling only: nothing is written anywhere.
    """
    if not is_container(data):
        yield name, data
        return
    if depth >= DEEPEST:
        tally.add(f"archives in archives, more than {DEEPEST} deep", done="not opened")
        return
    inside = _gzip(data, name, tally) if data[:2] == b"\x1f\x8b" else _zip(data, name, tally)
    for inner_name, inner in inside:
        yield from members(inner, inner_name, tally, depth + 1)


def _most(packed: int) -> int:
    return min(max(packed * LARGEST_RATIO, SMALL_BYTES), LARGEST_BYTES)


def _gzip(data: bytes, name: str, tally: Tally) -> Iterator[tuple[str, bytes]]:
    out, most = bytearray(), _most(len(data))
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as packed:
            while piece := packed.read(1 << 16):
                out += piece
                if len(out) > most:
                    tally.add(
                        "a compressed file that unpacks to a size no track has", done="refused"
                    )
                    return
    except (OSError, EOFError, zlib.error):
        tally.add(
            "the compressed file is cut off or damaged", done="what could be unpacked is read"
        )
    yield name, bytes(out)


def _zip(data: bytes, name: str, tally: Tally) -> Iterator[tuple[str, bytes]]:
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        tally.add("the zip file is cut off or damaged", done="nothing could be unpacked")
        return
    budget = _most(len(data))
    for info in sorted(archive.infolist()[:MOST_MEMBERS], key=lambda i: i.filename):
        if info.is_dir() or _is_clutter(info.filename):
            continue
        inner = _member(archive, info, budget, tally)
        if inner is None:
            continue
        budget -= len(inner)
        yield f"{name}:{_shown(info.filename)}" if name else _shown(info.filename), inner


def _member(
    archive: zipfile.ZipFile, info: zipfile.ZipInfo, budget: int, tally: Tally
) -> bytes | None:
    shown = _shown(info.filename)
    if info.flag_bits & 1:
        tally.add(f"{shown} in the archive is locked with a password", done="not opened")
        return None
    out = bytearray()
    try:
        with archive.open(info) as packed:
            while piece := packed.read(1 << 16):
                out += piece
                if len(out) > budget:
                    tally.add(
                        f"{shown} in the archive unpacks to a size no track has", done="refused"
                    )
                    return None
    except (
        zipfile.BadZipFile,
        OSError,
        EOFError,
        zlib.error,
        NotImplementedError,
        RuntimeError,
        ValueError,
    ):
        tally.add(f"{shown} in the archive is damaged", done="what could be unpacked is read")
    return bytes(out)


def _is_clutter(name: str) -> bool:
    last = name.rpartition("/")[2]
    return name.startswith("__MACOSX/") or last in (".DS_Store", "Thumbs.db", "desktop.ini")


def _shown(name: str) -> str:
    """A member's name without the folders that it claims, for telling only."""
    return name.replace("\\", "/").rpartition("/")[2] or name
