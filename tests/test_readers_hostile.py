"""Files made to take for ever, or all memory: they are soon read, and nothing is raised."""

from __future__ import annotations

import tracemalloc
from time import process_time

import pytest

from oplog.readers import read

SIZE = 300_000
SLOWEST_S = 5.0
"""Each took minutes before, or would have: four times as long where it is twice as large."""

POINT = b'<trkpt lat="52.3" lon="0.15"><time>2026-06-02T08:00:00Z</time></trkpt>'
FEATURE = b'{"type":"Feature","geometry":{"type":"Point","coordinates":[0.15,52.3]}'

REPEATED: dict[str, tuple[bytes, bytes]] = {
    "comments without end": (b"<gpx><trk><trkseg>" + POINT, b"<!--a"),
    "quoted text without end": (b"<gpx><trk><trkseg>" + POINT, b"<![CDATA["),
    "comments without end in KML": (b"<kml>", b"<!--"),
    "documents that only begin": (b"", b"<gpx "),
    "segments that only begin": (b"<gpx><trk>", b"<trkseg><"),
    "times within times": (b"<kml><gx:Track>", b"<when>1<gx:coord>"),
    "features that are cut": (b"", FEATURE + b"\n"),
    "names of brackets": (b'{"type":"Feature","geometry":{"coordinates":[', b'["'),
    "a cell of blanks": (b"time,lat,lon\n2026-06-02T08:00:00Z,52.3,0.15\n2026-06-02,1", b" "),
    "a time of blanks": (b"<gpx><trk><trkseg><trkpt lat='1' lon='1'><time>2026-06-02", b" "),
    "a tag without end": (b"<gpx><", b"a" * 200),
}


@pytest.mark.parametrize("what", REPEATED)
def test_nothing_takes_for_ever(what):
    begin, again = REPEATED[what]
    ends = {b" ": b"x,2\n" if begin.startswith(b"time") else b"x</time></trkpt>"}
    data = begin + again * (SIZE // len(again) * (50 if len(again) > 99 else 1))
    begun = process_time()
    _, problems = read(data + ends.get(again, b""), name="x")
    assert process_time() - begun < SLOWEST_S
    assert problems


def test_points_before_comments_without_end_are_read():
    track, problems = read(b"<gpx><trk><trkseg>" + POINT + b"<!--a" * 99, name="x")
    assert len(track) == 1
    assert problems[0].line == 1


@pytest.mark.parametrize(
    ("text", "refused"),
    [
        (b"<!-- <!DOCTYPE a> -->", False),
        (b"<![CDATA[<!ENTITY a>]]>", False),
        (b"<!-- --><!-- <!ENTITY --><!doctype a>", True),
        (b"<![CDATA[ --> ]]><!-- ]]> --><!ENTITY a>", True),
    ],
)
def test_declarations_are_told_from_comments_and_quoted_text(text, refused):
    track, problems = read(b"<gpx>" + text + b"<trk><trkseg>" + POINT, name="x")
    assert len(track) == (not refused)
    assert ("document type" in problems[0].message) == refused


@pytest.mark.parametrize("tail", ["", "x"])
def test_a_whole_number_of_thousands_of_digits_is_no_place(tail):
    good = '{"type":"Feature","properties":{"time":"2026-06-02T08:00:00Z"},"geometry":'
    places = ("[0.15,52.3]", f"[0.15,{'1' * 5000}]", "[0.15,52.4]")
    text = ",".join(good + f'{{"type":"Point","coordinates":{p}}}}}' for p in places)
    track, problems = read(f"[{text}{tail}]".encode(), name="x")
    assert track.lat.tolist() == [52.3, 52.4]
    assert problems[-1].message == "position is missing or not on earth"


@pytest.mark.parametrize(
    ("begin", "again", "most"),
    [
        (b"<gpx>", b"&", 30),
        (b"<gpx>", b"\1", 10),
        (b"time,lat,lon\n", b"ab,", 10),
        (b"$GPRMC,\n", b"$GPRMC,\n", 60),
    ],
)
def test_memory_is_some_times_the_file(begin, again, most):
    data = begin + again * (6_000_000 // len(again))
    tracemalloc.start()
    read(data, name="x")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < most * len(data)


def test_a_line_too_long_for_a_row_costs_only_itself():
    rows = "2026-06-02T08:00:00Z,52.3,0.15\n", "2026-06-02T08:00:01Z,52.3,0.15\n"
    text = f"time,lat,lon\n{rows[0]}{'ab,' * 400_000}\n{rows[1]}"
    track, problems = read(text.encode(), name="x")
    assert len(track) == 2
    assert [(p.message, p.line) for p in problems] == [("a line that is far too long for a row", 3)]
