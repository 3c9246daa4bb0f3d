"""Killed at any instant, and four writers at once: nothing acknowledged is lost, nothing is half
there. benchmarks/log.py does the same a thousand times."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

from oplog import log
from oplog.events import EntryWritten, NoteWritten
from tests.logs import new_log, own_configuration

__all__ = ["own_configuration"]

WRITER = textwrap.dedent(
    """
    import sys
    from pathlib import Path
    from oplog import log
    from oplog.events import NoteWritten
    from oplog.log import tidy

    folder, name, count, many = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    tidy.TIERS = ((1 << 20, many), (16 << 20, 4))
    book = log.open_log(folder)
    book.events()  # so that all is loaded
    print("ready", flush=True)
    for k in range(count):
        pair = [NoteWritten(note=f"{name} {k} {part}") for part in "ab"]
        book.append(pair)
        print(k, flush=True)
    """
)


def start(folder: Path, name: str, count: int, many: int = 5) -> subprocess.Popen[str]:
    root = Path(__file__).resolve().parents[1]
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), name, str(count), str(many)],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(root)},
    )


def acknowledged(process: subprocess.Popen[str]) -> list[int]:
    """Numbers of the commits that the writer was told are done."""
    assert process.stdout is not None
    lines = process.stdout.read().split("\n")
    # The last line may itself have been cut by the kill.
    return [int(line) for line in lines[:-1]]


def notes(folder: Path, name: str) -> dict[int, set[str]]:
    """Which parts of each pair of one writer the log holds."""
    held: dict[int, set[str]] = {}
    for event in log.open_log(folder).events():
        if isinstance(event, NoteWritten) and event.note.startswith(f"{name} "):
            _, number, part = event.note.split()
            held.setdefault(int(number), set()).add(part)
    return held


def test_killed_at_random_instants_while_committing_and_tidying(tmp_path):
    made = new_log(tmp_path / "log")
    rng = random.Random(20260301)
    total = 0
    for run in range(6):
        process = start(made.path, f"run{run}", 10_000)
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        time.sleep(rng.uniform(0.05, 0.5))
        process.send_signal(signal.SIGKILL)
        done = acknowledged(process)
        process.wait()
        held = notes(made.path, f"run{run}")
        assert set(done) <= held.keys(), "an acknowledged commit is lost"
        assert all(parts == {"a", "b"} for parts in held.values()), "a commit is half there"
        assert len(held) <= len(done) + 1
        total += len(done)
        assert not log.check(made.path).damaged
    assert total > 0


def test_four_writers_at_once_all_succeed(tmp_path):
    made = new_log(tmp_path / "log")
    writers = [start(made.path, f"writer{k}", 8) for k in range(4)]
    for process in writers:
        process.communicate(timeout=120)
        assert process.returncode == 0
    for k in range(4):
        assert notes(made.path, f"writer{k}") == {n: {"a", "b"} for n in range(8)}
    report = log.check(made.path)
    assert report.findings == ()
    records = [e for e in log.open_log(made.path).events() if isinstance(e, EntryWritten)]
    assert sorted(e.number for e in records) == list(range(1, 34))
    assert len({e.writer for e in records}) == 1
