"""The scenarios: each a day's work by name, varied by seed.

SCENARIOS[name](seed) -> Scenario. A seed varies shape, angle, speed, width and noise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from tests.simulator import machines as kit
from tests.simulator import shapes
from tests.simulator.drive import Drive, stop
from tests.simulator.machines import Machine
from tests.simulator.plan import Style, work_field
from tests.simulator.receiver import Receiver
from tests.simulator.scene import (
    Place,
    Scenario,
    Scene,
    begin,
    come,
    go,
    home,
    record,
    scene,
)

Rng = np.random.Generator
SCENARIOS: dict[str, Callable[[int], Scenario]] = {}


def _scenario(make: Callable[[str, Rng], Scenario]) -> Callable[[str, Rng], Scenario]:
    name = make.__name__.strip("_")

    def seeded(seed: int) -> Scenario:
        salt = sum(ord(c) * 31**i for i, c in enumerate(name)) % 2**31
        return make(name, np.random.default_rng([seed, salt]))

    SCENARIOS[name] = seeded
    return make


def _place(rng: Rng) -> Place:
    """Somewhere temperate, turned any way."""
    lon, lat = ((-1.2, 52.6), (10.4, 53.1), (-98.2, 41.0), (147.5, -36.2), (24.1, 60.1))[
        int(rng.integers(0, 5))
    ]
    return Place(
        lon + float(rng.uniform(-0.4, 0.4)),
        lat + float(rng.uniform(-0.4, 0.4)),
        float(rng.uniform(0, 2 * math.pi)),
    )


def _vary(rng: Rng, m: Machine, **changes: Any) -> Machine:
    """The same kind of machine on another farm: other speed, lags, overlap."""
    k = float(rng.uniform(0.9, 1.1))
    return replace(
        m,
        work_m_s=m.work_m_s * k,
        turn_m_s=m.turn_m_s * float(rng.uniform(0.85, 1.15)),
        lag_down_s=m.lag_down_s + float(rng.normal(0, 0.3)),
        lag_up_s=m.lag_up_s + float(rng.normal(0, 0.3)),
        overlap_m=max(0.0, m.overlap_m * float(rng.uniform(0.5, 1.6))),
        **changes,
    )


def _receiver(rng: Rng, quality: str | None = None, **more: Any) -> Receiver:
    quality = quality or str(rng.choice(["rtk", "sbas"]))
    more.setdefault("interval_s", float(rng.choice([1.0, 2.0])))
    return Receiver(quality, **more)


def _fill_by_gate(d: Drive, w: Scene, k: int) -> None:
    """A trailer stands just inside the gate."""
    x, y = w.gates[k]
    d.fill_at = (x + 14.0, y + 10.0)


def _one_field(
    rng: Rng, shape: Any, m: Machine, style: Style, receiver: Receiver, name: str, **more: Any
) -> Scenario:
    w = scene(rng, shape)
    d = begin(w, m)
    come(d, w, 0)
    _fill_by_gate(d, w, 0)
    if m.fill_area_m2 is not None and m.line_m < 0:
        stop(d, float(rng.uniform(*m.fill_s)), "fill")
    work_field(d, style)
    go(d, w, 0)
    home(d)
    return record(name, d, w, _place(rng), receiver, **more)


@_scenario
def drill_rectangle(name: str, rng: Rng) -> Scenario:
    """A mounted drill, headland last, filling at the gate."""
    shape = shapes.rectangle(rng, float(rng.uniform(4, 8)))
    style = Style(laps=3, first=False, stop_chance=0.02)
    return _one_field(rng, shape, _vary(rng, kit.DRILL_4), style, _receiver(rng), name)


@_scenario
def cultivator_wedge(name: str, rng: Rng) -> Scenario:
    """A trailed cultivator in a wedge, headland first, skipping bouts for wide turns."""
    shape = shapes.wedge(rng, float(rng.uniform(4, 7)))
    style = Style(laps=3, pattern="skip")
    return _one_field(rng, shape, _vary(rng, kit.CULTIVATOR_6), style, _receiver(rng), name)


@_scenario
def combine_l(name: str, rng: Rng) -> Scenario:
    """A combine with its header ahead of the antenna, opening corners with slow strokes."""
    shape = shapes.ell(rng, float(rng.uniform(6, 9)))
    style = Style(laps=3, corners="zigzag", pattern="lands", unload_stand=True, stop_chance=0.02)
    return _one_field(rng, shape, _vary(rng, kit.COMBINE_7), style, _receiver(rng, "rtk"), name)


@_scenario
def sprayer_30(name: str, rng: Rng) -> Scenario:
    """A trailed 30 m boom on tramlines."""
    shape = shapes.irregular(rng, float(rng.uniform(11, 18)))
    style = Style(laps=1, stop_chance=0.01, cover=0.9)
    return _one_field(rng, shape, _vary(rng, kit.SPRAYER_30), style, _receiver(rng), name)


@_scenario
def roller_fast(name: str, rng: Rng) -> Scenario:
    """A roller that travels as fast as it works."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    style = Style(laps=2, first=bool(rng.integers(0, 2)))
    return _one_field(rng, shape, _vary(rng, kit.ROLLER_12), style, _receiver(rng), name)


@_scenario
def mower_spiral_phone(name: str, rng: Rng) -> Scenario:
    """Mowing round and round, recorded by a phone."""
    shape = shapes.irregular(rng, float(rng.uniform(3, 6)))
    style = Style(along="spiral")
    receiver = _receiver(rng, "phone", interval_s=float(rng.choice([1.0, 2.0, 5.0])), speed=True)
    return _one_field(rng, shape, _vary(rng, kit.MOWER_9), style, receiver, name)


@_scenario
def drill_part_worked(name: str, rng: Rng) -> Scenario:
    """Left at nightfall: some of the bouts only."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    style = Style(laps=2, first=False, share=float(rng.uniform(0.3, 0.65)), lap_share=0.0)
    return _one_field(rng, shape, _vary(rng, kit.DRILL_3), style, _receiver(rng), name)


@_scenario
def curved_drill(name: str, rng: Rng) -> Scenario:
    """Bouts that follow a curved edge."""
    shape = shapes.bowed(rng, float(rng.uniform(5, 9)))
    style = Style(laps=3, along="curved", first=bool(rng.integers(0, 2)))
    return _one_field(rng, shape, _vary(rng, kit.DRILL_6_TRAILED), style, _receiver(rng), name)


@_scenario
def pond_cultivator(name: str, rng: Rng) -> Scenario:
    """A field with a pond."""
    shape = shapes.pond(rng, float(rng.uniform(6, 10)))
    style = Style(laps=2)
    return _one_field(rng, shape, _vary(rng, kit.CULTIVATOR_3), style, _receiver(rng), name)


@_scenario
def driven_through(name: str, rng: Rng) -> Scenario:
    """Two fields worked, the one between driven through only."""
    w = scene(rng, shapes.rectangle(rng, 3.0), shapes.rectangle(rng, 5.0), shapes.wedge(rng, 3.0))
    d = begin(w, _vary(rng, kit.CULTIVATOR_3))
    come(d, w, 0)
    work_field(d, Style(laps=2))
    go(d, w, 0)
    come(d, w, 1)
    _through(d, w, 1)
    come(d, w, 2)
    work_field(d, Style(laps=2, first=False))
    go(d, w, 2)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


def _through(d: Drive, w: Scene, k: int) -> None:
    """Drive a loop through a field and out again by the gate."""
    from tests.simulator.curves import Pose
    from tests.simulator.drive import travel_to

    middle = w.shapes[k].representative_point()
    travel_to(d, Pose(middle.x, middle.y, float(d.rng.uniform(0, 6))))
    go(d, w, k)
