"""A day on an old laptop: how long the command takes, and how much memory.

    python benchmarks/laptop.py [--runs 3] [--download]

Makes one day of work (1 Hz, 10 h, 20 fields on file), takes it in with `oplog import` and shows it
with `oplog day`, each in a new process, and prints the best of some runs against what is promised.
With --download it also weighs what `pip install` fetches. Ends with 1 where a promise is broken.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from oplog.geodesy import Plane  # noqa: E402

DAY = datetime(2026, 4, 14, 6, 0, tzinfo=UTC)
SECONDS = 36_000
WIDTH_M = 3.0
FIELD_M = (200.0, 250.0)
MEGABYTE = 1024.0
"""Peak memory is reported in kilobytes."""


@dataclass
class Run:
    """Best of some runs of one command: by the clock, by the processor, and peak memory."""

    seconds: float
    processor_s: float
    peak_mb: float
    text: str


def corners() -> list[tuple[float, float]]:
    """South-west corners of 20 fields, five by four, with roads between. [m]"""
    east, north = FIELD_M[0] + 40.0, FIELD_M[1] + 40.0
    return [(east * (k % 5), north * (k // 5)) for k in range(20)]


def boundaries(plane: Plane) -> str:
    """The 20 fields as GeoJSON."""
    features = []
    for number, (x, y) in enumerate(corners(), 1):
        xs = np.array([x, x + FIELD_M[0], x + FIELD_M[0], x, x])
        ys = np.array([y, y, y + FIELD_M[1], y + FIELD_M[1], y])
        ring = np.column_stack(plane.lonlat(xs, ys)).tolist()
        geometry = {"type": "Polygon", "coordinates": [ring]}
        properties = {"name": f"Field {number}"}
        features.append({"type": "Feature", "properties": properties, "geometry": geometry})
    return json.dumps({"type": "FeatureCollection", "features": features})


def bouts(x: float, y: float) -> Iterator[tuple[float, float, float]]:
    """Points of one field's work, up and down, with the speed towards each. [m, m, m/s]"""
    half = WIDTH_M / 2
    for bout in range(int(FIELD_M[0] / WIDTH_M)):
        at, ends = x + half + bout * WIDTH_M, (y + 1.0, y + FIELD_M[1] - 1.0)
        start, end = ends if bout % 2 == 0 else ends[::-1]
        over = 5.0 if bout % 2 == 0 else -5.0
        yield at, start, 1.2
        yield at, end, 2.4
        yield at + half, end + over, 1.2


def path(seconds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Driving at some moments of a day of up to twelve hours: bouts, turns, fillings, roads. [m]"""
    points, speeds = [(-300.0, -20.0)], [1.0]
    for number, (x, y) in enumerate(corners()):
        points.append((x - 20.0, y - 20.0))
        speeds.append(7.0)
        for k, (px, py, speed) in enumerate(bouts(x, y)):
            points.append((px, py))
            speeds.append(speed)
            if k % 60 == 59:
                points.append((px, py + 0.01))
                speeds.append(0.01 / 240)
        if number == 7:
            break
    xy = np.array(points)
    legs = np.hypot(*np.diff(xy, axis=0).T) / np.array(speeds[1:])
    at = np.concatenate([[0.0], np.cumsum(legs)])
    if at[-1] < seconds[-1]:
        raise SystemExit("the made day is too short")
    return np.interp(seconds, at, xy[:, 0]), np.interp(seconds, at, xy[:, 1])


def gpx(plane: Plane) -> str:
    """The day as a receiver with SBAS would have written it."""
    random = np.random.default_rng(7)
    x, y = path(np.arange(SECONDS, dtype=float))
    noise = np.zeros((2, SECONDS))
    steps = random.normal(0, 0.25 * math.sqrt(1 - 0.99**2), (2, SECONDS))
    for i in range(1, SECONDS):
        noise[:, i] = 0.99 * noise[:, i - 1] + steps[:, i]
    lon, lat = plane.lonlat(x + noise[0], y + noise[1])
    rows = "\n".join(
        f'<trkpt lat="{a:.8f}" lon="{b:.8f}">'
        f"<time>{DAY + timedelta(seconds=i):%FT%TZ}</time></trkpt>"
        for i, (a, b) in enumerate(zip(lat, lon, strict=True))
    )
    head = '<gpx version="1.1" creator="made" xmlns="http://www.topografix.com/GPX/1/1">'
    return f"<?xml version='1.0'?>\n{head}<trk><trkseg>\n{rows}\n</trkseg></trk></gpx>\n"


def run(command: list[str], folder: Path) -> Run:
    """One command in a new process, with its own peak memory."""
    started = time.perf_counter()
    process = subprocess.Popen(
        command,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    text = process.stdout.read()
    _, status, used = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - started
    process.returncode = code = os.waitstatus_to_exitcode(status)
    if code not in (0, 3):
        raise SystemExit(f"{' '.join(command)} ended with {code}:\n{text}")
    return Run(seconds, used.ru_utime + used.ru_stime, used.ru_maxrss / MEGABYTE, text)


def oplog(folder: Path, *arguments: str) -> Run:
    """The command itself, on the log in `folder`."""
    return run([sys.executable, "-m", "oplog", *arguments], folder)


def best(runs: list[Run]) -> Run:
    """The fastest of some runs, with the largest memory of any."""
    fastest = min(runs, key=lambda r: r.seconds)
    processor_s = min(r.processor_s for r in runs)
    return Run(fastest.seconds, processor_s, max(r.peak_mb for r in runs), fastest.text)


def prepared(folder: Path) -> Path:
    """A log with 20 fields and the kit, and the day's file beside it."""
    plane = Plane(1.5, 52.5)
    (folder / "land.geojson").write_text(boundaries(plane), "utf-8")
    (folder / "day.gpx").write_text(gpx(plane), "utf-8")
    oplog(folder, "new", "farm", "--name", "Made Farm", "--zone", "Europe/London")
    for arguments in (
        ["land", "add", "land.geojson"],
        ["kit", "add", "blue", "--kind", "tractor", "--hitch", "1m"],
        ["kit", "add", "drill", "--kind", "drill", "--width", "3m", "--mounted"],
    ):
        oplog(folder, "--log", "farm", *arguments)
    return folder


def taken_in(folder: Path) -> Run:
    """`oplog import` of the day into a fresh copy of the log."""
    log, kept = folder / "farm", folder / "kept"
    if not kept.exists():
        shutil.copytree(log, kept)
    shutil.rmtree(log)
    shutil.copytree(kept, log)
    told = ("--machine", "blue", "--implement", "drill", "--driver", "Ann")
    return oplog(folder, "--log", "farm", "import", "day.gpx", *told)


def download_mb() -> float:
    """Weight of everything that a first install fetches. [MB]"""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-cache-dir"]
        subprocess.run([*command, "-d", folder, str(ROOT)], check=True)
        return sum(p.stat().st_size for p in Path(folder).iterdir()) / 1e6


def measure(runs: int, download: bool) -> list[tuple[str, float, float | None, str]]:
    """(what, measured, promised at most, unit)"""
    with tempfile.TemporaryDirectory() as name:
        folder = prepared(Path(name))
        imported = best([taken_in(folder) for _ in range(runs)])
        shown = best([oplog(folder, "--log", "farm", "day", f"{DAY:%F}") for _ in range(runs)])
        helped = best([oplog(folder, "--help") for _ in range(runs)])
        bare = best([run([sys.executable, "-c", "pass"], folder) for _ in range(runs)])
        click = best([run([sys.executable, "-c", "import click"], folder) for _ in range(runs)])
    print(imported.text)
    rows: list[tuple[str, float, float | None, str]] = [
        ("oplog import, a day to the screen", imported.seconds, 3.0, "s"),
        ("  of which the processor", imported.processor_s, None, "s"),
        ("oplog day, a new process", shown.seconds, 1.0, "s"),
        ("  of which the processor", shown.processor_s, None, "s"),
        ("peak memory of the import", imported.peak_mb, 500.0, "MB"),
        ("peak memory of the day", shown.peak_mb, 500.0, "MB"),
        ("oplog --help", helped.seconds, None, "s"),
        ("oplog --help / python", helped.seconds / bare.seconds, None, "x"),
        ("oplog --help / python with click", helped.seconds / click.seconds, None, "x"),
    ]
    if download:
        rows.append(("download of a first install", download_mb(), 150.0, "MB"))
    return rows


def main() -> int:
    """Measure, print the table, and tell whether all promises are kept."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--runs", type=int, default=3, help="runs of each command; the best counts")
    parser.add_argument("--download", action="store_true", help="weigh a first install as well")
    chosen = parser.parse_args()
    broken = 0
    rows = measure(chosen.runs, chosen.download)
    print(f"{'measure':<36}{'measured':>12}{'at most':>12}")
    for what, value, most, unit in rows:
        limit = "" if most is None else f"{most:.1f} {unit}"
        kept = most is None or value <= most
        broken += not kept
        print(f"{what:<36}{f'{value:.2f} {unit}':>12}{limit:>12}{'' if kept else '  broken'}")
    return 1 if broken else 0


if __name__ == "__main__":
    raise SystemExit(main())
