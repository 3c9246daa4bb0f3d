"""Whole commands and their costly steps against reference libraries, in one run.

    python -m benchmarks.speed [--only NAME ...] [--times 3] [--days 200]

Times are of the processor, start-up included, held to one core (but for `season`, which is by
the clock); medians; each ratio is of two things measured in turn. gpxpy merely parses the file
and has the standard library's parser (with lxml installed it takes twice as long).
"""

from __future__ import annotations

import argparse
import compileall
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks import laptop

ROOT = Path(__file__).resolve().parents[1]
START = datetime(2026, 4, 14, 5, 0, tzinfo=UTC)
GPXPY = (
    "import sys; sys.modules['lxml'] = None; import gpxpy.parser; "
    "gpxpy.parser.GPXParser(open(sys.argv[1]).read()).parse()"
)
TOLD = ("--machine", "blue", "--implement", "drill", "--driver", "Ann")
FAST_HZ = 10
WIDTH_M = laptop.WIDTH_M


@dataclass(frozen=True)
class Row:
    """One line of the table: a ratio beside what has to be reached and what is aimed at."""

    what: str
    ratio: float
    reach: float
    aim: float
    detail: str
    more_is_better: bool = False

    def __str__(self) -> str:
        sign = -1.0 if self.more_is_better else 1.0
        ok = "aim" if sign * self.ratio <= sign * self.aim else "reached"
        ok = ok if sign * self.ratio <= sign * self.reach else "MISSED"
        return (
            f"{self.what:<38}{self.ratio:>8.3f}{self.reach:>7}{self.aim:>7}  {ok:<8}{self.detail}"
        )


@dataclass(frozen=True)
class Used:
    """What a process took: by the processor, by the clock, and at its peak. [s, s, MB]"""

    cpu_s: float
    wall_s: float
    peak_mb: float
    text: str


def run(command: list[str], folder: Path, cores: int = 1) -> Used:
    """A command in a new process on so many cores."""
    held = sorted(os.sched_getaffinity(0))[:cores]
    environment = os.environ | {
        "PYTHONPATH": str(folder / "installed"),
        "XDG_CACHE_HOME": str(folder / "cache"),
        "OPLOG_CONFIG": str(folder / "configuration"),
    }
    with tempfile.TemporaryFile("w+") as out:
        began = time.perf_counter()
        process = subprocess.Popen(
            command,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=out,
            preexec_fn=lambda: os.sched_setaffinity(0, held),
        )
        _, status, used = os.wait4(process.pid, 0)
        wall_s = time.perf_counter() - began
        out.seek(0)
        text = out.read()
    process.returncode = code = os.waitstatus_to_exitcode(status)
    if code not in (0, 3):
        raise SystemExit(f"{' '.join(command)} ended with {code}:\n{text}")
    return Used(used.ru_utime + used.ru_stime, wall_s, used.ru_maxrss / 1024, text)


def oplog(folder: Path, *arguments: str, cores: int = 1) -> Used:
    """An oplog command on the log in a folder."""
    program = ["-c", "import sys; from oplog.cli import main; sys.exit(main())"]
    return run([sys.executable, *program, "--log", "farm", *arguments], folder, cores)


def median(runs: list[Used]) -> Used:
    """The median of each figure."""
    return Used(
        *(statistics.median(getattr(r, n) for r in runs) for n in ("cpu_s", "wall_s", "peak_mb")),
        runs[0].text,
    )


def driven(
    hours: float, hertz: int, tremble_m: float = 0.01
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Seconds since the start, east and north of a day's driving with a receiver's drift. [m]"""
    seconds = np.arange(round(hours * 3600 * hertz)) / hertz
    x, y = laptop.path(seconds)
    random = np.random.default_rng(7)
    coarse = np.arange(0.0, hours * 3600 + 2.0)
    drift = np.zeros((2, len(coarse)))
    steps = random.normal(0, 0.25 * np.sqrt(1 - 0.99**2), drift.shape)
    for k in range(1, len(coarse)):
        drift[:, k] = 0.99 * drift[:, k - 1] + steps[:, k]
    tremble = tremble_m * random.normal(0, 1.0, (2, len(seconds)))
    x, y = (v + np.interp(seconds, coarse, d) + t
            for v, d, t in zip((x, y), drift, tremble, strict=True))  # fmt: skip
    return seconds, x, y


def gpx(seconds: np.ndarray, x: np.ndarray, y: np.ndarray, start: datetime = START) -> str:
    """The day as a GPX 1.1 file with heights and hundredths."""
    lon, lat = laptop.Plane(1.5, 52.5).lonlat(x, y)
    rows = [
        f'<trkpt lat="{a:.8f}" lon="{b:.8f}"><ele>{40 + k % 7 / 10}</ele><time>'
        f"{(at := start + timedelta(seconds=s)):%Y-%m-%dT%H:%M:%S}.{at.microsecond // 1000:03d}Z"
        "</time></trkpt>"
        for k, (s, a, b) in enumerate(
            zip(seconds.tolist(), lat.tolist(), lon.tolist(), strict=True)
        )
    ]
    head = '<gpx version="1.1" creator="made" xmlns="http://www.topografix.com/GPX/1/1">'
    first, last = f"{head}<trk><trkseg>", "</trkseg></trk></gpx>\n"
    return "\n".join(["<?xml version='1.0' encoding='UTF-8'?>", first, *rows, last])


class Bench:
    """A folder with a log of 20 fields, kept as it was for each command."""

    def __init__(self, folder: Path, times: int, days: int) -> None:
        self.folder, self.times, self.days = folder, times, days
        # As it is installed: compiled once, not by every command.
        for part in ("oplog", "queries"):
            shutil.copytree(ROOT / part, folder / "installed" / part)
        compileall.compile_dir(folder / "installed", quiet=1)
        (folder / "land.geojson").write_text(laptop.boundaries(laptop.Plane(1.5, 52.5)), "utf-8")
        oplog(folder, "new", "farm", "--name", "Made Farm", "--zone", "Europe/London")
        oplog(folder, "land", "add", "land.geojson")
        oplog(folder, "kit", "add", "blue", "--kind", "tractor", "--hitch", "1m")
        oplog(folder, "kit", "add", "drill", "--kind", "drill", "--width", "3m", "--mounted")
        shutil.copytree(folder / "farm", folder / "kept")

    def afresh(self) -> None:
        """Put the log back as it was."""
        shutil.rmtree(self.folder / "farm")
        shutil.copytree(self.folder / "kept", self.folder / "farm")

    def imported(self, *files: str, cores: int = 1) -> Used:
        """`oplog import` into the log as it was."""
        self.afresh()
        return oplog(self.folder, "import", *files, *TOLD, cores=cores)

    def day(
        self, hours: float, hertz: int, reach: tuple[float, ...], aim: tuple[float, ...]
    ) -> Iterator[Row]:
        """A day from its file to its stored figures, against gpxpy on the file."""
        (self.folder / "day.gpx").write_text(gpx(*driven(hours, hertz)), "utf-8")
        size_mb = (self.folder / "day.gpx").stat().st_size / 1e6
        ours, theirs = [], []
        for _ in range(self.times):
            ours.append(self.imported("day.gpx"))
            theirs.append(run([sys.executable, "-c", GPXPY, "day.gpx"], self.folder))
        our, their = median(ours), median(theirs)
        name = f"import, {hours:.0f} h at {hertz} Hz"
        yield Row(f"{name} / G", our.cpu_s / their.cpu_s, reach[0], aim[0],
                  f"{our.cpu_s:.2f} s, gpxpy {their.cpu_s:.2f} s, {size_mb:.1f} MB")  # fmt: skip
        yield Row(f"{name}: memory / gpxpy's", our.peak_mb / their.peak_mb, reach[1], aim[1],
                  f"{our.peak_mb:.0f} MB, gpxpy {their.peak_mb:.0f} MB")  # fmt: skip

    def fast_day(self) -> Iterator[Row]:
        """12 h at 10 Hz, and the bytes that its fixes take in the log."""
        yield from self.day(12, FAST_HZ, (0.40, 0.6), (0.20, 0.45))
        fixes = 12 * 3600 * FAST_HZ
        size = sum(f.stat().st_size for f in (self.folder / "farm" / "fixes").iterdir())
        yield Row("stored fixes, bytes each", size / fixes, 4, 2, f"{fixes} fixes")

    def slow_day(self) -> Iterator[Row]:
        """10 h at 1 Hz."""
        yield from self.day(10, 1, (0.9, 0.6), (0.6, 0.45))

    def clip(self) -> Iterator[Row]:
        """Which of 60 fields each of 432,000 fixes is in."""
        from shapely import contains_xy, prepare
        from shapely.affinity import translate

        from oplog.geodesy import Plane
        from oplog.land import Field
        from oplog.work.clean import Cleaned
        from oplog.work.stays import field_of

        plane = Plane(1.5, 52.5)
        seconds, x, y = driven(12, FAST_HZ)
        cleaned = Cleaned(plane, np.datetime64("2026-04-14", "us"), seconds, x, y,
                          np.arange(len(x)), 0, 0)  # fmt: skip
        grounds = [translate(rough(k), *at) for k, at in enumerate(corners(60))]
        fields = [Field(str(k), "Made", plane.unproject(g), g.area) for k, g in enumerate(grounds)]
        grounds = [plane.project(f.boundary) for f in fields]

        def reference() -> np.ndarray:
            inside = np.full(len(x), -1)
            for k, ground in enumerate(grounds):
                prepare(ground)
                inside[contains_xy(ground, x, y)] = k
            return inside

        assert (field_of(cleaned, fields) == reference()).all()
        ours, theirs = compared(lambda: field_of(cleaned, fields), reference, self.times)
        yield Row("clip to 60 fields / contains_xy", ours / theirs, 0.2, 0.08,
                  f"{ours:.3f} s, prepared contains_xy {theirs:.3f} s")  # fmt: skip

    def area(self) -> Iterator[Row]:
        """Ground swept by the bouts of a day at 10 Hz, each spot once."""
        from shapely import LineString, area, buffer, union_all

        from oplog.work.coverage import swept

        _, x, y = driven(12, FAST_HZ)
        bouts = straight(x, y)
        lines = [LineString(np.column_stack([x[a:b], y[a:b]])) for a, b in bouts]

        def plain(of: list[Any]) -> Any:
            return union_all([buffer(line, WIDTH_M / 2, cap_style="flat") for line in of])

        def each_second() -> Any:
            return swept([LineString(seconds_of(x[a:b], y[a:b])) for a, b in bouts], WIDTH_M)

        # The truth is the way that the receiver's tremble was added to.
        _, x0, y0 = driven(12, FAST_HZ, tremble_m=0.0)
        truth = area(plain([LineString(np.column_stack([x0[a:b], y0[a:b]])) for a, b in bouts]))
        wrong, plainly = (abs(a / truth - 1) for a in (each_second().area, area(plain(lines))))
        assert wrong < 0.0002, f"{wrong:.4%}, plain {plainly:.4%}"
        ours, theirs = compared(each_second, lambda: plain(lines), self.times)
        yield Row("worked area / buffer and union_all", ours / theirs, 0.25, 0.10,
                  f"{ours:.2f} s, plain {theirs:.2f} s; "
                  f"off by {wrong:.4%}, plain {plainly:.4%}")  # fmt: skip

    def season(self) -> Iterator[Row]:
        """A folder of day files on two cores against one, by the clock."""
        folder = self.folder / "season"
        folder.mkdir()
        seconds, x, y = driven(10, 1)
        for k in range(self.days):
            rows = slice(0, 3600 * (2 + k % 7))
            text = gpx(seconds[rows], x[rows], y[rows], START + timedelta(days=k))
            (folder / f"day{k:03d}.gpx").write_text(text, "utf-8")
        one = self.imported("season")
        before = held(self.folder / "farm")
        two = self.imported("season", cores=2)
        assert held(self.folder / "farm") == before, "two cores give another log than one"
        name = f"season of {self.days} files, two cores / one"
        detail = (
            f"{one.wall_s:.1f} s on one, {two.wall_s:.1f} s on two; "
            f"{one.peak_mb:.0f} and {two.peak_mb:.0f} MB"
        )
        yield Row(name, one.wall_s / two.wall_s, 1.7, 1.9, detail, more_is_better=True)

    def start(self) -> Iterator[Row]:
        """The help and a question, against Python that does nothing; and what click takes."""
        (self.folder / "short.gpx").write_text(gpx(*driven(2, 1)), "utf-8")
        self.imported("short.gpx")
        many = 7 * self.times
        bare, click, helped, first, asked, shown = [], [], [], [], [], []
        for _ in range(many):
            bare.append(run([sys.executable, "-c", "pass"], self.folder))
            click.append(run([sys.executable, "-c", "import click"], self.folder))
            helped.append(oplog(self.folder, "--help"))
            # Nothing kept of the log, as after an entry; then again, or another over those tables.
            shutil.rmtree(self.folder / "configuration" / "tables", ignore_errors=True)
            first.append(oplog(self.folder, "ask", "hectares_per_day"))
            asked.append(oplog(self.folder, "ask", "season_days"))
            shown.append(oplog(self.folder, "day", "2026-04-14"))
        floor = median(bare).cpu_s
        about = f"python -c pass {floor * 1e3:.1f} ms, with click {median(click).cpu_s / floor:.2f}"
        for name, runs, reach, aim in (
            ("oplog --help / python", helped, 6, 4.5),
            ("oplog ask / python", asked, 20, 13),
            ("- the first after an entry", first, 20, 13),
            ("oplog day / python", shown, 20, 13),
        ):
            took = median(runs).cpu_s
            yield Row(name, took / floor, reach, aim, f"{took * 1e3:.0f} ms; {about}")


def corners(count: int) -> list[tuple[float, float]]:
    """South-west corners of many fields, the first as in the day that is driven. [m]"""
    east, north = laptop.FIELD_M[0] + 40.0, laptop.FIELD_M[1] + 40.0
    return [(east * (k % 5), north * (k // 5)) for k in range(count)]


def rough(seed: int) -> Any:
    """A field with a wavy edge of 400 corners, as boundaries that were driven have. [m]"""
    from shapely import Polygon, box, segmentize

    ring = np.asarray(segmentize(box(0, 0, *laptop.FIELD_M), 2.25).exterior.coords)[:-1]
    wave = np.random.default_rng(seed).normal(0, 0.3, ring.shape)
    return Polygon(ring + wave)


def straight(x: np.ndarray, y: np.ndarray) -> list[tuple[int, int]]:
    """Runs of fixes that drive along a field, as first row and end: what the bouts are here."""
    dx, dy = np.gradient(x, edge_order=1), np.gradient(y)
    wide = np.ones(20) / 20
    along = np.abs(np.convolve(dy, wide, "same")) > 0.95 * np.hypot(
        np.convolve(dx, wide, "same"), np.convolve(dy, wide, "same")
    )
    along &= np.hypot(np.convolve(dx, wide, "same"), np.convolve(dy, wide, "same")) > 0.08
    edge = np.flatnonzero(np.diff(along.astype(np.int8), prepend=0, append=0))
    return [(a, b) for a, b in edge.reshape(-1, 2).tolist() if b - a > 200]


def seconds_of(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A bout's fixes as the work takes them: means of those about each second, ends as they are."""
    whole = len(x) // FAST_HZ * FAST_HZ
    means = [v[:whole].reshape(-1, FAST_HZ).mean(axis=1) for v in (x, y)]
    inner = np.column_stack(means)
    return np.vstack([[x[0], y[0]], inner, [x[-1], y[-1]]])


def compared(
    ours: Callable[[], object], theirs: Callable[[], object], times: int
) -> tuple[float, float]:
    """Median processor times of two things done in turn. [s]"""
    taken: tuple[list[float], list[float]] = ([], [])
    for _ in range(times):
        for work, found in zip((ours, theirs), taken, strict=True):
            began = time.process_time()
            work()
            found.append(time.process_time() - began)
    return statistics.median(taken[0]), statistics.median(taken[1])


def held(log: Path) -> list[str]:
    """Ids of the events of a log but for what names the writer."""
    from oplog.events import EntryWritten
    from oplog.log import open_log

    return [e.event_id for e in open_log(log).events() if not isinstance(e, EntryWritten)]


def main() -> int:
    """Measure what is asked for, print the table; 1 where something is missed."""
    names = ("start", "slow_day", "fast_day", "clip", "area", "season")
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--only", nargs="*", choices=names, default=names)
    parser.add_argument("--times", type=int, default=3, help="runs of each; the median counts")
    parser.add_argument("--days", type=int, default=200, help="files of the season")
    given = parser.parse_args()
    print(f"{'measure':<38}{'ratio':>8}{'reach':>7}{'aim':>7}", flush=True)
    missed = 0
    for name in given.only:
        with tempfile.TemporaryDirectory() as folder:
            for row in getattr(Bench(Path(folder), given.times, given.days), name)():
                print(row, flush=True)
                missed += "MISSED" in str(row)
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
