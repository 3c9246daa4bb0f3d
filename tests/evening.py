"""A small farm, set up, for the tests of the flow and of the commands."""

from __future__ import annotations

import atexit
import functools
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import count
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.cli import main
from oplog.events import Event, WorkMeasured
from oplog.flow.history import read
from oplog.fold import Farm
from oplog.kit import KitItem
from tests.tracks import bouts, geojson, gpx, square, walk

DRILLED = walk(bouts(0, 0, 100, 200, 4.0), 2.0)
"""Long Acre (2 ha), up and down with 4 m."""
ROLLED = walk(bouts(300, 0, 120, 200, 6.0), 2.5, start=DRILLED[-1][0] + timedelta(minutes=4))
"""Mill (2.4 ha), later on the same day, with 6 m."""
DAY = date(2024, 3, 25)
FIELDS = {"Long Acre": square(0, 0, 100, 200), "Mill": square(300, 0, 120, 200)}


_USERS = count()


@pytest.fixture(autouse=True)
def own_configuration(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
) -> Path:  # fmt: skip
    """Every test is a user of its own, with no log named in the environment. A test that has no
    folder gets none made for this: it takes longer than most of those tests."""
    if "tmp_path" in request.fixturenames:
        own: Path = request.getfixturevalue("tmp_path")
    else:
        own = tmp_path_factory.getbasetemp() / f"user-{next(_USERS)}"
    folder = own / "configuration"
    monkeypatch.setenv("OPLOG_CONFIG", str(folder))
    for name in ("OPLOG_LOG", "OPLOG_UNITS"):
        monkeypatch.delenv(name, raising=False)
    return folder


def kept(make: Callable[[Path], log.Log]) -> Callable[[Path], log.Log]:
    """Make a log once and copy it from then on; a copy is written to by a writer of its own."""
    made: list[Path] = []

    @functools.wraps(make)
    def copied(path: Path) -> log.Log:
        if not made:
            base = Path(tempfile.mkdtemp(prefix="oplog-kept-"))
            atexit.register(shutil.rmtree, base, ignore_errors=True)
            make(base / "log")
            made.append(base / "log")
        shutil.copytree(made[0], path)
        return log.open_log(path)

    return copied


@kept
def farm_log(path: Path) -> log.Log:
    """A log with two fields, a tractor and two implements."""
    opened = log.create(path, "Hill Farm", "Europe/London")
    flow.add_land(opened, geojson(FIELDS), "fields.geojson", today=date(2024, 3, 1))
    flow.add_kit(opened, KitItem("blue", "tractor", True, hitch_m=2.0))
    flow.add_kit(opened, KitItem("drill", "drill", False, width_m=4.0, behind_m=1.0, trailed=False))
    flow.add_kit(opened, KitItem("roller", "roller", False, width_m=6.0))
    return opened


@kept
def day_log(path: Path) -> log.Log:
    """The farm with one day's work, of which nobody has said with what it was done."""
    opened = farm_log(path)
    flow.import_file(opened, day_gpx(), "day.gpx", flow.Told(machine="blue"))
    return opened


@pytest.fixture
def farm(tmp_path: Path) -> log.Log:
    """A farm set up, nothing imported."""
    return farm_log(tmp_path / "log")


def now(of: log.Log) -> Farm:
    """What counts in a log."""
    return read(of).farm


def measured(of: log.Log) -> set[str]:
    """Ids of all measurements that count."""
    folded = now(of)
    return {e.event_id for e in (*folded.visits, *folded.days)}


def every(of: log.Log, kind: type[Event]) -> list[Event]:
    """All events of one type, superseded ones too."""
    return [e for e in of.events() if isinstance(e, kind)]


def in_field(of: log.Log, field: str) -> WorkMeasured:
    """The only visit to a field."""
    (visit,) = (v for v in now(of).visits if v.field == field)
    return visit


@dataclass
class Said:
    """What a command printed, and its exit code."""

    code: int
    out: str
    err: str


Run = Callable[..., Said]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in this process, as a pipe sees it."""

    def command(*arguments: object) -> Said:
        capsys.readouterr()
        code = main([str(a) for a in arguments])
        said = capsys.readouterr()
        return Said(code, said.out, said.err)

    return command


@functools.cache
def day_gpx() -> bytes:
    """The drilling and the rolling of one day in one file."""
    return gpx(DRILLED + ROLLED)
