"""Fixtures that many tests share (see tests/evening.py for what they set up), and the browser."""

import gc
import os
import shutil
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

import duckdb
import pytest

from oplog.cli import COLLECT_AFTER
from tests import browser, remembering
from tests.evening import farm, own_configuration, run
from tests.simulated import simulated

__all__ = ["farm", "own_configuration", "run", "simulated"]


IN_MEMORY = Path("/dev/shm")
"""Where Linux keeps files in memory."""
ROOM_BYTES = 4 * 1024**3
"""What must be free there: a container has 64 MB of it."""


def pytest_configure(config: pytest.Config) -> None:
    """Folders of tests are in memory where there is room: a run makes and removes twenty thousand
    files, and some disks take 2 ms to remove one."""
    if os.access(IN_MEMORY, os.W_OK) and shutil.disk_usage(IN_MEMORY).free > ROOM_BYTES:
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(IN_MEMORY))


BEGUN_FIRST = (
    "pages_browser", "simulator", "beside", "log_check", "log_faults", "package", "flow_alongside",
    "pages", "shelf", "second_simulator", "work_found", "flow_spreading", "cli_season",
    "architecture", "query_safe", "flow_found", "season", "cli_evening", "query_fresh",
    "sample_farm", "work_simulated", "forget", "log_kill", "flow_import",
)  # fmt: skip
"""Files of tests that take longest: one that is begun last is waited for by the other processes,
which have nothing left to do."""


@pytest.fixture(scope="session", autouse=True)
def one_thread_each() -> Iterator[None]:
    """A database works with one thread. Each core has tests of its own to do, and threads that are
    started for one question and ended after it are a fifth of what a short one takes."""
    connect = duckdb.connect

    def connected(*where: object, config: Mapping[str, object] = {}, **how: object) -> object:
        return connect(*where, config={"threads": 1, **config}, **how)

    with pytest.MonkeyPatch.context() as patch:
        for core in filter(None, map(sys.modules.get, ("duckdb", "_duckdb"))):
            patch.setattr(core, "connect", connected)
        yield


@pytest.fixture(autouse=True)
def quick(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing waits for the disk but the tests of the log itself: what a flush is for shows only
    when the power goes (tests/test_log_faults.py), and thousands of them are half a minute on a
    slow disk. And the same bytes are read, and the same day is measured, once in a process."""
    if not request.path.name.startswith(("test_log_", "test_forget")):
        monkeypatch.setattr(os, "fsync", lambda handle: None)
    if not remembering.about_it(request.node):
        remembering.remember(monkeypatch)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Long files first. Without a browser, leave out the tests that need one, unless they must be
    run."""
    first = {f"test_{name}.py": k for k, name in enumerate(BEGUN_FIRST)}
    items.sort(key=lambda item: first.get(item.path.name, len(first)))
    if browser.program() or browser.required():
        return
    left_out = [i for i in items if i.get_closest_marker("browser")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [i for i in items if i not in left_out]


def pytest_collection_finish(session: pytest.Session) -> None:
    """The tests themselves are there to the end: no search for what is unused goes through them,
    and it is made as seldom as in a command."""
    gc.freeze()
    gc.set_threshold(COLLECT_AFTER)


def pytest_unconfigure(config: pytest.Config) -> None:
    """Nor does the search on leaving go through what the tests have left, which the process takes
    with it: pytest makes up to five."""
    gc.freeze()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say that tests were left out for want of a browser."""
    if not (browser.program() or browser.required()):
        terminalreporter.write_line(
            "No Chromium is on this computer: pages were not looked at in a browser. Install it, "
            "or name one with OPLOG_CHROMIUM."
        )
