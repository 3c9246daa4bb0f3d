"""A second simulator of field work, written without sight of the first or of the method."""

from __future__ import annotations

from benchmarks.second import days
from benchmarks.second.records import Day, Ground, Stay
from benchmarks.second.scenarios import ALL

__all__ = ["Day", "Ground", "Stay", "build", "names"]


def names() -> list[str]:
    """Names of all scenarios."""
    return [s.name for s in ALL]


def build(name: str, seed: int) -> Day:
    """One day of a scenario; the same seed gives the same bytes. KeyError for an unknown name."""
    return days.build({s.name: s for s in ALL}[name], seed)
