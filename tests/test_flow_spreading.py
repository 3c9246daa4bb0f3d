"""Work over several processes: the same results, in the same order, and it ends cleanly."""

from __future__ import annotations

import gc
import os
import signal
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.errors import UnreadableFile
from oplog.flow import Told, importing, remeasuring, spreading
from oplog.flow.spreading import FEWEST, one_by_one, over_cores
from tests.evening import DRILLED, farm_log, measured
from tests.tracks import gpx

DRILL = Told(machine="blue", implement="drill")
ROOT = Path(__file__).resolve().parents[1]


def squared(number: int) -> int:
    return number * number


def where(_: int) -> int:
    return os.getpid()


def fussy(number: int) -> int:
    if number == 5:
        raise UnreadableFile("five")
    return number


def gone(number: int) -> int:
    if number == 3 and os.getpid() != int(os.environ["OPLOG_TEST_PARENT"]):
        os._exit(9)
    return number


def collects_after(_: int) -> int:
    return gc.get_threshold()[0]


def test_results_come_in_the_order_of_the_tasks_from_other_processes():
    with over_cores(2) as spread:
        assert list(spread(squared, range(20))) == [(k, k * k) for k in range(20)]
        used = {pid for _, pid in spread(where, range(20))}
    assert os.getpid() not in used
    assert 1 <= len(used) <= 2


def test_other_processes_look_for_circles_as_seldom_as_this_one():
    before = gc.get_threshold()
    gc.set_threshold(123_456, *before[1:])
    try:
        with over_cores(2) as spread:
            assert {n for _, n in spread(collects_after, range(6))} == {123_456}
    finally:
        gc.set_threshold(*before)


def test_few_tasks_and_one_core_are_done_here():
    with over_cores(2) as spread:
        assert {p for _, p in spread(where, range(FEWEST - 1))} == {os.getpid()}
    with over_cores(1) as spread:
        assert {p for _, p in spread(where, range(20))} == {os.getpid()}
    assert list(one_by_one(squared, [3])) == [(3, 9)]


def test_large_tasks_are_not_taken_far_ahead(monkeypatch):
    monkeypatch.setattr(spreading, "MOST_BYTES", 100)
    taken = []

    def files():
        for k in range(6):
            taken.append(k)
            yield str(k), b"x" * 70

    with over_cores(2) as spread:
        for n, (_, length) in enumerate(spread(len, files())):
            assert length == 2
            assert len(taken) <= n + 3
    assert len(taken) == 6


def test_what_a_task_raises_is_raised_in_its_turn():
    with over_cores(2) as spread:
        results = spread(fussy, range(20))
        assert [next(results) for _ in range(5)] == [(k, k) for k in range(5)]
        with pytest.raises(UnreadableFile, match="five"):
            next(results)


def test_work_goes_on_where_a_process_is_gone(monkeypatch):
    monkeypatch.setenv("OPLOG_TEST_PARENT", str(os.getpid()))
    with over_cores(2) as spread:
        assert [r for _, r in spread(gone, range(12))] == list(range(12))


def test_an_import_over_cores_writes_the_same_log(tmp_path):
    files = [
        (f"{n}.gpx", gpx([(t + timedelta(days=n), x, y) for t, x, y in DRILLED])) for n in range(5)
    ]
    files[2:2] = [("page.html", b"<html>"), files[0]]
    told, alone, together = [], farm_log(tmp_path / "alone"), farm_log(tmp_path / "together")
    first = flow.import_files(alone, files, DRILL)
    with over_cores(2) as spread:
        second = flow.import_files(
            together,
            files,
            DRILL,
            spread=spread,
            progress=lambda what, done, of: told.append((what.split()[0], done, of)),
        )
    assert first.files == second.files
    assert first.days == second.days
    assert len(second.entries) == 1
    assert measured(alone) == measured(together)
    assert len(measured(alone)) == 10
    assert told == [("reading", k, 0) for k in range(7)] + [("measuring", k, 5) for k in range(5)]


def test_files_are_packed_while_other_processes_measure(tmp_path, monkeypatch):
    files = [
        (f"{n}.gpx", gpx([(t + timedelta(days=n), x, y) for t, x, y in DRILLED])) for n in range(3)
    ]
    happened = []

    def packed(content, digest):
        happened.append("packed")
        assert log.packed(content).content == digest
        return log.packed(content, digest)

    def spread(work, tasks):
        for task, result in one_by_one(work, tasks):
            happened.append(work)
            yield task, result

    monkeypatch.setattr(importing, "packed", packed)
    flow.import_files(farm_log(tmp_path / "log"), files, DRILL, spread=spread)
    assert happened[3:] == [remeasuring.measured, "packed", "packed"] * 3


SLOW = """
import signal, sys, time
# A shell that starts the tests in the background makes them ignore Ctrl-C, which is inherited.
signal.signal(signal.SIGINT, signal.default_int_handler)
sys.path[:0] = [{root!r}]
from oplog.flow.spreading import over_cores

if __name__ == "__main__":
    with over_cores(2) as spread:
        for k, _ in spread(time.sleep, [0.05] * 4 + [60.0] * 6):
            print("done", flush=True)
"""


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGKILL])
def test_ctrl_c_or_a_kill_ends_all_processes(tmp_path, end):
    script = tmp_path / "slow.py"
    script.write_text(SLOW.format(root=str(ROOT)), "utf-8")
    process = subprocess.Popen(
        [sys.executable, str(script)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    assert process.stdout is not None
    for _ in range(4):
        assert process.stdout.readline() == "done\n"
    if end == signal.SIGINT:
        os.killpg(process.pid, end)  # as a terminal does: to all of them
    else:
        process.send_signal(end)
    _, told = process.communicate(timeout=30)
    assert told.count("Traceback") <= 1
    ended = time.monotonic() + 20
    while group_lives(process.pid) and time.monotonic() < ended:
        time.sleep(0.05)
    assert not group_lives(process.pid)


def group_lives(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True
