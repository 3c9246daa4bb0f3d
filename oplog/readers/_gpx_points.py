"""What has been read of a GPX document so far: the handlers of its parser.

Elements are known by their local names, whatever their prefix.
"""

from __future__ import annotations

import re

import numpy as np

from oplog.readers import _times, _xml
from oplog.readers._gpx_fast import QUALITY, is_value
from oplog.readers._numbers import numbers
from oplog.readers._rows import Rows, join
from oplog.track import NOT_STATED

_ROWS_AT_ONCE = 50_000


_OPENS = re.compile(rb"<!--|<!\[CDATA\[|<\?")
_CLOSES = {b"<!--": b"-->", b"<![CDATA[": b"]]>", b"<?": b"?>"}


def _left_open(text: bytes, start: int, stop: int, closes: bytes) -> bytes:
    """What would close the comment or the like that a stretch of text ends in; empty for none.

    closes: the same of the text before.
    """
    at = start
    while True:
        if closes:
            end = text.find(closes, at, stop)
            if end < 0:
                return closes
            at = end + len(closes)
        opened = _OPENS.search(text, at, stop)
        if opened is None:
            return b""
        closes, at = _CLOSES[opened[0]], opened.end()


class Points:
    """What has been read of a document so far; its methods are the parser's handlers."""

    def __init__(self) -> None:
        self.parts: list[Rows] = []
        self.creator = self.source = self.track_name = ""
        self.waypoints = self.route_points = 0
        self.segment = -1
        self.in_point = False
        self.point_depth = 0
        self.unclosed = b""
        self.in_cdata = False
        self.base = self.refusals = 0
        self.next = 0
        self.path: list[str] = []
        self.lats: list[str | None] = []
        self.lons: list[str | None] = []
        self.values: list[dict[str, str]] = []
        self.segments: list[int] = []
        self.places: list[int] = []
        self.point: dict[str, str] = {}
        self.text: list[str] | None = None

    def begin(self, start: int, frame: bytes = b"") -> None:
        """A new parser, for text from `start` on, that stands inside the elements of a frame."""
        self.path, self.in_point, self.text = [], False, None
        self.unclosed, self.in_cdata = b"", False
        self.base = start - len(frame)
        self.xml = _xml.new_parser(self.on_start, self.on_end, self.on_text)
        self.xml.StartCdataSectionHandler = lambda: self.on_cdata(True)
        self.xml.EndCdataSectionHandler = lambda: self.on_cdata(False)
        if frame:
            self.xml.Parse(frame, False)

    def parse(self, text: bytes, start: int, stop: int) -> None:
        """Give the parser a stretch of the text, in pieces."""
        _xml.feed(self.xml, text, start, stop)
        marked = any(text.find(mark, start, stop) >= 0 for mark in (b"<!", b"<?"))
        if marked or self.unclosed:
            self.unclosed = _left_open(text, start, stop, self.unclosed)

    def next_in(self, text: bytes, at: int) -> int:
        """Where the next point begins from a place on, -1 for none; looked for once, however
        often the reader goes on behind a damage before it."""
        if 0 <= self.next < max(at, 1):
            self.next = text.find(b"<trkpt", at)
        return self.next

    def in_markup(self) -> bool:
        """Whether the text given so far may end inside a comment or the like."""
        return bool(self.unclosed) or self.in_cdata

    def on_cdata(self, begins: bool) -> None:
        self.in_cdata = begins

    def on_start(self, tag: str, attributes: dict[str, str]) -> None:
        tag = tag.rpartition(":")[2]
        self.path.append(tag)
        if len(self.path) > _xml.DEEPEST:
            raise _xml.Refused(
                self.base + self.xml.CurrentByteIndex,
                f"elements are nested more than {_xml.DEEPEST} deep",
            )
        if tag == "trkpt":
            if self.in_point:  # the end of the point before is missing
                self.give_up_point()
            self.in_point = True
            self.point_depth = len(self.path)
            self.point = {}
            self.lats.append(attributes.get("lat"))
            self.lons.append(attributes.get("lon"))
            self.places.append(self.base + self.xml.CurrentByteIndex)
        elif self.in_point:
            depth = len(self.path) - self.point_depth + 1
            if is_value(tag, depth) and tag not in self.point:
                self.text = []
        elif tag == "trkseg":
            self.segment += 1
        elif tag == "gpx":
            self.creator = self.creator or attributes.get("creator", "")
        elif tag in ("wpt", "rtept"):
            self.waypoints += tag == "wpt"
            self.route_points += tag == "rtept"
        elif tag in ("name", "src") and self.path[-2:-1] == ["trk"]:
            self.text = []

    def on_end(self, tag: str) -> None:
        tag = self.path.pop()
        if tag == "trkpt" and self.in_point:
            self.values.append(self.point)
            self.segments.append(max(self.segment, 0))
            self.in_point = False
            if len(self.values) >= _ROWS_AT_ONCE:
                self.flush()
        elif self.text is not None and self.path:
            text, self.text = "".join(self.text).strip(), None
            if self.in_point:
                self.point.setdefault(tag, text)
            elif tag == "src":
                self.source = self.source or text
            else:
                self.track_name = self.track_name or text

    def on_text(self, text: str) -> None:
        if self.text is not None:
            self.text.append(text)

    def give_up_point(self) -> None:
        """Forget a point that the damage cut in two, and draw no line across the damage."""
        n = len(self.values)
        del self.lats[n:], self.lons[n:], self.places[n:]
        self.segment += 1

    def flush(self) -> None:
        """Turn the points read so far into arrays."""
        n = len(self.values)
        time_us, became = _times.parse([v.get("time", "") for v in self.values])
        fixes = [v.get("fix", "").lower() for v in self.values]
        self.parts.append(
            Rows(
                time_us=time_us,
                became=became,
                lat=numbers(self.lats[:n]),
                lon=numbers(self.lons[:n]),
                speed_m_s=numbers([v.get("speed") for v in self.values]),
                course_deg=numbers([v.get("course") for v in self.values]),
                hdop=numbers([v.get("hdop") for v in self.values]),
                quality=np.array([QUALITY.get(f, NOT_STATED) for f in fixes], np.int8),
                segment=np.array(self.segments, np.int32),
                where=np.array(self.places[:n], np.int64),
            )
        )
        self.values, self.segments = [], []
        del self.lats[:n], self.lons[:n], self.places[:n]

    def add(self, rows: Rows) -> None:
        """Take in points that were read another way."""
        if self.values:
            self.flush()
        self.parts.append(rows)
        self.segment = int(rows.segment[-1])

    def rows(self) -> Rows:
        """All points read."""
        if self.values or not self.parts:
            self.flush()
        return join(self.parts)

    def device(self) -> str:
        """Creator, and what the track says of its source or begins its name with."""
        named = re.match(r"[^\W\d][^\d]*(?=\d)", self.track_name)
        label = self.source or (named[0].strip(" -_.:#") if named else "")
        return " | ".join(x for x in (self.creator.strip(), label) if x)
