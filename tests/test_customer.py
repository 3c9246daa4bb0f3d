"""What is made for a customer shows that customer's ground only, and no driver unless asked."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import shapely

from oplog import flow, log, query
from oplog.flow import private
from oplog.flow.history import read
from oplog.flow.taking import Told
from oplog.fold import fold
from oplog.query.layers import LAYERS
from oplog.season.customer import for_customer
from tests.evening import DAY, Run, day_gpx, farm, farm_log, kept, own_configuration, run
from tests.tracks import PLACE

__all__ = ["farm", "own_configuration", "run"]

MILL = PLACE.unproject(shapely.box(295, -5, 425, 205))
"""The ground that is not the customer's."""


@kept
def season_log(path: Path) -> log.Log:
    """Long Acre is Brook's, Mill is another's; Edda drove; both were sprayed from one tank."""
    farm = farm_log(path)
    told = Told(machine="blue", implement="drill", operation="spraying", driver="Edda Marsh")
    flow.import_file(farm, day_gpx(), "day.gpx", told)
    flow.state_customer(farm, "Brook", fields=["Long Acre"])
    flow.state_customer(farm, "Holt", fields=["Mill"])
    flow.note(farm, "Holt pays late", on=["Mill"], today=DAY)
    flow.note(farm, "Edda was ill", on=["Long Acre"], today=DAY)
    flow.state_crop(farm, ["Long Acre", "Mill"], "beans", 2024)
    flow.plan(farm, "Holt and all", "spraying", fields=["Long Acre", "Mill"], today=DAY)
    flow.apply(farm, "Halt", 30.0, "l", DAY.isoformat(), kind="spray", today=DAY)
    private.state_circle(farm, "Marsh cottage", 52.31, 0.16, 100.0)
    assert len(read(farm).farm.visits) == 2
    return farm


@pytest.fixture
def season(tmp_path: Path) -> log.Log:
    return season_log(tmp_path / "log")


def everything(made: log.Log):
    return fold(made.events())


STRANGE = ("Mill", "Holt", "Edda", "Marsh", "pays late")


@pytest.mark.parametrize("question", sorted(query.questions()))
def test_no_answer_tells_of_other_ground_or_of_a_driver(season, question):
    seen = for_customer(everything(season), "Brook")
    told = repr(query.ask(seen, question, {}).rows)
    assert not [word for word in STRANGE if word in told]


@pytest.mark.parametrize("name", sorted(LAYERS))
def test_no_layer_shows_other_ground_or_a_driver(season, run: Run, tmp_path: Path, name):
    file = tmp_path / "out.geojson"
    said = run("--log", season.path, "export", name, file, "--customer", "brook")
    if said.code:
        assert "There is nothing" in said.err
        return
    text = file.read_text("utf-8")
    assert not [word for word in STRANGE if word in text]
    for feature in json.loads(text)["features"]:
        assert not shapely.geometry.shape(feature["geometry"]).intersects(MILL)


def test_a_driver_is_named_when_asked_for(season, run: Run):
    asked = ("--log", season.path, "ask", "visits", "--csv", "--customer", "Brook")
    assert "Edda" not in run(*asked).out
    said = run(*asked, "--drivers")
    assert "Edda Marsh" in said.out
    assert "Mill" not in said.out


PAGES = (("day", DAY), ("season", "2024"), ("job", "Holt and all"), ("field", "Long Acre"))


@pytest.mark.parametrize("words", PAGES, ids=lambda words: words[0])
def test_a_page_for_a_customer_has_no_other_name_and_no_driver(
    season, run: Run, words: tuple[str, ...]
):
    asked = ("--log", season.path, "sheet", *words, "--customer", "brook", "--out", "-")
    page = run(*asked).out
    assert "Long Acre" in page or words[0] == "season"
    assert "Brook" in page
    assert not [word for word in STRANGE if word in page]
    named = run(*asked, "--drivers").out
    assert ("Edda Marsh" in named) == (words[0] in ("day", "field"))
    assert not [word for word in STRANGE if word in named.replace("Edda Marsh", "")]


@pytest.mark.parametrize("words", PAGES[:3], ids=lambda words: words[0])
def test_a_page_for_a_customer_has_no_figure_of_the_whole(season, run: Run, words: tuple[str, ...]):
    """Nothing can be taken away from anything to get at another's."""
    whole = everything(season)
    own, other = sorted((v.worked_m2 or 0.0 for v in whole.visits), reverse=True)
    page = run("--log", season.path, "sheet", *words, "--customer", "Brook", "--out", "-").out
    for area_m2 in (own + other, own if "Mill" in first_by_size(whole) else other):
        assert f"{area_m2 / 10000:.2f} ha" not in page
    assert "30 l" not in page
    page = re.sub(r"(?s)<style>.*?</style>", "", page)
    assert "on the road" not in page
    assert "elsewhere" not in page
    assert "way of" not in page


def first_by_size(farm) -> str:
    return max(farm.visits, key=lambda v: v.worked_m2 or 0.0).field


def test_no_map_for_a_customer_goes_over_his_boundary(season):
    seen = for_customer(everything(season), "Brook")
    (visit,) = seen.visits
    assert visit.bouts
    bouts = shapely.from_wkb(visit.bouts)
    (drawn,) = (d[-1].boundary for d in seen.fields.values())
    assert bouts.difference(drawn.buffer(1e-9)).length == 0
    (whole,) = (v for v in everything(season).visits if v.field == "Long Acre")
    assert bouts.length > 0.9 * shapely.from_wkb(whole.bouts).length
    assert seen.standing[visit.event_id].handle


def test_a_days_page_for_a_customer_on_whose_ground_nothing_was_done(season, run: Run):
    asked = ("--log", season.path, "sheet", "day", "2024-03-26", "--customer", "Brook")
    said = run(*asked, "--out", "-")
    assert said.code == 1
    assert "nothing recorded on the ground of Brook" in said.err


def test_the_pages_for_a_customer(season, run: Run):
    account = run("--log", season.path, "sheet", "account", "Brook", "--out", "-").out
    field = run("--log", season.path, "sheet", "field", "Long Acre", "--customer", "Brook",
                "--out", "-").out  # fmt: skip
    for page in (account, field):
        assert "Long Acre" in page
        assert not [word for word in STRANGE if word in page]
    said = run("--log", season.path, "sheet", "field", "Mill", "--customer", "Brook", "--out", "-")
    assert said.code == 1
    assert "No field is called 'Mill'" in said.err


def test_the_account_in_the_terminal(season, run: Run):
    for form in ((), ("--csv",), ("--json",)):
        said = run("--log", season.path, "account", "Brook", *form).out
        assert "Long Acre" in said
        assert not [word for word in STRANGE if word in said]


def test_an_unknown_customer_is_told_of(season, run: Run):
    said = run("--log", season.path, "ask", "visits", "--customer", "Brok")
    assert (said.code, "Did you mean Brook" in said.err) == (1, True)


def test_a_customer_gets_his_share_of_a_tank_that_went_further(season):
    whole = everything(season)
    worked = {v.field: v.applied_m2 or v.worked_m2 or 0.0 for v in whole.visits}
    share = worked["Long Acre"] / sum(worked.values())
    assert 0.3 < share < 0.7
    (given,) = for_customer(whole, "Brook").inputs
    assert given.amount == pytest.approx(30.0 * share)
    assert for_customer(whole, "Holt").inputs[0].amount == pytest.approx(30.0 * (1 - share))


def test_a_question_of_ones_own_reaches_no_events_or_fixes_with_a_customer(
    season, run: Run, tmp_path: Path
):
    for table in ("fixes", "events"):
        file = tmp_path / f"{table}.sql"
        file.write_text(f"SELECT count(*) AS n FROM {table}")
        said = run("--log", season.path, "ask", "--sql", file, "--csv", "--customer", "Brook")
        assert said.out.split()[-1] == "0" or said.code


def test_no_private_place_is_in_any_page_layer_or_answer(season, run: Run, tmp_path: Path):
    told = []
    run("--log", season.path, "export", "answers", tmp_path / "*.json")
    for name in LAYERS:
        run("--log", season.path, "export", name, tmp_path / f"{name}.geojson")
    told += [p.read_text("utf-8") for p in tmp_path.glob("*.*json")]
    for page in (("day", DAY), ("field", "Long Acre"), ("season",), ("account", "Brook")):
        told.append(run("--log", season.path, "sheet", *page, "--out", "-").out)
    assert len(told) > 15
    assert not [t for t in told if "cottage" in t or "52.31" in t]
