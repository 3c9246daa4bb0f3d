"""The questions of a season on the sample farm, each worked out a second way from its exports."""

from __future__ import annotations

import csv
import io
import json
import shlex
import shutil
from collections import defaultdict
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pyproj
import pytest
import shapely
from shapely.geometry import shape

from oplog import query
from oplog.cli import main
from oplog.flow.history import read
from oplog.fold import Farm
from tests.evening import Run
from tests.sample_log import opened_sample, with_memory
from tests.test_readme import block

__all__ = ["opened_sample", "with_memory"]

Rows = list[dict[str, Any]]
GEOD = pyproj.Geod(ellps="WGS84")


pytestmark = pytest.mark.usefixtures("with_memory")


@pytest.fixture(scope="module")
def sample(opened_sample: Path) -> Path:
    """The sample farm in a folder, made once. To be read only."""
    return opened_sample


@pytest.fixture(scope="module")
def farm(sample: Path) -> Farm:
    from oplog.log import open_log

    return read(open_log(sample)).farm


@pytest.fixture(scope="module")
def rows(farm: Farm) -> Callable[..., Rows]:
    """The rows of an answer as its CSV holds them, numbers read back."""
    from oplog.sheets.data import to_csv
    from oplog.sheets.questions import answer_table

    def ask(name: str, **values: Any) -> Rows:
        text = to_csv(answer_table(query.ask(farm, name, values)), raw=True)
        return [{k: plain(v) for k, v in r.items()} for r in csv.DictReader(io.StringIO(text))]

    return ask


def plain(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text or None


def layer(sample: Path, name: str, tmp_path: Path, *more: str) -> Rows:
    """A layer as its GeoJSON holds it: properties, and the geometry."""
    file = tmp_path / f"{name}.geojson"
    assert main(["--log", str(sample), "export", name, str(file), *more]) == 0
    found = json.loads(file.read_text("utf-8"))["features"]
    return [f["properties"] | {"geometry": shape(f["geometry"])} for f in found]


def area_ha(geometry: Any) -> float:
    """Geodesic area, by another way than the program's own plane."""
    parts = shapely.get_parts(shapely.orient_polygons(geometry))
    return sum(GEOD.geometry_area_perimeter(p)[0] for p in parts) / 10_000


def by(rows: Rows, *names: str) -> dict[tuple[Any, ...], Rows]:
    groups: dict[tuple[Any, ...], Rows] = defaultdict(list)
    for r in rows:
        groups[tuple(r[n] for n in names)].append(r)
    return groups


STATES = ("working", "turning", "filling", "standing", "travelling", "unrecorded")


def field_h(r: dict[str, Any]) -> float:
    return sum(r[f"{s}_h"] for s in STATES)


# --- what was worked


def test_visits_add_up(rows: Callable[..., Rows], sample: Path, tmp_path: Path) -> None:
    coverage = by(layer(sample, "coverage", tmp_path), "visit")
    for v in rows("visits"):
        start, stop = (datetime.fromisoformat(v[f"{w}_at"]) for w in ("started", "ended"))
        assert field_h(v) == pytest.approx((stop - start).total_seconds() / 3600, abs=2e-3)
        (shown,) = coverage[(v["visit"],)]
        assert v["worked_ha"] == pytest.approx(area_ha(shown["geometry"]), rel=0.002)
        assert v["worked_low_ha"] <= v["worked_ha"] <= v["worked_high_ha"]
        assert v["rate_ha_h"] <= v["worked_ha"] / v["working_h"]


def test_hectares_per_day(rows: Callable[..., Rows]) -> None:
    expected = by(rows("visits"), "day", "machine", "operation", "field")
    found = rows("hectares_per_day")
    assert {(r["day"], r["machine"], r["operation"], r["field"]) for r in found} == set(expected)
    for r in found:
        own = expected[r["day"], r["machine"], r["operation"], r["field"]]
        assert r["worked_ha"] == pytest.approx(sum(v["worked_ha"] for v in own), abs=1e-4)


def test_season_summary(rows: Callable[..., Rows]) -> None:
    expected = by(rows("visits"), "harvest_year", "operation", "machine")
    found = rows("season_summary")
    assert len(found) == len(expected)
    for r in found:
        own = expected[r["harvest_year"], r["operation"], r["machine"]]
        for column in ("worked_ha", *(f"{s}_h" for s in STATES)):
            assert r[column] == pytest.approx(sum(v[column] for v in own), abs=1e-3)
        assert r["days"] == len({v["day"] for v in own})


def test_job_completion(rows: Callable[..., Rows], sample: Path, tmp_path: Path) -> None:
    ground = by(layer(sample, "coverage", tmp_path), "operation", "field")
    for r in rows("job_completion"):
        shapes = [c["geometry"].buffer(0) for c in ground[r["operation"], r["field"]]]
        assert r["done_ha"] == pytest.approx(area_ha(shapely.union_all(shapes)), abs=0.02)
        parts = r["done_ha"] + r["left_ha"] + r["missed_ha"]
        assert parts == pytest.approx(r["croppable_ha"], abs=1e-3)
        assert r["percent"] == pytest.approx(100 * (1 - r["left_ha"] / r["croppable_ha"]), abs=1e-2)


def test_job_fields_are_the_fields_of_the_job(rows: Callable[..., Rows]) -> None:
    completion = {(r["operation"], r["field"]): r for r in rows("job_completion")}
    visits = by([v for v in rows("visits") if v["job"]], "job", "field")
    for r in rows("job_fields"):
        own = visits.get((r["job"], r["field"]), [])
        ground = completion[r["operation"], r["field"]]
        assert r["done_ha"] == pytest.approx(ground["done_ha"])
        assert r["left_ha"] == pytest.approx(ground["left_ha"])
        assert (r["state"] == "not begun") == (not own)
        assert (r["state"] == "finished") == (r["left_ha"] == 0)
        if own:
            assert r["field_h"] == pytest.approx(sum(field_h(v) for v in own), abs=1e-3)


def test_no_question_is_without_a_second_way() -> None:
    text = Path(__file__).read_text("utf-8")
    for name in query.questions():
        assert f'rows("{name}"' in text, f"{name} is not worked out a second way here"


# --- jobs


def test_jobs_from_the_visits_and_from_the_ground(
    rows: Callable[..., Rows], sample: Path, tmp_path: Path
) -> None:
    visits = by(rows("visits"), "job")
    coverage = by(layer(sample, "coverage", tmp_path), "visit")
    boundary = {r["field"]: r["boundary_ha"] for r in layer(sample, "fields", tmp_path)}
    for job in rows("jobs"):
        own = [v for v in visits[(job["job"],)] if v["working_h"] > 0]
        assert job["days"] == len({v["day"] for v in own})
        assert job["ha_a_day"] == pytest.approx(sum(v["worked_ha"] for v in own) / job["days"])
        rate = sum(v["worked_ha"] for v in own) / sum(field_h(v) for v in own)
        assert job["rate_ha_h"] == pytest.approx(rate, rel=1e-3)
        ground = shapely.union_all(
            [c["geometry"].buffer(0) for v in own for c in coverage[(v["visit"],)]]
        )
        assert job["done_ha"] == pytest.approx(area_ha(ground), rel=0.003)
        fields = [f for f in rows("job_fields") if f["job"] == job["job"]]
        parts = job["done_ha"] + job["left_ha"] + job["missed_ha"]
        assert job["area_ha"] == pytest.approx(parts, abs=1e-3)
        assert job["boundary_ha"] == pytest.approx(sum(boundary[f["field"]] for f in fields))
        assert job["left_h"] == pytest.approx(job["left_ha"] / job["rate_ha_h"], rel=1e-3)


def test_left_ground_is_a_shape_of_its_size(
    rows: Callable[..., Rows], sample: Path, tmp_path: Path
) -> None:
    shapes = {
        (s["job"], s["field"]): area_ha(s["geometry"]) for s in layer(sample, "left", tmp_path)
    }
    unfinished = [f for f in rows("job_fields", job="wheat harvest") if f["left_ha"]]
    assert len(unfinished) == 3
    for f in unfinished:
        assert shapes[f["job"], f["field"]] == pytest.approx(f["left_ha"], rel=0.002)


def test_job_days(rows: Callable[..., Rows]) -> None:
    visits = by([v for v in rows("visits") if v["job"]], "job", "day")
    found = rows("job_days")
    assert {(r["job"], r["day"]) for r in found} == set(visits)
    for r in found:
        own = visits[r["job"], r["day"]]
        start = min(datetime.fromisoformat(v["started_at"]) for v in own)
        stop = max(datetime.fromisoformat(v["ended_at"]) for v in own)
        worked = sum(v["worked_ha"] for v in own)
        assert r["worked_ha"] == pytest.approx(worked, abs=1e-4)
        assert r["rate_ha_h"] == pytest.approx(
            worked / ((stop - start).total_seconds() / 3600), rel=1e-3
        )


def test_what_a_job_needs(rows: Callable[..., Rows]) -> None:
    (seed,) = rows("job_needs", job="drill the beans")[:1] or [{}]
    drilled = [v for v in rows("visits") if v["job"] == "drill the beans"]
    assert (seed["product"], seed["planned_rate"], seed["used"]) == ("bean seed", 245, 5280)
    assert seed["over_ha"] == pytest.approx(sum(v["worked_ha"] for v in drilled), rel=0.002)
    assert seed["used_rate"] == pytest.approx(5280 / seed["over_ha"], rel=1e-4)


# --- output


def test_output_by_width(rows: Callable[..., Rows]) -> None:
    groups = by(rows("visits"), "machine", "implement", "operation", "width_m")
    found = rows("output_by_width")
    assert len(found) == len(groups)
    for r in found:
        own = groups[r["machine"], r["implement"], r["operation"], r["width_m"]]
        working = sum(v["working_h"] for v in own)
        speed = sum(v["speed_kmh"] * v["working_h"] for v in own) / working
        assert r["speed_kmh"] == pytest.approx(speed, rel=1e-4)
        assert r["spot_ha_h"] == pytest.approx(speed * r["width_m"] / 10, rel=1e-4)
        overall = sum(v["worked_ha"] for v in own) / (sum(field_h(v) for v in own) - r["break_h"])
        assert r["overall_ha_h"] == pytest.approx(overall, rel=1e-3)
        assert r["turning_h"] == pytest.approx(sum(v["turning_h"] for v in own), abs=1e-3)
        days = by(own, "day")
        best = max(sum(v["worked_ha"] for v in some) for some in days.values())
        assert (r["days"], r["best_day_ha"]) == (len(days), pytest.approx(best, abs=1e-4))
        assert r["speed_low_kmh"] <= r["speed_kmh"] <= r["speed_high_kmh"] * 1.05


# --- inputs


def test_rates_of_inputs(rows: Callable[..., Rows]) -> None:
    visits = rows("visits")
    went_to = {
        "bean seed": [v for v in visits if v["job"] == "drill the beans"],
        "Limepearl": [v for v in visits if v["day"] == "2026-04-07"],
        "Clearleaf": [v for v in visits if v["day"] == "2026-04-14"],
        "diesel": [v for v in visits if v["day"] == "2026-04-09" and v["machine"] == "blue"],
    }
    found = {r["product"]: r for r in rows("inputs")}
    assert set(found) == set(went_to)
    for product, own in went_to.items():
        r, net = found[product], sum(v["worked_ha"] for v in own)
        assert r["visits"] == len(own)
        assert r["net_ha"] == pytest.approx(net)
        assert r["net_rate"] == pytest.approx(r["used"] / net, rel=1e-4)
        assert r["gross_rate"] == pytest.approx(
            r["used"] / sum(v["gross_ha"] for v in own), rel=1e-4
        )
    seed, spray = found["bean seed"], found["Clearleaf"]
    assert seed["load_ha"] == pytest.approx(1200 / seed["applied_rate"], rel=1e-4)
    assert seed["load_m"] == pytest.approx(seed["load_ha"] * 10_000 / 4, rel=1e-4)
    assert seed["loads"] == pytest.approx(5280 / 1200)
    assert spray["load_ha"] == pytest.approx(4000 / 200)
    speed = sum(v["speed_kmh"] * v["working_h"] for v in went_to["Clearleaf"]) / sum(
        v["working_h"] for v in went_to["Clearleaf"]
    )
    assert spray["nozzle_l_min"] == pytest.approx(200 * speed * 0.5 / 600, rel=1e-3)
    assert spray["boom_l_min"] == pytest.approx(200 * speed * 30 / 600, rel=1e-3)


def test_spray_records_hold_each_field_and_say_what_is_missing(rows: Callable[..., Rows]) -> None:
    found = rows("spray_records")
    sprayed = [v for v in rows("visits") if v["operation"] == "spraying"]
    treated = {r["field"]: r["treated_ha"] for r in found}
    assert treated == pytest.approx({v["field"]: v["worked_ha"] for v in sprayed})
    assert sum(r["used"] for r in found) == pytest.approx(62, abs=1e-3)
    assert {r["missing"] for r in found} == {"authorisation number, wind force, wind direction"}
    assert {(r["eppo"], r["operator"], r["dose"]) for r in found} == {("TRZAW", "Tam", 2.0)}


def test_seed_used(rows: Callable[..., Rows]) -> None:
    (r,) = rows("seed_used")
    drilled = [v for v in rows("visits") if v["implement"] == "drill"]
    assert r["wanted_rate"] == pytest.approx(40 / 0.85 * 520 / 100, rel=1e-4)
    assert r["expected_kg"] == pytest.approx(r["wanted_rate"] / 100, rel=1e-4)
    assert r["calibration_error"] == pytest.approx((2.4 / r["expected_kg"] - 1) * 100, abs=1e-3)
    area = sum(v["worked_ha"] for v in drilled)
    assert r["drilled_ha"] == pytest.approx(area)
    assert r["rate_error"] == pytest.approx((5280 / area / r["wanted_rate"] - 1) * 100, abs=1e-2)


# --- fields, seasons, accounts


def test_every_fields_season(rows: Callable[..., Rows]) -> None:
    visits = sorted(rows("visits"), key=lambda v: v["started_at"])
    for field, own in by([v for v in visits if v["working_h"] > 0], "field").items():
        found = rows("field_season", field=field[0])
        assert [r["visit"] for r in found] == [v["visit"] for v in own]
        for i, r in enumerate(found):
            earlier = [v for v in own[:i] if v["operation"] != r["operation"]]
            days = None
            if earlier:
                last = max(date.fromisoformat(v["day"]) for v in earlier)
                days = (date.fromisoformat(r["day"]) - last).days
            assert r["days_since"] == days
            assert r["after"] == (earlier[-1]["operation"] if earlier else None)


def test_the_season_by_everything(rows: Callable[..., Rows], farm: Farm) -> None:
    visits = rows("visits")
    for v in visits:
        v["farm"] = farm.field(v["field"]).farm
    found = rows("season", harvest_year=2026)
    for group in ("operation", "crop", "farm", "machine", "driver"):
        expected = by([v for v in visits if v["harvest_year"] == 2026], group)
        own = {(r["name"],): r for r in found if r["grouped_by"] == group}
        assert set(own) == set(expected)
        for name, some in expected.items():
            r = own[name]
            assert r["worked_ha"] == pytest.approx(sum(v["worked_ha"] for v in some), abs=1e-3)
            assert r["working_h"] == pytest.approx(sum(v["working_h"] for v in some), abs=1e-3)
            assert (r["days"], r["fields"]) == (
                len({v["day"] for v in some}), len({v["field"] for v in some}),
            )  # fmt: skip
    drilling = next(r for r in found if r["name"] == "drilling")
    on_fuel = [v for v in visits if v["machine"] == "blue" and v["day"] == "2026-04-09"]
    assert drilling["fuel_l"] == pytest.approx(96)
    assert drilling["fuel_rate"] == pytest.approx(
        96 / sum(v["worked_ha"] for v in on_fuel), rel=1e-4
    )


def test_the_season_day_by_day(rows: Callable[..., Rows]) -> None:
    expected = by([v for v in rows("visits") if v["working_h"] > 0], "operation", "day")
    so_far: dict[str, float] = defaultdict(float)
    found = rows("season_days")
    assert len(found) == len(expected)
    for r in found:
        worked = sum(v["worked_ha"] for v in expected[r["operation"], r["day"]])
        so_far[r["operation"]] += worked
        assert r["worked_ha"] == pytest.approx(worked, abs=1e-4)
        assert r["so_far_ha"] == pytest.approx(so_far[r["operation"]], abs=1e-3)


def test_an_account(rows: Callable[..., Rows], farm: Farm) -> None:
    visits = {v["visit"]: v for v in rows("visits")}
    done = {(r["operation"], r["field"]): r for r in rows("job_completion")}
    found = rows("account", customer="Holt Farm")
    beacon = {k for k, v in visits.items() if farm.field(v["field"]).farm == "Beacon"}
    assert {h for r in found for h in r["visits"].split()} == beacon
    for r in found:
        own = [visits[h] for h in r["visits"].split()]
        if r["basis"] == "hours":
            assert r["quantity"] == pytest.approx(sum(field_h(v) for v in own), abs=0.0051)
        else:
            ground = done[r["operation"], r["field"]]
            finished = ground["left_ha"] == 0
            assert (r["is_part_done"] == "False") == finished
            expected = ground["boundary_ha" if finished else "done_ha"]
            assert r["quantity"] == pytest.approx(expected, abs=0.0051)
        assert r["quantity"] == round(r["quantity"], 2), (
            "as printed, so that the sum can be checked"
        )
        price = {"spraying": 14.0, "mowing": 52.0}.get(r["operation"])
        assert r["price"] == price
        if price:
            assert r["amount"] == pytest.approx(price * r["quantity"], abs=1e-9)


def test_notes(rows: Callable[..., Rows]) -> None:
    assert [n["field"] for n in rows("notes", field="Nine Lands")] == ["Nine Lands"]
    assert [n["machine"] for n in rows("notes", text="COULTER")] == ["drill"]
    assert rows("notes", text="hail") == []


# --- out: opened by a general GIS library, by Parquet's own reader, by a GPX reader


@pytest.mark.parametrize(
    "name", ["fields", "bouts", "coverage", "missed", "overlap", "left", "treated"]
)
def test_layers_open_in_gis(name: str, sample: Path, tmp_path: Path) -> None:
    import pyarrow.parquet as pq
    import pyogrio

    files = {f: str(tmp_path / f"{name}.{f}") for f in ("geojson", "gpkg", "parquet")}
    for file in files.values():
        assert main(["--log", str(sample), "export", name, file]) == 0
    as_json, as_package = pyogrio.raw.read(files["geojson"]), pyogrio.raw.read(files["gpkg"])
    table = pq.read_table(files["parquet"])
    geo = json.loads(table.schema.metadata[b"geo"])
    assert (geo["version"], geo["primary_column"]) == ("1.1.0", "geometry")
    shapes = [
        shapely.from_wkb(s) for s in (as_json[2], as_package[2], table["geometry"].to_pylist())
    ]
    assert len(shapes[0]) == len(shapes[1]) == len(shapes[2]) > 0
    assert as_package[0]["crs"] == "EPSG:4326"
    for found in shapes:
        assert shapely.is_valid(found).all()
        assert shapely.total_bounds(found) == pytest.approx(
            geo["columns"]["geometry"]["bbox"], abs=2e-5
        )


@pytest.mark.parametrize(("name", "more"), [("bouts", ("--field", "Pightle")), ("left", ())])
def test_gpx_for_a_phone(name: str, more: tuple[str, ...], sample: Path, tmp_path: Path) -> None:
    import gpxpy

    file = tmp_path / "out.gpx"
    assert main(["--log", str(sample), "export", name, str(file), *more]) == 0
    read_back = gpxpy.parse(file.read_text("utf-8"))
    layer_rows = layer(sample, name, tmp_path, *more)
    assert len(read_back.tracks) == len(layer_rows)
    west, south, east, north = shapely.total_bounds([r["geometry"] for r in layer_rows])
    bounds = read_back.get_bounds()
    assert bounds is not None
    assert (bounds.min_longitude, bounds.max_latitude) == pytest.approx((west, north), abs=1e-6)
    assert (bounds.max_longitude, bounds.min_latitude) == pytest.approx((east, south), abs=1e-6)


def test_every_answer_as_csv_json_and_parquet(sample: Path, tmp_path: Path) -> None:
    import pyarrow.parquet as pq

    for form in ("csv", "json", "parquet"):
        assert main(["--log", str(sample), "export", "answers", f"{tmp_path}/*.{form}"]) == 0
    for name in query.questions():
        told = list(csv.DictReader((tmp_path / f"{name}.csv").open(encoding="utf-8")))
        as_json = json.loads((tmp_path / f"{name}.json").read_text("utf-8"))["rows"]
        table = pq.read_table(tmp_path / f"{name}.parquet")
        assert len(told) == len(as_json) == table.num_rows
        assert table.schema.names == [c.name for c in query.find(name).columns]


def test_the_readmes_walk_through_the_season(
    sample: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run
) -> None:
    """Each line answers, with more than a line."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("OPLOG_LOG", str(shutil.copytree(sample, tmp_path / "log")))
    lines = block("season").splitlines()
    assert len(lines) >= 12
    for line in lines:
        words = shlex.split(line, comments=True)
        assert words[0] == "oplog"
        said = run(*words[1:])
        assert said.code == 0, f"{line}: {said.err}"
        assert said.out.strip()
    assert (tmp_path / "out" / "left.gpx").stat().st_size > 1000
