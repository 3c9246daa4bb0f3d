"""Whether a file speaks of a place at all, read as a track or not.

A waypoint, a box around the track, a line that no reader takes: a file may name a place without
having a fix in it. Every number in the text is looked at, whatever it may mean, so that nothing
that could be a position there is missed; a number that only looks like one costs nothing but that
the file is rewritten.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from oplog.readers import _containers
from oplog.readers._tally import Tally

Box = tuple[float, float, float, float]
"""West, south, east, north. [degree]"""

_DECIMAL = re.compile(rb"\d{1,3}[.,]\d{2,}")
_WHOLE_E7 = re.compile(rb"(?<![\d.])\d{6,10}(?![\d.])")
_MINUTES = re.compile(rb"(?<![\d.])(\d{1,3})(\d{2}\.\d+)")
_SEXAGESIMAL = re.compile(
    rb"(?<![\d.])(\d{1,3})\s*(?:\xc2?\xb0|d|(?=\s\d\d\.\d))\s*(\d{1,2}(?:[.,]\d+)?)"
    rb"(?:\s*(?:'|\xe2\x80\xb2|m)\s*(\d{1,2}(?:[.,]\d+)?))?"
)
_APART_BY_BLANK = re.compile(rb"[d\s]\d{1,2}[.,]\d")
_APART = 4
"""Latitude and longitude of one position stand no further apart than this many numbers."""


def mentions(data: bytes, boxes: Sequence[Box]) -> bool:
    """Whether a file, compressed or not, has numbers that could be a position within a box.

    True also for an archive that cannot be read to its end.
    """
    if not boxes:
        return False
    tally = Tally("")
    found = any(
        _hit(numbers, box)
        for _, inside in _containers.members(data, "", tally)
        for numbers in _numbers(inside)
        for box in boxes
    )
    return found or bool(tally.problems())


def _numbers(text: bytes) -> list[NDArray[np.float64]]:
    """The numbers of a text in their order, read in the four ways that positions are written.

    Of two bytes a letter one is zero.
    """
    text = text.replace(b"\0", b"")
    decimals = np.array(
        [m.replace(b",", b".") for m in _DECIMAL.findall(text)], dtype="S24"
    ).astype(np.float64)
    whole = np.array(_WHOLE_E7.findall(text), dtype="S10").astype(np.float64) / 1e7
    split = _MINUTES.findall(text)
    degrees = np.array([d for d, _ in split], dtype="S3").astype(np.float64)
    minutes = np.array([m for _, m in split], dtype="S16").astype(np.float64)
    return [decimals, whole, degrees + minutes / 60.0, _sexagesimal(text)]


def _sexagesimal(text: bytes) -> NDArray[np.float64]:
    """Degrees, minutes and perhaps seconds, with marks or blanks between."""
    if b"\xb0" not in text and not _APART_BY_BLANK.search(text):
        return np.zeros(0)  # most files: looking at every number once more takes half as long again
    return np.array(
        [
            float(d) + (float(m.replace(b",", b".")) + float(s.replace(b",", b".") or 0) / 60) / 60
            for d, m, s in _SEXAGESIMAL.findall(text)
        ],
        dtype=np.float64,
    )


def _hit(numbers: NDArray[np.float64], box: Box) -> bool:
    """Whether a latitude and a longitude of the box stand close together, in either order.

    Signs are left aside: a hemisphere may be a letter.
    """
    west, south, east, north = box
    lat = np.flatnonzero(_between(numbers, south, north))
    lon = np.flatnonzero(_between(numbers, west, east))
    if not len(lat) or not len(lon):
        return False
    after = np.searchsorted(lon, lat)
    behind, ahead = lon[np.maximum(after - 1, 0)], lon[np.minimum(after, len(lon) - 1)]
    nearest = np.minimum(np.abs(behind - lat), np.abs(ahead - lat))
    return bool((nearest <= _APART).any())


def _between(numbers: NDArray[np.float64], low: float, high: float) -> NDArray[np.bool_]:
    near = 0.0 if low <= 0.0 <= high else min(abs(low), abs(high))
    return np.asarray((numbers >= near) & (numbers <= max(abs(low), abs(high))))
