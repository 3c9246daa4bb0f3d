"""Readers against other programs' reading of the same recorded files."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from datetime import time as time_of_day
from pathlib import Path

import gpxpy
import numpy as np
import pynmea2
import pytest

from oplog.readers import read
from oplog.readers.rollover import CYCLE_DAYS
from tests.corpus import CORPUS, corpus

DEGREE_TOLERANCE = 1e-7
TIME_TOLERANCE_MS = 1


def logs() -> list[Path]:
    return sorted(corpus("nmea_gpsd").glob("*.log"))


def reference(log: Path) -> list[tuple[int, float, float]]:
    """Fixes of the reference decode: TPV reports with time, lat and lon. [ms], [degree]"""
    found = []
    for row in log.with_name(log.name + ".chk").read_text(errors="replace").splitlines():
        if '"TPV"' not in row:
            continue
        report = json.loads(row)
        if {"time", "lat", "lon"} <= report.keys():
            moment = datetime.fromisoformat(report["time"])
            found.append((round(moment.timestamp() * 1000), report["lat"], report["lon"]))
    return found


def ours(log: Path) -> list[tuple[int, float, float]]:
    track, _ = read(log.read_bytes(), name=log.name)
    timed = track.take(~np.isnat(track.time))
    millis = np.rint(timed.time.astype(np.int64) / 1000).astype(int)
    return list(zip(millis.tolist(), timed.lat.tolist(), timed.lon.tolist(), strict=True))


def matches(
    fixes: list[tuple[int, float, float]], others: list[tuple[int, float, float]], shift_ms: int
) -> list[bool]:
    """Which fixes have a partner at the same time and place."""
    places: dict[int, list[tuple[float, float]]] = {}
    for moment, lat, lon in others:
        places.setdefault(moment + shift_ms, []).append((lat, lon))

    def has_partner(fix: tuple[int, float, float]) -> bool:
        near = [
            place
            for apart in range(-TIME_TOLERANCE_MS, TIME_TOLERANCE_MS + 1)
            for place in places.get(fix[0] + apart, [])
        ]
        return any(
            abs(lat - fix[1]) <= DEGREE_TOLERANCE and abs(lon - fix[2]) <= DEGREE_TOLERANCE
            for lat, lon in near
        )

    return [has_partner(fix) for fix in fixes]


def test_nmea_fixes_agree_with_the_reference_decode():
    """Source: gpsd's regression logs and their decode (BSD-2), state of August 2026.

    Counted by report (one log has a third of them), by unique time and place, and by moment.
    Where the reference has moved a log by 1024 weeks, it is moved back: we do not move a log
    without being told to.
    """
    cycle_ms = CYCLE_DAYS * 86_400_000
    found: dict[str, list[bool]] = {"reports": [], "fixes": [], "moments": []}
    confirmed: list[bool] = []
    for log in logs():
        theirs, mine = reference(log), ours(log)
        shift = max((0, cycle_ms), key=lambda s: sum(matches(mine, theirs, -s)))
        confirmed += matches(mine, theirs, -shift)
        hits = matches(theirs, mine, shift)
        by_moment: dict[int, bool] = {}
        for (moment, _, _), hit in zip(theirs, hits, strict=True):
            by_moment[moment] = by_moment.get(moment, False) or hit
        found["reports"] += hits
        found["fixes"] += dict(zip(theirs, hits, strict=True)).values()
        found["moments"] += by_moment.values()
    assert len(found["reports"]) > 4000
    recall = {name: sum(hits) / len(hits) for name, hits in found.items()}
    assert min(recall.values()) >= 0.999, recall
    assert sum(confirmed) / len(confirmed) >= 0.94


def test_every_nmea_log_is_read_or_answered():
    for log in logs():
        track, problems = read(log.read_bytes(), name=log.name)
        assert len(track) or problems, log.name
        assert all(p.source == log.name and p.done for p in problems), log.name


def test_nmea_positions_agree_with_pynmea2():
    """Every fix stands in the log as pynmea2 reads its sentences (GGA, RMC, GLL, valid ones).

    Source: pynmea2 1.19, an independent NMEA library.
    """
    checked = 0
    for log in logs():
        said: dict[time_of_day, list[tuple[float, float]]] = {}
        for row in log.read_bytes().decode("latin-1").replace("$", "\n$").splitlines():
            try:
                sentence = pynmea2.parse(row.strip(), check=False)
                clock = sentence.timestamp.replace(tzinfo=None)
                said.setdefault(clock, []).append((sentence.latitude, sentence.longitude))
            except (pynmea2.ParseError, AttributeError, ValueError, TypeError):
                continue
        track, _ = read(log.read_bytes())
        for time, lat, lon in zip(track.time.tolist(), track.lat, track.lon, strict=True):
            if time is not None:
                near = [abs(lat - a) < 1e-9 and abs(lon - o) < 1e-9 for a, o in said[time.time()]]
                assert any(near), (log.name, time)
                checked += 1
    assert checked > 1500


GPX_FILES = sorted(p.name for p in (CORPUS / "gpx_gpxpy").glob("*.gpx")) or ["Mojstrovka.gpx"]


@pytest.mark.parametrize("name", GPX_FILES)
def test_gpx_points_are_those_of_gpxpy(name):
    """Source: gpxpy 1.6.2 and the files of its own tests (Apache-2.0).

    gpxpy keeps a time without zone as it stands; we give such times only with a zone.
    """
    data = corpus("gpx_gpxpy", name).read_bytes()
    track, problems = read(data, name=name, zone="UTC")
    parsed = gpxpy.parse(data.decode("utf-8-sig"))
    expected = [
        (p, number)
        for number, segment in enumerate(s for t in parsed.tracks for s in t.segments)
        for p in segment.points
    ]
    assert len(track) == len(expected)
    np.testing.assert_allclose(track.lat, [p.latitude for p, _ in expected], rtol=0, atol=0)
    np.testing.assert_allclose(track.lon, [p.longitude for p, _ in expected], rtol=0, atol=0)
    for time, (p, _) in zip(track.time.tolist(), expected, strict=True):
        theirs = None if p.time is None else p.time.replace(tzinfo=p.time.tzinfo or UTC)
        mine = None if time is None else time.replace(tzinfo=UTC)
        assert mine == theirs
    for mine, theirs in (
        (track.hdop, [p.horizontal_dilution for p, _ in expected]),
        (track.speed_m_s, [p.speed for p, _ in expected] if parsed.version == "1.0" else None),
        (track.course_deg, [p.course for p, _ in expected] if parsed.version == "1.0" else None),
    ):
        if theirs is not None:
            np.testing.assert_array_equal(mine, np.array(theirs, np.float64))
    breaks = {k for k in range(1, len(expected)) if expected[k][1] != expected[k - 1][1]}
    cuts = set((np.flatnonzero(np.diff(track.segment)) + 1).tolist())
    assert breaks <= cuts
    backwards = sum(p.count for p in problems if "backwards" in p.message)
    assert len(cuts) <= len(breaks) + backwards
    if len(expected) == 0:
        assert problems


def point(
    lat: str = "52.1", lon: str = "0.2", time: str = "2024-05-01T06:30:00Z", more: str = ""
) -> str:
    return f'<trkpt lat="{lat}" lon="{lon}"><time>{time}</time>{more}</trkpt>'


GOOD = point(time="2024-05-01T06:31:00Z")
SPEED = "<extensions><a:speed xmlns:a='x'>3</a:speed></extensions>"
AT = "2024-05-01T06:30:00"

NOT_FOLLOWED = {
    "a time without zone": (point(time=AT), ["NaT"], ["2024-05-01 06:30:00"]),
    "24:00:00": (point(time="2024-05-01T24:00:00Z"), ["2024-05-02T00:00:00.000000"], ["None"]),
    "second 60": (point(time="2024-06-30T23:59:60Z"), ["2024-06-30T23:59:59.999999"], ["None"]),
    "hours and minutes alone": (point(time="2024-05-01T06:30Z"), [AT + ".000000"], ["None"]),
    "blanks round a time": (point(time=f" {AT}Z "), [AT + ".000000"], ["None"]),
    "as mail has it": (point(time="Wed, 01 May 2024 06:30:00 GMT"), [AT + ".000000"], ["None"]),
    "an offset and Z": (point(time=f"{AT}+00:00Z"), [AT + ".000000"], ["None"]),
    "no such day": (point(time="2024-02-30T06:30:00Z"), [], ["None"]),
    "no time at all, but text": (point(time="yesterday"), [], ["None"]),
    "latitude 91": (point("91"), [], ["2024-05-01 06:30:00+00:00"]),
    "latitude NaN": (point("NaN"), [], ["2024-05-01 06:30:00+00:00"]),
    "0, 0": (point("0", "0"), [], ["2024-05-01 06:30:00+00:00"]),
    "the same fix twice": (GOOD, [], ["2024-05-01 06:31:00+00:00"]),
    "decimal comma": (point("50,5"), [], None),
    "no latitude": ("<trkpt lon='0'/>", [], None),
    "letters for a number": (point(more="<hdop>x</hdop>"), [AT + ".000000"], None),
    "bare ampersand": (point(more="<name>a & b</name>"), [AT + ".000000"], None),
    "cut off": (point() + "<trkpt lat=", [AT + ".000000"], None),
}
"""Text of points, our times of them, and gpxpy's (None where it gives up the whole file)."""


@pytest.mark.parametrize("what", NOT_FOLLOWED)
def test_where_gpxpy_is_not_followed(what):
    """Source: gpxpy 1.6.2. The reasons are in DEVELOPERS.md; each file has one good point more."""
    body, ours_say, theirs_say = NOT_FOLLOWED[what]
    text = '<gpx version="1.1" creator="x"><trk><trkseg>' + GOOD + body
    text += "" if what == "cut off" else "</trkseg></trk></gpx>"
    track, problems = read(text.encode())
    assert [str(t) for t in track.time[1:]] == ours_say
    assert problems or "NaT" not in ours_say
    if theirs_say is None:
        with pytest.raises((gpxpy.gpx.GPXException, gpxpy.gpx.GPXXMLSyntaxException)):
            gpxpy.parse(text)
    else:
        points = gpxpy.parse(text).tracks[0].segments[0].points
        assert [str(p.time) for p in points[1:]] == theirs_say


def test_gpxpy_leaves_speed_in_extensions_and_in_gpx_1_1():
    for more in ("<speed>3</speed>", SPEED):
        text = f'<gpx version="1.1"><trk><trkseg>{point(more=more)}</trkseg></trk></gpx>'
        assert read(text.encode())[0].speed_m_s.tolist() == [3.0]
        assert gpxpy.parse(text).tracks[0].segments[0].points[0].speed is None
