"""The sample farm: whole, invented, and made again byte for byte."""

from __future__ import annotations

import gzip
import json
from functools import cache
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry import shape

from oplog import kit
from oplog.readers import read
from tests.simulator import make_sample
from tests.simulator import sample_farm as sf
from tests.simulator.make_sample import DAYS, FOLDER
from tests.simulator.scene import Scenario
from tests.test_work_simulated import done, visits_in

LIMIT_BYTES = 4_000_000


@cache
def told() -> dict[str, Any]:
    return make_sample.told()


@cache
def truths() -> dict[str, Any]:
    text = (FOLDER / "truth.json").read_text(encoding="utf-8")
    return {t["file"]: t for t in json.loads(text)["tracks"]}


@cache
def drawn() -> dict[str, Any]:
    text = (FOLDER / "boundaries.geojson").read_text(encoding="utf-8")
    return {f["properties"]["name"]: f for f in json.loads(text)["features"]}


@cache
def made(file: str) -> Scenario:
    return make_sample.day(sf.farm(), file, told())


def plain(file: str) -> bytes:
    data = (FOLDER / file).read_bytes()
    return gzip.decompress(data) if file.endswith(".gz") else data


QUICK = ("2026-04-16-red.gpx", "2026-04-14-green.nmea.gz")


@pytest.mark.parametrize(
    "file", [f if f in QUICK else pytest.param(f, marks=pytest.mark.slow) for f in DAYS]
)
def test_made_again_it_is_the_same_to_the_byte(file: str) -> None:
    """What is compressed is compared, as compressors differ between systems."""
    assert make_sample.encode(made(file)) == plain(file)
    assert json.loads(json.dumps(make_sample.truth(made(file)))) == truths()[file]


def test_boundaries_made_again_are_the_same_to_the_byte() -> None:
    kept = (FOLDER / "boundaries.geojson").read_bytes()
    assert make_sample.boundaries(sf.farm()).encode() == kept


def test_it_is_small_enough_for_a_repository() -> None:
    assert sum(p.stat().st_size for p in FOLDER.iterdir()) < LIMIT_BYTES


def test_fields_are_sound_and_apart() -> None:
    shapes = {n: shape(f["geometry"]) for n, f in drawn().items()}
    assert 14 <= len(shapes) <= 20
    assert {f["properties"]["farm"] for f in drawn().values()} == {"Home", "Sallow", "Beacon"}
    assert all(s.is_valid and s.exterior.is_ccw for s in shapes.values())
    assert sum(len(s.interiors) for s in shapes.values()) == 1
    names = sorted(shapes)
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            assert not shapes[a].intersects(shapes[b]), (a, b)


def test_every_track_is_told_of_and_every_name_is_known() -> None:
    farm = told()
    machines = {m["name"]: m for m in farm["machine"]}
    implements = {i["name"] for i in farm["implement"]}
    assert [t["file"] for t in farm["track"]] == list(DAYS) == list(truths())
    on_disk = {p.name for p in FOLDER.iterdir() if ".gpx" in p.name or ".nmea" in p.name}
    assert on_disk == set(DAYS)
    for t in farm["track"]:
        assert t["machine"] in machines
        assert t["driver"] in farm["drivers"]
        assert t.get("implement", machines[t["machine"]].get("carries")) in implements
    for item in [*farm["crop"], *farm["job"]]:
        assert set(item["fields"]) <= set(drawn())
    for m in farm["machine"]:
        assert m["kind"] in kit.MACHINES
        assert m.get("carries", "drill") in implements
    for i in farm["implement"]:
        assert i["kind"] in kit.OPERATION_OF


def test_what_is_said_of_each_visit_is_what_was_truly_there() -> None:
    machines = {m["name"]: m for m in told()["machine"]}
    for t in told()["track"]:
        usual = t.get("implement", machines[t["machine"]].get("carries"))
        corrected = {s["field"]: s["implement"] for s in t.get("say", [])}
        for v in truths()[t["file"]]["visits"]:
            assert v["implement"] == corrected.get(v["field"], usual)


@pytest.mark.parametrize("file", list(DAYS))
def test_every_track_reads_without_a_problem(file: str) -> None:
    track, problems = read((FOLDER / file).read_bytes(), name=file)
    assert problems == []
    assert len(track) == truths()[file]["fixes"]
    assert np.all(np.diff(track.time).astype(np.int64) > 0)


@pytest.mark.parametrize("file", ["2026-04-14-green.nmea.gz", "2026-06-02-green.nmea.gz"])
def test_roads_do_not_run_through_fields(file: str) -> None:
    s = made(file)
    road = s.labels == "road"
    points = shapely.points(s.fixes["lon"][road], s.fixes["lat"][road])
    for f in s.fields:
        inner = f["true"].buffer(-6e-5)
        assert not shapely.contains(inner, points).any(), f["name"]


def test_fields_half_done_at_nightfall_are_finished_the_next_day() -> None:
    worked: dict[str, list[float]] = {}
    for file in ("2026-04-09-blue.gpx.gz", "2026-04-10-blue.gpx.gz", "2026-04-11-blue.gpx.gz"):
        for v in truths()[file]["visits"]:
            if v["implement"] == "drill":
                worked.setdefault(v["field"], []).append(v["worked_ha"])
    assert {k: len(v) for k, v in worked.items()} == {
        "Long Dole": 1, "Nine Lands": 2, "Barn Close": 2,
    }  # fmt: skip
    assert sum(worked["Nine Lands"]) == pytest.approx(7.8, rel=0.03)


def test_ways_between_laps_round_the_pond_and_laps_of_the_headland_are_no_work() -> None:
    """Three of them side by side, over ground left for another day, as bouts lie."""
    scenario = made("2026-04-11-blue.gpx.gz")
    truth = next(t for t in scenario.visits_truth if t.field == "Barn Close")
    (visit,) = visits_in(done(scenario), "Barn Close")
    assert visit.worked_m2 == pytest.approx(truth.in_boundary_m2, rel=0.006)
    assert visit.working_s == pytest.approx(truth.seconds["working"], rel=0.006)
