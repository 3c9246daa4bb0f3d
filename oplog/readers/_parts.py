"""Files too large to be held at once, cut into parts that each stand by themselves."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from oplog.records import dataclass

WHOLE_BYTES = 128 << 20
"""Files up to this are read whole."""
PART_BYTES = 64 << 20

_HEAD_BYTES = 1 << 20
_WIDE = (b"\xff\xfe", b"\xfe\xff")
_POINT = re.compile(rb"<((?:[\w.-]+:)?)trkpt[\s>]")

ReadAt = Callable[[int, int], bytes]
"""The bytes from a place on, so many of them (fewer at the end)."""


@dataclass(frozen=True)
class _Cut:
    """Where a file may be cut: before or behind `mark`; what each part is put between."""

    mark: bytes
    behind: bool
    lead: bytes
    tail: bytes


def parts(read_at: ReadAt, size: int) -> Iterator[bytes] | None:
    """A large GPX, NMEA or CSV file in parts; None where it is of a kind that cannot be cut.

    Each part is a document of its own, with the head of the file before it, so that its device is
    known. Of stretches of nothing but zero bytes the first is given and the rest passed over.
    """
    head = read_at(0, _HEAD_BYTES)
    cut = _how(head)
    return None if cut is None else _parts(read_at, size, cut)


def _how(head: bytes) -> _Cut | None:
    from oplog.readers import csv, gpx, nmea

    if head[:2] in _WIDE or b"\0" in head[:4]:
        return None
    if gpx.sniff(head):
        first = _POINT.search(head)
        if first is None:
            return None
        close = b"".join(b"</" + first[1] + tag + b">" for tag in (b"trkseg", b"trk", b"gpx"))
        return _Cut(b"<" + first[1] + b"trkpt", False, head[: first.start()], close + b"\n")
    if nmea.sniff(head):
        return _Cut(b"\n", True, b"", b"")
    if csv.sniff(head):
        return _Cut(b"\n", True, head[: csv.behind_header(head)], b"")
    return None


def _parts(read_at: ReadAt, size: int, cut: _Cut) -> Iterator[bytes]:
    at, zeros = 0, False
    while at < size:
        piece = read_at(at, PART_BYTES)
        if not piece:
            return
        last = at + len(piece) >= size
        if not last:
            place = piece.rfind(cut.mark)
            if place > 0 and b"\0" not in piece[place:]:
                piece = piece[: place + len(cut.mark) * cut.behind]
        whole = piece.lstrip(b"\0") if at else piece
        if whole:
            lead = cut.lead if at else b""
            yield b"".join((lead, whole, b"" if last else cut.tail))
        elif not zeros:
            zeros = True
            yield piece[:1]
        at += len(piece)
