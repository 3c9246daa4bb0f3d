"""KML tracks (gx:Track): as many `when` as `gx:coord`, in the same order.

Source: OGC KML 2.3, element Track; before that the gx extension of KML 2.2.
"""

from __future__ import annotations

from xml.parsers import expat

import numpy as np

from oplog.errors import Problem
from oplog.readers import _times, _xml
from oplog.readers._numbers import number
from oplog.readers._rows import Rows, finish, unstated
from oplog.readers._tally import Tally
from oplog.track import Track, empty

_HEAD_BYTES = 65_536


def sniff(data: bytes) -> bool:
    """A kml element near the beginning."""
    head = data[:_HEAD_BYTES].replace(b"\0", b"")
    return b"<kml" in head or b":kml " in head


def read(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    """Each Track is a segment. Never raises for bad data."""
    tally = Tally(name)
    text = _xml.as_utf8(data, tally)
    found = Tracks()
    try:
        _xml.refuse_tricks(text)
        error = found.feed(text)
        if error is not None:
            found = Tracks()
            text = _xml.repaired(text, tally)
            error = found.feed(text)
    except _xml.Refused as refused:
        line = text.count(b"\n", 0, refused.place) + 1
        tally.add(refused.message, line, 1, "the file is refused, nothing was fetched")
        return empty(), tally.problems()
    if error is not None:
        tally.add("cut off or damaged XML", error.lineno, 1, "read up to there")
        found.end_track()
    if not found.places:
        other = " (lines without times)" if found.lines else ""
        tally.add(f"KML without a gx:Track{other}", done="nothing to read")
        return empty(), tally.problems()
    if found.unpaired:
        tally.add(
            "times and places of a track do not pair up",
            None,
            found.unpaired,
            "those without a partner set aside",
        )
    return finish(_rows(found), tally, zone, "KML"), tally.problems()


class Tracks:
    """What has been read of a document so far; its methods are the parser's handlers."""

    def __init__(self) -> None:
        self.times: list[str] = []
        self.coords: list[str] = []
        self.paired: list[str] = []
        self.places: list[tuple[float, float]] = []
        self.segments: list[int] = []
        self.rows: list[int] = []
        self.at_row: list[int] = []
        self.segment = self.unpaired = self.lines = self.depth = 0
        self.in_track = False
        self.text: list[str] | None = None
        self.xml = _xml.new_parser(self.on_start, self.on_end, self.on_text)

    def feed(self, text: bytes) -> expat.ExpatError | None:
        """Read a document; the error that stopped it."""
        try:
            for at in range(0, len(text), _xml.CHUNK_BYTES):
                self.xml.Parse(text[at : at + _xml.CHUNK_BYTES], False)
            self.xml.Parse(b"", True)
        except expat.ExpatError as error:
            return error
        return None

    def on_start(self, tag: str, _: dict[str, str]) -> None:
        self.depth += 1
        if self.depth > _xml.DEEPEST:
            raise _xml.Refused(
                self.xml.CurrentByteIndex, f"elements are nested more than {_xml.DEEPEST} deep"
            )
        tag = tag.rpartition(":")[2]
        self.lines += tag == "LineString"
        if tag == "Track":
            self.in_track = True
        elif self.in_track and tag in ("when", "coord"):
            self.text = []

    def on_end(self, tag: str) -> None:
        self.depth -= 1
        tag = tag.rpartition(":")[2]
        if tag == "Track":
            self.end_track()
        elif self.text is not None and tag in ("when", "coord"):
            text, self.text = "".join(self.text).strip(), None
            if tag == "when":
                self.times.append(text)
            else:
                self.coords.append(text)
                self.at_row.append(self.xml.CurrentLineNumber)

    def on_text(self, text: str) -> None:
        if self.text is not None:
            self.text.append(text)

    def end_track(self) -> None:
        """Pair times with places; an empty place is a moment without one."""
        n = min(len(self.times), len(self.coords))
        self.unpaired += abs(len(self.times) - len(self.coords))
        for time, coord, row in zip(self.times[:n], self.coords[:n], self.at_row[:n], strict=True):
            if coord:
                lon, lat = [*coord.replace(",", " ").split(), "", ""][:2]
                self.paired.append(time)
                self.places.append((number(lat), number(lon)))
                self.segments.append(self.segment)
                self.rows.append(row)
        self.times, self.coords, self.at_row = [], [], []
        self.segment += 1
        self.in_track = False


def _rows(found: Tracks) -> Rows:
    time_us, became = _times.parse(found.paired)
    places = np.array(found.places)
    columns = unstated(len(places))
    columns["segment"] = np.array(found.segments, np.int32)
    return Rows(
        time_us,
        became,
        places[:, 0],
        places[:, 1],
        **columns,
        where=np.array(found.rows, np.int64),
    )
