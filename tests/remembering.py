"""What follows from its arguments alone is worked out once in a process, for the tests that use it
and are not about it.

Most tests of the commands begin with the same few files in the same log, and read or measure them
again at every step; those of what is on the disk read the files again that nothing happened to. The
tests of reading and of the work itself do without this: see `about_it`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Collection
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from oplog.land import Field
from oplog.log import files, survey, tidy
from oplog.track import Track

_OWN = ("test_log_", "test_work_", "test_flow_remeasure", "test_flow_spreading")
_ON_THE_DISK = ("test_log_check", "test_log_faults", "test_log_set")
_READING = (
    (files, "decode"), (files, "decode_some"), (files, "index"), (files, "salvage"),
    (survey, "index"), (survey, "salvage"), (survey, "table_of"), (tidy, "table_of"),
)  # fmt: skip
_read: dict[str, Callable[..., Any]] = {}
_measured: dict[tuple[object, ...], list[tuple[list[tuple[object, object]], Any]]] = {}


def about_it(test: pytest.Item) -> bool:
    """Whether a test is about reading or measuring, or about whether it comes out the same
    again."""
    name = test.path.name
    own = name.startswith(_OWN) and not name.startswith(_ON_THE_DISK)
    return own or test.get_closest_marker("anew") is not None


def remember(patch: pytest.MonkeyPatch) -> None:
    """Read each file of events once for its bytes, and measure each day once for its fixes, its
    fields and what was answered when it was asked for rigs."""
    from oplog.flow import measuring

    for module, name in _READING:
        patch.setattr(module, name, _once(name, getattr(module, name)))
    patch.setattr(measuring, "measure_day", _measuring(measuring.measure_day))


def _once(name: str, read: Callable[..., Any]) -> Callable[..., Any]:
    known = _read.setdefault(name, lru_cache(maxsize=500)(read))

    def once(data: bytes, *names: Collection[str]) -> Any:
        found = known(data, *map(frozenset, names))
        return list(found) if isinstance(found, list) else found

    return once


def _measuring(measure: Callable[..., Any]) -> Callable[..., Any]:
    def once(track: Track, fields: list[Field], rig_for: Callable[..., Any], settings: Any) -> Any:
        fixes = tuple(getattr(track, c.name) for c in dataclasses.fields(track))
        held = tuple(c.tobytes() if isinstance(c, np.ndarray) else c for c in fixes)
        drawn = tuple((repr(f), f.boundary.wkb) for f in fields)
        same = _measured.setdefault((held, drawn, repr(settings)), [])
        for asked, work in same:
            if all(rig_for(*question) == answer for question, answer in asked):
                return work
        asked = []

        def rig(*question: object) -> object:
            asked.append((question, rig_for(*question)))
            return asked[-1][1]

        work = measure(track, fields, rig, settings)
        same.append((asked, work))
        return work

    return once
