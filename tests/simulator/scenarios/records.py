"""Ways of recording: receivers, intervals, faults, and what the user does not say."""

from __future__ import annotations

import math
from dataclasses import replace

from shapely import affinity

from tests.simulator import machines as kit
from tests.simulator import shapes
from tests.simulator.curves import Pose
from tests.simulator.drive import stop, travel_to
from tests.simulator.plan import Style, work_field
from tests.simulator.scenarios.common import (
    Rng,
    any_place,
    any_receiver,
    fill_by_gate,
    one_field,
    scenario,
    varied,
)
from tests.simulator.scene import (
    Place,
    Scenario,
    begin,
    come,
    go,
    home,
    record,
    scene,
)


@scenario
def antenna_to_the_side(name: str, rng: Rng) -> Scenario:
    """An antenna off the centre line, which nobody stated."""
    right = float(rng.choice([-1, 1]) * rng.uniform(0.4, 1.0))
    shape = shapes.rectangle(rng, float(rng.uniform(4, 7)))
    m = varied(rng, kit.CULTIVATOR_3, antenna_right_m=right)
    receiver = any_receiver(rng, "rtk")
    return one_field(rng, shape, m, Style(laps=2), receiver, name, rig={"right_m": None})


@scenario
def boundary_off(name: str, rng: Rng) -> Scenario:
    """A boundary drawn 3 m beside the true edge, with corners cut."""
    shape = shapes.irregular(rng, float(rng.uniform(5, 9)))
    w = scene(rng, shape)
    d = begin(w, varied(rng, kit.DRILL_4))
    come(d, w, 0)
    fill_by_gate(d, w, 0)
    work_field(d, Style(laps=3))
    go(d, w, 0)
    home(d)
    angle = float(rng.uniform(0, 2 * math.pi))
    drawn = affinity.translate(w.shapes[0], 3 * math.cos(angle), 3 * math.sin(angle))
    drawn = drawn.buffer(float(rng.normal(0, 0.8)), join_style="mitre").simplify(1.0)
    return record(name, d, w, any_place(rng), any_receiver(rng), boundaries=[drawn])


@scenario
def no_boundary(name: str, rng: Rng) -> Scenario:
    """Two fields with nothing on file, and road between them."""
    w = scene(rng, shapes.ell(rng, 5.0), shapes.wedge(rng, 4.0), gap_m=240.0)
    d = begin(w, varied(rng, kit.CULTIVATOR_6))
    for k in (0, 1):
        come(d, w, k)
        work_field(d, Style(laps=2, first=k == 0))
        go(d, w, k)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng), boundaries=[None, None])


@scenario
def ten_hertz(name: str, rng: Rng) -> Scenario:
    """Ten fixes a second."""
    shape = shapes.wedge(rng, float(rng.uniform(2.5, 4)))
    receiver = any_receiver(rng, "rtk", interval_s=0.1)
    return one_field(rng, shape, varied(rng, kit.CULTIVATOR_3), Style(laps=2), receiver, name)


@scenario
def every_five_seconds(name: str, rng: Rng) -> Scenario:
    """A fix every five seconds."""
    shape = shapes.rectangle(rng, float(rng.uniform(6, 10)))
    receiver = any_receiver(rng, "sbas", interval_s=5.0)
    return one_field(rng, shape, varied(rng, kit.DRILL_4), Style(laps=3), receiver, name)


@scenario
def every_ten_seconds(name: str, rng: Rng) -> Scenario:
    """A fix every ten seconds."""
    shape = shapes.rectangle(rng, float(rng.uniform(8, 12)))
    receiver = any_receiver(rng, "sbas", interval_s=10.0)
    return one_field(rng, shape, varied(rng, kit.CULTIVATOR_6), Style(laps=2), receiver, name)


@scenario
def by_distance(name: str, rng: Rng) -> Scenario:
    """A logger that writes after so many metres and nothing while standing."""
    shape = shapes.irregular(rng, float(rng.uniform(4, 8)))
    receiver = any_receiver(rng, interval_s=1.0, distance_m=float(rng.choice([3.0, 5.0])))
    style = Style(laps=2, stop_chance=0.04)
    return one_field(rng, shape, varied(rng, kit.DRILL_4), style, receiver, name)


def _lunch(name: str, rng: Rng, kind: str) -> Scenario:
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(5, 8))))
    d = begin(w, varied(rng, kit.DRILL_4))
    come(d, w, 0)
    fill_by_gate(d, w, 0)
    base = Style(laps=2, fixed_order=True)
    work_field(d, replace(base, share=0.5))
    x, y = w.gates[0]
    travel_to(d, Pose(x + 9, y + 9, -math.pi / 3))
    stop(d, float(rng.uniform(1500, 3300)), kind)
    work_field(d, replace(base, start_share=0.5, lap_share=0.0))
    go(d, w, 0)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def lunch_logger_on(name: str, rng: Rng) -> Scenario:
    """A long meal in the field with the logger running."""
    return _lunch(name, rng, "stand")


@scenario
def lunch_logger_off(name: str, rng: Rng) -> Scenario:
    """A long meal in the field with the logger off."""
    return _lunch(name, rng, "off")


@scenario
def starts_in_field(name: str, rng: Rng) -> Scenario:
    """A record that begins in mid-field."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 8)))
    m, style = varied(rng, kit.CULTIVATOR_3), Style(laps=2)
    first = float(rng.uniform(1500, 3000))
    return one_field(rng, shape, m, style, any_receiver(rng), name, crop_s=(first, 1e9))


@scenario
def never_leaves(name: str, rng: Rng) -> Scenario:
    """A record that begins and ends in the field."""
    shape = shapes.wedge(rng, float(rng.uniform(4, 7)))
    m, style = varied(rng, kit.ROLLER_6), Style(laps=2)
    return one_field(rng, shape, m, style, any_receiver(rng), name, crop_s=(600.0, 2900.0))


@scenario
def bad_reception(name: str, rng: Rng) -> Scenario:
    """Jumps, wild fixes, repeats and lost fixes."""
    shape = shapes.irregular(rng, float(rng.uniform(4, 8)))
    receiver = any_receiver(rng, jumps=6, outliers=0.002, repeats=0.02, drops=0.03)
    return one_field(rng, shape, varied(rng, kit.DRILL_4), Style(laps=3), receiver, name)


@scenario
def jittered_combine(name: str, rng: Rng) -> Scenario:
    """Stamps that stray by up to a second, opening cuts with slow strokes, header well ahead."""
    shape = shapes.irregular(rng, float(rng.uniform(6, 9)))
    m = varied(rng, kit.COMBINE_9, lag_down_s=-2.0, lag_up_s=1.0)
    receiver = any_receiver(
        rng, interval_s=1.0, jitter_s=float(rng.uniform(0.5, 1.0)), whole_seconds=True
    )
    style = Style(laps=3, corners="zigzag", pattern="lands", half_overlaps=0.1, stop_chance=0.04)
    return one_field(rng, shape, m, style, receiver, name)


@scenario
def sprayer_phone(name: str, rng: Rng) -> Scenario:
    """A 24 m boom recorded by a phone."""
    shape = shapes.irregular(rng, float(rng.uniform(9, 15)))
    receiver = any_receiver(rng, "phone", interval_s=float(rng.choice([1.0, 2.0, 5.0])), speed=True)
    return one_field(rng, shape, varied(rng, kit.SPRAYER_24), Style(laps=1), receiver, name)


@scenario
def drill_phone(name: str, rng: Rng) -> Scenario:
    """A 4 m drill recorded by a phone whose noise is as wide as the drill."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    receiver = any_receiver(rng, "phone", interval_s=float(rng.choice([1.0, 2.0, 5.0])))
    return one_field(rng, shape, varied(rng, kit.DRILL_4), Style(laps=3), receiver, name)


@scenario
def cultivator_phone(name: str, rng: Rng) -> Scenario:
    """A 6 m cultivator recorded by a phone."""
    shape = shapes.wedge(rng, float(rng.uniform(5, 9)))
    receiver = any_receiver(rng, "phone", interval_s=1.0, drops=0.02)
    return one_field(rng, shape, varied(rng, kit.CULTIVATOR_6), Style(laps=2), receiver, name)


@scenario
def mower_spiral_phone(name: str, rng: Rng) -> Scenario:
    """Mowing round and round, recorded by a phone."""
    shape = shapes.irregular(rng, float(rng.uniform(3, 6)))
    style = Style(along="spiral")
    receiver = any_receiver(rng, "phone", interval_s=float(rng.choice([1.0, 2.0, 5.0])), speed=True)
    return one_field(rng, shape, varied(rng, kit.MOWER_9), style, receiver, name)


@scenario
def width_not_stated(name: str, rng: Rng) -> Scenario:
    """Nothing is said of the implement."""
    shape = shapes.rectangle(rng, float(rng.uniform(4, 7)))
    rig = {"width_m": None, "line_m": None, "right_m": None, "operation": None, "implement": None}
    receiver = any_receiver(rng)
    return one_field(
        rng, shape, varied(rng, kit.CULTIVATOR_3), Style(laps=2), receiver, name, rig=rig
    )


@scenario
def wrong_width(name: str, rng: Rng) -> Scenario:
    """Stated as the 3 m drill; in truth the 6 m roller."""
    shape = shapes.rectangle(rng, float(rng.uniform(4, 7)))
    rig = {"width_m": 3.0, "operation": "drilling", "implement": "drill"}
    receiver = any_receiver(rng)
    return one_field(rng, shape, varied(rng, kit.ROLLER_6), Style(laps=2), receiver, name, rig=rig)


@scenario
def offsets_not_stated(name: str, rng: Rng) -> Scenario:
    """A trailed implement of which only the width is known."""
    shape = shapes.irregular(rng, float(rng.uniform(5, 8)))
    m = varied(rng, kit.DRILL_6_TRAILED)
    rig = {"line_m": None, "drag_m": 0.0, "right_m": None}
    return one_field(rng, shape, m, Style(laps=3), any_receiver(rng), name, rig=rig)


@scenario
def date_line(name: str, rng: Rng) -> Scenario:
    """A field that lies across longitude 180."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(4, 7))))
    d = begin(w, varied(rng, kit.CULTIVATOR_3))
    come(d, w, 0)
    work_field(d, Style(laps=2))
    go(d, w, 0)
    home(d)
    return record(name, d, w, Place(180.0, -16.8, 0.4), any_receiver(rng))
