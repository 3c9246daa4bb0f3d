"""Ground that a private place hides is told apart from ground that was missed."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import shapely

from oplog import flow, ground, log
from oplog.flow import Told, private
from oplog.flow.measuring import measure
from oplog.flow.remeasuring import task
from oplog.fold import fold
from tests.evening import DAY, DRILLED, Run, farm_log, in_field, now
from tests.tracks import PLACE, START, bouts, gpx, walk

ROLLED = walk(bouts(300, 0, 120, 200, 6.0), 2.5, start=START)
MIDDLE_M = (360.0, 100.0)
RADIUS_M = 20.0


@pytest.fixture(scope="module")
def hidden(tmp_path_factory: pytest.TempPathFactory) -> log.Log:
    """Mill rolled, with a private place in the middle of it."""
    with pytest.MonkeyPatch.context() as patch:
        base = tmp_path_factory.mktemp("hidden")
        patch.setenv("OPLOG_CONFIG", str(base / "configuration"))
        of = farm_log(base / "log")
        lon, lat = PLACE.lonlat([MIDDLE_M[0]], [MIDDLE_M[1]])
        private.state_circle(of, "cottage", float(lat[0]), float(lon[0]), RADIUS_M)
        flow.state_crop(of, ["Mill"], "beans", 2024)
        flow.import_file(of, gpx(ROLLED), "day.gpx", Told(machine="blue", implement="roller"))
        flow.plan(of, "roll", "rolling", fields=["Mill"], today=DAY)
        return of


def test_what_is_hidden_is_not_counted_as_missed(hidden: log.Log) -> None:
    """Six ways of 6 m lead through the place, and of each 155 m is cut, so that a minute is."""
    (visit,) = (v for v in fold(hidden.events()).visits if v.field == "Mill")
    assert visit.unseen_m2 == pytest.approx(6 * 6 * 155, rel=0.03)
    assert visit.missed_m2 is not None
    assert visit.missed_m2 < 1000.0, "by the ends of bouts, as without a place"
    place = PLACE.unproject(shapely.Point(MIDDLE_M).buffer(RADIUS_M))
    unseen, worked = shapely.from_wkb(visit.unseen), shapely.from_wkb(visit.geometry)
    assert place.difference(unseen).area < 0.05 * place.area
    assert worked.intersection(unseen).area < 1e-4 * worked.area


def test_nothing_of_it_is_left_to_do(hidden: log.Log) -> None:
    """What is left lies at the ends of bouts, told less well where most of a bout is cut."""
    (covered,) = ground.covered(fold(hidden.events()))
    assert covered.unseen_m2 == pytest.approx(6 * 6 * 155, rel=0.03)
    assert covered.left_m2 + covered.missed_m2 < 2000.0
    left = PLACE.project(covered.left)
    assert shapely.box(340, 30, 380, 170).intersection(left).area < 10.0
    assert covered.done_m2 + covered.left_m2 + covered.missed_m2 == pytest.approx(
        covered.croppable_m2, rel=1e-3
    )


def plain(text: str) -> str:
    return " ".join(text.split())


def test_it_is_said_wherever_missed_ground_is(hidden: log.Log, run: Run) -> None:
    at = ("--log", hidden.path)
    area = f"{(in_field(hidden, 'Mill').unseen_m2 or 0.0) / 10_000:.2f} ha not looked at"
    told = f"{area}: private place"
    assert told in plain(run(*at, "day", DAY).out)
    assert area in plain(run(*at, "jobs", "roll").out)
    for words in (("day", DAY), ("field", "Mill")):
        assert told in plain(run(*at, "sheet", *words, "--out", "-").out)
    assert area in plain(run(*at, "sheet", "job", "roll", "--out", "-").out)
    assert "unseen_ha" in run(*at, "ask", "visits", "--csv").out


def test_a_customer_is_not_told_why(hidden: log.Log, run: Run, tmp_path: Path) -> None:
    import shutil

    shutil.copytree(hidden.path, tmp_path / "log")
    of = log.open_log(tmp_path / "log")
    flow.state_customer(of, "Brook", fields=["Mill"])
    for words in (("day", DAY), ("field", "Mill"), ("job", "roll")):
        page = run("--log", of.path, "sheet", *words, "--customer", "Brook", "--out", "-").out
        assert "not looked at" in page
        assert "rivate" not in page


def test_a_place_stated_after_the_work_was_seen_hides_nothing(farm: log.Log) -> None:
    flow.import_file(farm, gpx(ROLLED), "day.gpx", Told(machine="blue", implement="roller"))
    before = in_field(farm, "Mill")
    lon, lat = PLACE.lonlat([MIDDLE_M[0]], [MIDDLE_M[1]])
    private.state_circle(farm, "cottage", float(lat[0]), float(lon[0]), RADIUS_M)
    again = task(now(farm), "blue", DAY, farm.fixes)
    events = measure(again.farm, "blue", DAY, again.track, again.tracks, again.settings)
    assert again.farm.private
    assert before.event_id in {e.event_id for e in events}


def test_a_place_elsewhere_leaves_every_id_as_it_was(farm: log.Log) -> None:
    later = [(t + timedelta(days=1), x, y) for t, x, y in DRILLED]
    lon, lat = PLACE.lonlat([MIDDLE_M[0]], [MIDDLE_M[1]])
    private.state_circle(farm, "cottage", float(lat[0]), float(lon[0]), RADIUS_M)
    flow.import_file(farm, gpx(later), "day.gpx", Told(machine="blue", implement="drill"))
    visit = in_field(farm, "Long Acre")
    assert (visit.unseen_m2, visit.unseen) == (None, None)
    again = task(now(farm), "blue", visit.day, farm.fixes)
    bare = replace(again.farm, private=())
    events = measure(bare, "blue", visit.day, again.track, again.tracks, again.settings)
    assert visit.event_id in {e.event_id for e in events}
