"""Ways of working: shapes of field, kinds of machine, headlands, patterns."""

from __future__ import annotations

from tests.simulator import machines as kit
from tests.simulator import shapes
from tests.simulator.plan import Style
from tests.simulator.scenarios.common import (
    Rng,
    any_receiver,
    one_field,
    scenario,
    varied,
)
from tests.simulator.scene import (
    Scenario,
)


@scenario
def drill_rectangle(name: str, rng: Rng) -> Scenario:
    """A mounted drill, headland last, filling at the gate."""
    shape = shapes.rectangle(rng, float(rng.uniform(4, 8)))
    style = Style(laps=3, first=False, stop_chance=0.02)
    return one_field(rng, shape, varied(rng, kit.DRILL_4), style, any_receiver(rng), name)


@scenario
def cultivator_wedge(name: str, rng: Rng) -> Scenario:
    """A trailed cultivator in a wedge, headland first, skipping bouts for wide turns."""
    shape = shapes.wedge(rng, float(rng.uniform(4, 7)))
    style = Style(laps=3, pattern="skip")
    return one_field(rng, shape, varied(rng, kit.CULTIVATOR_6), style, any_receiver(rng), name)


@scenario
def combine_l(name: str, rng: Rng) -> Scenario:
    """A combine with its header ahead of the antenna, opening corners with slow strokes."""
    shape = shapes.ell(rng, float(rng.uniform(6, 9)))
    style = Style(laps=3, corners="zigzag", pattern="lands", unload_stand=True, stop_chance=0.02)
    return one_field(rng, shape, varied(rng, kit.COMBINE_7), style, any_receiver(rng, "rtk"), name)


@scenario
def sprayer_30(name: str, rng: Rng) -> Scenario:
    """A trailed 30 m boom on tramlines."""
    shape = shapes.irregular(rng, float(rng.uniform(11, 18)))
    style = Style(laps=1, stop_chance=0.01, cover=0.9)
    return one_field(rng, shape, varied(rng, kit.SPRAYER_30), style, any_receiver(rng), name)


@scenario
def roller_fast(name: str, rng: Rng) -> Scenario:
    """A roller that travels as fast as it works."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    style = Style(laps=2, first=bool(rng.integers(0, 2)))
    return one_field(rng, shape, varied(rng, kit.ROLLER_12), style, any_receiver(rng), name)


@scenario
def drill_part_worked(name: str, rng: Rng) -> Scenario:
    """Left at nightfall: some of the bouts only."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    style = Style(laps=2, first=False, share=float(rng.uniform(0.3, 0.65)), lap_share=0.0)
    return one_field(rng, shape, varied(rng, kit.DRILL_3), style, any_receiver(rng), name)


@scenario
def curved_drill(name: str, rng: Rng) -> Scenario:
    """Bouts that follow a curved edge."""
    shape = shapes.bowed(rng, float(rng.uniform(5, 9)))
    style = Style(laps=3, along="curved", first=bool(rng.integers(0, 2)))
    return one_field(rng, shape, varied(rng, kit.DRILL_6_TRAILED), style, any_receiver(rng), name)


@scenario
def pond_cultivator(name: str, rng: Rng) -> Scenario:
    """A field with a pond."""
    shape = shapes.pond(rng, float(rng.uniform(6, 10)))
    style = Style(laps=2)
    return one_field(rng, shape, varied(rng, kit.CULTIVATOR_3), style, any_receiver(rng), name)


@scenario
def combine_u(name: str, rng: Rng) -> Scenario:
    """A combine in a U, worked in lands, emptied standing in the field."""
    shape = shapes.you(rng, float(rng.uniform(8, 11)))
    style = Style(laps=2, corners="shunt", pattern="lands", unload_stand=True)
    return one_field(rng, shape, varied(rng, kit.COMBINE_9), style, any_receiver(rng), name)


@scenario
def corner_2ha(name: str, rng: Rng) -> Scenario:
    """A small corner, drilled headland first with three-point turns."""
    shape = shapes.corner(rng, float(rng.uniform(1.6, 2.3)))
    style = Style(laps=2, corners="shunt")
    return one_field(rng, shape, varied(rng, kit.DRILL_3), style, any_receiver(rng), name)


@scenario
def margin_left(name: str, rng: Rng) -> Scenario:
    """A margin left unworked all round on purpose."""
    shape = shapes.irregular(rng, float(rng.uniform(4, 8)))
    style = Style(laps=2, margin_m=float(rng.choice([4.0, 6.0])), first=bool(rng.integers(0, 2)))
    return one_field(rng, shape, varied(rng, kit.DRILL_4), style, any_receiver(rng), name)


@scenario
def plough(name: str, rng: Rng) -> Scenario:
    """A narrow plough, no headland until the end, reversing at bout ends."""
    shape = shapes.rectangle(rng, float(rng.uniform(1.8, 3)))
    style = Style(laps=4, first=False)
    return one_field(rng, shape, varied(rng, kit.PLOUGH_5), style, any_receiver(rng), name)


@scenario
def roller_12_kmh(name: str, rng: Rng) -> Scenario:
    """A 6 m roller working and travelling at the same 12 km/h, with travel between blocks."""
    shape = shapes.ell(rng, float(rng.uniform(5, 8)))
    style = Style(laps=2, first=False, pattern="skip")
    return one_field(rng, shape, varied(rng, kit.ROLLER_6), style, any_receiver(rng), name)


@scenario
def mower_half_overlapped(name: str, rng: Rng) -> Scenario:
    """A narrow mower with some bouts half overlapped."""
    shape = shapes.wedge(rng, float(rng.uniform(2, 4)))
    style = Style(laps=2, half_overlaps=0.2)
    return one_field(rng, shape, varied(rng, kit.MOWER_3), style, any_receiver(rng), name)


@scenario
def combine_spiral(name: str, rng: Rng) -> Scenario:
    """Combining round and round with shunted corners."""
    shape = shapes.rectangle(rng, float(rng.uniform(3, 5)))
    style = Style(along="spiral", corners="shunt", stop_chance=0.03)
    return one_field(rng, shape, varied(rng, kit.COMBINE_7), style, any_receiver(rng), name)


@scenario
def unload_on_the_move(name: str, rng: Rng) -> Scenario:
    """A combine emptied into a trailer alongside: slower bouts and no stops."""
    shape = shapes.wedge(rng, float(rng.uniform(5, 9)))
    style = Style(laps=2, corners="shunt", pattern="alternate", unload_moving=True)
    return one_field(rng, shape, varied(rng, kit.COMBINE_7), style, any_receiver(rng), name)


@scenario
def headland_only(name: str, rng: Rng) -> Scenario:
    """Only the headland was worked."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    style = Style(laps=3, share=0.0)
    return one_field(rng, shape, varied(rng, kit.CULTIVATOR_3), style, any_receiver(rng), name)


@scenario
def spreader(name: str, rng: Rng) -> Scenario:
    """A wide spreader with the headland last."""
    shape = shapes.rectangle(rng, float(rng.uniform(9, 14)))
    style = Style(laps=1, first=False, cover=0.5)
    return one_field(rng, shape, varied(rng, kit.SPREADER_24), style, any_receiver(rng), name)


@scenario
def baler(name: str, rng: Rng) -> Scenario:
    """Baling swaths: a trailed machine, bouts by rows, standing to tie."""
    shape = shapes.irregular(rng, float(rng.uniform(3, 6)))
    style = Style(laps=2, stop_chance=0.06)
    return one_field(rng, shape, varied(rng, kit.BALER), style, any_receiver(rng), name)


@scenario
def skip_sbas(name: str, rng: Rng) -> Scenario:
    """Every second bout out, the others back."""
    shape = shapes.rectangle(rng, float(rng.uniform(5, 9)))
    style = Style(laps=2, pattern="alternate")
    return one_field(rng, shape, varied(rng, kit.ROLLER_6), style, any_receiver(rng, "sbas"), name)


@scenario
def part_worked_small(name: str, rng: Rng) -> Scenario:
    """A few bouts only."""
    shape = shapes.rectangle(rng, float(rng.uniform(3, 5)))
    style = Style(laps=2, share=float(rng.uniform(0.1, 0.25)), lap_share=0.0)
    return one_field(rng, shape, varied(rng, kit.DRILL_3), style, any_receiver(rng), name)
