"""How fast the readers are, against gpxpy and pynmea2, in one run on one core.

    python -m benchmarks.readers [--hours 12] [--hertz 10] [--times 3]

Prints medians and ratios. gpxpy is given the standard library's parser (with lxml installed it
takes twice as long). The day is made up: bouts up and down a field, 10 fixes a second.
"""

from __future__ import annotations

import argparse
import io
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import reduce
from operator import xor

import numpy as np

START = datetime(2024, 5, 2, 6, 0, 0, tzinfo=UTC)


def positions(fixes: int, hertz: int) -> tuple[np.ndarray, np.ndarray]:
    """Latitudes and longitudes of a machine that works up and down, 2.2 m/s, 3 m wide. [degree]"""
    along_m = np.arange(fixes) * 2.2 / hertz
    bout, within = np.divmod(along_m, 300.0)
    north_m = np.where(bout % 2 == 0, within, 300.0 - within)
    wander = np.random.default_rng(1).normal(0, 0.02, (2, fixes))
    east_m = bout % 200 * 3.0
    return (
        52.1 + (north_m + wander[0]) / 111_320.0,
        0.2 + (east_m + wander[1]) / (111_320.0 * np.cos(np.radians(52.1))),
    )


def gpx_day(fixes: int, hertz: int) -> bytes:
    """A GPX 1.1 file as phones write it: position, height and time, one segment."""
    out = io.StringIO()
    out.write(
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="made up" '
        'xmlns="http://www.topografix.com/GPX/1/1">\n<trk><name>Day 1</name><trkseg>\n'
    )
    lats, lons = positions(fixes, hertz)
    for k, (lat, lon) in enumerate(zip(lats.tolist(), lons.tolist(), strict=True)):
        at = START + timedelta(seconds=k / hertz)
        stamp = f"{at:%Y-%m-%dT%H:%M:%S}.{at.microsecond // 1000:03d}Z"
        out.write(
            f'<trkpt lat="{lat:.8f}" lon="{lon:.8f}"><ele>{40 + k % 7 / 10}</ele>'
            f"<time>{stamp}</time></trkpt>\n"
        )
    out.write("</trkseg></trk></gpx>\n")
    return out.getvalue().encode()


def nmea_day(fixes: int, hertz: int) -> bytes:
    """The same day as GGA and RMC sentences."""
    lines = []
    lats, lons = positions(fixes, hertz)
    for k, (lat, lon) in enumerate(zip(lats.tolist(), lons.tolist(), strict=True)):
        at = START + timedelta(seconds=k / hertz)
        clock = f"{at:%H%M%S}.{at.microsecond // 10_000:02d}"
        place = f"{_dm(lat, 2)},N,{_dm(lon, 3)},E"
        for body in (
            f"GNGGA,{clock},{place},4,18,0.7,40.1,M,46.0,M,1.0,0101",
            f"GNRMC,{clock},A,{place},4.28,0.5,{at:%d%m%y},,,R",
        ):
            lines.append(f"${body}*{reduce(xor, body.encode()):02X}\r\n")
    return "".join(lines).encode()


def _dm(degrees: float, width: int) -> str:
    whole = int(degrees)
    return f"{whole:0{width}d}{(degrees - whole) * 60:010.7f}"


def seconds(work: Callable[[], object], times: int) -> float:
    """Median time of some runs, by the processor: other users of it do not count. [s]"""
    taken = []
    for _ in range(times):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return statistics.median(taken)


def by_gpxpy(data: bytes) -> object:
    """What gpxpy takes merely to parse."""
    sys.modules["lxml"] = None  # type: ignore[assignment]
    import gpxpy.parser

    return gpxpy.parser.GPXParser(data.decode()).parse()


def by_pynmea2(data: bytes) -> object:
    """What pynmea2 takes to parse every sentence, checksums verified, no field looked at."""
    import pynmea2

    return [pynmea2.parse(line, check=True) for line in data.decode().splitlines()]


def main() -> None:
    from oplog.readers import read

    options = argparse.ArgumentParser()
    options.add_argument("--hours", type=float, default=12)
    options.add_argument("--hertz", type=int, default=10)
    options.add_argument("--times", type=int, default=3)
    options.add_argument("--reference-times", type=int, default=1)
    given = options.parse_args()
    fixes = int(given.hours * 3600 * given.hertz)
    for name, data, reference, by in (
        ("GPX", gpx_day(fixes, given.hertz), by_gpxpy, "gpxpy"),
        ("NMEA", nmea_day(fixes, given.hertz), by_pynmea2, "pynmea2"),
    ):
        track, problems = read(data)
        assert len(track) == fixes, problems
        ours = seconds(lambda data=data: read(data), given.times)
        theirs = seconds(lambda data=data, r=reference: r(data), given.reference_times)
        print(
            f"{name}: {fixes} fixes, {len(data) / 1e6:.1f} MB: oplog {ours:.2f} s, "
            f"{by} {theirs:.2f} s, ratio {ours / theirs:.3f}"
        )


if __name__ == "__main__":
    main()
