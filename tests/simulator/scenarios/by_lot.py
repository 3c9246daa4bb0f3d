"""Days drawn by lot, so that nothing is fitted to the ones told here."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from shapely import affinity
from shapely.geometry import Polygon

from tests.simulator import machines as kit
from tests.simulator import shapes
from tests.simulator.curves import Pose
from tests.simulator.drive import stop, travel_to
from tests.simulator.machines import Machine
from tests.simulator.plan import Style, work_field
from tests.simulator.receiver import Receiver
from tests.simulator.scenarios.common import (
    Rng,
    any_place,
    any_receiver,
    fill_by_gate,
    scenario,
    varied,
)
from tests.simulator.scene import (
    Scenario,
    begin,
    come,
    go,
    home,
    record,
    scene,
)

MACHINES = (
    kit.DRILL_3, kit.DRILL_4, kit.DRILL_6_TRAILED, kit.CULTIVATOR_3, kit.CULTIVATOR_6,
    kit.ROLLER_6, kit.ROLLER_12, kit.SPRAYER_24, kit.SPRAYER_30, kit.SPREADER_24, kit.COMBINE_7,
    kit.COMBINE_9, kit.MOWER_3, kit.MOWER_9, kit.RAKE_7, kit.BALER,
)  # fmt: skip
SHAPES: tuple[Callable[[Rng, float], Polygon], ...] = (
    shapes.rectangle, shapes.wedge, shapes.ell, shapes.you, shapes.pond, shapes.irregular,
    shapes.corner, shapes.bowed,
)  # fmt: skip


def _any_style(rng: Rng, m: Machine, shape: Polygon) -> Style:
    """A way of working that suits the machine, drawn by lot."""
    wide = m.width_m > 15
    ahead = m.line_m > 0
    bowed = shape.buffer(-5).exterior.is_valid and len(shape.exterior.coords) > 50
    along = "straight"
    if bowed and not wide and not shape.interiors:
        along = "curved"
    elif m.operation in ("mowing", "combining", "raking") and not shape.interiors:
        along = str(rng.choice(["straight", "spiral"]))
    corners = ["round"] if wide or m.trailed_turns else ["round", "shunt"]
    if ahead:
        corners = ["shunt", "zigzag"]
    return Style(
        laps=1 if wide else int(rng.integers(2, 5)) if m.width_m < 5 else int(rng.integers(2, 4)),
        first=ahead or bool(rng.uniform() < 0.6),
        pattern=str(rng.choice(["next", "next", "skip", "alternate", "lands"])),
        corners=str(rng.choice(corners)),
        along=along,
        angle=float(rng.uniform(0, math.pi)) if rng.uniform() < 0.2 else None,
        margin_m=float(rng.uniform(2, 7)) if rng.uniform() < 0.2 else 0.0,
        share=float(rng.uniform(0.3, 0.9)) if rng.uniform() < 0.2 else 1.0,
        cover=float(rng.uniform(0.5, 1.0)),
        stop_chance=float(rng.choice([0.0, 0.01, 0.04])),
        unload_stand=bool(ahead and rng.uniform() < 0.5),
        unload_moving=bool(ahead and rng.uniform() < 0.3),
        half_overlaps=float(rng.choice([0.0, 0.0, 0.1])),
        blockages=float(rng.choice([0.0, 0.0, 0.03])),
    )


def _anything(name: str, rng: Rng, receiver: Receiver) -> Scenario:
    m = varied(rng, MACHINES[int(rng.integers(0, len(MACHINES)))])
    if rng.uniform() < 0.3:
        m = replace(m, antenna_right_m=float(rng.normal(0, 0.4)))
    if rng.uniform() < 0.4:
        m = replace(
            m, lag_down_s=float(rng.uniform(-2, 0.6)), lag_up_s=float(rng.uniform(-0.3, 1.5))
        )
    ha = float(rng.uniform(7, 16) if m.width_m > 15 else rng.uniform(2, 3 + m.width_m))
    shape = SHAPES[int(rng.integers(0, len(SHAPES)))](rng, ha)
    w = scene(rng, shape)
    d = begin(w, m)
    d.reverses = bool(rng.uniform() < 0.8)
    come(d, w, 0)
    fill_by_gate(d, w, 0)
    if rng.uniform() < 0.25:
        far = shape.exterior.interpolate(float(rng.uniform(0.3, 0.7)), normalized=True)
        look = affinity.translate(far, w.shapes[0].bounds[0] - shape.bounds[0], 30.0)
        inside = w.shapes[0].buffer(-18)
        p = inside.exterior.interpolate(inside.exterior.project(look))
        travel_to(d, Pose(p.x, p.y, float(rng.uniform(0, 6))))
        stop(d, float(rng.uniform(10, 90)))
    work_field(d, _any_style(rng, m, shape))
    go(d, w, 0)
    home(d)
    rig: dict[str, Any] = {}
    if rng.uniform() < 0.3:
        rig = {"right_m": None}
    if rng.uniform() < 0.15:
        rig = {"right_m": None, "line_m": None, "drag_m": 0.0}
    return record(name, d, w, any_place(rng), receiver, rig=rig)


@scenario
def anything(name: str, rng: Rng) -> Scenario:
    """Machine, field, way of working and faults all drawn by lot; RTK or SBAS."""
    receiver = any_receiver(
        rng,
        speed=bool(rng.uniform() < 0.3),
        drops=float(rng.choice([0.0, 0.0, 0.01])),
        outliers=float(rng.choice([0.0, 0.0, 0.0005])),
    )
    return _anything(name, rng, receiver)


@scenario
def anything_jittered(name: str, rng: Rng) -> Scenario:
    """As anything, with stamps that stray by up to a second."""
    jitter_s = float(rng.uniform(0.3, 1.0))
    return _anything(name, rng, any_receiver(rng, interval_s=1.0, jitter_s=jitter_s))


@scenario
def anything_phone(name: str, rng: Rng) -> Scenario:
    """As anything, recorded by a phone."""
    interval_s = float(rng.choice([1.0, 2.0, 5.0]))
    return _anything(name, rng, any_receiver(rng, "phone", interval_s=interval_s))
