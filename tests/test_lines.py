"""Lines to follow: on a field whose sums can be done in the head, and against the simulator."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, MultiLineString, Polygon, box

from oplog import geodesy
from oplog.errors import OplogError
from oplog.events import WorkMeasured
from oplog.kit import Rig
from oplog.land import Field
from oplog.season.lines import Lines, tramlines, wheelings
from oplog.work.clean import drift_m
from oplog.work.measure import measure_day
from oplog.work.model import Settings
from tests.factory import PLANE, ground, work
from tests.simulator import machines as kit
from tests.simulator.drive import stop
from tests.simulator.plan import Style, work_field
from tests.simulator.receiver import NOISE, Receiver
from tests.simulator.scene import Place, Scenario, begin, come, go, home, record, scene

FIELD = Field("Long Acre", "Home", PLANE.unproject(box(0, 0, 240, 300)), 72_000.0)


def drilling(width_m: float = 4.0, **more: Any) -> WorkMeasured:
    """240 m of straight bouts up and down, from the west, wall to wall; no headland."""
    across = np.arange(width_m / 2, 240, width_m)
    bouts = MultiLineString([[(x, 0), (x, 300)] for x in across])
    values = {"width_m": width_m, "bout_width_m": width_m, "noise_m": 0.02} | more
    return work(worked=box(0, 0, 240, 300), bouts=ground(bouts), **values)


def across_m(lines: Lines) -> dict[str, float]:
    """How far east each straight line lies. [m]"""
    found = {}
    for line in lines.lines:
        x = shapely.get_coordinates(PLANE.project(line.geometry))[:, 0]
        if np.ptp(x) < 1:
            found[line.name] = float(x.mean())
    return found


def test_24_m_behind_a_4_m_drill_lies_between_the_third_and_fourth_bout() -> None:
    lines = tramlines(FIELD, [drilling()], 24.0)
    expected = {f"tramline {k}": 12.0 + 24 * k for k in range(1, 9)}
    assert across_m(lines) == pytest.approx(expected, abs=0.05)
    assert lines.lines[1].where == "between straight bouts 9 and 10"
    assert "24 m is 6 bouts of 4 m: a tramline lies between two bouts." in lines.remarks


def test_an_uneven_number_of_bouts_lies_in_the_middle_of_one() -> None:
    lines = tramlines(FIELD, [drilling()], 20.0)
    assert lines.lines[1].where == "in straight bout 8"
    assert across_m(lines)["tramline 1"] == pytest.approx(30.0, abs=0.05)


def test_the_headland_line_runs_half_a_boom_from_the_edge() -> None:
    (ring, *_) = tramlines(FIELD, [drilling()], 24.0).lines
    assert PLANE.project(ring.geometry).bounds == pytest.approx((12, 12, 228, 288), abs=0.05)


def test_widths_that_do_not_divide_are_told() -> None:
    lines = tramlines(FIELD, [drilling(3.0)], 20.0)
    assert any(r.startswith("The widths do not divide: 20 m is 6.67 bouts") for r in lines.remarks)


def test_bouts_closer_than_the_width_are_told() -> None:
    told = replace(drilling(3.9), width_m=4.0, bout_width_m=3.9)
    lines = tramlines(FIELD, [told], 24.0)
    assert any(
        r.endswith("are 23.40 m apart, and the boom overlaps 0.60 m.") for r in lines.remarks
    )
    assert lines.lines[1].where == "between straight bouts 9 and 10"


def test_the_error_to_expect_comes_from_the_tracks() -> None:
    good = tramlines(FIELD, [drilling(noise_m=0.02)], 24.0).error_m
    phone = tramlines(FIELD, [drilling(noise_m=2.0)], 24.0)
    assert good == pytest.approx(0.04, abs=0.01)
    assert phone.error_m > 4.0
    assert phone.remarks[-1].startswith("The tracks are too coarse to tell one bout from the next")


def test_bouts_round_and_round_are_refused() -> None:
    rings = [box(5 * i, 5 * i, 240 - 5 * i, 300 - 5 * i).exterior for i in range(20)]
    spiral = work(worked=box(0, 0, 240, 300), bouts=ground(MultiLineString(rings)))
    with pytest.raises(OplogError, match="do not run straight beside each other"):
        tramlines(FIELD, [spiral], 24.0)


@pytest.mark.parametrize("boom_m", [2.0, 0.0, -24.0])
def test_a_boom_narrower_than_the_drill_is_refused(boom_m: float) -> None:
    with pytest.raises(OplogError, match="narrower than the drill"):
        tramlines(FIELD, [drilling()], boom_m)


def test_without_work_there_are_no_lines() -> None:
    with pytest.raises(OplogError, match="no drilling with bouts"):
        tramlines(FIELD, [work()], 24.0)
    with pytest.raises(OplogError, match="no spraying with bouts"):
        wheelings(FIELD, [])


def test_wheelings_are_the_middle_of_several_sprayings() -> None:
    def sprayed(day: str, shift_m: float) -> WorkMeasured:
        bouts = MultiLineString([[(x + shift_m, 12), (x + shift_m, 288)] for x in (36, 60, 84)])
        more = {"width_used_m": 24.0, "bouts": ground(bouts), "noise_m": 0.1}
        return work(day, operation="spraying", worked=box(0, 0, 240, 300), **more)

    lines = wheelings(FIELD, [sprayed("2026-04-20", 0.3), sprayed("2026-05-10", -0.3)])
    assert sorted(across_m(lines).values()) == pytest.approx([36, 60, 84], abs=0.05)
    assert lines.error_m == pytest.approx(2 * np.hypot(drift_m(0.1), 0.3), abs=0.02)


# --- against the simulator: the true wheelings are those of a sprayer that drove after the drill


@cache
def driven(which: str, quality: str) -> Scenario:
    """A field 240 m wide, drilled with 4 m or sprayed with 24 m, at the same place."""
    rng = np.random.default_rng(7)
    shape = Polygon([(-120, 0), (120, 0), (120, 300), (-120, 300)])
    m = replace(
        {"drill": kit.DRILL_4, "sprayer": kit.SPRAYER_24}[which], overlap_m=0.0,
        fill_area_m2=None,
    )  # fmt: skip
    w = scene(rng, shape)
    d = begin(w, m)
    come(d, w, 0)
    stop(d, 60.0, "fill")
    work_field(d, Style(laps=3 if which == "drill" else 1, stop_chance=0.0, fixed_order=True))
    go(d, w, 0)
    home(d)
    started = datetime(2026, 4, 10, 7, tzinfo=UTC)
    place = Place(-0.35, 52.4, 0.4)
    return record(which, d, w, place, Receiver(quality), started=started)


def measured(s: Scenario) -> tuple[Field, WorkMeasured]:
    told = s.fields[0]
    field = Field(told["name"], "Home", told["boundary"], geodesy.area_m2(told["boundary"]))
    rig = Rig(**{k: v for k, v in s.rig.items() if k in Rig.__dataclass_fields__ and v is not None})
    day = measure_day(s.track(), [field], lambda *_: rig, Settings())
    visit = max(day.visits, key=lambda v: v.working_s)
    made = work(
        field=field.name, width_m=rig.width_m, width_used_m=rig.width_m,
        bout_width_m=visit.bout_width_m, noise_m=visit.noise_m, operation=rig.operation,
    )  # fmt: skip
    return field, replace(
        made, bouts=shapely.to_wkb(visit.bouts), geometry=shapely.to_wkb(visit.worked)
    )


def true_wheelings(plane: geodesy.Plane) -> list[LineString]:
    (visit,) = driven("sprayer", "none").visits_truth
    bouts = [plane.project(b) for b in visit.bouts]
    return [b for b in bouts if LineString([b.coords[0], b.coords[-1]]).length > 0.9 * b.length]


@pytest.mark.parametrize("quality", ["rtk", "sbas"])
def test_tramlines_lie_within_the_noise_of_the_true_wheelings(quality: str) -> None:
    field, visit = measured(driven("drill", quality))
    plane = geodesy.plane_of(field.boundary)
    lines = tramlines(field, [visit], 24.0)
    true = [b for b in true_wheelings(plane) if b.length > 200]
    worked_out = [plane.project(n.geometry) for n in lines.lines if n.name != "headland"]
    assert len(true) == len(worked_out) == 8
    white_m, drifts, _ = NOISE[quality]
    noise_m = float(np.sqrt(white_m**2 + sum(drift_m**2 for drift_m, _ in drifts)))
    steering_m = 0.05
    allowed_m = 2 * (noise_m + steering_m)
    for b in true:
        spots = [b.interpolate(f, normalized=True) for f in (0.2, 0.4, 0.6, 0.8)]
        nearest = min(worked_out, key=lambda n: n.distance(spots[1]))
        assert max(nearest.distance(p) for p in spots) < allowed_m
        assert max(nearest.distance(p) for p in spots) < lines.error_m + 2 * steering_m


@pytest.mark.parametrize("quality", ["rtk", "sbas"])
def test_wheelings_lie_within_the_noise_of_the_true_ones(quality: str) -> None:
    field, visit = measured(driven("sprayer", quality))
    plane = geodesy.plane_of(field.boundary)
    lines = wheelings(field, [visit])
    found = shapely.union_all([plane.project(n.geometry) for n in lines.lines])
    spots = [
        b.interpolate(f, normalized=True)
        for b in true_wheelings(plane)
        for f in (0.2, 0.4, 0.6, 0.8)
    ]
    apart = [found.distance(p) for p in spots]
    # A receiver that drifts for minutes carries whole bouts with it: more than is seen in them.
    assert np.median(apart) < lines.error_m
    assert max(apart) < 2 * lines.error_m + 0.1
