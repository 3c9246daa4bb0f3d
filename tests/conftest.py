"""Fixtures that many tests share; see tests/evening.py for what they set up."""

from tests.evening import farm, own_configuration, run

__all__ = ["farm", "own_configuration", "run"]
