"""Ground over days and machines, on a field of 200 m x 100 m that can be checked in the head."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
import shapely
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiLineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from oplog.events import Event, WorkMeasured
from oplog.fold import fold
from oplog.geodesy import area_m2
from oplog.ground import Covered, covered
from tests.factory import PLANE, crop, drawn, ground, work
from tests.simulated import Simulated

FIELD = box(0, 0, 200, 100)
WIDTH_M = 4.0


def rows(block: Polygon, way: str = "east") -> MultiLineString:
    """Bouts to and fro over a block, one width apart, the outer ones half a width inside it."""
    west, south, east, north = block.bounds
    lines = []
    if way == "east":
        y = south + WIDTH_M / 2
        while y < north:
            lines.append(LineString([(west, y), (east, y)]))
            y += WIDTH_M
    else:
        x = west + WIDTH_M / 2
        while x < east:
            lines.append(LineString([(x, south), (x, north)]))
            x += WIDTH_M
    return MultiLineString(lines)


def laps(outer: Polygon, count: int) -> MultiLineString:
    """Bouts round the edge of a block, from the outside in."""
    rings = [outer.buffer(-WIDTH_M * (i + 0.5), join_style="mitre").exterior for i in range(count)]
    sides = []
    for ring in rings:
        corners = list(ring.coords)
        sides += [LineString(pair) for pair in pairwise(corners)]
    return MultiLineString(sides)


def swept(*bouts: MultiLineString) -> BaseGeometry:
    return shapely.union_all([b.buffer(WIDTH_M / 2, cap_style="square") for b in bouts])


def stay(
    day: str, clock: str = "08:00", *, worked: BaseGeometry, bouts: Any, **more: Any
) -> WorkMeasured:
    lines = MultiLineString([line for b in bouts for line in b.geoms])
    return work(day, clock, worked=worked, bouts=ground(lines), **more)


def block(day: str, shape: Polygon, clock: str = "08:00", **more: Any) -> WorkMeasured:
    """A block worked to and fro, its ground exactly the block."""
    return stay(day, clock, worked=shape, bouts=[rows(shape)], **more)


def passes(*events: Event, shape: BaseGeometry = FIELD, **only: Any) -> list[Covered]:
    return covered(fold([drawn(shape=shape), *events]), **only)


def areas(c: Covered) -> tuple[float, float, float]:
    """Croppable, done and left in m2, to the tenth of a per mille of the field."""
    return tuple(round(a / 2, 0) * 2 for a in (c.croppable_m2, c.done_m2, c.left_m2))


def test_nothing_worked_is_no_pass() -> None:
    assert passes() == []
    assert passes(work(worked_m2=None)) == []
    assert passes(block("2026-04-10", FIELD, operation=None)) == []


def test_a_field_worked_from_edge_to_edge_is_finished() -> None:
    (p,) = passes(block("2026-04-10", FIELD))
    assert areas(p) == (20_000, 20_000, 0)
    assert p.finished
    assert p.share_done == 1.0


def test_half_a_field_at_nightfall() -> None:
    (p,) = passes(block("2026-04-10", box(0, 0, 200, 48)))
    assert areas(p) == (20_000, 9_600, 10_400)
    assert not p.finished
    left = PLANE.project(p.left)
    assert left.symmetric_difference(box(0, 48, 200, 100)).area < 10


def test_two_days_and_two_machines_count_ground_once() -> None:
    (p,) = passes(
        block("2026-04-10", box(0, 0, 200, 52)),
        block("2026-04-11", box(0, 48, 200, 80)),
        block("2026-04-11", box(0, 76, 200, 100), machine="red"),
    )
    assert areas(p) == (20_000, 20_000, 0)
    assert len(p.visits) == 3


def test_a_seam_between_two_days_is_closed_at_the_noise_and_no_further() -> None:
    first = block("2026-04-10", box(0, 0, 200, 48), noise_m=0.3)
    near = block("2026-04-11", box(0, 48.5, 200, 100), noise_m=0.3)
    far = block("2026-04-11", box(0, 49, 200, 100), noise_m=0.3)
    assert passes(first, near)[0].missed_m2 == pytest.approx(0, abs=1)
    assert passes(first, far)[0].missed_m2 == pytest.approx(200, abs=1)


def test_a_gap_within_one_visit_stays_as_it_was_measured() -> None:
    worked = FIELD.difference(box(0, 50, 200, 50.4))
    (p,) = passes(stay("2026-04-10", worked=worked, bouts=[rows(FIELD)]))
    assert p.missed_m2 == pytest.approx(80, abs=1)
    assert p.finished


def test_a_sliver_is_missed_and_what_is_wider_than_half_a_width_is_left() -> None:
    sliver = FIELD.difference(box(20, 50, 180, 51.8))
    (p,) = passes(stay("2026-04-10", worked=sliver, bouts=[rows(FIELD)]))
    assert (p.left_m2, round(p.missed_m2)) == (0, 288)
    bout = FIELD.difference(box(20, 50, 180, 54))
    (p,) = passes(stay("2026-04-10", worked=bout, bouts=[rows(FIELD)]))
    assert p.left_m2 == pytest.approx(640, abs=2)
    assert p.missed_m2 == pytest.approx(0, abs=2)


class TestMargin:
    inner = box(6, 6, 194, 94)

    def headland(self, day: str = "2026-04-10", **more: Any) -> WorkMeasured:
        bouts = laps(self.inner, 3)
        return stay(day, worked=swept(bouts).intersection(self.inner), bouts=[bouts], **more)

    def body(self, day: str = "2026-04-11", **more: Any) -> WorkMeasured:
        return block(day, self.inner.buffer(-12, join_style="mitre"), **more)

    def test_a_margin_left_on_purpose_does_not_hold_a_finished_field_back(self) -> None:
        (p,) = passes(self.headland(), self.body())
        assert areas(p) == (188 * 88, 188 * 88, 0)
        assert p.finished

    def test_the_headland_alone_shows_what_there_is_to_crop(self) -> None:
        (p,) = passes(self.headland())
        body = 164 * 64
        assert areas(p) == (188 * 88, 188 * 88 - body, body)

    def test_a_body_without_its_headland_has_the_headland_left(self) -> None:
        (p,) = passes(block("2026-04-10", box(12, 12, 188, 88)))
        assert areas(p) == (20_000, 176 * 76, 20_000 - 176 * 76)

    def test_a_part_done_field_is_less_the_margin_that_other_work_has_shown(self) -> None:
        cultivated = [
            self.headland(operation="cultivating"),
            self.body(operation="cultivating"),
        ]
        half = block("2026-04-12", box(6, 6, 194, 50))
        by_name = {p.operation: p for p in passes(*cultivated, half)}
        assert areas(by_name["drilling"]) == (188 * 88, 188 * 44, 188 * 44)

    def test_any_lie_of_the_field(self) -> None:
        """Turned by an odd angle, nothing changes."""
        turned = [
            replace(
                v,
                geometry=turn(v.geometry),
                bouts=turn(v.bouts),
            )
            for v in (self.headland(), self.body())
        ]
        (p,) = passes(*turned, shape=rotate(FIELD, 33, origin=(0, 0)))
        assert p.croppable_m2 == pytest.approx(188 * 88, rel=0.001)
        assert p.finished


def turn(wkb: bytes | None) -> bytes:
    assert wkb is not None
    shape = PLANE.project(shapely.from_wkb(wkb))
    return ground(rotate(shape, 33, origin=(0, 0)))


def test_every_other_bout_leaves_the_ground_between() -> None:
    strips = [box(0, y, 200, y + 4) for y in range(0, 100, 8)]
    bouts = MultiLineString([LineString([(0, y + 2), (200, y + 2)]) for y in range(0, 100, 8)])
    (p,) = passes(stay("2026-04-10", worked=shapely.union_all(strips), bouts=[bouts]))
    assert areas(p) == (20_000, 10_400, 9_600)


def test_one_half_with_its_own_headland_is_half_a_field() -> None:
    half = box(0, 0, 100, 100)
    (p,) = passes(stay("2026-04-10", worked=half, bouts=[laps(half, 3), rows(half)]))
    assert areas(p) == (20_000, 10_000, 10_000)


def test_a_hole_in_the_boundary_is_no_ground() -> None:
    pond = box(80, 40, 100, 60)
    field = FIELD.difference(pond)
    (p,) = passes(
        stay("2026-04-10", worked=field, bouts=[rows(FIELD)]),
        shape=field,
    )
    assert areas(p) == (19_600, 19_600, 0)


class TestPasses:
    def test_a_second_full_covering_is_pass_2(self) -> None:
        again = [
            block("2026-04-20", box(0, 0, 200, 60)),
            block("2026-04-21", box(0, 56, 200, 100)),
        ]
        first, second = passes(block("2026-04-10", FIELD), *again)
        assert (first.pass_number, second.pass_number) == (1, 2)
        assert areas(second) == (20_000, 20_000, 0)
        assert len(second.visits) == 2

    def test_half_of_the_second_covering_is_still_overlap(self) -> None:
        some = block("2026-04-20", box(0, 0, 200, 48))
        assert len(passes(block("2026-04-10", FIELD), some)) == 1
        more = block("2026-04-20", box(0, 0, 200, 52))
        assert len(passes(block("2026-04-10", FIELD), more)) == 2

    def test_the_end_of_one_day_worked_over_the_next_is_no_pass(self) -> None:
        lap = block("2026-04-10", box(0, 0, 200, 4))
        whole = block("2026-04-11", FIELD)
        touched_up = block("2026-04-12", box(150, 80, 200, 100))
        (p,) = passes(lap, whole, touched_up)
        assert len(p.visits) == 3
        assert areas(p) == (20_000, 20_000, 0)

    def test_another_crop_or_operation_is_another_matter(self) -> None:
        found = passes(
            block("2026-04-10", FIELD),
            block("2026-04-11", FIELD, operation="rolling"),
            block("2026-08-10", FIELD, operation="combining"),
            block("2026-10-10", FIELD),
            crop("beans", 2026),
            crop("wheat", 2027),
        )
        assert [(p.operation, p.crop, p.pass_number) for p in found] == [
            ("combining", "beans", 1),
            ("drilling", "beans", 1),
            ("drilling", "wheat", 1),
            ("rolling", "beans", 1),
        ]

    def test_an_operation_is_the_same_in_any_spelling(self) -> None:
        halves = box(0, 0, 200, 50), box(0, 50, 200, 100)
        (p,) = passes(
            block("2026-04-10", halves[0]),
            block("2026-04-11", halves[1], operation="Drilling"),
        )
        assert (p.operation, p.finished) == ("drilling", True)

    def test_only_what_is_asked_for(self) -> None:
        events = [
            block("2026-04-10", FIELD),
            block("2026-04-10", FIELD, "12:00", field="Top Piece"),
            drawn("Top Piece"),
            crop("beans", 2026),
        ]
        assert len(passes(*events)) == 2
        assert [p.field.name for p in passes(*events, field="top piece")] == ["Top Piece"]
        assert [p.field.name for p in passes(*events, harvest_year=2026)] == ["Long Acre"]


TRUE_SHARE = {
    "drill_rectangle": 1.0,
    "combine_l": 1.0,
    "pond_cultivator": 1.0,
    "curved_drill": 1.0,
    "margin_left": 1.0,
    "two_days": 1.0,
    "two_machines": 1.0,
    "drill_part_worked": None,
    "headland_only": None,
    "part_worked_small": None,
}
"""Simulated fields, and the share of the croppable ground that was done; None: of the boundary."""


@pytest.mark.parametrize(("name", "share"), TRUE_SHARE.items(), ids=list(TRUE_SHARE))
def test_ground_that_was_truly_worked(name: str, share: float | None, simulated: Simulated) -> None:
    """The simulator's own account of the ground, worked out apart from the program."""
    scenario = simulated(name)
    days = [scenario, *scenario.also]
    boundary = scenario.fields[0]["true"]
    stays_of_day = [(i, v) for i, s in enumerate(days) for v in s.visits_truth]
    visits = [
        replace(
            work(v.started.date().isoformat(), v.started.strftime("%H:%M"), machine=f"m{i}"),
            geometry=bytes(shapely.to_wkb(v.worked)),
            bouts=bytes(shapely.to_wkb(MultiLineString(v.bouts))),
            width_used_m=v.rig["width_m"],
            noise_m=0.1,
        )
        for i, v in stays_of_day
        if v.field == scenario.fields[0]["name"]
    ]
    field = drawn(geometry=bytes(shapely.to_wkb(boundary)), boundary_m2=area_m2(boundary))
    (p,) = covered(fold([field, *visits]))
    done = area_m2(shapely.union_all([v.worked for _, v in stays_of_day]))
    assert p.done_m2 == pytest.approx(done, rel=0.002)
    if share is None:
        assert p.share_done == pytest.approx(done / area_m2(boundary), abs=0.01)
        assert not p.finished
    else:
        assert p.finished
        assert p.share_done == share
        assert p.croppable_m2 == pytest.approx(done, rel=0.01)


def test_areas_add_up_and_lie_in_the_boundary() -> None:
    ragged = shapely.union_all([box(3 * i, 0, 3 * i + 2.9, 40 + (7 * i) % 13) for i in range(60)])
    (p,) = passes(stay("2026-04-10", worked=ragged, bouts=[rows(box(0, 0, 180, 50), "north")]))
    assert p.done_m2 + p.left_m2 + p.missed_m2 == pytest.approx(p.croppable_m2, abs=0.5)
    assert p.croppable_m2 <= 20_000.5
    assert PLANE.project(p.done).intersection(PLANE.project(p.left)).area < 0.1
