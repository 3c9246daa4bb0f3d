"""Every question over ten years of log, warm, against the same figures from the bare files.

    python benchmarks/questions.py [--years 10] [--times 6] [--limit-ms 100]

The years are the sample farm's, shifted and repeated, with its real shapes. "First" is what a
command waits for after the log is read (tables and ground built); "warm" is the same question
again. Ends with 1 where a warm question takes longer than the limit. The reference is
hand-written DuckDB over the Parquet files for hectares per day.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from oplog import log, query  # noqa: E402
from oplog.events import CropStated, Event, WorkMeasured, visit_id  # noqa: E402
from oplog.flow.sample import open_sample  # noqa: E402
from oplog.fold import fold  # noqa: E402

YEAR = timedelta(days=364)
AGAIN = 3
"""An operation goes over a field so many times in a season, at most."""
SELECT = """
WITH e AS (SELECT DISTINCT ON (event_id) * FROM read_parquet($glob, union_by_name = true))
SELECT day, machine, operation, field, sum(worked_m2) / 10000 FROM e
WHERE type = 'work.measured' AND event_id NOT IN (SELECT unnest(supersedes) FROM e)
GROUP BY ALL ORDER BY ALL
"""


def years(events: list[Event], count: int, times: int) -> Iterator[Event]:
    """The sample's events, its work and crops shifted back year by year, its work repeated."""
    for e in events:
        if isinstance(e, WorkMeasured):
            for year in range(count):
                for again in range(times):
                    kind = f" {again // AGAIN + 1}" if again >= AGAIN else ""
                    once = replace(e, operation=f"{e.operation}{kind}")
                    yield shifted(once, -year * YEAR + timedelta(hours=again))
        elif isinstance(e, CropStated):
            for year in range(count):
                yield replace(e, harvest_year=e.harvest_year - year)
        else:
            yield e


def shifted(v: WorkMeasured, by: timedelta) -> WorkMeasured:
    """The same work at another time, in a world of its own (so that no day is settled)."""
    started_at = v.started_at + by
    days = timedelta(days=round(by.total_seconds() / 86_400))
    return replace(
        v,
        visit=visit_id(v.machine, v.field, started_at),
        day=v.day + days,
        started_at=started_at,
        ended_at=started_at + timedelta(minutes=1),
        supersedes=(),
        tracks=(f"{v.tracks[0]}{by}",),
    )


def timed(act: Callable[[], object], runs: int = 1) -> float:
    """Best of some runs. [ms]"""
    best = float("inf")
    for _ in range(runs):
        started = time.perf_counter()
        act()
        best = min(best, (time.perf_counter() - started) * 1000)
    return best


def reference(folder: Path) -> float:
    """Hand-written DuckDB over the bare Parquet files. [ms]"""
    import duckdb

    glob = str(folder / "events" / "*.parquet")
    return timed(lambda: duckdb.connect().execute(SELECT, {"glob": glob}).fetchall(), 3)


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--years", type=int, default=10)
    parser.add_argument("--times", type=int, default=6)
    parser.add_argument("--limit-ms", type=float, default=100.0)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        sample = open_sample(Path(place) / "sample")
        events = list(years(sample.log.events(), given.years, given.times))
        made = log.create(Path(place) / "ten", "Ten Years", "Europe/London")
        made.append(events)
        read_ms = timed(lambda: fold(made.events()))
        farm = fold(made.events())
        print(f"{len(farm.visits)} visits; log read and folded in {read_ms:.0f} ms")
        bare_ms = reference(made.path)
        slow = 0
        for name in query.questions():
            first_ms = timed(lambda name=name: query.ask(farm, name))
            warm_ms = timed(lambda name=name: query.ask(farm, name), 3)
            slow += warm_ms > given.limit_ms
            beside = f", {warm_ms / bare_ms:.2f} of bare" if name == "hectares_per_day" else ""
            print(f"{name:<18} first {first_ms:8.0f} ms   warm {warm_ms:6.1f} ms{beside}")
        print(f"bare DuckDB over the files, hectares per day: {bare_ms:.0f} ms")
    return int(slow > 0)


if __name__ == "__main__":
    raise SystemExit(main())
