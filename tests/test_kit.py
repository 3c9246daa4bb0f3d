"""Machines and implements over time, and the rig that two of them make."""

from datetime import date
from itertools import permutations

import pytest

from oplog import kit
from oplog.kit import KitItem

TRACTOR = KitItem("blue", "tractor", True, antenna_right_m=0.1, hitch_m=2.5, event_id="t")
DRILL = KitItem(
    *("drill", "drill", False, "drilling"), width_m=3.0, behind_m=2.0, trailed=True, event_id="d"
)
HEADER = KitItem("header", "header", False, "combining", width_m=7.5, ahead_m=4.0, event_id="h")
ROLLER = KitItem("roller", "roller", False, "rolling", width_m=6.0, event_id="r")


def test_every_kind_of_implement_has_its_operation():
    assert set(kit.HOLDS_SOMETHING) <= set(kit.OPERATION_OF)
    assert all(operation for operation in kit.OPERATION_OF.values())


def test_a_trailed_implement_behind_the_hitch():
    rig = kit.rig(TRACTOR, DRILL, driver="Ann")
    assert (rig.implement, rig.operation, rig.driver) == ("drill", "drilling", "Ann")
    assert rig.width_m == 3.0
    assert rig.line_m == pytest.approx(-4.5), "2.5 m to the hitch, 2 m on from there"
    assert rig.drag_m == 2.0, "only what is behind the hitch swings"
    assert rig.right_m == 0.1
    assert rig.holds
    assert rig.kit_ids == ("t", "d")


def test_a_mounted_implement_does_not_swing():
    mounted = KitItem("mower", "mower", False, "mowing", width_m=3.0, behind_m=1.5, trailed=False)
    rig = kit.rig(TRACTOR, mounted)
    assert rig.line_m == pytest.approx(-4.0)
    assert rig.drag_m == 0.0
    assert not rig.holds


def test_a_header_in_front():
    rig = kit.rig(TRACTOR, HEADER)
    assert rig.line_m == 4.0
    assert rig.drag_m == 0.0


def test_what_was_not_stated_stays_open():
    nothing = kit.rig(None, None)
    assert nothing == kit.Rig()
    bare = kit.rig(KitItem("red", "tractor", True), ROLLER)
    assert bare.line_m is None, "no length was stated at all"
    assert bare.right_m is None
    assert bare.width_m == 6.0
    assert kit.rig(TRACTOR, ROLLER).line_m == pytest.approx(-2.5), "the hitch alone was stated"
    assert kit.rig(TRACTOR, None).width_m is None


def test_what_was_said_of_the_work_goes_before_the_usual():
    assert kit.rig(TRACTOR, ROLLER, operation="levelling").operation == "levelling"
    assert kit.rig(TRACTOR, ROLLER).operation == "rolling"


def test_a_holding_of_any_implement_makes_its_stops_fillings():
    tank = KitItem("tank", "other", False, "watering", width_m=12.0, holds=5000.0, holds_unit="l")
    assert kit.rig(TRACTOR, tank).holds
    assert not kit.rig(TRACTOR, ROLLER).holds


def test_a_width_changes_from_a_day_on_and_history_keeps_the_old_one():
    ever = KitItem("boom", "sprayer", False, width_m=24.0, event_id="a")
    wider = KitItem(
        "boom", "sprayer", False, width_m=28.0, valid_from=date(2026, 5, 1), event_id="b"
    )
    for versions in permutations([ever, wider]):
        before, after = (kit.on(list(versions), date(2026, m, d)) for m, d in ((4, 30), (5, 1)))
        assert before is ever
        assert after is wider
    assert kit.on([wider], date(2020, 1, 1)) is wider
    assert kit.on([], date(2026, 1, 1)) is None
