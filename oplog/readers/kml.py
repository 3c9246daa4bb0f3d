"""KML: tracks (gx:Track, as many `when` as `gx:coord`), or else placemarks that each hold a point
and its time.

Source: OGC KML 2.3, elements Track and TimeStamp; before that the gx extension of KML 2.2.
"""

from __future__ import annotations

import re
from xml.parsers import expat

import numpy as np

from oplog.errors import Problem
from oplog.readers import _times, _xml
from oplog.readers._numbers import number
from oplog.readers._pairs import Item, pairs
from oplog.readers._rows import Rows, finish, unstated
from oplog.readers._tally import Tally
from oplog.records import dataclass
from oplog.track import Track, empty

_HEAD_BYTES = 65_536
_RESUME = re.compile(rb"<(?:[A-Za-z_][\w.-]*:)?(when|coord|Track|Placemark)(?=[\s>])")
_END = re.compile(rb"</(?:[\w.-]+:)?kml\s*>\s*$")
_VIEWS = {"LookAt", "Camera"}
"""They can have a time of their own: that of what is to be seen from there."""
_LEAVES = ("when", "begin", "coord", "coordinates")
_STARTS = (*_LEAVES, "Track", "Placemark")
"""What begins inside no time or place: there the end of that is missing."""
_END_TAGS = re.compile(rb"(?:\s*</[^<>]*>)*\s*")


def sniff(data: bytes) -> bool:
    """A kml element near the beginning."""
    head = data[:_HEAD_BYTES].replace(b"\0", b"")
    return b"<kml" in head or b":kml " in head


def read(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    """Each Track is a segment, all placemarks are one. Never raises for bad data."""
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
        if error is not None:
            _go_on(found, text, error, tally)
    except _xml.Refused as refused:
        line = text.count(b"\n", 0, refused.place) + 1
        tally.add(refused.message, line, 1, "the file is refused, nothing was fetched")
        return empty(), tally.problems()
    fixes = found.fixes or found.points
    if not fixes:
        other = " (lines without times)" if found.lines else ""
        what = f"KML without a gx:Track or points with times{other}"
        if found.unpaired and error is not None:
            what = "KML that is cut off before the places of its track"
        tally.add(what, done="nothing to read")
        return empty(), tally.problems()
    if found.fixes:
        known = {when for when, *_ in found.fixes}
        others = sum(when not in known for when, *_ in found.points)
        tally.add("points with times beside a track", None, others, "left out: the track is read")
    else:
        tally.add("points without a time among those with one", None, found.timeless, "left out")
    if found.unpaired:
        tally.add(
            "times and places of a track do not pair up",
            None,
            found.unpaired,
            "those without a partner set aside",
        )
    return finish(_rows(fixes), tally, zone, "KML"), tally.problems()


def _go_on(found: Tracks, text: bytes, damage: Damage, tally: Tally) -> None:
    """Read on behind each damage. Raises: _xml.Refused."""
    at, resumed = 0, -1
    stop: Damage | None = damage
    while stop is not None:
        place = found.base + stop.place
        line = found.base_line + stop.line
        at = max(place, at)
        start = found.resume(text, at)
        if start is None:
            if not _END_TAGS.fullmatch(text, at) or not _END.search(text):
                tally.add("cut off or damaged XML", line, 1, "read up to there")
            break
        tally.add("damaged XML", line, int(place != resumed), "stepped over")
        at, resumed, stop = start + 1, start, found.feed(text, start)
    found.end_track()


class Unclosed(Exception):
    """The end of a time or a place is missing: something else begins inside it."""


@dataclass(frozen=True)
class Damage:
    """What stopped a parser: the byte from which to look on, and the line, both from 0 or 1 where
    the parser began."""

    place: int
    line: int


class Tracks:
    """What has been read of a document so far; its methods are the parser's handlers.

    fixes, points: time, place and line of each fix of a track, and of each placemark.
    """

    def __init__(self) -> None:
        self.fixes: list[tuple[str, str, int, int]] = []
        self.points: list[tuple[str, str, int, int]] = []
        self.items: list[Item] = []
        self.holes: set[int] = set()
        self.when = self.place = ""
        self.segment = self.unpaired = self.lines = self.timeless = 0
        self.start = self.base = self.base_line = 0
        self.unclosed = Damage(0, 1)
        self.path: list[str] = []
        self.text: list[str] | None = None
        self.xml = _xml.new_parser(self.on_start, self.on_end, self.on_text)

    def feed(self, text: bytes, start: int = 0) -> Damage | None:
        """Read a document from a place on; what stopped it."""
        try:
            _xml.feed(self.xml, text, start, len(text))
            self.xml.Parse(b"", True)
        except expat.ExpatError as error:
            return Damage(self.xml.ErrorByteIndex, error.lineno)
        except Unclosed:
            return self.unclosed
        return None

    def resume(self, text: bytes, at: int) -> int | None:
        """Make a new parser ready to go on at the next element of use; where that is."""
        found = _RESUME.search(text, at)
        if found is None:
            return None
        tag = found[1].decode()
        above = {"Track": ("Placemark", "MultiTrack"), "Placemark": ("kml", "Document", "Folder")}
        inside = above.get(tag, ("Track", "TimeStamp"))
        kept = [k for k, raw in enumerate(self.path) if _local(raw) in inside]
        above_all = self.path[: kept[-1] + 1] if kept else ["kml"]
        frame = [raw for raw in above_all if _local(raw) not in _LEAVES]
        if tag in ("Track", "Placemark"):
            self.end_track()
        else:
            self.holes.add(len(self.items))
        self.path, self.text = [], None
        self.xml = _xml.new_parser(self.on_start, self.on_end, self.on_text)
        opened = "".join(f"<{raw}>" for raw in frame).encode()
        self.xml.Parse(opened, False)
        self.base_line += text.count(b"\n", self.start, found.start())
        self.start, self.base = found.start(), found.start() - len(opened)
        return self.start

    def on_start(self, tag: str, _: dict[str, str]) -> None:
        self.path.append(tag)
        if len(self.path) > _xml.DEEPEST:
            raise _xml.Refused(
                self.base + self.xml.CurrentByteIndex,
                f"elements are nested more than {_xml.DEEPEST} deep",
            )
        tag = _local(tag)
        if self.text is not None and tag in _STARTS:
            self.unclosed = Damage(self.xml.CurrentByteIndex, self.xml.CurrentLineNumber)
            raise Unclosed
        above = _local(self.path[-2]) if len(self.path) > 1 else ""
        self.lines += tag == "LineString"
        if tag == "Placemark":
            self.when = self.place = ""
        if (tag, above) in (
            ("when", "Track"),
            ("coord", "Track"),
            ("when", "TimeStamp"),
            ("begin", "TimeSpan"),
            ("coordinates", "Point"),
        ):
            self.text = []

    def on_end(self, tag: str) -> None:
        self.path.pop()
        tag = _local(tag)
        above = _local(self.path[-1]) if self.path else ""
        if tag == "Track":
            self.end_track()
        elif tag == "Placemark":
            if self.when and self.place:
                self.points.append((self.when, self.place, 0, self.line()))
            self.timeless += bool(self.place and not self.when)
        elif self.text is not None:
            text, self.text = "".join(self.text).strip(), None
            if above == "Track":
                self.items.append(Item(tag == "when", text, self.line()))
            elif tag in ("when", "begin"):
                if not _VIEWS.intersection(map(_local, self.path)):
                    self.when = text
            else:
                self.place = text

    def on_text(self, text: str) -> None:
        if self.text is not None:
            self.text.append(text)

    def line(self) -> int:
        """Line of the file that the parser stands at."""
        return self.base_line + int(self.xml.CurrentLineNumber)

    def end_track(self) -> None:
        """Pair times with places; an empty place is a moment without one."""
        if not self.items:
            return
        paired = pairs(self.items, self.holes, _readable)
        self.unpaired += len(self.items) - 2 * len(paired)
        self.fixes += [(w.text, c.text, self.segment, c.line) for w, c in paired if c.text]
        self.items, self.holes = [], set()
        self.segment += 1


def _local(tag: str) -> str:
    return tag.rpartition(":")[2]


def _readable(item: Item) -> bool:
    """Whether a time is a time, and a place has two numbers."""
    if item.is_time:
        return _times.parse_one(item.text)[1] != _times.BAD
    return all(part == part for part in map(number, item.text.replace(",", " ").split()))


def _rows(fixes: list[tuple[str, str, int, int]]) -> Rows:
    time_us, became = _times.parse([when for when, _, _, _ in fixes])
    places = np.array([_lonlat(place) for _, place, _, _ in fixes])
    columns = unstated(len(fixes))
    columns["segment"] = np.array([segment for _, _, segment, _ in fixes], np.int32)
    lines = np.array([line for _, _, _, line in fixes], np.int64)
    return Rows(time_us, became, places[:, 1], places[:, 0], **columns, where=lines)


def _lonlat(place: str) -> tuple[float, float]:
    lon, lat = [*place.replace(",", " ").split(), "", ""][:2]
    return number(lon), number(lat)
