"""The sample farm in a log, made once for all tests of a run, in however many processes."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from filelock import FileLock

from oplog import log
from oplog.cli import main
from oplog.flow.sample import open_sample


def shared_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of all processes of a run."""
    base = tmp_path_factory.getbasetemp()
    return base.parent if base.name.startswith("popen-") else base


@pytest.fixture(scope="session")
def opened_sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The log that `oplog sample` makes. To be copied, or read only."""
    shared = shared_folder(tmp_path_factory)
    folder, done = shared / "opened-sample", shared / "opened-sample.done"
    with FileLock(str(shared / "opened-sample.lock")), pytest.MonkeyPatch.context() as patch:
        patch.setenv("OPLOG_CONFIG", str(shared / "sample-configuration"))
        if not done.exists():
            open_sample(folder)
            done.touch()
    return folder


@pytest.fixture(scope="session")
def sample(opened_sample: Path, tmp_path_factory: pytest.TempPathFactory) -> log.Log:
    """The sample farm, with a customer and prices. To be read only."""
    shared = shared_folder(tmp_path_factory)
    folder, done = shared / "sample-log", shared / "sample-log.done"
    with FileLock(str(shared / "sample-log.lock")), pytest.MonkeyPatch.context() as patch:
        patch.setenv("OPLOG_CONFIG", str(shared / "sample-configuration"))
        if not done.exists():
            shutil.copytree(opened_sample, folder)
            for words in (
                ["customer", "add", "Brook & Sons", "--farm", "Sallow"],
                ["customer", "price", "combining", "95", "--currency", "GBP"],
                ["note", "Seed went in at 5 cm", "--on", "Barn Close"],
            ):
                main(["--log", str(folder), *words])
            done.touch()
    return log.open_log(folder)


@pytest.fixture
def with_memory(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch,
    own_configuration: Path,
) -> None:  # fmt: skip
    """The user who asked of the sample farm before, so that its ground is worked out once in a run
    and not by every command. That what is kept is what is worked out is tests/test_memory.py's."""
    kept = shared_folder(tmp_path_factory) / "sample-configuration"
    monkeypatch.setenv("OPLOG_CONFIG", str(kept))
