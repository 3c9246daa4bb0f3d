"""The second simulator keeps its word: what it calls truth fits the track that it wrote."""

import numpy as np
import pytest
import shapely
from pyproj import Geod, Transformer

from benchmarks import second
from benchmarks.inference import second as seen

ELLIPSOID = Geod(ellps="WGS84")
FEW = (
    "plough_reversible_slats",
    "cultivator_twice_crosswise",
    "roll_both_shared_edge",
    "wide_drill_revisit",
    "sprayer_headland_last",
    "mower_round_and_round",
    "combine_breakdown",
    "drill_10_hz",
    "bale_cart_no_work",
)
REGULAR = {"sprayer_headland_last", "roll_both_shared_edge", "wide_drill_revisit", "drill_10_hz"}


def area_m2(shape):
    return abs(ELLIPSOID.geometry_area_perimeter(shape)[0]) if not shape.is_empty else 0.0


@pytest.fixture(scope="module")
def days():
    return {name: second.build(name, 5) for name in FEW}


def test_every_scenario_is_told_of_once():
    names = second.names()
    assert len(names) == len(set(names)) >= 60
    assert all(
        second.__doc__.count(f"{name}:") + second.__doc__.count(f"{name},") for name in names
    )


def test_the_same_seed_gives_the_same_bytes():
    one, two = (second.build("roll_fast_phone", 3) for _ in range(2))
    other = second.build("roll_fast_phone", 4)
    for part in ("time", "lat", "lon", "labels"):
        assert getattr(one, part).tobytes() == getattr(two, part).tobytes()
        assert getattr(one, part).tobytes() != getattr(other, part).tobytes()
    assert one.stays[0].worked.equals(two.stays[0].worked)


def test_a_track_has_a_label_to_each_fix_and_goes_forwards(days):
    for day in days.values():
        assert len(day.time) == len(day.lat) == len(day.lon) == len(day.labels) > 100
        assert (np.diff(day.time) >= np.timedelta64(0, "us")).all()
        assert (np.abs(day.lat) < 90).all()
        assert (np.abs(day.lon) <= 180).all()
        assert set(day.labels) <= {"working", "turning", "filling", "standing", "travelling"}


def test_states_add_up_to_the_stay(days):
    for day in days.values():
        for stay in day.stays:
            whole = (stay.ended - stay.started).total_seconds()
            assert sum(stay.seconds.values()) == pytest.approx(whole, abs=0.01)


def test_labels_tell_the_same_hours_as_the_stays(days):
    for name in REGULAR:
        day = days[name]
        step = np.diff(day.time) / np.timedelta64(1, "s")
        logged = step[day.labels[:-1] == "working"].sum()
        assert logged == pytest.approx(sum(s.seconds["working"] for s in day.stays), rel=0.005)


def test_no_more_is_worked_than_there_is_and_than_was_driven(days):
    for day in days.values():
        fields = {f.name: f for f in day.fields}
        for stay in day.stays:
            field = fields[stay.field]
            worked = area_m2(stay.worked)
            assert 0 < stay.worked_m2 <= min(worked, area_m2(field.boundary or field.true)) * 1.0001
            assert worked <= stay.gross_m2 * 1.002


def test_distance_over_time_is_the_working_speed(days):
    for day in days.values():
        for stay in day.stays:
            assert 1.0 < stay.working_speed_m_s < 5.0


def test_nothing_goes_faster_than_it_can(days):
    for day in days.values():
        if day.quality != "rtk":
            continue
        _, _, step = ELLIPSOID.inv(day.lon[:-1], day.lat[:-1], day.lon[1:], day.lat[1:])
        seconds = np.maximum(np.diff(day.time) / np.timedelta64(1, "s"), 1.0 / 12)
        assert (step / seconds).max() < 14


def test_fields_without_work_have_no_stay(days):
    assert not days["bale_cart_no_work"].stays
    assert "working" not in days["bale_cart_no_work"].labels


def test_the_rig_leads_from_the_antenna_to_the_ground(days):
    """Strips laid out by what is stated, along the fixes labelled working, cover the truth."""
    day = days["roll_both_shared_edge"]
    plane = Transformer.from_crs(
        "EPSG:4326", f"+proj=aeqd +lat_0={day.lat[0]} +lon_0={day.lon[0]}", always_xy=True
    )
    at = np.column_stack(plane.transform(day.lon, day.lat))
    working = np.flatnonzero(day.labels[:-1] == "working")
    step = np.gradient(at, axis=0)
    ahead = step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    right = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    rig = day.rig
    middle = at - (rig["hitch_m"] + rig["drag_m"]) * ahead + rig["right_m"] * right
    one, other = middle - rig["width_m"] / 2 * right, middle + rig["width_m"] / 2 * right
    corners = np.stack([one[working], one[working + 1], other[working + 1], other[working]], axis=1)
    laid = shapely.union_all([q.buffer(0) for q in shapely.polygons(corners)])
    truth = shapely.transform(
        shapely.union_all([s.worked for s in day.stays]), plane.transform, interleaved=False
    )
    assert laid.intersection(truth).area > 0.98 * laid.union(truth).area


def test_a_second_visit_goes_on_where_the_first_one_ended(days):
    first, _, again = days["wide_drill_revisit"].stays
    assert first.field == again.field
    assert area_m2(first.worked.intersection(again.worked)) < 0.25 * first.worked_m2


def test_its_days_are_measured_as_the_first_simulators_scenarios_are() -> None:
    day = second.build("potato_harvester_offset", 3)
    rig = seen.scenario_of(day).rig
    assert rig["right_m"] == -day.rig["right_m"]
    assert rig["line_m"] == -(day.rig["hitch_m"] + day.rig["drag_m"])
    assert rig["holds"]
    assert rig["operation"] is None
    (row,) = seen.rows(("drill_refills_at_gate", 3))
    assert row.f1 is not None
    assert row.f1 > 0.97
    assert row.area is not None
    assert abs(row.area) < 0.01
