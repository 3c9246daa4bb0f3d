"""What is kept between commands: right or absent, never wrong, and never in the way."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from shapely.geometry import box

from oplog import ground
from oplog.fold import fold
from oplog.ground.keeping import METHOD, Kept, decode, encode
from oplog.log.memory import Memory, memory
from tests.factory import drawn, work

EVENTS = [
    drawn(),
    work(worked=box(0, 0, 100, 100)),
    work("2026-04-11", operation="rolling", worked=box(0, 0, 200, 100)),
]

PINNED = (
    "ground 1",
    [
        [21828.2, 14316.0, 7488.2, 24.0],
        [21828.2, 16530.0, 5268.2, 30.0],
        [21828.2, 16530.0, 5268.2, 30.0],
    ],
)
"""The method's name, and its figures for the ground below. [m2]"""


def figures(found: list[ground.Covered]) -> list[tuple[object, ...]]:
    return [
        (c.operation, c.pass_number, c.done_m2, c.left_m2, c.croppable_m2, c.finished, c.left.wkb)
        for c in found
    ]


def test_kept_ground_is_the_ground_worked_out(tmp_path: Path) -> None:
    from dataclasses import replace

    fresh = figures(ground.covered(fold(EVENTS)))
    for _ in range(2):
        farm = replace(fold(EVENTS), memory=Memory(tmp_path / "memory.sqlite"))
        assert figures(ground.covered(farm)) == fresh
    kept = sqlite3.connect(tmp_path / "memory.sqlite").execute("SELECT count(*) FROM kept")
    assert kept.fetchone()[0] == 4


def test_what_is_kept_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    farm = fold(EVENTS)
    first = figures(ground.covered(farm))
    monkeypatch.setattr("oplog.ground.covering._passes", lambda *a: pytest.fail("worked out again"))
    assert figures(ground.covered(farm)) == first


def test_more_work_is_worked_out_anew() -> None:
    farm = fold(EVENTS)
    before = figures(ground.covered(farm))
    more = fold([*EVENTS, work("2026-04-12", worked=box(100, 0, 200, 100))])
    more.memory.update(farm.memory)
    after = figures(ground.covered(more))
    assert before[0][2] == pytest.approx(10_000, rel=1e-3)
    assert after[0][2] == pytest.approx(20_000, rel=1e-3)
    assert before[1:] == after[1:]


@pytest.mark.parametrize("spoil", ["garbage", "folder", "altered"])
def test_a_spoilt_memory_is_no_memory(spoil: str, tmp_path: Path) -> None:
    path = tmp_path / "memory.sqlite"
    if spoil == "garbage":
        path.write_bytes(b"not a database" * 100)
    elif spoil == "folder":
        path.mkdir()
    else:
        held = Memory(path)
        held["a"] = b"value"
        sqlite3.connect(path, isolation_level=None).execute("UPDATE kept SET value = x'00'")
    held = Memory(path)
    assert held.get("a") is None
    held["b"] = b"kept all the same"
    assert held["b"] == b"kept all the same"


def test_it_lies_beside_the_configuration_that_is_named(own_configuration: Path) -> None:
    memory()["a"] = b"1"
    assert memory()["a"] == b"1"
    assert (own_configuration / "memory.sqlite").exists()


def test_bytes_that_are_not_whole_are_nothing() -> None:
    data = encode([Kept({"a": 1.5}, {"shape": b"12345"})])
    (back,) = decode(data) or []
    assert (back.figures, back.shapes) == ({"a": 1.5}, {"shape": b"12345"})
    assert decode(None) is None
    for broken in (data[:-1], data + b"x", b"", b"nonsense", b"[1]\n"):
        assert decode(broken) is None


def test_a_new_method_has_a_new_name() -> None:
    """When this fails because `ground` now works out other figures, give METHOD another number
    and write the new figures here: what users have kept under the old name is then not used."""
    shape = box(0, 0, 120, 97).difference(box(30, 40, 31.2, 60)).union(box(120, 50, 180, 95))
    again = box(10, 3, 190, 95).difference(box(60, 20, 90, 21))
    events = [
        drawn(shape=box(0, 0, 200, 100).buffer(3)),
        work(worked=shape),
        work("2026-04-11", worked=again),
        work("2026-04-12", operation="rolling", worked=again),
    ]
    found = [
        [round(f, 1) for f in (c.croppable_m2, c.done_m2, c.left_m2, c.missed_m2)]
        for c in ground.covered(fold(events))
    ]
    assert (METHOD, found) == PINNED
