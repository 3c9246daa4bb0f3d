"""Whatever a device wrote, told by its content, as one Track and what was wrong with it.

Each format is one module here with two functions: `sniff(data)` tells whether the bytes are of
its kind, `read(data, name, zone)` reads them. A new format is a new module: it is found by its
place. Modules whose name begins with an underscore are what the formats share.
"""

from __future__ import annotations

import pkgutil
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from importlib import import_module
from types import ModuleType

import numpy as np

from oplog.errors import Problem
from oplog.readers import _containers
from oplog.readers._tally import Tally
from oplog.track import Track, concat, empty

_COMMONEST = "gpx"
_DEGREES = rb"[ \"']*-?\d{1,3}\.\d+[ \"']*"
_NAMELESS = re.compile(
    rb"[^\n]*?(?:^|[;,\t])" + _DEGREES + rb"[;,\t]" + _DEGREES + rb"\r?(?:[;,\t\n]|$)"
)
"""A first line with two numbers side by side that can be degrees."""
_ERASED = b"\xff" * 4
_JSON = re.compile(rb"[\[{]\s*[\[{\"\d\]}-]")
_ARCHIVES = (
    (b"7z\xbc\xaf'\x1c", "7z"),
    (b"Rar!\x1a\x07", "rar"),
    (b"BZh", "bzip2"),
    (b"\xfd7zXZ\0", "xz"),
    (b"\x28\xb5\x2f\xfd", "zstd"),
)
_NOT_TRACKS = ("boundaries", "mentions", "rollover")


def read(data: bytes, *, name: str = "", zone: str | None = None) -> tuple[Track, list[Problem]]:
    """Read a track from the bytes of a file of any known format, compressed or not.

    name: what the file is called, for telling only. zone: IANA zone of times that state none.
    Returns: the track (fixes without a time have NaT) and what was found wrong, never raising
    for bad data. The same bytes always give the same track.
    """
    tally = Tally(name)
    tracks: list[Track] = []
    problems: list[Problem] = []
    for member, inside in _containers.members(data, name, tally):
        found, wrong = _read_one(inside, member, zone)
        tracks.append(found)
        problems += wrong
    problems = tally.problems() + problems
    if not tracks and not problems:
        problems = [Problem(name, None, "the archive is empty", done="nothing to read")]
    return _in_time_order(tracks), problems


def _read_one(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    data = _without_erased(data)
    if not re.search(rb"[^\0 \t\r\n]", data):
        what = "the file is empty" if b"\0" not in data else "the file holds nothing but zero bytes"
        return empty(), [Problem(name, None, what, done="nothing to read")]
    for module in _formats():
        if module.sniff(data):
            found: tuple[Track, list[Problem]] = module.read(data, name, zone)
            return found
    if _NAMELESS.match(data[:2048].removeprefix(b"\xef\xbb\xbf")):
        what = "a table with no line that names its columns: write one above, such as time,lat,lon"
        return empty(), [Problem(name, None, what, done="nothing to read")]
    return empty(), [Problem(name, None, _what_it_is(data), done="nothing to read")]


def _without_erased(data: bytes) -> bytes:
    """The same with zeros for the ones that erased memory is full of: a hole is a hole.

    As letters they would join what stands before a hole to what stands behind it.
    """
    if _ERASED not in data:
        return data
    data = data.replace(_ERASED, b"\0" * len(_ERASED))
    for _ in _ERASED[1:]:
        data = data.replace(b"\0\xff", b"\0\0")
    return data


@cache
def formats() -> tuple[ModuleType, ...]:
    """The modules that each read one format, by name."""
    return tuple(sorted(_formats(), key=lambda m: m.__name__))


def _formats() -> Iterator[ModuleType]:
    """The same, each made ready as it is asked for, and the commonest first."""
    names = [
        m.name
        for m in pkgutil.iter_modules(__path__)
        if not m.name.startswith("_") and m.name not in _NOT_TRACKS
    ]
    for name in sorted(names, key=lambda n: (n != _COMMONEST, n)):
        yield import_module(f"{__name__}.{name}")


def _in_time_order(tracks: list[Track]) -> Track:
    """Tracks of several members by their first time; those without times come last.

    Members of different devices leave the device unknown: they may be different machines'.
    """
    held = [t for t in tracks if len(t)]
    if len(held) == 1:
        return held[0]

    def first(t: Track) -> int:
        timed = t.time[~np.isnat(t.time)]
        return int(timed[0].astype(np.int64)) if len(timed) else np.iinfo(np.int64).max

    joined = concat(sorted(held, key=first))
    devices = {t.device for t in held}
    return joined if len(devices) == 1 else replace(joined, device="")


def _what_it_is(data: bytes) -> str:
    """A name for what cannot be read, for the person who has it in hand."""
    head = data[:2048].lstrip(b"\xef\xbb\xbf \t\r\n\0").lower()
    for start, what in (
        ((b"<!doctype html", b"<html"), "a web page, not a track"),
        ((b"<?xml", b"<"), "an XML file of a kind that holds no track known here"),
        ((b"%pdf",), "a PDF document, not a track"),
        ((b"\x89png", b"\xff\xd8\xff", b"gif8"), "a picture, not a track"),
        ((b"sqlite format",), "a database, not a track"),
        ((b"par1",), "a Parquet file, not a device's track"),
    ):
        if head.startswith(start):
            return what
    if _JSON.match(head):
        return "JSON without timed positions"
    for mark, kind in _ARCHIVES:
        if data.startswith(mark):
            return f"an archive of a kind not opened here ({kind}): unpack it first"
    if data[8:12] == b".FIT":
        return "a FIT file: export the track as GPX from its program"
    if b"\0" in data[:2048] or sum(b < 9 for b in data[:2048]) > 8:
        return "a binary file of a kind not known here"
    return "text without any position in a form known here"
