"""The fuzzer's own checks, on its seeds and on the same hundred mutations of them each time.

`benchmarks/fuzz.py` goes on from here under coverage. What it finds is kept in FOUND; the hour of
November 2026 found nothing that the suite did not know.
"""

from __future__ import annotations

import random

import pytest

from benchmarks.fuzz import SEEDS, WORDS, check
from oplog.readers import gpx

FOUND: dict[str, list[bytes]] = {
    "gpx": [b"<gpx><trk><trkseg><trkpt lat='1' lon='2'><time>2024-05-01T06:30:00Z</time></trk"],
    "nmea": [b"$GPZDA,,,,,*48\n$GPRMC,,V,,,,,,,,,,N*53\n$"],
    "tables": [b"lat,lon\n\0\n1,2", b"<kml:Track><when><a:b:Track><when>"],
    "containers": [b"PK\3\4", b"\x1f\x8b\x08"],
}


@pytest.fixture(autouse=True)
def small_stretches(monkeypatch):
    """Small inputs reach the fast path too; what the checks change is put back."""
    monkeypatch.setattr(gpx, "_SMALL_BYTES", 64)


@pytest.mark.parametrize("kind", SEEDS)
def test_seeds_and_finds(kind):
    for data in [*SEEDS[kind](), *FOUND[kind]]:
        check(kind, data)


@pytest.mark.parametrize("kind", SEEDS)
def test_mutations(kind):
    chance = random.Random(kind)
    seeds = [s[:4000] for s in SEEDS[kind]()]
    words = [w.encode() for w in WORDS[kind].split()]
    for _ in range(100):
        data = bytearray(chance.choice(seeds))
        for _ in range(chance.randint(1, 6)):
            at = chance.randrange(len(data) + 1)
            new = chance.choice([b"", b"\0", chance.choice(words), chance.randbytes(3)])
            other = chance.choice(seeds)
            start = chance.randrange(len(other))
            spliced = other[start : start + chance.randint(1, 200)]
            data[at : at + chance.choice([0, 0, 1, 30])] = chance.choice([new, spliced])
        check(kind, bytes(data))
