"""The scenarios: each a day's work by name, varied by seed.

SCENARIOS[name](seed) -> Scenario. A seed varies shape, angle, speed, width and noise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon, box

from tests.simulator import machines as kit
from tests.simulator import shapes
from tests.simulator.curves import Pose
from tests.simulator.drive import Drive, back, road, stop, travel_to
from tests.simulator.machines import Machine
from tests.simulator.plan import Style, work_field
from tests.simulator.receiver import Receiver
from tests.simulator.scene import (
    Place,
    Scenario,
    Scene,
    begin,
    come,
    gate_of,
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


_WHERE: ContextVar[Place | None] = ContextVar("where", default=None)


def placed(name: str, seed: int, place: Place) -> Scenario:
    """The same scenario, with the same motion and noise, at another place of the globe."""
    token = _WHERE.set(place)
    try:
        return SCENARIOS[name](seed)
    finally:
        _WHERE.reset(token)


def _place(rng: Rng) -> Place:
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


def _vary(rng: Rng, m: Machine, **changes: Any) -> Machine:
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
    m = _vary(rng, MACHINES[int(rng.integers(0, len(MACHINES)))])
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
    _fill_by_gate(d, w, 0)
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
    return record(name, d, w, _place(rng), receiver, rig=rig)


@_scenario
def anything(name: str, rng: Rng) -> Scenario:
    """Machine, field, way of working and faults all drawn by lot; RTK or SBAS."""
    receiver = _receiver(
        rng,
        speed=bool(rng.uniform() < 0.3),
        drops=float(rng.choice([0.0, 0.0, 0.01])),
        outliers=float(rng.choice([0.0, 0.0, 0.0005])),
    )
    return _anything(name, rng, receiver)


@_scenario
def anything_jittered(name: str, rng: Rng) -> Scenario:
    """As anything, with stamps that stray by up to a second."""
    jitter_s = float(rng.uniform(0.3, 1.0))
    return _anything(name, rng, _receiver(rng, interval_s=1.0, jitter_s=jitter_s))


@_scenario
def anything_phone(name: str, rng: Rng) -> Scenario:
    """As anything, recorded by a phone."""
    interval_s = float(rng.choice([1.0, 2.0, 5.0]))
    return _anything(name, rng, _receiver(rng, "phone", interval_s=interval_s))


def _through(d: Drive, w: Scene, k: int) -> None:
    """Drive a loop through a field and out again by the gate."""
    middle = w.shapes[k].representative_point()
    travel_to(d, Pose(middle.x, middle.y, float(d.rng.uniform(0, 6))))
    go(d, w, k)


@_scenario
def combine_u(name: str, rng: Rng) -> Scenario:
    """A combine in a U, worked in lands, emptied standing in the field."""
    shape = shapes.you(rng, float(rng.uniform(8, 11)))
    style = Style(laps=2, corners="shunt", pattern="lands", unload_stand=True)
    return _one_field(rng, shape, _vary(rng, kit.COMBINE_9), style, _receiver(rng), name)


@_scenario
def corner_2ha(name: str, rng: Rng) -> Scenario:
    """A small corner, drilled headland first with three-point turns."""
    shape = shapes.corner(rng, float(rng.uniform(1.6, 2.3)))
    style = Style(laps=2, corners="shunt")
    return _one_field(rng, shape, _vary(rng, kit.DRILL_3), style, _receiver(rng), name)


@_scenario
def revisited(name: str, rng: Rng) -> Scenario:
    """Half a field, then another field, then the rest of the first, on one day."""
    w = scene(rng, shapes.rectangle(rng, 5.0), shapes.corner(rng, 2.5))
    d = begin(w, _vary(rng, kit.CULTIVATOR_3))
    half = Style(laps=2, share=0.5, fixed_order=True, angle=0.3)
    rest = replace(half, lap_share=0.0, start_share=0.5, share=1.0)
    for k, style in ((0, half), (1, Style(laps=2)), (0, rest)):
        come(d, w, k)
        work_field(d, style)
        go(d, w, k)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def two_days(name: str, rng: Rng) -> Scenario:
    """A field half drilled at nightfall and finished the next day (in `also`)."""
    shape = shapes.rectangle(rng, float(rng.uniform(7, 10)))
    m, place, receiver = _vary(rng, kit.DRILL_4), _place(rng), _receiver(rng)
    cut = float(rng.uniform(0.4, 0.6))
    base = Style(laps=3, first=False, fixed_order=True)
    styles = (
        replace(base, share=cut, lap_share=0.0),
        replace(base, start_share=cut),
    )
    w = scene(rng, shape)
    days = []
    for k, style in enumerate(styles):
        d = begin(w, m)
        come(d, w, 0)
        _fill_by_gate(d, w, 0)
        work_field(d, style)
        go(d, w, 0)
        home(d)
        start = datetime(2026, 4, 14 + k, 12 - 6 * k, 20, tzinfo=UTC)
        days.append(record(name, d, w, place, receiver, started=start))
    return replace(days[0], also=days[1:])


@_scenario
def two_operations(name: str, rng: Rng) -> Scenario:
    """Cultivated in the morning, back to the yard for the roller, rolled in the afternoon."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(3, 5))))
    d = begin(w, _vary(rng, kit.CULTIVATOR_6), _vary(rng, kit.ROLLER_12))
    come(d, w, 0, machine=0)
    work_field(d, Style(laps=2))
    go(d, w, 0)
    home(d)
    stop(d, 900.0)
    d.machine = 1
    come(d, w, 0, machine=1)
    work_field(d, Style(laps=2, first=False))
    go(d, w, 0)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def two_operations_one_stay(name: str, rng: Rng) -> Scenario:
    """Two full coverings with one implement, one across the other, without leaving the field."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(2.5, 4))))
    d = begin(w, _vary(rng, kit.CULTIVATOR_6))
    come(d, w, 0)
    angle = float(rng.uniform(0, math.pi))
    work_field(d, Style(laps=2, angle=angle))
    work_field(d, Style(laps=2, angle=angle + float(rng.uniform(0.5, 1.6))))
    go(d, w, 0)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


def _shared_field(name: str, rng: Rng) -> tuple[Scenario, Scenario]:
    """Two machines in one field on one day, each its own half."""
    shape = shapes.rectangle(rng, float(rng.uniform(9, 12)))
    w, place, receiver = scene(rng, shape), _place(rng), _receiver(rng)
    base = Style(laps=2, fixed_order=True, pattern="next")
    parts = []
    for k, style in enumerate(
        (replace(base, share=0.5), replace(base, start_share=0.5, lap_share=0.0))
    ):
        d = begin(w, _vary(rng, kit.COMBINE_7, overlap_m=0.35), at=(-420.0 - 60 * k, 0.0))
        come(d, w, 0)
        _fill_by_gate(d, w, 0)
        work_field(d, style)
        go(d, w, 0)
        home(d)
        start = datetime(2026, 8, 4, 9, 25 * k, tzinfo=UTC)
        parts.append(record(name, d, w, place, receiver, started=start))
    return parts[0], parts[1]


@_scenario
def two_machines(name: str, rng: Rng) -> Scenario:
    """Two combines in one field; the second machine is in `also`."""
    one, two = _shared_field(name, rng)
    return replace(one, also=[two])


@_scenario
def two_machines_one_file(name: str, rng: Rng) -> Scenario:
    """The fixes of two combines mixed in one file. The truth of the second is in `also`."""
    one, two = _shared_field(name, rng)
    time = np.concatenate([one.fixes["time"], two.fixes["time"]])
    order = np.argsort(time, kind="stable")
    fixes = {k: np.concatenate([one.fixes[k], two.fixes[k]])[order] for k in one.fixes}
    labels = np.concatenate([one.labels, two.labels])[order]
    return replace(one, fixes=fixes, labels=labels, also=[two], mixed=True)


@_scenario
def antenna_to_the_side(name: str, rng: Rng) -> Scenario:
    """An antenna off the centre line, which nobody stated."""
    right = float(rng.choice([-1, 1]) * rng.uniform(0.4, 1.0))
    shape = shapes.rectangle(rng, float(rng.uniform(4, 7)))
    m = _vary(rng, kit.CULTIVATOR_3, antenna_right_m=right)
    receiver = _receiver(rng, "rtk")
    return _one_field(rng, shape, m, Style(laps=2), receiver, name, rig={"right_m": None})


@_scenario
def margin_left(name: str, rng: Rng) -> Scenario:
    """A margin left unworked all round on purpose."""
    shape = shapes.irregular(rng, float(rng.uniform(4, 8)))
    style = Style(laps=2, margin_m=float(rng.choice([4.0, 6.0])), first=bool(rng.integers(0, 2)))
    return _one_field(rng, shape, _vary(rng, kit.DRILL_4), style, _receiver(rng), name)


@_scenario
def boundary_off(name: str, rng: Rng) -> Scenario:
    """A boundary drawn 3 m beside the true edge, with corners cut."""
    shape = shapes.irregular(rng, float(rng.uniform(5, 9)))
    w = scene(rng, shape)
    d = begin(w, _vary(rng, kit.DRILL_4))
    come(d, w, 0)
    _fill_by_gate(d, w, 0)
    work_field(d, Style(laps=3))
    go(d, w, 0)
    home(d)
    angle = float(rng.uniform(0, 2 * math.pi))
    drawn = affinity.translate(w.shapes[0], 3 * math.cos(angle), 3 * math.sin(angle))
    drawn = drawn.buffer(float(rng.normal(0, 0.8)), join_style="mitre").simplify(1.0)
    return record(name, d, w, _place(rng), _receiver(rng), boundaries=[drawn])


@_scenario
def no_boundary(name: str, rng: Rng) -> Scenario:
    """Two fields with nothing on file, and road between them."""
    w = scene(rng, shapes.ell(rng, 5.0), shapes.wedge(rng, 4.0), gap_m=240.0)
    d = begin(w, _vary(rng, kit.CULTIVATOR_6))
    for k in (0, 1):
        come(d, w, k)
        work_field(d, Style(laps=2, first=k == 0))
        go(d, w, k)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng), boundaries=[None, None])


@_scenario
def ten_hertz(name: str, rng: Rng) -> Scenario:
    """Ten fixes a second."""
    shape = shapes.wedge(rng, float(rng.uniform(2.5, 4)))
    receiver = _receiver(rng, "rtk", interval_s=0.1)
    return _one_field(rng, shape, _vary(rng, kit.CULTIVATOR_3), Style(laps=2), receiver, name)


@_scenario
def every_five_seconds(name: str, rng: Rng) -> Scenario:
    """A fix every five seconds."""
    shape = shapes.rectangle(rng, float(rng.uniform(6, 10)))
    receiver = _receiver(rng, "sbas", interval_s=5.0)
    return _one_field(rng, shape, _vary(rng, kit.DRILL_4), Style(laps=3), receiver, name)


@_scenario
def every_ten_seconds(name: str, rng: Rng) -> Scenario:
    """A fix every ten seconds."""
    shape = shapes.rectangle(rng, float(rng.uniform(8, 12)))
    receiver = _receiver(rng, "sbas", interval_s=10.0)
    return _one_field(rng, shape, _vary(rng, kit.CULTIVATOR_6), Style(laps=2), receiver, name)


@_scenario
def by_distance(name: str, rng: Rng) -> Scenario:
    """A logger that writes after so many metres and nothing while standing."""
    shape = shapes.irregular(rng, float(rng.uniform(4, 8)))
    receiver = _receiver(rng, interval_s=1.0, distance_m=float(rng.choice([3.0, 5.0])))
    style = Style(laps=2, stop_chance=0.04)
    return _one_field(rng, shape, _vary(rng, kit.DRILL_4), style, receiver, name)


def _lunch(name: str, rng: Rng, kind: str) -> Scenario:
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(5, 8))))
    d = begin(w, _vary(rng, kit.DRILL_4))
    come(d, w, 0)
    _fill_by_gate(d, w, 0)
    base = Style(laps=2, fixed_order=True)
    work_field(d, replace(base, share=0.5))
    x, y = w.gates[0]
    travel_to(d, Pose(x + 9, y + 9, -math.pi / 3))
    stop(d, float(rng.uniform(1500, 3300)), kind)
    work_field(d, replace(base, start_share=0.5, lap_share=0.0))
    go(d, w, 0)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def lunch_logger_on(name: str, rng: Rng) -> Scenario:
    """A long meal in the field with the logger running."""
    return _lunch(name, rng, "stand")


@_scenario
def lunch_logger_off(name: str, rng: Rng) -> Scenario:
    """A long meal in the field with the logger off."""
    return _lunch(name, rng, "off")


@_scenario
def starts_in_field(name: str, rng: Rng) -> Scenario:
    """A record that begins in mid-field."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 8)))
    m, style = _vary(rng, kit.CULTIVATOR_3), Style(laps=2)
    first = float(rng.uniform(1500, 3000))
    return _one_field(rng, shape, m, style, _receiver(rng), name, crop_s=(first, 1e9))


@_scenario
def never_leaves(name: str, rng: Rng) -> Scenario:
    """A record that begins and ends in the field."""
    shape = shapes.wedge(rng, float(rng.uniform(4, 7)))
    m, style = _vary(rng, kit.ROLLER_6), Style(laps=2)
    return _one_field(rng, shape, m, style, _receiver(rng), name, crop_s=(600.0, 2900.0))


@_scenario
def bad_reception(name: str, rng: Rng) -> Scenario:
    """Jumps, wild fixes, repeats and lost fixes."""
    shape = shapes.irregular(rng, float(rng.uniform(4, 8)))
    receiver = _receiver(rng, jumps=6, outliers=0.002, repeats=0.02, drops=0.03)
    return _one_field(rng, shape, _vary(rng, kit.DRILL_4), Style(laps=3), receiver, name)


@_scenario
def jittered_combine(name: str, rng: Rng) -> Scenario:
    """Stamps that stray by up to a second, opening cuts with slow strokes, header well ahead."""
    shape = shapes.irregular(rng, float(rng.uniform(6, 9)))
    m = _vary(rng, kit.COMBINE_9, lag_down_s=-2.0, lag_up_s=1.0)
    receiver = _receiver(
        rng, interval_s=1.0, jitter_s=float(rng.uniform(0.5, 1.0)), whole_seconds=True
    )
    style = Style(laps=3, corners="zigzag", pattern="lands", half_overlaps=0.1, stop_chance=0.04)
    return _one_field(rng, shape, m, style, receiver, name)


@_scenario
def shared_edge(name: str, rng: Rng) -> Scenario:
    """Two fields with one edge in common, both worked on one day."""
    whole = affinity.translate(shapes.rectangle(rng, 9.0), 0, 30.0)
    x = float(rng.uniform(-25, 25))
    parts = [whole.intersection(box(-1e4, 0, x, 1e4)), whole.intersection(box(x, 0, 1e4, 1e4))]
    w = Scene(rng, parts, [gate_of(p, rng) for p in parts], ["left field", "right field"])
    d = begin(w, _vary(rng, kit.CULTIVATOR_3))
    for k in (0, 1):
        come(d, w, k)
        work_field(d, Style(laps=2, first=bool(rng.integers(0, 2))))
        go(d, w, k)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def bowser_in_field(name: str, rng: Rng) -> Scenario:
    """Filled from a bowser on the far headland: much travel over worked ground."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(9, 13)), 2.2))
    d = begin(w, _vary(rng, kit.SPRAYER_24))
    come(d, w, 0)
    far = w.shapes[0].buffer(-14).exterior
    p = far.interpolate(float(rng.uniform(0, far.length)))
    d.fill_at = (p.x, p.y)
    work_field(d, Style(laps=1, cover=0.95))
    go(d, w, 0)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def sprayer_phone(name: str, rng: Rng) -> Scenario:
    """A 24 m boom recorded by a phone."""
    shape = shapes.irregular(rng, float(rng.uniform(9, 15)))
    receiver = _receiver(rng, "phone", interval_s=float(rng.choice([1.0, 2.0, 5.0])), speed=True)
    return _one_field(rng, shape, _vary(rng, kit.SPRAYER_24), Style(laps=1), receiver, name)


@_scenario
def drill_phone(name: str, rng: Rng) -> Scenario:
    """A 4 m drill recorded by a phone whose noise is as wide as the drill."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    receiver = _receiver(rng, "phone", interval_s=float(rng.choice([1.0, 2.0, 5.0])))
    return _one_field(rng, shape, _vary(rng, kit.DRILL_4), Style(laps=3), receiver, name)


@_scenario
def cultivator_phone(name: str, rng: Rng) -> Scenario:
    """A 6 m cultivator recorded by a phone."""
    shape = shapes.wedge(rng, float(rng.uniform(5, 9)))
    receiver = _receiver(rng, "phone", interval_s=1.0, drops=0.02)
    return _one_field(rng, shape, _vary(rng, kit.CULTIVATOR_6), Style(laps=2), receiver, name)


@_scenario
def plough(name: str, rng: Rng) -> Scenario:
    """A narrow plough, no headland until the end, reversing at bout ends."""
    shape = shapes.rectangle(rng, float(rng.uniform(1.8, 3)))
    style = Style(laps=4, first=False)
    return _one_field(rng, shape, _vary(rng, kit.PLOUGH_5), style, _receiver(rng), name)


@_scenario
def blocked_gate(name: str, rng: Rng) -> Scenario:
    """A blocked gate: waiting outside, backing off, and in the end going in by another."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(4, 6))))
    d = begin(w, _vary(rng, kit.CULTIVATOR_3))
    x, y = w.gates[0]
    road(d, (x - 12, 0.0), (x, 6.0), (x, y - 6.0), v=3.0)
    stop(d, float(rng.uniform(120, 400)))
    back(d, 22.0)
    stop(d, 10.0)
    w.gates[0] = gate_of(w.shapes[0], rng)
    come(d, w, 0)
    work_field(d, Style(laps=2))
    x, y = w.gates[0]
    travel_to(d, Pose(x, y + 12, -math.pi / 2))
    stop(d, float(rng.uniform(60, 300)))
    go(d, w, 0)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def roller_12_kmh(name: str, rng: Rng) -> Scenario:
    """A 6 m roller working and travelling at the same 12 km/h, with travel between blocks."""
    shape = shapes.ell(rng, float(rng.uniform(5, 8)))
    style = Style(laps=2, first=False, pattern="skip")
    return _one_field(rng, shape, _vary(rng, kit.ROLLER_6), style, _receiver(rng), name)


@_scenario
def mower_half_overlapped(name: str, rng: Rng) -> Scenario:
    """A narrow mower with some bouts half overlapped."""
    shape = shapes.wedge(rng, float(rng.uniform(2, 4)))
    style = Style(laps=2, half_overlaps=0.2)
    return _one_field(rng, shape, _vary(rng, kit.MOWER_3), style, _receiver(rng), name)


@_scenario
def combine_spiral(name: str, rng: Rng) -> Scenario:
    """Combining round and round with shunted corners."""
    shape = shapes.rectangle(rng, float(rng.uniform(3, 5)))
    style = Style(along="spiral", corners="shunt", stop_chance=0.03)
    return _one_field(rng, shape, _vary(rng, kit.COMBINE_7), style, _receiver(rng), name)


@_scenario
def unload_on_the_move(name: str, rng: Rng) -> Scenario:
    """A combine emptied into a trailer alongside: slower bouts and no stops."""
    shape = shapes.wedge(rng, float(rng.uniform(5, 9)))
    style = Style(laps=2, corners="shunt", pattern="alternate", unload_moving=True)
    return _one_field(rng, shape, _vary(rng, kit.COMBINE_7), style, _receiver(rng), name)


@_scenario
def headland_only(name: str, rng: Rng) -> Scenario:
    """Only the headland was worked."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    style = Style(laps=3, share=0.0)
    return _one_field(rng, shape, _vary(rng, kit.CULTIVATOR_3), style, _receiver(rng), name)


@_scenario
def width_not_stated(name: str, rng: Rng) -> Scenario:
    """Nothing is said of the implement."""
    shape = shapes.rectangle(rng, float(rng.uniform(4, 7)))
    rig = {"width_m": None, "line_m": None, "right_m": None, "operation": None, "implement": None}
    receiver = _receiver(rng)
    return _one_field(
        rng, shape, _vary(rng, kit.CULTIVATOR_3), Style(laps=2), receiver, name, rig=rig
    )


@_scenario
def wrong_width(name: str, rng: Rng) -> Scenario:
    """Stated as the 3 m drill; in truth the 6 m roller."""
    shape = shapes.rectangle(rng, float(rng.uniform(4, 7)))
    rig = {"width_m": 3.0, "operation": "drilling", "implement": "drill"}
    receiver = _receiver(rng)
    return _one_field(rng, shape, _vary(rng, kit.ROLLER_6), Style(laps=2), receiver, name, rig=rig)


@_scenario
def offsets_not_stated(name: str, rng: Rng) -> Scenario:
    """A trailed implement of which only the width is known."""
    shape = shapes.irregular(rng, float(rng.uniform(5, 8)))
    m = _vary(rng, kit.DRILL_6_TRAILED)
    rig = {"line_m": None, "drag_m": 0.0, "right_m": None}
    return _one_field(rng, shape, m, Style(laps=3), _receiver(rng), name, rig=rig)


@_scenario
def spreader(name: str, rng: Rng) -> Scenario:
    """A wide spreader with the headland last."""
    shape = shapes.rectangle(rng, float(rng.uniform(9, 14)))
    style = Style(laps=1, first=False, cover=0.5)
    return _one_field(rng, shape, _vary(rng, kit.SPREADER_24), style, _receiver(rng), name)


@_scenario
def baler(name: str, rng: Rng) -> Scenario:
    """Baling swaths: a trailed machine, bouts by rows, standing to tie."""
    shape = shapes.irregular(rng, float(rng.uniform(3, 6)))
    style = Style(laps=2, stop_chance=0.06)
    return _one_field(rng, shape, _vary(rng, kit.BALER), style, _receiver(rng), name)


@_scenario
def skip_sbas(name: str, rng: Rng) -> Scenario:
    """Every second bout out, the others back."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    style = Style(laps=2, pattern="alternate")
    return _one_field(rng, shape, _vary(rng, kit.ROLLER_6), style, _receiver(rng, "sbas"), name)


@_scenario
def part_worked_small(name: str, rng: Rng) -> Scenario:
    """A few bouts only."""
    shape = shapes.rectangle(rng, float(rng.uniform(3, 5)))
    style = Style(laps=2, share=float(rng.uniform(0.1, 0.25)), lap_share=0.0)
    return _one_field(rng, shape, _vary(rng, kit.DRILL_3), style, _receiver(rng), name)


@_scenario
def part_done_again(name: str, rng: Rng) -> Scenario:
    """A field worked once, and a third of it again in the same stay: no second pass."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(3, 6))))
    d = begin(w, _vary(rng, kit.CULTIVATOR_6))
    come(d, w, 0)
    work_field(d, Style(laps=2))
    again = Style(laps=2, lap_share=0.0, share=float(rng.uniform(0.2, 0.4)), fixed_order=True)
    work_field(d, again)
    go(d, w, 0)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def road_beside(name: str, rng: Rng) -> Scenario:
    """Up and down a road that runs a few metres beside a field, and work in the next."""
    w = scene(rng, shapes.rectangle(rng, 4.0), box(0, 0, 260, 150))
    low = [affinity.translate(s, 0, -24.0) for s in w.shapes]
    w.shapes[:] = low
    w.gates[:] = [(x, y - 24.0) for x, y in w.gates]
    d = begin(w, _vary(rng, kit.CULTIVATOR_3))
    come(d, w, 0)
    work_field(d, Style(laps=2))
    go(d, w, 0)
    east = low[1].bounds[2] + 120
    road(d, (east, 0.0), v=2.6)
    stop(d, 200.0)
    road(d, (east - 60, 1.5), (low[1].bounds[0] - 40, 1.5), v=2.6)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def road_only(name: str, rng: Rng) -> Scenario:
    """A day on the road past a field."""
    w = scene(rng, shapes.rectangle(rng, 5.0))
    d = begin(w, kit.CULTIVATOR_3)
    road(d, (300.0, 0.0), (900.0, 40.0), (1500.0, 300.0))
    stop(d, 300.0)
    road(d, (900.0, 40.0), (300.0, 0.0))
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))


@_scenario
def date_line(name: str, rng: Rng) -> Scenario:
    """A field that lies across longitude 180."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(4, 7))))
    d = begin(w, _vary(rng, kit.CULTIVATOR_3))
    come(d, w, 0)
    work_field(d, Style(laps=2))
    go(d, w, 0)
    home(d)
    return record(name, d, w, Place(180.0, -16.8, 0.4), _receiver(rng))


@_scenario
def contract_day(name: str, rng: Rng) -> Scenario:
    """Four fields of several shapes in one day with a mower, a meal on the road side."""
    made: list[Polygon] = [
        shapes.irregular(rng, 4.0), shapes.ell(rng, 5.0), shapes.corner(rng, 2.0),
        shapes.pond(rng, 6.0),
    ]  # fmt: skip
    w = scene(rng, *made, gap_m=150.0)
    d = begin(w, _vary(rng, kit.MOWER_9))
    for k in range(4):
        come(d, w, k)
        work_field(d, Style(laps=3, corners="shunt" if k % 2 else "round"))
        go(d, w, k)
        if k == 1:
            stop(d, 2000.0)
    home(d)
    return record(name, d, w, _place(rng), _receiver(rng))
