"""One file, two machines: refused with the reason, in whatever way they are mixed."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog import flow, log, readers
from oplog.flow import Told, gather
from oplog.flow.mixed import two_machines
from tests.corpus import corpus
from tests.tracks import PLACE, START, bouts, walk

Fix = tuple[datetime, float, float]
Segments = Sequence[Sequence[Fix]]

SECOND = timedelta(seconds=1)


def document(tracks: Sequence[tuple[str, Segments]]) -> bytes:
    """A GPX file of named tracks, with stamps to the millisecond."""
    out = ['<?xml version="1.0"?><gpx version="1.1" creator="box">']
    for name, segments in tracks:
        out.append(f"<trk><name>{name}</name>")
        for segment in segments:
            out.append("<trkseg>")
            lons, lats = PLACE.lonlat([f[1] for f in segment], [f[2] for f in segment])
            for (moment, _, _), lon, lat in zip(segment, lons, lats, strict=True):
                stamp = f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z"
                place = f'lat="{lat:.8f}" lon="{lon:.8f}"'
                out.append(f"<trkpt {place}><time>{stamp}</time></trkpt>")
            out.append("</trkseg>")
        out.append("</trk>")
    return ("\n".join(out) + "</gpx>").encode()


def working(x0_m: float, y0_m: float, every_s: int = 1, speed_m_s: float = 2.5) -> list[Fix]:
    """A quarter of an hour up and down a field."""
    return walk(bouts(x0_m, y0_m, 40, 220, 4.0), speed_m_s)[: 900 * every_s : every_s]


def by_time(*machines: Sequence[Fix]) -> list[Fix]:
    return sorted(f for m in machines for f in m)


def later(fixes: Sequence[Fix], by: timedelta) -> list[Fix]:
    return [(t + by, x, y) for t, x, y in fixes]


def in_blocks(a: Sequence[Fix], b: Sequence[Fix], size: int) -> list[Fix]:
    """Now so many fixes of one, now of the other, in order of time."""
    return [(a, b)[k // size % 2][k] for k in range(min(len(a), len(b)))]


MIXED: dict[str, Callable[[list[Fix], list[Fix]], bytes]] = {
    "fix by fix, one clock": lambda a, b: document([("", [by_time(a, b)])]),
    "fix by fix, between": lambda a, b: document([("", [by_time(a, later(b, SECOND / 2))])]),
    "one after the other": lambda a, b: document([("", [[*a, *b]])]),
    "by segment": lambda a, b: document([("", [a, b])]),
    "by short segments": lambda a, b: document(
        [("", [s for k in range(0, 300, 30) for s in (a[k : k + 30], b[k : k + 30])])]
    ),
    "by track name": lambda a, b: document([("Blue", [a]), ("Green", [b])]),
    "blocks of time": lambda a, b: document([("", [in_blocks(a, b, 90)])]),
    "two blocks": lambda a, b: document([("", [in_blocks(a, b, 150)])]),
}


@pytest.mark.parametrize("way", MIXED)
@pytest.mark.parametrize("away_m", [150.0, 900.0, 12_000.0])
def test_two_machines_in_one_file_are_refused(farm: log.Log, way: str, away_m: float) -> None:
    data = MIXED[way](working(0, 0), working(away_m, 30, speed_m_s=3.1))
    before = {e.event_id for e in farm.events()}
    (file,) = flow.import_files(farm, [("mixed.gpx", data)], Told(machine="blue")).files
    assert "this is more than one machine in one file. Export each" in file.refused
    assert {e.event_id for e in farm.events()} == before


def test_the_reason_says_when_and_how_far_apart(farm: log.Log) -> None:
    data = MIXED["by track name"](working(0, 0), working(900, 30))
    (file,) = flow.import_files(farm, [("mixed.gpx", data)], Told(machine="blue")).files
    assert file.refused.startswith("mixed.gpx: two places at one moment, up to ")
    assert "first on 2024-03-25 at 08:00:00 UTC" in file.refused


def mixed(data: bytes) -> str:
    return two_machines(gather.ready(readers.read(data)[0]))


@settings(max_examples=25, deadline=None)
@given(
    st.floats(120, 20_000),
    st.floats(0, 6.28),
    st.floats(1.5, 4.0),
    st.integers(0, 9),
    st.integers(1, 2),
    st.integers(0, 1000),
)
def test_two_machines_are_told_however_they_are_mixed(
    away_m, bearing, speed_m_s, tenths, every_s, seed
):
    """Every fix of both, or each moment of either by chance or in runs of chance length."""
    a = working(0, 0, every_s)
    b = working(away_m * np.cos(bearing), away_m * np.sin(bearing), every_s, speed_m_s)
    b = later(b, SECOND * tenths / 10)
    chance = random.Random(seed)
    pairs = list(zip(a, b, strict=False))
    some = [pair[chance.random() < 0.5] for pair in pairs]
    runs, of = [], 0
    for pair in pairs:
        of = 1 - of if chance.random() < 0.15 else of
        runs.append(pair[of])
    assert not mixed(document([("", [b])]))
    for fixes in (by_time(a, b), some, runs):
        assert mixed(document([("", [sorted(fixes)])]))


def steps(n: int, *cycle: float) -> list[Fix]:
    """A standing receiver that wavers between places east of each other."""
    return [(START + k * SECOND, cycle[k % len(cycle)], 0.0) for k in range(n)]


ONE = {
    "standing, and wavering between two solutions": lambda: [
        *working(0, 0)[:600],
        *later(steps(300, 0.0, 18.0), 700 * SECOND),
    ],
    "places written to 1e-4 degree": lambda: [
        (t, round(x / 7) * 7.0, round(y / 11) * 11.0) for t, x, y in working(0, 0)
    ],
    "stamps of whole minutes": lambda: [
        (t.replace(second=0), x, y) for t, x, y in working(0, 0, 1, 12.0)[:600:10]
    ],
    "lost now and then": lambda: [
        (t, x + 3000.0 * (k % 50 == 7), y) for k, (t, x, y) in enumerate(working(0, 0))
    ],
    "far off for the first seconds": lambda: [
        (t, x + 3000.0 * (k < 9), y) for k, (t, x, y) in enumerate(working(0, 0))
    ],
    "raw and smoothed track in one file": lambda: by_time(
        working(0, 0), [(t, x + 3.0, y - 4.0) for t, x, y in working(0, 0)]
    ),
    "switched off and driven to another farm": lambda: [
        *working(0, 0),
        *later(working(9000, 0), timedelta(hours=1)),
    ],
    "short bouts, a fix every ten seconds": lambda: walk(bouts(0, 0, 60, 25, 3.0), 2.5)[::10],
}


@pytest.mark.parametrize("what", ONE)
def test_one_machine_is_not_taken_for_two(what):
    assert mixed(document([("", [ONE[what]()])])) == ""


@pytest.mark.parametrize(
    "scenario", ["drill_phone", "jittered_combine", "every_ten_seconds", "two_machines_one_file"]
)
def test_simulated_days(scenario, simulated):
    said = two_machines(gather.ready(simulated(scenario).track()))
    assert bool(said) == (scenario == "two_machines_one_file")


def test_recorded_machines_are_one_each():
    """Source: the corpus's PROVENANCE.md, which names the one file that mixes two machines."""
    for path in sorted(corpus("forage_harvester_isobus").glob("task*.[gn]*")):
        assert mixed(path.read_bytes()) == "", path.name
    fieldwork = {p.name: mixed(p.read_bytes()) for p in corpus("fieldwork").glob("*.gpx")}
    assert [n for n, said in fieldwork.items() if said] == ["combine_sec1west_2014.gpx"]
