"""A place that is stated to be private after work in it was imported: told, taken out, and the day
measured again with the ground told as not looked at."""

from __future__ import annotations

import shutil
from datetime import timedelta
from pathlib import Path

import pytest
import shapely

from oplog import flow, log
from oplog.events import WorkMeasured
from oplog.flow import Told, private
from oplog.log import kept
from tests.evening import DAY, Run, every, farm_log, in_field, now, own_configuration, run
from tests.evening import kept as kept_log
from tests.test_flow_unseen import MIDDLE_M, RADIUS_M, ROLLED
from tests.tracks import PLACE, gpx, walk

__all__ = ["own_configuration", "run"]

LON, LAT = (float(v[0]) for v in PLACE.lonlat([MIDDLE_M[0]], [MIDDLE_M[1]]))
COTTAGE = PLACE.unproject(shapely.Point(MIDDLE_M).buffer(RADIUS_M - 1.0))
ADD = ("private", "add", "cottage", "--at", f"{LAT},{LON}", "--radius", f"{RADIUS_M:g}m")
FORGET = ("forget", "--place", "cottage", "--because", "they asked", "--yes")
MEASURE = ("remeasure", "--forgotten", "--day", DAY.isoformat())


@kept_log
def rolled(path: Path) -> log.Log:
    made = farm_log(path)
    flow.import_file(made, gpx(ROLLED), "day.gpx", Told(machine="blue", implement="roller"))
    return made


@pytest.fixture
def seen(tmp_path: Path) -> log.Log:
    """Mill rolled, and nothing private yet."""
    return rolled(tmp_path / "log")


def told(run: Run, of: log.Log, *words: str, code: int = 0) -> str:
    said = run("--log", of.path, *words)
    assert said.code == code, said.err
    return " ".join((said.out + said.err).split())


def test_from_stating_it_to_the_day_without_it(seen: log.Log, run: Run) -> None:
    handle = in_field(seen, "Mill").visit[:5]
    before = in_field(seen, "Mill")
    for words in (ADD, ("private",)):
        said = told(run, seen, *words)
        assert "positions in or about cottage from before, and 1 imported file" in said
        assert f"Work was measured from them: {handle} (Mill, 2024-03-25)." in said
        assert 'oplog forget --place "cottage" --because "TEXT"' in said
    data = run("--log", seen.path, "private", "--csv")
    assert data.out.splitlines() == ["place,radius_m", "cottage,20.0"]
    assert "positions in or about cottage from before" in " ".join(data.err.split())
    said = told(run, seen, *FORGET)
    again = "oplog remeasure --forgotten --day 2024-03-25"
    assert again in said
    assert in_field(seen, "Mill").event_id == before.event_id, "no figure moves by itself"
    said = told(run, seen, "private")
    assert "from before" not in said
    assert f"Its shape still leads through the place: {handle} (Mill, 2024-03-25)." in said
    assert again in said
    assert "stand as they are" in told(run, seen, "remeasure")
    assert "some of the day's track was forgotten" in told(run, seen, *MEASURE)
    assert in_field(seen, "Mill").event_id == before.event_id, "only shown"
    told(run, seen, *MEASURE, "--yes")
    visit = in_field(seen, "Mill")
    assert visit.unseen_m2 == pytest.approx(6 * 6 * 155, rel=0.03)
    small = 0.05 * COTTAGE.area
    assert COTTAGE.difference(shapely.from_wkb(visit.unseen)).area < small
    (whole,) = (v for v in every(seen, WorkMeasured) if v.event_id == visit.event_id)
    assert isinstance(whole, WorkMeasured)
    assert shapely.from_wkb(whole.geometry).intersection(COTTAGE).area < small
    assert not shapely.from_wkb(whole.bouts).intersects(COTTAGE)
    assert "not looked at: private place" in told(run, seen, "day", DAY.isoformat())
    assert told(run, seen, "private") == "cottage: a circle of 20 m"
    assert log.check(seen.path).exit_code == 0


def test_it_comes_to_the_same_as_a_place_that_was_known_before(
    seen: log.Log, run: Run, tmp_path: Path
) -> None:
    early = farm_log(tmp_path / "early")
    private.state_circle(early, "cottage", LAT, LON, RADIUS_M)
    flow.import_file(early, gpx(ROLLED), "day.gpx", Told(machine="blue", implement="roller"))
    for words in (ADD, FORGET, (*MEASURE, "--yes")):
        told(run, seen, *words)
    one, other = in_field(early, "Mill"), in_field(seen, "Mill")
    for name in ("worked_m2", "working_s", "unseen_m2", "missed_m2", "overlap_m2"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), abs=0.01), name


def test_what_was_measured_from_what_is_left_is_measured_again_as_any_other(
    seen: log.Log, run: Run
) -> None:
    for words in (ADD, FORGET, (*MEASURE, "--yes")):
        told(run, seen, *words)
    said = told(run, seen, "remeasure")
    assert said.startswith("Nothing would change: every figure is what measuring again gives.")
    later = walk([(300, 0), (300, 100)], 2.0, start=ROLLED[-1][0] + timedelta(minutes=20))
    flow.import_file(seen, gpx(later), "later.gpx", Told(machine="blue"))
    assert all(v.unseen_m2 for v in now(seen).visits if v.started_at < later[0][0])


def test_where_the_place_is_private_no_more_the_figures_stand(seen: log.Log, run: Run) -> None:
    """What it hid would count as missed."""
    for words in (ADD, FORGET, ("private", "remove", "cottage", "--because", "sold")):
        told(run, seen, *words)
    assert "stand as they are" in told(run, seen, *MEASURE)


def test_a_merge_tells_of_tracks_that_another_laptop_kept(
    seen: log.Log, run: Run, tmp_path: Path
) -> None:
    """He did not know of the place."""
    mine = farm_log(tmp_path / "mine")
    told(run, mine, *ADD)
    said = told(run, mine, "merge", str(seen.path))
    assert "positions in or about cottage from before" in said
    assert 'oplog forget --place "cottage"' in said
    assert "from before" not in told(run, mine, "merge", str(seen.path)), "nothing new came"


def test_what_was_looked_into_once_is_not_read_again(
    seen: log.Log, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    far = ("private", "add", "far", "--at", "10.0,20.0", "--radius", "150m")
    assert "from before" not in told(run, seen, *far)

    def unread(*_: object) -> object:
        raise AssertionError("read again")

    monkeypatch.setattr(kept, "decode_fixes", unread)
    monkeypatch.setattr(kept, "decode_raw", unread)
    assert told(run, seen, "private") == "far: a circle of 150 m"


def test_a_track_that_cannot_be_read_is_looked_into_again(seen: log.Log, run: Run) -> None:
    (file,) = (seen.path / "fixes").iterdir()
    (raw,) = (seen.path / "raw").iterdir()
    away = seen.path.parent / "away"
    away.mkdir()
    for one in (file, raw):
        shutil.move(one, away / one.name)
    said = told(run, seen, *ADD)
    assert "1 track cannot be read now" in said
    shutil.move(away / file.name, file)
    shutil.move(away / raw.name, raw)
    assert "positions in or about cottage from before" in told(run, seen, "private")
