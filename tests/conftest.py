"""Fixtures that many tests share (see tests/evening.py for what they set up), and the browser."""

import pytest

from tests import browser
from tests.evening import farm, own_configuration, run

__all__ = ["farm", "own_configuration", "run"]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Without a browser, leave out the tests that need one, unless they must be run."""
    if browser.program() or browser.required():
        return
    left_out = [i for i in items if i.get_closest_marker("browser")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [i for i in items if i not in left_out]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say that tests were left out for want of a browser."""
    if not (browser.program() or browser.required()):
        terminalreporter.write_line(
            "No Chromium is on this computer: pages were not looked at in a browser. Install it, "
            "or name one with OPLOG_CHROMIUM."
        )
