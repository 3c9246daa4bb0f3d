"""Files inside files: gzip and zip, opened in memory, with a guard against bombs."""

from __future__ import annotations

import io
from collections.abc import Iterator

from oplog.readers._tally import Tally

LARGEST_RATIO = 200
"""A track shrinks to a tenth or so; what unpacks to 200 times its size is a bomb."""
SMALL_BYTES = 1 << 20
LARGEST_BYTES = 2 << 30
LARGEST_MEMBER_BYTES = 512 << 20
"""What is larger has to be unpacked first: then it can be read in parts."""
DEEPEST = 4
MOST_MEMBERS = 10_000
_PICTURES = (".png", ".jpg", ".jpeg", ".gif", ".dae")
"""Beside a KML file they are what it draws its points with."""
_OFFICE = ({"[Content_Types].xml"}, {"mimetype", "content.xml"})
"""What the archives that office programs write hold, of either family."""
BEGINNING_READ = "what could be unpacked is read"
"""What is done with what is packed in a damaged archive."""


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
    from oplog.readers import _inflate

    inner = _unpacked(_inflate.gunzipped(data), "", tally, left)
    if inner is not None:
        yield name, inner


def _zip(data: bytes, name: str, tally: Tally, left: list[int]) -> Iterator[tuple[str, bytes]]:
    from oplog.readers import _inflate

    held = sorted(_inflate.zip_entries(data), key=lambda e: e.name)
    if held and not held[0].listed:
        what = "the zip file is cut off or damaged: its list of files is gone"
        tally.add(what, done=BEGINNING_READ)
    elif not held and not _inflate.is_empty_zip(data):
        tally.add("the zip file is cut off or damaged", done="nothing could be unpacked")
    names = {entry.name for entry in held}
    if any(names.issuperset(those) for those in _OFFICE):
        what = "a document or spreadsheet: save its table as CSV and import that"
        tally.add(what, done="nothing to read")
        return
    if len(held) > MOST_MEMBERS:
        tally.add(
            "files in the archive beyond the first 10 000",
            None,
            len(held) - MOST_MEMBERS,
            "not opened",
        )
    drawn = any(entry.name.lower().endswith(".kml") for entry in held)
    for entry in held[:MOST_MEMBERS]:
        shown = _shown(entry.name)
        icon = drawn and entry.name.lower().endswith(_PICTURES)
        if entry.name.endswith("/") or icon or _is_clutter(entry.name):
            continue
        if entry.locked:
            tally.add(f"{shown} in the archive is locked with a password", done="not opened")
            continue
        inner = _unpacked(entry.pieces(), f"{shown} in the archive", tally, left)
        if inner is not None:
            yield f"{name}:{shown}" if name else shown, inner


def _unpacked(pieces: Iterator[bytes], what: str, tally: Tally, left: list[int]) -> bytes | None:
    """What one packed file holds, or its beginning where it is damaged; None if too much."""
    from oplog.readers import _inflate

    out = io.BytesIO()
    try:
        for piece in pieces:
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
    except _inflate.BROKEN:
        what = what or "the compressed file"
        tally.add(f"{what} is cut off or damaged", done=BEGINNING_READ)
    return out.getvalue()


def _is_clutter(name: str) -> bool:
    last = name.rpartition("/")[2]
    # beside each file, on media that keep no attributes, Apple puts ._ and its name
    if last.startswith("._"):
        return True
    return name.startswith("__MACOSX/") or last in (".DS_Store", "Thumbs.db", "desktop.ini")


def _shown(name: str) -> str:
    """A member's name without the folders that it claims, for telling only."""
    return name.replace("\\", "/").rpartition("/")[2] or name
