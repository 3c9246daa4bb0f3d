"""What all scenarios share: the list of them, and one field worked by one machine."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import replace
from typing import Any

import numpy as np

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

SCENARIOS: dict[str, Callable[[int], Scenario]] = {}


Rng = np.random.Generator


def scenario(make: Callable[[str, Rng], Scenario]) -> Callable[[str, Rng], Scenario]:
    """List a scenario under the name of its function; its seed and name make its generator."""
    name = make.__name__.strip("_")

    def seeded(seed: int) -> Scenario:
        salt = sum(ord(c) * 31**i for i, c in enumerate(name)) % 2**31
        return make(name, np.random.default_rng([seed, salt]))

    seeded.__doc__ = make.__doc__
    SCENARIOS[name] = seeded
    return make


_WHERE: ContextVar[Place | None] = ContextVar("where", default=None)


def placed(name: str, seed: int, place: Place) -> Scenario:
    """The same scenario, with the same motion and noise, at another place of the globe."""
    token = _WHERE.set(place)
    try:
        return SCENARIOS[name](seed)
    finally:
        _WHERE.reset(token)


def any_place(rng: Rng) -> Place:
    """Somewhere temperate, turned any way, unless a place is set."""
    lon, lat = ((-1.2, 52.6), (10.4, 53.1), (-98.2, 41.0), (147.5, -36.2), (24.1, 60.1))[
        int(rng.integers(0, 5))
    ]
    drawn = Place(
        lon + float(rng.uniform(-0.4, 0.4)),
        lat + float(rng.uniform(-0.4, 0.4)),
        float(rng.uniform(0, 2 * math.pi)),
    )
    return _WHERE.get() or drawn


def varied(rng: Rng, m: Machine, **changes: Any) -> Machine:
    """The same kind of machine on another farm: other speed, lags, overlap."""
    k = float(rng.uniform(0.9, 1.1))
    usual = {
        "work_m_s": m.work_m_s * k,
        "turn_m_s": m.turn_m_s * float(rng.uniform(0.85, 1.15)),
        "lag_down_s": m.lag_down_s + float(rng.normal(0, 0.3)),
        "lag_up_s": m.lag_up_s + float(rng.normal(0, 0.3)),
        "overlap_m": m.overlap_m * float(rng.uniform(0.5, 1.6)),
    }
    return replace(m, **(usual | changes))


def any_receiver(rng: Rng, quality: str | None = None, **more: Any) -> Receiver:
    quality = quality or str(rng.choice(["rtk", "sbas"]))
    more.setdefault("interval_s", float(rng.choice([1.0, 2.0])))
    return Receiver(quality, **more)


def fill_by_gate(d: Drive, w: Scene, k: int) -> None:
    """A trailer stands just inside the gate."""
    x, y = w.gates[k]
    d.fill_at = (x + 14.0, y + 10.0)


def one_field(
    rng: Rng, shape: Any, m: Machine, style: Style, receiver: Receiver, name: str, **more: Any
) -> Scenario:
    w = scene(rng, shape)
    d = begin(w, m)
    come(d, w, 0)
    fill_by_gate(d, w, 0)
    if m.fill_area_m2 is not None and m.line_m < 0:
        stop(d, float(rng.uniform(*m.fill_s)), "fill")
    work_field(d, style)
    go(d, w, 0)
    home(d)
    return record(name, d, w, any_place(rng), receiver, **more)
