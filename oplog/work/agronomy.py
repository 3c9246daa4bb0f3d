"""Seed, spray, fertiliser and the capacity of machines: the standard formulas. Pure.

Rates per hectare are in kg/ha or l/ha, everything else is SI. Hectares enter by their definition
(oplog.units), not by a number written here.

References: Teagasc, "Spring cereals: sowing" (seed rates); PGG Wrightson Grain, "Cereal seed
sowing rates"; "Calibration of boom spray equipment", chemical accreditation course (Australia);
Edwards and Hanna, "Estimating Field Capacity of Farm Machines", PM 696, Iowa State University
Extension (capacities, typical speeds and efficiencies); Konaka, farm mechanization planning,
tables 241 and 311 (daily capacity).
"""

from __future__ import annotations

from oplog.records import dataclass
from oplog.units import HECTARE_M2, HOUR_S, KMH_M_S, MINUTE_S, MPH_M_S

KINDS = {
    "seed": ("kg",),
    "spray": ("l", "kg"),
    "fertiliser": ("kg", "l"),
    "fuel": ("l",),
    "water": ("l",),
}
"""Kinds of input, and what each is measured in (see units.AMOUNTS); the usual one first."""

OPERATIONS_OF = {
    "seed": ("drilling", "planting"),
    "spray": ("spraying",),
    "fertiliser": ("spreading", "spraying"),
    "water": ("spraying",),
    "fuel": (),
}
"""Operations that an input can go out with; none named: with any."""


def seeds_per_m2(plants_m2: float, establishment: float) -> float:
    """Seeds to sow for plants to stand. establishment: share that comes up, 0 to 1. [1/m2]"""
    return plants_m2 / establishment


def seed_rate_kg_ha(plants_m2: float, thousand_grain_g: float, establishment: float) -> float:
    """Seed rate from the plants wanted. [kg/ha]

    thousand_grain_g: weight of a thousand grains. [g] establishment: share that comes up
    (germination and field losses together), 0 to 1.
    """
    grain_kg = thousand_grain_g / 1000.0 / 1000.0
    return seeds_per_m2(plants_m2, establishment) * grain_kg * HECTARE_M2


def amount_over(rate_per_ha: float, area_m2: float) -> float:
    """Amount that a rate puts on an area, in the rate's unit. Turning a drill's wheel, say."""
    return rate_per_ha * area_m2 / HECTARE_M2


def rate_over(amount: float, area_m2: float) -> float | None:
    """Amount per hectare; None over no area."""
    return amount * HECTARE_M2 / area_m2 if area_m2 > 0 else None


def wheel_turns(
    area_m2: float, width_m: float, circumference_m: float, ratio: float = 1.0
) -> float:
    """Turns of a drive wheel (or of a handle geared to it) that stand for an area."""
    return area_m2 * ratio / (width_m * circumference_m)


def area_per_load_m2(load: float, rate_per_ha: float) -> float:
    """Ground that one tank or hopper does. [m2]"""
    return load / rate_per_ha * HECTARE_M2


def metres_per_load(load: float, rate_per_ha: float, width_m: float) -> float:
    """Way that one tank or hopper lasts at a working width. [m]"""
    return area_per_load_m2(load, rate_per_ha) / width_m


def flow_l_min(rate_l_ha: float, speed_m_s: float, width_m: float) -> float:
    """Litres a minute through what covers a width: one nozzle's spacing, or the whole boom."""
    return rate_l_ha * speed_m_s * width_m / HECTARE_M2 * MINUTE_S


def rate_from_flow_l_ha(l_min: float, speed_m_s: float, width_m: float) -> float:
    """The inverse of `flow_l_min`. [l/ha]"""
    return l_min / MINUTE_S / (speed_m_s * width_m) * HECTARE_M2


def speed_to_match_m_s(rate_m2_s: float, width_m: float, efficiency: float) -> float:
    """Speed at which a width reaches a rate of work at a field efficiency: C = s w e solved for
    the speed. [m/s]"""
    return rate_m2_s / (width_m * efficiency)


def daily_capacity_m2(rate_m2_s: float, day_s: float, share: float) -> float:
    """Ground done in a day: rate of work x hours x share of them that is work in the field."""
    return rate_m2_s * day_s * share


def fuel_per_ha(l_per_h: float, rate_m2_s: float) -> float:
    """Litres per hectare of an engine that burns so much an hour at a rate of work. [l/ha]"""
    return l_per_h / HOUR_S / rate_m2_s * HECTARE_M2


@dataclass(frozen=True)
class Typical:
    """Published field efficiency (0 to 1) and speed of a kind of machine. Spread is wide."""

    efficiency: float
    speed_m_s: float
    of: str


SOURCE = "PM 696 and A3-24, Iowa State University Extension"
TYPICAL = {
    "plough": Typical(0.85, 5 * MPH_M_S, "mouldboard plough"),
    "cultivator": Typical(0.85, 5.5 * MPH_M_S, "chisel plough"),
    "spreader": Typical(0.68, 6 * MPH_M_S, "fertiliser spreader"),
}
"""By kind of implement, as far as a publication that could be read gives them (see SOURCE)."""


@dataclass(frozen=True)
class Span:
    """Lowest and highest field efficiency (0 to 1) and speed of a kind of machine. [1, m/s]"""

    efficiency: tuple[float, float]
    speed_m_s: tuple[float, float]

    def rates_m2_s(self, width_m: float) -> tuple[float, float]:
        """Rate of work at a width, slowest and least efficient to fastest and most. [m2/s]"""
        low, high = (
            width_m * speed * share
            for speed, share in zip(self.speed_m_s, self.efficiency, strict=True)
        )
        return low, high


HANDBOOK = "ASABE D497, from memory"
"""The standard could not be read: its ranges are as remembered, and are said to be."""

RANGES = {
    "drill": Span((0.55, 0.80), (6.5 * KMH_M_S, 11.0 * KMH_M_S)),
    "roller": Span((0.70, 0.90), (7.0 * KMH_M_S, 12.0 * KMH_M_S)),
    "cultivator": Span((0.70, 0.90), (8.0 * KMH_M_S, 13.0 * KMH_M_S)),
    "sprayer": Span((0.50, 0.80), (5.0 * KMH_M_S, 11.5 * KMH_M_S)),
    "header": Span((0.65, 0.80), (3.0 * KMH_M_S, 6.5 * KMH_M_S)),
    "plough": Span((0.70, 0.90), (5.0 * KMH_M_S, 10.0 * KMH_M_S)),
    "planter": Span((0.50, 0.75), (6.5 * KMH_M_S, 11.0 * KMH_M_S)),
}
"""Handbook ranges by kind of implement (see HANDBOOK): for looking at, never for reckoning."""
