"""The log against the least work that could do: how fast, how small, and what it survives.

    python benchmarks/log.py [PART ...] [--visits 30000]

Parts: commits, replay, tidy, fixes, check, kill, flip; all of them where none is named. Each
figure stands beside its reference: plain pyarrow, DuckDB or hashlib doing as little as possible
with the same bytes. kill and flip are the full counts of what the tests do in small; they end
with 1 where an acknowledged commit was lost or an altered byte went unnoticed.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import hashlib
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import shapely

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from oplog import log  # noqa: E402
from oplog.events import Event, NoteWritten, Span, TrackImported, WorkMeasured, visit_id  # noqa: E402
from oplog.fold import fold  # noqa: E402
from oplog.log import disk, kept, schema  # noqa: E402
from oplog.log.book import MANY_FILES  # noqa: E402
from oplog.log.files import EventFiles  # noqa: E402
from oplog.log.reading import table_of  # noqa: E402
from oplog.track import Track, track  # noqa: E402

FARM = ("Benchmark Farm", "Europe/London")
NO_SHAPES = ("spans", *schema.GEOMETRIES)
SELECT = """
WITH e AS (SELECT DISTINCT ON (event_id) * FROM read_parquet($glob, union_by_name = true))
SELECT day, round(sum(worked_m2) / 10000, 2) FROM e
WHERE type = 'work.measured' AND event_id NOT IN (SELECT unnest(supersedes) FROM e)
GROUP BY day ORDER BY day
"""


def timed(act: Callable[[], object], runs: int = 3) -> float:
    """Best of some runs. [s]"""
    best = float("inf")
    for _ in range(runs):
        gc.collect()
        started = time.perf_counter()
        act()
        best = min(best, time.perf_counter() - started)
    return best


def say(what: str, figure: str, beside: str = "") -> None:
    print(f"  {what:<54} {figure:>12}   {beside}", flush=True)


def milliseconds(seconds: float) -> str:
    return f"{seconds * 1e3:.1f} ms"


@contextlib.contextmanager
def place() -> Iterator[Path]:
    """A folder, and a configuration of its own."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["OPLOG_CONFIG"] = str(Path(folder, "configuration"))
        yield Path(folder)


def visit(number: int) -> WorkMeasured:
    """One of ten years x 5 machines x 150 days x 4 visits. 40 spans, 2 outlines of 120 points."""
    rng = np.random.default_rng(number)
    day = date(2016 + number // 3000 % 10, 3, 1) + timedelta(days=number // 20 % 150)
    start = datetime(day.year, day.month, day.day, 6, tzinfo=UTC) + timedelta(
        hours=2 * (number % 4)
    )
    spans = tuple(
        Span(
            start + timedelta(seconds=90 * k),
            start + timedelta(seconds=90 * k + 90),
            "turning" if k % 2 else "working",
            k // 2 + 1,
        )
        for k in range(40)
    )
    around = np.linspace(0, 2 * np.pi, 120)
    ring = np.column_stack([np.cos(around), np.sin(around)]) * rng.normal(1e-3, 1e-5, (120, 1))
    outline = shapely.Polygon(np.round(ring + np.array([-1.5, 52.0]), 7)).wkb
    machine, field = f"machine {number // 4 % 5}", f"field {number * 7 % 40}"
    worked_m2 = float(rng.uniform(5e3, 2e5))
    return WorkMeasured(
        visit=visit_id(machine, field, start),
        machine=machine,
        field=field,
        day=day,
        started_at=start,
        ended_at=start + timedelta(hours=1),
        tracks=(f"{number // 4:032x}",),
        method="1",
        settings={f"setting_{k}_s": 60.0 * k for k in range(12)},
        boundary=f"{number % 40:032x}",
        kit=(f"{number % 5:032x}", f"{number % 7:032x}"),
        implement="drill",
        operation="drilling",
        width_m=3.0,
        worked_m2=worked_m2,
        gross_m2=worked_m2 * 1.05,
        working_s=float(rng.uniform(1e3, 3e3)),
        turning_s=300.0,
        filling_s=0.0,
        standing_s=100.0,
        travelling_s=50.0,
        unrecorded_s=0.0,
        break_s=0.0,
        working_m=float(rng.uniform(1e3, 1e4)),
        speed_m_s=2.5,
        spans=spans,
        geometry=outline,
        bouts=outline,
    )


def drive(seed: int, n: int = 36_000) -> Track:
    """Ten hours at 1 Hz, up and down a field with the noise of a good receiver."""
    rng = np.random.default_rng(seed)
    along = np.abs((np.arange(n) * 2.5) % 600 - 300) * 9e-6
    across = (np.arange(n) // 120) * 3 * 1.4e-5 % 0.01
    start = np.datetime64("2026-03-01T06:00:00", "us") + np.timedelta64(seed, "D")
    return track(
        start + np.arange(n) * np.timedelta64(1_000_000, "us"),
        52.0 + along + np.cumsum(rng.normal(0, 1e-8, n)),
        -1.5 + across + np.cumsum(rng.normal(0, 1e-8, n)),
        speed_m_s=np.round(rng.normal(2.5, 0.03, n), 2),
    ).rounded()


def commits() -> None:
    """Commits a second, and what an import's commit takes."""
    print("commits")
    with place() as folder:
        made = log.create(folder / "log", *FARM)
        count = 200
        started = time.perf_counter()
        for k in range(count):
            made.append([NoteWritten(note=f"note {k}")])
        each = (time.perf_counter() - started) / count
        plain = folder / "plain"
        plain.mkdir()
        content = next((made.path / "events").glob("*.parquet")).read_bytes()
        numbers = iter(range(10**9))
        least = timed(lambda: flushed(plain / f"{next(numbers)}", content), 50)
        say(
            "one commit of one event", milliseconds(each), f"write + 2 fsync: {milliseconds(least)}"
        )
        say("commits a second", f"{1 / each:.0f}", f"{1 / least:.0f}")
        fixes = drive(1)
        data = gpx_like(fixes)
        event = imported(fixes, data)
        held = {event.fixes: fixes}
        raw = {event.file_digest: data}
        started = time.perf_counter()
        made.append([event, *map(visit, range(20))], fixes=held, raw=raw)
        whole = time.perf_counter() - started
        beside = f"{len(data) / 1e6:.1f} MB file, 36,000 fixes, 20 visits"
        say("one import's commit", milliseconds(whole), beside)


def flushed(path: Path, content: bytes) -> None:
    """The least a durable commit can do."""
    with open(path, "wb", buffering=0) as file:
        file.write(content)
        os.fsync(file.fileno())
    handle = os.open(path.parent, os.O_RDONLY)
    os.fsync(handle)
    os.close(handle)


def gpx_like(fixes: Track) -> bytes:
    """Those fixes as the GPX that a logger writes."""
    points = (
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>83.2</ele><time>{t}Z</time></trkpt>'
        for t, lat, lon in zip(
            np.datetime_as_string(fixes.time, unit="s"), fixes.lat, fixes.lon, strict=True
        )
    )
    return "\n".join(points).encode()


def imported(fixes: Track, data: bytes) -> TrackImported:
    first, last = (t.astype(datetime).replace(tzinfo=UTC) for t in fixes.time[[0, -1]])
    return TrackImported(
        machine="machine 0",
        fixes=fixes.digest(),
        file_digest=hashlib.sha256(data).hexdigest(),
        fix_count=len(fixes),
        known_fixes=0,
        first_at=first,
        last_at=last,
    )


def season(folder: Path, visits: int) -> log.Log:
    """A tidied log of many visits."""
    made = log.create(folder / "log", *FARM)
    for first in range(0, visits, 2000):
        made.append(map(visit, range(first, min(first + 2000, visits))))
    made.tidy()
    return made


def replay(visits: int) -> None:
    """Ten years from zero, against plain pyarrow reading the same columns into Arrow."""
    import pyarrow.parquet as pq

    print(f"replay of {visits} visits")
    with place() as folder:
        made = season(folder, visits)
        files = sorted((made.path / "events").glob("*.parquet"))
        size = sum(p.stat().st_size for p in files)
        say("on disk", f"{size / 1e6:.0f} MB", f"{len(files)} files, {size / visits:.0f} B a visit")
        for what, without in (
            ("all columns", ()),
            ("without spans", ("spans",)),
            ("without spans and geometries", NO_SHAPES),
        ):
            ours = timed(lambda w=without: log.open_log(made.path).events(without=w))
            plain = timed(lambda w=without: [columns_of(pq, p, w) for p in files])
            say(f"events, {what}", milliseconds(ours), f"pyarrow: {milliseconds(plain)}")
        events = made.events(without=NO_SHAPES)
        say("fold", milliseconds(timed(lambda: fold(events))))
        questions(made, "tidied")
        questions(untidied(folder, visits), "untidied")


def questions(made: log.Log, state: str) -> None:
    """Questions from zero, the reading and folding of all included, and asked once more."""
    import duckdb

    from oplog import query

    connection, glob = duckdb.connect(), {"glob": made.events_glob}
    plain = timed(lambda: connection.execute(SELECT, glob).fetchall())
    whole = timed(lambda: fold(log.open_log(made.path).events()), 3)
    files = len(EventFiles(made.path / "events").names())
    say(f"{state}, {files} files: read and folded, from zero", milliseconds(whole),
        f"plain DuckDB, one sum: {milliseconds(plain)}")  # fmt: skip
    every = timed(lambda: asked(query, made), 3)
    say("- with the four questions", milliseconds(every), f"{every / plain:.0f} of plain")
    farm = fold(log.open_log(made.path).events())
    for name in QUESTIONS:
        first = timed(lambda name=name: query.ask(farm, name), 1)
        warm = timed(lambda name=name: query.ask(farm, name))
        say(f"- {name}, first and again", f"{first * 1e3:.0f}, {warm * 1e3:.0f} ms",
            f"{warm / plain:.2f} of plain")  # fmt: skip


QUESTIONS = ("hectares_per_day", "season_summary", "output_by_width", "jobs")


def asked(query: Any, made: log.Log) -> None:
    farm = fold(log.open_log(made.path).events())
    for name in QUESTIONS:
        query.ask(farm, name)


def untidied(folder: Path, visits: int) -> log.Log:
    """The same visits in as many files as reading leaves: they were copied here."""
    made = log.create(folder / "untidied", *FARM)
    files = MANY_FILES - 1
    for k in range(files):
        data = schema.encode([visit(n) for n in range(k, visits, files)])
        (made.path / "events" / f"{disk.digest(data)}.parquet").write_bytes(data)
    return made


def columns_of(pq: object, path: Path, without: tuple[str, ...]) -> object:
    file = pq.ParquetFile(path)  # type: ignore[attr-defined]
    return file.read(columns=[n for n in file.schema_arrow.names if n not in without])


def tidied() -> None:
    """Five thousand small files, and the same tidied."""
    import duckdb

    print("5,000 small files, and tidied")
    with place() as folder:
        made = log.create(folder / "log", *FARM)
        for k in range(5000):
            data = schema.encode([visit(k)])
            (made.path / "events" / f"{disk.digest(data)}.parquet").write_bytes(data)
        before = measure_both(duckdb, made)
        seconds = timed(lambda: log.open_log(made.path).tidy(), 1)
        after = measure_both(duckdb, made)
        say(
            "tidying them",
            milliseconds(seconds),
            f"{len(EventFiles(made.path / 'events').names())} file(s) left",
        )
        for what, a, b in zip(
            ("plain SELECT in DuckDB", "events without shapes"), before, after, strict=True
        ):
            say(what, milliseconds(b), f"before: {milliseconds(a)}")


def measure_both(duckdb: object, made: log.Log) -> tuple[float, float]:
    connection = duckdb.connect()  # type: ignore[attr-defined]
    glob = {"glob": made.events_glob}
    return (
        timed(lambda: connection.execute(SELECT, glob).fetchall()),
        timed(lambda: log.open_log(made.path).events(without=NO_SHAPES), 2),
    )


def fixes() -> None:
    """Bytes a fix, of recorded tracks where they are there and of a made-up day."""
    from oplog import readers

    print("bytes a fix")
    corpus = Path(os.environ.get("OPLOG_CORPUS") or ROOT.parent / "shared" / "corpus")
    for path in sorted(corpus.rglob("*.gpx")) if corpus.is_dir() else []:
        data = path.read_bytes()
        recorded, _ = readers.read(data, name=path.name)
        if len(recorded) > 4000:
            bytes_a_fix(path.stem, data, recorded)
    for quality in ("rtk", "sbas", "phone"):
        for rate in (1, 10):
            made = wandering(quality, rate)
            bytes_a_fix(f"simulated {quality}, {rate} Hz", gpx_like(made), made)
    made = drive(1)
    bytes_a_fix("a made-up day at 1 Hz", gpx_like(made), made)


def wandering(quality: str, rate: int) -> Track:
    """Two hours up and down a field at 2.5 m/s, with the errors of the simulator's receivers."""
    from tests.simulator.receiver import wander

    t = np.arange(0.0, 7200.0, 1.0 / rate)
    error_m = wander(np.random.default_rng(5), t, quality)
    y = np.abs((t * 2.5) % 600 - 300) + error_m[:, 1]
    x = (t // 120) * 4 + error_m[:, 0]
    start = np.datetime64("2026-03-01T06:00:00", "us")
    return track(
        start + np.round(t * 1e6).astype("timedelta64[us]"), 52.0 + y * 9e-6, -1.5 + x * 1.46e-5
    ).rounded()


def bytes_a_fix(name: str, data: bytes, recorded: Track) -> None:
    ours, raw = len(kept.encode_fixes(recorded)), len(kept.encode_raw(data))
    say(
        name[:40],
        f"{ours / len(recorded):.2f} B",
        f"GPX {len(data) / len(recorded):.0f} B: {len(data) / ours:.0f} times smaller; "
        f"raw kept in {raw / len(recorded):.1f} B",
    )


def check(visits: int) -> None:
    """A check against reading and hashing the same bytes; four visits to a day of fixes."""
    visits = min(visits, 1200)
    days = visits // 4
    print(f"check of {visits} visits and {days} days of fixes")
    with place() as folder:
        made = season(folder, visits)
        data = gpx_like(drive(0))
        for seed in range(days):
            day = drive(seed)
            file = data + b"%d" % seed
            event = imported(day, file)
            made.append([event], fixes={event.fixes: day}, raw={event.file_digest: file})
        files = [p for p in made.path.rglob("*") if p.is_file()]
        plain = timed(lambda: [hashlib.sha256(p.read_bytes()).digest() for p in files])
        size = sum(p.stat().st_size for p in files) / 1e6
        events = [p for p in files if p.parent.name == "events"]
        least = plain + timed(lambda: [table_of(p.read_bytes()) for p in events])
        first = min(timed(lambda: checked_first(made.path), 1) for _ in range(3))
        again = timed(lambda: log.check(made.path))
        say("reading and hashing", milliseconds(plain), f"{size:.0f} MB, {len(files)} files")
        say("and unpacking the events", milliseconds(least), f"{least / plain:.1f} times")
        say("first check: ids worked out", milliseconds(first), f"{first / plain:.1f} times")
        say("checks after it: every byte", milliseconds(again), f"{again / plain:.1f} times")


def checked_first(path: Path) -> None:
    """A check by somebody who never checked before."""
    Path(os.environ["OPLOG_CONFIG"], "verified").unlink(missing_ok=True)
    log.check(path)


def kill(commits_wanted: int = 1000) -> bool:
    """Writers killed at random instants until a thousand commits were acknowledged."""
    from tests.test_log_kill import acknowledged, notes, start

    print(f"kill -9 until {commits_wanted} commits were acknowledged")
    rng, done, runs, lost, half = random.Random(1), 0, 0, 0, 0
    with place() as folder:
        made = log.create(folder / "log", *FARM)
        while done < commits_wanted:
            process = start(made.path, f"run{runs}", 100_000)
            assert process.stdout is not None
            process.stdout.readline()
            time.sleep(rng.uniform(0.02, 0.8))
            process.send_signal(signal.SIGKILL)
            told = acknowledged(process)
            process.wait()
            held = notes(made.path, f"run{runs}")
            lost += len(set(told) - held.keys())
            half += sum(parts != {"a", "b"} for parts in held.values())
            done, runs = done + len(told), runs + 1
        damaged = log.check(made.path).damaged
    say("acknowledged", str(done), f"{runs} kills")
    say("lost", str(lost), f"half visible: {half}; damaged: {damaged}")
    return not (lost or half or damaged)


def flip() -> bool:
    """Every byte of a small log altered in turn, each core on a copy of it: ten milliseconds of
    reading, twice, for each of 25,000."""
    print("every byte of a small log altered in turn")
    with place() as folder:
        made = log.create(folder / "log", *FARM)
        day = drive(1, 60)
        data = gpx_like(day)
        event = imported(day, data)
        made.append([event, visit(1)], fixes={event.fixes: day}, raw={event.file_digest: data})
        made.append([NoteWritten(note="a")])
        parts = os.cpu_count() or 1
        copies = [shutil.copytree(made.path, folder / f"copy{k}") for k in range(parts)]
        with ProcessPoolExecutor(parts) as cores:
            found = list(cores.map(flipped, copies, range(parts), [parts] * parts))
    flips, unnoticed, wrong = (sum(f[k] for f in found) for k in range(3))
    say("altered", str(flips))
    say("unnoticed by check", str(unnoticed), f"read as if nothing were wrong: {wrong}")
    return not (unnoticed or wrong)


def flipped(path: Path, first: int, step: int) -> tuple[int, int, int]:
    """Every so many bytes of a log altered: how many, unnoticed by a check, believed by reading."""
    everything = {e.event_id: e for e in log.open_log(path).events()}
    flips = unnoticed = wrong = 0
    for file in sorted(p for p in path.rglob("*") if p.is_file()):
        content = file.read_bytes()
        for k in range(first, len(content), step):
            altered = bytearray(content)
            altered[k] ^= 1 << k % 8
            file.write_bytes(altered)
            flips += 1
            unnoticed += not log.check(path).findings
            if file.parent.name == "events":
                read: list[Event] = log.open_log(path).events()
                wrong += any(everything.get(e.event_id) != e for e in read)
        file.write_bytes(content)
    return flips, unnoticed, wrong


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("parts", nargs="*")
    parser.add_argument("--visits", type=int, default=30_000)
    said = parser.parse_args()
    parts: dict[str, Callable[[], bool | None]] = {
        "commits": commits,
        "replay": lambda: replay(said.visits),
        "tidy": tidied,
        "fixes": fixes,
        "check": lambda: check(said.visits),
        "kill": kill,
        "flip": flip,
    }
    if unknown := set(said.parts) - parts.keys():
        parser.error(f"no such part: {', '.join(sorted(unknown))}")
    results = [parts[p]() for p in said.parts or parts]
    return 1 if False in results else 0


if __name__ == "__main__":
    sys.exit(main())
