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
    breaks = {k for k in range(1, len(expected)) if expected[k][1] != expected[k - 1][1]}
    cuts = set((np.flatnonzero(np.diff(track.segment)) + 1).tolist())
    assert breaks <= cuts
    backwards = sum(p.count for p in problems if "backwards" in p.message)
    assert len(cuts) <= len(breaks) + backwards
    if len(expected) == 0:
        assert problems
