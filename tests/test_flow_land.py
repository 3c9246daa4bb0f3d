"""Fields and kit: drawn and listed, and drawn and listed anew."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest

from oplog import flow, log
from oplog.errors import OplogError, UnknownName, UnreadableFile
from oplog.events import FieldDrawn, KitListed
from oplog.flow import Told
from oplog.kit import KitItem
from tests.evening import DAY, FIELDS, day_gpx, every, in_field, now
from tests.tracks import geojson, square

LATER = date(2024, 9, 1)


def wider() -> bytes:
    """Mill, 30 m wider."""
    return geojson({"Mill": square(300, 0, 150, 200)})


def test_areas_are_geodesic(farm: log.Log) -> None:
    # 100 m x 200 m on the ground; a square of known side (issue: checks against the outside)
    assert now(farm).field("long acre").area_m2 == pytest.approx(20_000, rel=1e-5)


def test_a_hole_is_taken_out_whichever_way_it_turns(farm: log.Log) -> None:
    for reverse in (False, True):
        hole = square(320, 20, 50, 50)[:: -1 if reverse else 1]
        name = f"Holed {reverse}"
        data = json.loads(geojson({name: square(300, 0, 120, 200)}))
        data["features"][0]["geometry"]["coordinates"].append(hole)
        flow.add_land(farm, json.dumps(data).encode(), "h.geojson", today=DAY)
        assert now(farm).field(name).area_m2 == pytest.approx(24_000 - 2_500, rel=1e-5)


def test_the_same_drawing_again_changes_nothing(farm: log.Log) -> None:
    before = {e.event_id for e in farm.events()}
    added = flow.add_land(farm, geojson(FIELDS), "again.geojson", today=LATER)
    assert added.unchanged == ("Long Acre", "Mill")
    assert {e.event_id for e in farm.events()} == before


def test_a_later_drawing_holds_from_its_day(farm: log.Log) -> None:
    added = flow.add_land(farm, wider(), "w.geojson", today=LATER)
    assert (added.redrawn, added.valid_from) == (("Mill",), LATER)
    folded = now(farm)
    assert folded.field("Mill", DAY).area_m2 == pytest.approx(24_000, rel=1e-5)
    assert folded.field("Mill", LATER).area_m2 == pytest.approx(30_000, rel=1e-5)
    assert len(every(farm, FieldDrawn)) == 3


def test_work_of_before_keeps_the_old_drawing(farm: log.Log) -> None:
    flow.add_land(farm, wider(), "w.geojson", today=LATER)
    flow.import_file(farm, day_gpx(), "a.gpx", Told("blue", "roller"))
    assert in_field(farm, "Mill").boundary_m2 == pytest.approx(24_000, rel=1e-5)


def test_a_drawing_of_the_same_day_is_corrected(farm: log.Log) -> None:
    flow.add_land(farm, wider(), "w.geojson", today=LATER)
    flow.add_land(farm, geojson({"MILL": square(300, 0, 140, 200)}), "c.geojson", today=LATER)
    folded = now(farm)
    assert folded.field("Mill", LATER).area_m2 == pytest.approx(28_000, rel=1e-5)
    assert len(folded.fields["mill"]) == 2
    assert not folded.unsettled


def test_a_drawing_undone_counts_again(farm: log.Log) -> None:
    flow.add_land(farm, wider(), "w.geojson", today=LATER, valid_from=LATER)
    flow.add_land(farm, geojson({"Mill": FIELDS["Mill"]}), "b.geojson", today=LATER,
                  valid_from=LATER)  # fmt: skip
    flow.add_land(farm, wider(), "w.geojson", today=LATER, valid_from=LATER)
    assert now(farm).field("Mill", LATER).area_m2 == pytest.approx(30_000, rel=1e-5)


def test_a_bad_ring_is_named(farm: log.Log) -> None:
    data = json.loads(geojson({"Good": square(900, 0, 50, 50), "Bad": square(0, 900, 50, 50)}))
    data["features"][1]["geometry"]["coordinates"] = [[[0.1, 52.1], [0.2, 52.1]]]
    added = flow.add_land(farm, json.dumps(data).encode(), "rings.geojson", today=DAY)
    assert added.new == ("Good",)
    assert any("Bad" in str(p) for p in added.problems)


def test_a_file_without_polygon(farm: log.Log) -> None:
    point: dict[str, Any] = {"type": "Point", "coordinates": [0, 52]}
    with pytest.raises(UnreadableFile, match="Nothing was added"):
        flow.add_land(farm, json.dumps(point).encode(), "p.geojson", today=DAY)


def test_crops(farm: log.Log) -> None:
    assert flow.state_crop(farm, ["MILL"], "oats", 2024) == ["Mill"]
    flow.state_crop(farm, ["Mill"], "spring beans", 2024)
    crops = now(farm).crops["mill"]
    assert [(c.crop, c.harvest_year) for c in crops] == [("spring beans", 2024)]
    flow.state_crop(farm, ["Mill"], "oats", 2024)
    assert [c.crop for c in now(farm).crops["mill"]] == ["oats"]
    with pytest.raises(UnknownName, match="Mill"):
        flow.state_crop(farm, ["Mil"], "oats", 2024)
    with pytest.raises(OplogError, match="no harvest year"):
        flow.state_crop(farm, ["Mill"], "oats", 24)


def test_kit_changes_only_what_is_said(farm: log.Log) -> None:
    listed, what = flow.add_kit(farm, KitItem("DRILL", "", False, width_m=3.0, valid_from=LATER))
    assert what == "changed"
    assert (listed.name, listed.behind_m, listed.operation) == ("drill", 1.0, "drilling")
    assert now(farm).kit_item("drill", DAY).width_m == 4.0
    assert now(farm).kit_item("drill", LATER).width_m == 3.0


def test_kit_said_again_is_unchanged(farm: log.Log) -> None:
    before = len(every(farm, KitListed))
    assert flow.add_kit(farm, KitItem("drill", "drill", False, width_m=4.0))[1] == "unchanged"
    assert len(every(farm, KitListed)) == before


@pytest.mark.parametrize("width_m", [0.3, 0.762, 54.0, 60.0])
def test_narrow_and_wide_kit_that_there_is(farm: log.Log, width_m: float) -> None:
    listed, what = flow.add_kit(farm, KitItem("x", "cultivator", False, width_m=width_m))
    assert (listed.width_m, what) == (width_m, "new")


@pytest.mark.parametrize(
    ("item", "why"),
    [
        (KitItem("x", "", False), "--kind"),
        (KitItem("x", "drill", False, width_m=0.0), "cannot be right"),
        (KitItem("x", "drill", False, width_m=0.1016), "width of 0.10 m cannot be right: was ano"),
        (KitItem("x", "sprayer", False, width_m=61.0), "width of 61.00 m cannot be right"),
        (KitItem("x", "drill", False, behind_m=-1.0), "cannot be right"),
        (KitItem("x", "drill", False, hitch_m=1.0), "--hitch does not apply"),
        (KitItem("x", "tractor", True, width_m=3.0), "--width does not apply"),
        (KitItem("x", "tractor", True, carries="plow"), "No implement"),
        (KitItem("blue", "drill", False), "a machine already"),
        (KitItem("x", "drill", False, sections=0), "1 or more"),
    ],
)
def test_kit_that_cannot_be(farm: log.Log, item: KitItem, why: str) -> None:
    before = {e.event_id for e in farm.events()}
    with pytest.raises(OplogError, match=why):
        flow.add_kit(farm, item)
    assert {e.event_id for e in farm.events()} == before


class TestSharedGround:
    """Work on ground of two fields counts in one of them; which, is nothing to find out later."""

    def told(self, farm: log.Log, name: str, ring: list[list[float]]) -> list[str]:
        added = flow.add_land(farm, geojson({name: ring}), "s.geojson", today=DAY)
        return [str(p) for p in added.problems]

    def test_fields_on_the_same_ground_are_told(self, farm: log.Log) -> None:
        (said,) = self.told(farm, "Twin", square(0, 0, 100, 200))
        assert "'Twin' lies on the ground of 'Long Acre' (2.00 ha of it)" in said
        assert "oplog strike" in said

    def test_also_those_of_one_file(self, farm: log.Log) -> None:
        both = geojson({"A": square(900, 0, 100, 200), "B": square(900, 0, 100, 150)})
        added = flow.add_land(farm, both, "s.geojson", today=DAY)
        assert len(added.problems) == 1

    def test_edges_that_lap_over_are_none(self, farm: log.Log) -> None:
        assert self.told(farm, "Beside", square(98, 0, 100, 200)) == []
        assert self.told(farm, "Beyond", square(0, 500, 100, 200)) == []

    def test_an_edge_in_common_beside_it_is_no_matter(self, farm: log.Log) -> None:
        corners = square(0, 0, 50, 100)[:4] + square(-50, 150, 50, 50)[2:4]
        ring = [corners[0], corners[1], corners[2], corners[4], corners[5], corners[0]]
        assert len(self.told(farm, "Corner", ring)) == 1

    def test_a_field_drawn_anew_does_not_lie_on_itself(self, farm: log.Log) -> None:
        flow.add_land(farm, wider(), "w.geojson", today=DAY)
        added = flow.add_land(farm, wider(), "w.geojson", today=DAY)
        assert added.problems == ()
