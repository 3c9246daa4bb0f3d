"""Unpacking piece by piece, so that everything before the damage comes out.

The standard library's own files give up the whole of what they were last asked for; a key turned
too soon would cost the end of every packed track, and a wrong checksum all of it.

Source: RFC 1951 and 1952 (deflate, gzip); APPNOTE.TXT 6.3 (zip).
"""

from __future__ import annotations

import io
import lzma
import struct
import zipfile
import zlib
from collections.abc import Callable, Generator, Iterator
from functools import partial

from oplog.records import dataclass

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
"""What the standard library and this module raise on damaged archives."""

_GZIP, _RAW = 31, -15
_IN_BYTES = 1 << 16
_OUT_BYTES = 1 << 18
_STORED, _DEFLATED = 0, 8
_LOCAL = b"PK\x03\x04"
_LOCAL_BYTES = 30
_SIZE_BEHIND = 8
"""Flag of an entry whose size stands behind it, as it was not known when it was begun."""


@dataclass(frozen=True)
class Entry:
    """A file in a zip. listed: from the archive's list of files, which is at its end, and not
    found by itself. pieces: unpacks it, and raises one of BROKEN at the damage."""

    name: str
    locked: bool
    listed: bool
    pieces: Callable[[], Iterator[bytes]]


def gunzipped(data: bytes) -> Iterator[bytes]:
    """What gzip packed, one member behind another. Raises: one of BROKEN at the damage."""
    at = 0
    while data[at : at + 2] == b"\x1f\x8b":
        at = yield from _inflated(data, at, _GZIP)
        while data[at : at + 1] == b"\0":  # padding
            at += 1
    if at < len(data):
        raise ValueError("bytes of another kind behind the packed ones")


def zip_entries(data: bytes) -> list[Entry]:
    """The files in a zip, by its list or, where that is lost, as they are found."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return [_listed(data, info) for info in archive.infolist()]
    except BROKEN:
        return list(_found(data))


def is_empty_zip(data: bytes) -> bool:
    """Whether a zip is sound and holds nothing."""
    return data[:4] == b"PK\x05\x06" and len(data) >= 22


def _listed(data: bytes, info: zipfile.ZipInfo) -> Entry:
    def pieces() -> Iterator[bytes]:
        if info.compress_type not in (_STORED, _DEFLATED):
            with zipfile.ZipFile(io.BytesIO(data)) as archive, archive.open(info) as packed:
                while piece := packed.read(_IN_BYTES):
                    yield piece
            return
        begin = _behind_header(data, info.header_offset)
        sum_ = 0
        for piece in _packed(data, begin, begin + info.compress_size, info.compress_type):
            sum_ = zlib.crc32(piece, sum_)
            yield piece
        if sum_ != info.CRC:
            raise ValueError("the checksum differs")

    return Entry(info.filename, bool(info.flag_bits & 1), True, pieces)


def _found(data: bytes) -> Iterator[Entry]:
    """Files by the headers that stand before each."""
    at = data.find(_LOCAL)
    while 0 <= at <= len(data) - _LOCAL_BYTES:
        flags, method = struct.unpack_from("<HH", data, at + 6)
        size, _, name_bytes = struct.unpack_from("<IIH", data, at + 18)
        begin = _behind_header(data, at)
        name = data[at + _LOCAL_BYTES : at + _LOCAL_BYTES + name_bytes].decode("cp437")
        following = data.find(_LOCAL, begin)
        stop = following if following >= 0 else len(data)
        if not flags & _SIZE_BEHIND and size:
            stop = min(begin + size, len(data))
        if method in (_STORED, _DEFLATED):
            pieces = partial(_packed, data, begin, stop, method)
            yield Entry(name, bool(flags & 1), False, pieces)
        at = data.find(_LOCAL, max(begin, stop if following < 0 else min(stop, following)))


def _behind_header(data: bytes, at: int) -> int:
    """Where the bytes begin that a local header stands before. Raises: struct.error."""
    name_bytes, extra_bytes = struct.unpack_from("<HH", data, at + 26)
    return at + _LOCAL_BYTES + int(name_bytes) + int(extra_bytes)


def _packed(data: bytes, begin: int, stop: int, method: int) -> Iterator[bytes]:
    if method == _DEFLATED:
        yield from _inflated(data, begin, _RAW)
    else:
        for at in range(begin, stop, _OUT_BYTES):
            yield data[at : min(at + _OUT_BYTES, stop)]
        if stop > len(data):
            raise EOFError


def _inflated(data: bytes, at: int, kind: int) -> Generator[bytes, None, int]:
    """Unpack from a place on; where it ends. Raises: zlib.error or EOFError at the damage, after
    all that comes out before it."""
    machine = zlib.decompressobj(kind)
    while not machine.eof:
        fed = machine.unconsumed_tail
        if not fed:
            fed = data[at : at + _IN_BYTES]
            at += len(fed)
        before = machine.copy()
        try:
            piece = machine.decompress(fed, _OUT_BYTES)
        except zlib.error:
            # What came out of this piece before the damage is lost with the error: once more,
            # byte by byte, up to there.
            for k in range(len(fed)):
                yield before.decompress(fed[k : k + 1])
            raise
        if not fed and not piece:
            raise EOFError
        yield piece
    return at - len(machine.unused_data)
