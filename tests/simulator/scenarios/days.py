"""Days: several fields, visits, machines and operations."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon, box

from tests.simulator import machines as kit
from tests.simulator import shapes
from tests.simulator.curves import Pose
from tests.simulator.drive import Drive, back, road, stop, travel_to
from tests.simulator.plan import Style, work_field
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
    Scene,
    begin,
    come,
    gate_of,
    go,
    home,
    record,
    scene,
)


@scenario
def driven_through(name: str, rng: Rng) -> Scenario:
    """Two fields worked, the one between driven through only."""
    w = scene(rng, shapes.rectangle(rng, 3.0), shapes.rectangle(rng, 5.0), shapes.wedge(rng, 3.0))
    d = begin(w, varied(rng, kit.CULTIVATOR_3))
    come(d, w, 0)
    work_field(d, Style(laps=2))
    go(d, w, 0)
    come(d, w, 1)
    _through(d, w, 1)
    come(d, w, 2)
    work_field(d, Style(laps=2, first=False))
    go(d, w, 2)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


def _through(d: Drive, w: Scene, k: int) -> None:
    """Drive a loop through a field and out again by the gate."""
    middle = w.shapes[k].representative_point()
    travel_to(d, Pose(middle.x, middle.y, float(d.rng.uniform(0, 6))))
    go(d, w, k)


@scenario
def revisited(name: str, rng: Rng) -> Scenario:
    """Half a field, then another field, then the rest of the first, on one day."""
    w = scene(rng, shapes.rectangle(rng, 5.0), shapes.corner(rng, 2.5))
    d = begin(w, varied(rng, kit.CULTIVATOR_3))
    half = Style(laps=2, share=0.5, fixed_order=True, angle=0.3)
    rest = replace(half, lap_share=0.0, start_share=0.5, share=1.0)
    for k, style in ((0, half), (1, Style(laps=2)), (0, rest)):
        come(d, w, k)
        work_field(d, style)
        go(d, w, k)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def two_days(name: str, rng: Rng) -> Scenario:
    """A field half drilled at nightfall and finished the next day (in `also`)."""
    shape = shapes.rectangle(rng, float(rng.uniform(7, 10)))
    m, place, receiver = varied(rng, kit.DRILL_4), any_place(rng), any_receiver(rng)
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
        fill_by_gate(d, w, 0)
        work_field(d, style)
        go(d, w, 0)
        home(d)
        start = datetime(2026, 4, 14 + k, 12 - 6 * k, 20, tzinfo=UTC)
        days.append(record(name, d, w, place, receiver, started=start))
    return replace(days[0], also=days[1:])


@scenario
def two_operations(name: str, rng: Rng) -> Scenario:
    """Cultivated in the morning, back to the yard for the roller, rolled in the afternoon."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(3, 5))))
    d = begin(w, varied(rng, kit.CULTIVATOR_6), varied(rng, kit.ROLLER_12))
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
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def two_operations_one_stay(name: str, rng: Rng) -> Scenario:
    """Two full coverings with one implement, one across the other, without leaving the field."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(2.5, 4))))
    d = begin(w, varied(rng, kit.CULTIVATOR_6))
    come(d, w, 0)
    angle = float(rng.uniform(0, math.pi))
    work_field(d, Style(laps=2, angle=angle))
    work_field(d, Style(laps=2, angle=angle + float(rng.uniform(0.5, 1.6))))
    go(d, w, 0)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


def _shared_field(name: str, rng: Rng) -> tuple[Scenario, Scenario]:
    """Two machines in one field on one day, each its own half."""
    shape = shapes.rectangle(rng, float(rng.uniform(9, 12)))
    w, place, receiver = scene(rng, shape), any_place(rng), any_receiver(rng)
    base = Style(laps=2, fixed_order=True, pattern="next")
    parts = []
    for k, style in enumerate(
        (replace(base, share=0.5), replace(base, start_share=0.5, lap_share=0.0))
    ):
        d = begin(w, varied(rng, kit.COMBINE_7, overlap_m=0.35), at=(-420.0 - 60 * k, 0.0))
        come(d, w, 0)
        fill_by_gate(d, w, 0)
        work_field(d, style)
        go(d, w, 0)
        home(d)
        start = datetime(2026, 8, 4, 9, 25 * k, tzinfo=UTC)
        parts.append(record(name, d, w, place, receiver, started=start))
    return parts[0], parts[1]


@scenario
def two_machines(name: str, rng: Rng) -> Scenario:
    """Two combines in one field; the second machine is in `also`."""
    one, two = _shared_field(name, rng)
    return replace(one, also=[two])


@scenario
def two_machines_one_file(name: str, rng: Rng) -> Scenario:
    """The fixes of two combines mixed in one file. The truth of the second is in `also`."""
    one, two = _shared_field(name, rng)
    time = np.concatenate([one.fixes["time"], two.fixes["time"]])
    order = np.argsort(time, kind="stable")
    fixes = {k: np.concatenate([one.fixes[k], two.fixes[k]])[order] for k in one.fixes}
    labels = np.concatenate([one.labels, two.labels])[order]
    edges = np.concatenate([one.at_edges, two.at_edges])[order]
    return replace(one, fixes=fixes, labels=labels, at_edges=edges, also=[two], mixed=True)


@scenario
def shared_edge(name: str, rng: Rng) -> Scenario:
    """Two fields with one edge in common, both worked on one day."""
    whole = affinity.translate(shapes.rectangle(rng, 9.0), 0, 30.0)
    x = float(rng.uniform(-25, 25))
    parts = [whole.intersection(box(-1e4, 0, x, 1e4)), whole.intersection(box(x, 0, 1e4, 1e4))]
    w = Scene(rng, parts, [gate_of(p, rng) for p in parts], ["left field", "right field"])
    d = begin(w, varied(rng, kit.CULTIVATOR_3))
    for k in (0, 1):
        come(d, w, k)
        work_field(d, Style(laps=2, first=bool(rng.integers(0, 2))))
        go(d, w, k)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def bowser_in_field(name: str, rng: Rng) -> Scenario:
    """Filled from a bowser on the far headland: much travel over worked ground."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(9, 13)), 2.2))
    d = begin(w, varied(rng, kit.SPRAYER_24))
    come(d, w, 0)
    far = w.shapes[0].buffer(-14).exterior
    p = far.interpolate(float(rng.uniform(0, far.length)))
    d.fill_at = (p.x, p.y)
    work_field(d, Style(laps=1, cover=0.95))
    go(d, w, 0)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def blocked_gate(name: str, rng: Rng) -> Scenario:
    """A blocked gate: waiting outside, backing off, and in the end going in by another."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(4, 6))))
    d = begin(w, varied(rng, kit.CULTIVATOR_3))
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
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def part_done_again(name: str, rng: Rng) -> Scenario:
    """A field worked once, and a third of it again in the same stay: no second pass."""
    w = scene(rng, shapes.rectangle(rng, float(rng.uniform(3, 6))))
    d = begin(w, varied(rng, kit.CULTIVATOR_6))
    come(d, w, 0)
    work_field(d, Style(laps=2))
    again = Style(laps=2, lap_share=0.0, share=float(rng.uniform(0.2, 0.4)), fixed_order=True)
    work_field(d, again)
    go(d, w, 0)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def road_beside(name: str, rng: Rng) -> Scenario:
    """Up and down a road that runs a few metres beside a field, and work in the next."""
    w = scene(rng, shapes.rectangle(rng, 4.0), box(0, 0, 260, 150))
    low = [affinity.translate(s, 0, -24.0) for s in w.shapes]
    w.shapes[:] = low
    w.gates[:] = [(x, y - 24.0) for x, y in w.gates]
    d = begin(w, varied(rng, kit.CULTIVATOR_3))
    come(d, w, 0)
    work_field(d, Style(laps=2))
    go(d, w, 0)
    east = low[1].bounds[2] + 120
    road(d, (east, 0.0), v=2.6)
    stop(d, 200.0)
    road(d, (east - 60, 1.5), (low[1].bounds[0] - 40, 1.5), v=2.6)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def road_only(name: str, rng: Rng) -> Scenario:
    """A day on the road past a field."""
    w = scene(rng, shapes.rectangle(rng, 5.0))
    d = begin(w, kit.CULTIVATOR_3)
    road(d, (300.0, 0.0), (900.0, 40.0), (1500.0, 300.0))
    stop(d, 300.0)
    road(d, (900.0, 40.0), (300.0, 0.0))
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))


@scenario
def contract_day(name: str, rng: Rng) -> Scenario:
    """Four fields of several shapes in one day with a mower, a meal on the road side."""
    made: list[Polygon] = [
        shapes.irregular(rng, 4.0), shapes.ell(rng, 5.0), shapes.corner(rng, 2.0),
        shapes.pond(rng, 6.0),
    ]  # fmt: skip
    w = scene(rng, *made, gap_m=150.0)
    d = begin(w, varied(rng, kit.MOWER_9))
    for k in range(4):
        come(d, w, k)
        work_field(d, Style(laps=3, corners="shunt" if k % 2 else "round"))
        go(d, w, k)
        if k == 1:
            stop(d, 2000.0)
    home(d)
    return record(name, d, w, any_place(rng), any_receiver(rng))
