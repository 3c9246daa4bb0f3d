"""Fixes that went bad are worked out again from the raw file, as they were on import."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from oplog import flow, log
from oplog.events import TrackImported
from oplog.flow import Told
from oplog.flow.restoring import fixes_again
from tests.evening import DRILLED, Run, now
from tests.tracks import gpx


def local_csv(rows: int = 900) -> bytes:
    """A logger's table with times of its own place, which it does not name."""
    start = datetime(2024, 3, 25, 8, 0)
    lines = [
        f"{start + timedelta(seconds=k):%Y-%m-%d %H:%M:%S},{52.2 + k * 2e-5:.7f},-1.5000000"
        for k in range(rows)
    ]
    return "\n".join(["time,lat,lon", *lines, ""]).encode()


@pytest.mark.parametrize("zone", [None, "Europe/London", "Asia/Tokyo", "Asia/Kolkata", "UTC"])
def test_a_file_without_a_zone_is_read_again_as_it_was(farm: log.Log, zone: str | None) -> None:
    flow.import_file(farm, local_csv(), "a.csv", Told(machine="blue", zone=zone or now(farm).zone))
    restored(farm)


def test_days_added_on_import_are_added_again(farm: log.Log) -> None:
    flow.import_file(farm, gpx(DRILLED[:600]), "a.gpx", Told(machine="blue", add_days=7168))
    restored(farm)


def test_only_what_was_new_in_a_file_is_restored_from_it(farm: log.Log) -> None:
    told = Told(machine="blue", zone="Asia/Tokyo")
    flow.import_file(farm, local_csv(400), "a.csv", told)
    flow.import_file(farm, local_csv(900), "b.csv", told)
    restored(farm)


def restored(of: log.Log) -> None:
    """The newest fixes, taken away, come back byte for byte."""
    newest = max((e for e in of.events() if isinstance(e, TrackImported)), key=lambda e: e.last_at)
    before = of.fixes(newest.fixes)
    for path in (of.path / "fixes").glob(f"{newest.fixes}-*"):
        path.write_bytes(b"rotten")
    assert not of.has_fixes(newest.fixes)
    mended = log.mend(of.path, fixes_again(of))
    assert not mended.after.damaged
    assert of.fixes(newest.fixes).digest() == before.digest()


def test_the_command_says_what_it_restored(farm: log.Log, run: Run) -> None:
    flow.import_file(farm, local_csv(), "a.csv", Told(machine="blue", zone="Asia/Tokyo"))
    (path,) = (farm.path / "fixes").iterdir()
    path.write_bytes(path.read_bytes()[:-9])
    said = run("--log", farm.path, "check", "--mend")
    assert "worked out again from the raw file" in said.out
    assert "The log is whole" in said.out
    assert said.code == 0
