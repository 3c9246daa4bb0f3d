"""The invented farm of the sample: its ground in three blocks, its roads, its machines."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon

from tests.simulator import drive as drv
from tests.simulator import machines as kit
from tests.simulator import shapes
from tests.simulator.curves import Pose
from tests.simulator.drive import Drive
from tests.simulator.machines import Machine
from tests.simulator.scene import Place, Scene, gate_of

PLACE = Place(lon=-0.5216, lat=53.1473)
"""Open arable country; the fields are drawn over it without regard to what is there."""


@dataclass
class Block:
    """A block of land: fields on both sides of a straight road of its own.

    origin, angle: where its road begins and which way it runs, in the farm's plane.
    """

    name: str
    origin: tuple[float, float]
    angle: float
    above: list[tuple[str, Polygon]]
    below: list[tuple[str, Polygon]]
    fields: list[int] = field(default_factory=list)

    def put(self, x: float, y: float) -> tuple[float, float]:
        c, s = math.cos(self.angle), math.sin(self.angle)
        return self.origin[0] + x * c - y * s, self.origin[1] + x * s + y * c

    def shape(self, polygon: Polygon) -> Polygon:
        turned = affinity.rotate(polygon, self.angle, origin=(0, 0), use_radians=True)
        return affinity.translate(turned, *self.origin)


@dataclass
class Farm:
    """All fields in one plane. gates: in the block's own frame, with the side of the road."""

    blocks: list[Block]
    scene: Scene
    farms: list[str]
    gates: list[tuple[int, float, float, int]]

    def number(self, name: str) -> int:
        return self.scene.names.index(name)


def blocks() -> list[Block]:
    """The three blocks; shapes from a fixed seed."""
    r = np.random.default_rng(1709)
    return [
        Block("Home", (0.0, 0.0), 0.35,
              [("Long Dole", shapes.rectangle(r, 6.4, 2.3)), ("Nine Lands", shapes.wedge(r, 7.8)),
               ("Crooked Piece", shapes.ell(r, 8.6))],
              [("Barn Close", shapes.pond(r, 7.1)), ("Pightle", shapes.corner(r, 2.0)),
               ("Withy Meadow", shapes.irregular(r, 4.6))]),
        Block("Sallow", (2600.0, -1500.0), -0.9,
              [("Teasel Ground", shapes.rectangle(r, 11.2, 1.5)),
               ("Cuckoo Pen", shapes.irregular(r, 2.9))],
              [("Sallow Top", shapes.bowed(r, 8.3)), ("Sallow Foot", shapes.wedge(r, 6.0))]),
        Block("Beacon", (-1200.0, 3300.0), 1.7,
              [("Kite Hill", shapes.irregular(r, 9.7)), ("Two Oaks", shapes.you(r, 9.2)),
               ("Lamb Meadow", shapes.irregular(r, 5.3))],
              [("Flint Walk", shapes.rectangle(r, 7.6, 1.8)),
               ("Beacon Side", shapes.bowed(r, 6.1))]),
    ]  # fmt: skip


def farm() -> Farm:
    """Lay out the blocks; every field has a gate to its block's road."""
    rng = np.random.default_rng(12)
    out = Farm(blocks(), Scene(rng, [], [], []), [], [])
    for b, block in enumerate(out.blocks):
        for side, row in ((1, block.above), (-1, block.below)):
            x = 0.0
            for name, shape in row:
                west, _, east, _ = shape.bounds
                x += (east - west) / 2
                local = affinity.translate(shape, x, 22.0)
                gx, gy = gate_of(local, rng)
                if side < 0:
                    local, gy = affinity.scale(local, 1, -1, origin=(0, 0)), -gy
                x += (east - west) / 2 + float(rng.uniform(14, 60))
                out.scene.shapes.append(block.shape(local))
                out.scene.names.append(name)
                out.scene.gates.append(block.put(gx, gy))
                out.farms.append(block.name)
                out.gates.append((b, gx, gy, side))
    return out


YARD = (-160.0, 30.0)
"""In the frame of the first block."""


def start(f: Farm, rng: np.random.Generator, *machines: Machine) -> Drive:
    """The day begins in the yard."""
    home = f.blocks[0]
    x, y = home.put(*YARD)
    d = Drive(rng, list(machines), Pose(x, y, home.angle - 1.2), fields=f.scene.shapes)
    drv.road(d, home.put(YARD[0] + 8, YARD[1] - 14), v=1.8)
    drv.stop(d, float(rng.uniform(60, 240)))
    drv.road(d, home.put(YARD[0] + 20, 0.0), v=3.0)
    return d


def _block_of(d: Drive, f: Farm) -> int:
    """The block whose road the machine stands on: the nearest."""
    far = []
    for b in f.blocks:
        mx, my = b.put(300.0, 0.0)
        far.append(math.hypot(mx - d.pose.x, my - d.pose.y))
    return int(np.argmin(far))


ROADS: list[list[tuple[float, float]]] = [
    [],
    [(-300.0, -900.0), (1500.0, -2000.0)],
    [(-650.0, 500.0), (-900.0, 1900.0)],
]
"""From the mouth of the first block's road to the mouth of each block's."""


def _to_block(d: Drive, f: Farm, b: int) -> None:
    """By road from block to block, past the first."""
    here = _block_of(d, f)
    if here == b:
        return
    first, old, new = f.blocks[0], f.blocks[here], f.blocks[b]
    points = [old.put(-110.0, 0.0), *ROADS[here][::-1]]
    if here and b:
        points.append(first.put(-150.0, 0.0))
    points += [*ROADS[b], new.put(-150.0, 0.0), new.put(-90.0, 0.0)]
    drv.road(d, *points)


def come(d: Drive, f: Farm, name: str, machine: int | None = None) -> None:
    """By road to the gate of a field and in; a trailer or bowser stands inside the gate."""
    k = f.number(name)
    b, gx, gy, side = f.gates[k]
    block = f.blocks[b]
    _to_block(d, f, b)
    local_x = _local_x(block, d)
    lead = -14 if local_x < gx else 14
    drv.road(
        d, block.put(gx + lead, 0.0), block.put(gx, 6.0 * side), block.put(gx, gy - 1.0 * side),
        block.put(gx, gy),
    )  # fmt: skip
    drv.enter(d, k, machine)
    drv.ahead(d, 9.0, "travel", 1.8)
    d.fill_at = block.put(gx + 15.0, gy + 10.0 * side)


def _local_x(block: Block, d: Drive) -> float:
    dx, dy = d.pose.x - block.origin[0], d.pose.y - block.origin[1]
    return dx * math.cos(block.angle) + dy * math.sin(block.angle)


def go(d: Drive, f: Farm, name: str) -> None:
    """Out by the gate onto the road."""
    b, gx, gy, side = f.gates[f.number(name)]
    block = f.blocks[b]
    x, y = block.put(gx, gy)
    drv.travel_to(d, Pose(x, y, block.angle - side * math.pi / 2))
    drv.leave(d)
    drv.road(d, block.put(gx, gy - 7.0 * side), block.put(gx - 12, 0.0), block.put(gx - 40, 0.0))


def finish(d: Drive, f: Farm) -> None:
    """Home to the yard."""
    _to_block(d, f, 0)
    home = f.blocks[0]
    drv.road(d, home.put(YARD[0] + 30, 0.0), home.put(YARD[0] + 4, YARD[1] - 6))
    drv.stop(d, float(d.rng.uniform(60, 200)))


PRESETS = {
    "spreader": kit.SPREADER_24, "cultivator": kit.CULTIVATOR_6, "roller": kit.ROLLER_6,
    "drill": kit.DRILL_4, "sprayer": kit.SPRAYER_30, "mower": kit.MOWER_3,
    "wide mower": kit.MOWER_9, "rake": kit.RAKE_7, "baler": kit.BALER, "header": kit.COMBINE_7,
    "wide header": kit.COMBINE_9,
}  # fmt: skip
"""How each implement is driven; its measures come from the farm's own list."""


def rig(told: dict[str, Any], machine: str, implement: str) -> Machine:
    """Machine and implement with the measures of the farm's list."""
    m = next(x for x in told["machine"] if x["name"] == machine)
    i = next(x for x in told["implement"] if x["name"] == implement)
    preset = PRESETS[implement]
    behind = m.get("hitch_m", 0.0) + i.get("behind_m", 0.0)
    return replace(
        preset,
        implement=implement,
        width_m=i["width_m"],
        line_m=i.get("ahead_m", -behind),
        drag_m=i["behind_m"] if i.get("trailed") else 0.0,
        antenna_right_m=m.get("antenna_right_m", 0.0),
        holds="holds" in i or preset.holds,
        sections=i.get("sections"),
    )
