"""The sample farm in a log, made once for all tests of a run, in however many processes."""

from __future__ import annotations

from pathlib import Path

import pytest
from filelock import FileLock

from oplog import log
from oplog.cli import main
from oplog.flow.sample import open_sample


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> log.Log:
    """The sample farm, with a customer and prices. To be read only."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if base.name.startswith("popen-") else base
    folder, done = shared / "sample-log", shared / "sample-log.done"
    with FileLock(str(shared / "sample-log.lock")), pytest.MonkeyPatch.context() as patch:
        patch.setenv("OPLOG_CONFIG", str(shared / "sample-configuration"))
        if not done.exists():
            open_sample(folder)
            for words in (
                ["customer", "add", "Brook & Sons", "--farm", "Sallow"],
                ["customer", "price", "combining", "95", "--currency", "GBP"],
                ["note", "Seed went in at 5 cm", "--on", "Barn Close"],
            ):
                main(["--log", str(folder), *words])
            Path(done).touch()
    return log.open_log(folder)
