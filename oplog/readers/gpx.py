"""GPX 1.0 and 1.1: tracks as phones, loggers and programs write them.

The reader is a stream over expat that steps over damage and goes on behind it. Where the file is
whole and plainly written, _gpx_fast reads its points many at a time and this module only its
frame.

Source: GPX 1.1 schema documentation and the GPX 1.0 developer's manual (topografix.com).
"""

from __future__ import annotations

import re
from xml.parsers import expat

from oplog.errors import Problem
from oplog.readers import _gpx_fast, _speeds, _xml
from oplog.readers._gpx_points import Points
from oplog.readers._rows import finish
from oplog.readers._tally import Tally
from oplog.track import Track, empty

_ROOT = re.compile(rb"<(?:[\w.-]+:)?gpx[\s>/]")
_RESUME = re.compile(rb"<((?:[A-Za-z_][\w.-]*:)?)(gpx|trkpt|trkseg|trk)(?=[\s>])")
_POINT = re.compile(rb"<(?:[\w.-]+:)?trkpt\b[^>]*$")
_TRACK = ["gpx", "trk", "trkseg"]
_UNFINISHED = tuple(
    expat.errors.codes[e]
    for e in (
        expat.errors.XML_ERROR_NO_ELEMENTS,
        expat.errors.XML_ERROR_UNCLOSED_TOKEN,
        expat.errors.XML_ERROR_PARTIAL_CHAR,
    )
)
_BLOCK_BYTES = 1 << 21
_SMALL_BYTES = 1 << 14
_MOST_REFUSALS = 20


def sniff(data: bytes) -> bool:
    """A gpx element, or the middle of a document that lost its head."""
    head = data[:65_536]
    if b"\0" in head[:4]:
        head = head.replace(b"\0", b"")
    return bool(_ROOT.search(head)) or b"<trkpt" in head or b":trkpt" in head


def read(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    """The track points of all tracks, a segment each trkseg. Never raises for bad data."""
    tally = Tally(name)
    try:
        text = _xml.as_utf8(data, tally)
        _xml.refuse_tricks(text)
        tally.line_of = lambda place: text.count(b"\n", 0, place) + 1
        found = _read(text, tally)
    except _xml.Refused as refused:
        line = text.count(b"\n", 0, refused.place) + 1
        tally.add(refused.message, line, 1, "the file is refused, nothing was fetched")
        return empty(), tally.problems()
    rows = found.rows()
    if not len(rows):
        _say_what_else(found, tally)
        return empty(), tally.problems()
    track = _speeds.in_m_s(finish(rows, tally, zone, found.device()), tally)
    return track, tally.problems()


def _read(text: bytes, tally: Tally) -> Points:
    """Read a document, going on behind each damage."""
    first = start = _after_blanks(text)
    points, error = _begun(text, start)
    if error is not None:
        mended = _xml.repaired(text, tally)
        if mended is not text:
            text = mended
            tally.line_of = lambda place: text.count(b"\n", 0, place) + 1
            points, error = _begun(text, start)
    while error is not None:
        at = max(points.base + points.xml.ErrorByteIndex, start)
        # an unfinished token at the end begins at `at`: it must not be tried again
        unfinished = error.code in _UNFINISHED
        found = _RESUME.search(text, max(at + unfinished, start + 1))
        if at > start or start == first:
            _say_damage(tally, text, at, points, found is not None)
        points.give_up_point()
        if found is None:
            break
        start = found.start()
        points.begin(start, _frame(found[1], found[2]))
        error = _feed(points, text, start)
    return points


def _begun(text: bytes, start: int) -> tuple[Points, expat.ExpatError | None]:
    points = Points()
    points.begin(start)
    return points, _feed(points, text, start)


def _feed(points: Points, text: bytes, at: int) -> expat.ExpatError | None:
    """Give the parser the document from `at` on, but read plain stretches of points at once.

    Returns the error that stopped it.
    """
    try:
        while points.refusals < _MOST_REFUSALS and (run := points.next_in(text, at)) >= 0:
            points.parse(text, at, run)
            at = run
            if points.path != _TRACK or points.in_markup():
                break
            stop = min(at + _BLOCK_BYTES, len(text))
            end = text.find(b"</trk>", at, stop)
            at = _feed_run(points, text, at, stop if end < 0 else end)
        points.parse(text, at, len(text))
        points.xml.Parse(b"", True)
    except expat.ExpatError as error:
        return error
    return None


def _feed_run(points: Points, text: bytes, at: int, end: int) -> int:
    """Read the whole points between `at` and `end`; where the last of them ends."""
    last = text.rfind(b"</trkpt>", at, end)
    cut = last + len(b"</trkpt>") if last >= 0 else end
    if last < 0:
        points.refusals += 1
    elif cut - at > _SMALL_BYTES:
        rows = _gpx_fast.rows(text, at, cut, max(points.segment, 0))
        if rows is not None:
            points.add(rows)
            points.base += cut - at
            return cut
        points.refusals += 1
    points.parse(text, at, cut)
    return cut


def _after_blanks(text: bytes) -> int:
    found = re.match(rb"\s*", text)
    return found.end() if found else 0


def _say_damage(tally: Tally, text: bytes, at: int, points: Points, goes_on: bool) -> None:
    if not goes_on and text.endswith(b"\0") and not text[at:].strip(b"\0 \r\n\t"):
        tally.add_at("the file ends in zero bytes", at, "all complete points before are read")
        return
    ended = not goes_on and not points.path and not points.in_markup()
    if ended and text.rfind(b"</", 0, at) >= 0:
        what = "text behind the end of the document"
        tally.add_at(what, at, "left out, all points before are read")
        return
    if not goes_on and not any(c in text[at + 1 :] for c in (b"<", b"\0")):
        tally.add_at("the file is cut off", at, "all complete points before are read")
        return
    if not points.path and _ROOT.match(text, _next_tag(text, at)):
        tally.add_at("another document follows in the same file", at, "read as well")
        return
    hole = re.compile(rb"\0+").match(text, at)
    if hole:
        what = "a hole of zero bytes in the file"
        tally.add_at(what, at, "stepped over, with the point that it begins in")
        return
    in_tag = _POINT.match(text, max(text.rfind(b"<", max(at - 500, 0), at + 1), 0), at)
    lost = ", with the point it is in" if points.in_point or in_tag else ""
    tally.add_at("damaged XML", at, "stepped over" + lost)


def _frame(prefix: bytes, tag: bytes) -> bytes:
    """The elements that an element to resume at stands in, opened; without a line break."""
    above = {b"gpx": (), b"trk": (b"gpx",), b"trkseg": (b"gpx", b"trk")}
    return b"".join(b"<" + prefix + a + b">" for a in above.get(tag, (b"gpx", b"trk", b"trkseg")))


def _next_tag(text: bytes, at: int) -> int:
    found = re.compile(rb"<(?!\?)").search(text, at)
    return found.start() if found else len(text)


def _say_what_else(found: Points, tally: Tally) -> None:
    if found.waypoints or found.route_points:
        parts = [
            f"{count} {what}{'s' * (count != 1)}"
            for count, what in (
                (found.waypoints, "waypoint"),
                (found.route_points, "route point"),
            )
            if count
        ]
        tally.add(f"GPX file with {' and '.join(parts)} but no track", done="nothing to read")
    else:
        tally.add("GPX file without a track point", done="nothing to read")
