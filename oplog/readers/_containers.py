"""Files inside files: gzip and zip, opened in memory, with a guard against bombs."""

from __future__ import annotations

import gzip
import io
import lzma
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from oplog.readers._tally import Tally

LARGEST_RATIO = 200
"""A track shrinks to a tenth or so; what unpacks to 200 times its size is a bomb."""
SMALL_BYTES = 1 << 20
LARGEST_BYTES = 2 << 30
LARGEST_MEMBER_BYTES = 512 << 20
"""What is larger has to be unpacked first: then it can be read in parts."""
DEEPEST = 4
BROKEN = (
    zipfile.BadZipFile,
    OSError,
    EOFError,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    ArithmeticError,
    LookupError,
    RuntimeError,  # NotImplementedError among them: a way of packing that is not known
    ValueError,
)
"""What the standard library raises on damaged archives."""
MOST_MEMBERS = 10_000


def is_container(data: bytes) -> bool:
    """Whether the bytes begin as gzip or zip do."""
    return data[:2] == b"\x1f\x8b" or data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def members(data: bytes, name: str, tally: Tally) -> Iterator[tuple[str, bytes]]:
    """Names and bytes of what is inside, containers in containers opened too.

    Names are for telling only: nothing is written anywhere. All that is unpacked, at every
    depth, counts against one limit.
    """
    left = [min(max(len(data) * LARGEST_RATIO, SMALL_BYTES), LARGEST_BYTES)]
    yield from _members(data, name, tally, left, 0)


def _members(
    data: bytes, name: str, tally: Tally, left: list[int], depth: int
) -> Iterator[tuple[str, bytes]]:
    """left: how many bytes may still be unpacked, in a list of one."""
    if not is_container(data):
        yield name, data
        return
    if depth >= DEEPEST:
        tally.add(f"archives in archives, more than {DEEPEST} deep", done="not opened")
        return
    unpack = _gzip if data[:2] == b"\x1f\x8b" else _zip
    for inner_name, inner in unpack(data, name, tally, left):
        yield from _members(inner, inner_name, tally, left, depth + 1)


def _gzip(data: bytes, name: str, tally: Tally, left: list[int]) -> Iterator[tuple[str, bytes]]:
    inner = _unpacked(lambda: gzip.GzipFile(fileobj=io.BytesIO(data)), "", tally, left)
    if inner is not None:
        yield name, inner


def _zip(data: bytes, name: str, tally: Tally, left: list[int]) -> Iterator[tuple[str, bytes]]:
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except BROKEN:
        tally.add("the zip file is cut off or damaged", done="nothing could be unpacked")
        return
    held = sorted(archive.infolist(), key=lambda i: i.filename)
    if len(held) > MOST_MEMBERS:
        tally.add(
            "files in the archive beyond the first 10 000",
            None,
            len(held) - MOST_MEMBERS,
            "not opened",
        )
    for info in held[:MOST_MEMBERS]:
        shown = _shown(info.filename)
        if info.filename.endswith("/") or _is_clutter(info.filename):
            continue
        if info.flag_bits & 1:
            tally.add(f"{shown} in the archive is locked with a password", done="not opened")
            continue
        inner = _unpacked(partial(archive.open, info), f"{shown} in the archive", tally, left)
        if inner is not None:
            yield f"{name}:{shown}" if name else shown, inner


def _unpacked(opened: Callable[[], Any], what: str, tally: Tally, left: list[int]) -> bytes | None:
    """What one packed file holds, or its beginning where it is damaged; None if too much."""
    out = io.BytesIO()
    try:
        with opened() as packed:
            while piece := packed.read(1 << 16):
                left[0] -= len(piece)
                if left[0] < 0:
                    what = what or "a compressed file that"
                    tally.add(f"{what} unpacks to a size no track has", done="refused")
                    return None
                if out.write(piece) and out.tell() > LARGEST_MEMBER_BYTES:
                    what = what or "a compressed file that"
                    most = f"{LARGEST_MEMBER_BYTES >> 20} MB"
                    tally.add(f"{what} unpacks to over {most}", done="unpack it and import that")
                    return None
    except BROKEN:
        what = what or "the compressed file"
        tally.add(f"{what} is cut off or damaged", done="what could be unpacked is read")
    return out.getvalue()


def _is_clutter(name: str) -> bool:
    last = name.rpartition("/")[2]
    return name.startswith("__MACOSX/") or last in (".DS_Store", "Thumbs.db", "desktop.ini")


def _shown(name: str) -> str:
    """A member's name without the folders that it claims, for telling only."""
    return name.replace("\\", "/").rpartition("/")[2] or name
