"""What follows from its arguments alone is worked out once in a process, for the tests that use it
and are not about it.

Most tests of the commands begin with the same few files in the same log, and read or measure them
again at every step. The tests of the log and of the work itself do without this: see `OWN`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from oplog.land import Field
from oplog.log import files
from oplog.log.disk import digest
from oplog.track import Track

OWN = ("test_log_", "test_forget", "test_work_", "test_flow_import", "test_flow_remeasure",
       "test_flow_spreading")  # fmt: skip
"""How the names of files begin whose tests are about reading or measuring, or about whether it
comes out the same again."""

_read: dict[tuple[object, ...], Any] = {}
_measured: dict[tuple[object, ...], list[tuple[list[tuple[object, object]], Any]]] = {}


def remember(patch: pytest.MonkeyPatch) -> None:
    """Read each file of events once for its bytes, and measure each day once for its fixes, its
    fields and what was answered when it was asked for rigs."""
    from oplog.flow import measuring

    for name in ("decode", "index"):
        patch.setattr(files, name, _once(name, getattr(files, name)))
    patch.setattr(measuring, "measure_day", _measuring(measuring.measure_day))


def _once(name: str, read: Callable[..., Any]) -> Callable[..., Any]:
    def once(data: bytes, *without: frozenset[str]) -> Any:
        key = (name, digest(data), *without)
        if key not in _read:
            _read[key] = read(data, *without)
        found = _read[key]
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
