"""A track as the log rewrites it where the device's own file may not be kept.

Text, one fix a line, in the order of the log: what is in a `Track` and nothing else, so that
waypoints, comments and headings of the file, which may speak of a place too, are not in it.
Reading it gives the very track that was written.
"""

from __future__ import annotations

import json

import numpy as np

from oplog.errors import Problem
from oplog.readers._tally import Tally
from oplog.track import COLUMNS, Track, empty, track

_FIRST = "# oplog track, rewritten without what is private or forgotten; device "
_NAMES = ("time_utc", *COLUMNS[1:])
_DIGITS = {"lat": 7, "lon": 7, "speed_m_s": 3, "course_deg": 2, "hdop": 2}


def write(fixes: Track) -> bytes:
    """The bytes of a track of timed fixes, rounded as the log keeps them."""
    texts = [np.datetime_as_string(fixes.time.astype("datetime64[us]")).tolist()]
    for name in COLUMNS[1:]:
        values = getattr(fixes, name).tolist()
        digits = _DIGITS.get(name)
        if digits is None:
            texts.append([str(v) for v in values])
        else:
            texts.append(["" if v != v else f"{v:.{digits}f}" for v in values])
    head = [_FIRST + json.dumps(fixes.device), ",".join(_NAMES)]
    return ("\n".join([*head, *map(",".join, zip(*texts, strict=True))]) + "\n").encode()


def sniff(data: bytes) -> bool:
    """Whether this was written by `write`."""
    return data.startswith(_FIRST.encode())


def read(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    """The track of such a file. Lines that are not whole are left out and counted."""
    tally = Tally(name)
    lines = data.decode("utf-8", "replace").splitlines()
    rows = []
    for number, line in enumerate(lines[2:], start=3):
        row = line.split(",")
        if len(row) == len(_NAMES) and _whole(row):
            rows.append(row)
        else:
            tally.add("not a fix as the log writes them", number, done="left out")
    if not rows:
        return empty(), tally.problems() or [Problem(name, None, "holds no fix", done="")]
    columns = list(zip(*rows, strict=True))
    floats = [np.array([float(v or "nan") for v in c]) for c in columns[1:6]]
    return track(
        np.array(columns[0], dtype="datetime64[us]"),
        floats[0],
        floats[1],
        speed_m_s=floats[2],
        course_deg=floats[3],
        hdop=floats[4],
        quality=np.array(columns[6], dtype=np.int8),
        segment=np.array(columns[7], dtype=np.int32),
        device=_device(lines[0]),
    ), tally.problems()


def _whole(row: list[str]) -> bool:
    try:
        np.datetime64(row[0], "us")
        [float(v or "nan") for v in row[1:6]]
        return -128 <= int(row[6]) < 128 and 0 <= int(row[7]) < 2**31
    except ValueError:
        return False


def _device(line: str) -> str:
    try:
        return str(json.loads(line[len(_FIRST) :]))
    except ValueError:
        return ""
