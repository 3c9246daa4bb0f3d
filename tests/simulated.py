"""Simulated days, each made once for all tests of a run, in however many processes."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING

import pytest
from filelock import FileLock

from tests.sample_log import shared_folder

if TYPE_CHECKING:
    from tests.simulator.scene import Scenario

SEED = 31
Simulated = Callable[..., "Scenario"]


@pytest.fixture(scope="session")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Simulated:
    """Gives a scenario by its name and, if need be, its seed. To be read only."""
    from tests.simulator.scenarios import SCENARIOS

    folder = shared_folder(tmp_path_factory)

    @cache
    def made(name: str, seed: int = SEED) -> Scenario:
        kept = folder / f"{name}-{seed}.pickle"
        with FileLock(f"{kept}.lock"):
            if not kept.exists():
                kept.write_bytes(pickle.dumps(SCENARIOS[name](seed)))
            scenario: Scenario = pickle.loads(kept.read_bytes())
        return scenario

    return made
