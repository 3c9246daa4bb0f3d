"""Formulas of seed, spray, loads and capacity against published figures, named beside each."""

from __future__ import annotations

import pytest

from oplog import units
from oplog.work import agronomy as ag
from oplog.work.rates import effective_field_capacity_m2_s

ACRE_HA = units.ACRE_M2 / units.HECTARE_M2


@pytest.mark.parametrize(
    ("plants_m2", "grain_g", "establishment", "kg_ha"),
    [
        # Teagasc (Ireland), "Spring cereals: sowing".
        (280, 50.9, 0.85, 168),
        # Agriland (Ireland), "What factors affect seeding rate".
        (300, 51.9, 0.85, 183),
        # Agriland (UK), "Getting the right seed rate in your spring cereals".
        (300, 50, 0.85, 176),
        # PGG Wrightson Grain (New Zealand), "Cereal seed sowing rates", wheat table: germination
        # 95 %, establishment 90 %.
        (100, 45, 0.855, 53),
        (125, 45, 0.855, 66),
        (175, 45, 0.855, 92),
        (200, 45, 0.855, 105),
        (250, 45, 0.855, 132),
        (300, 45, 0.855, 158),
        (125, 50, 0.855, 73),
        (175, 50, 0.855, 102),
        (200, 50, 0.855, 117),
        (250, 50, 0.855, 146),
        (300, 50, 0.855, 175),
        (100, 55, 0.855, 64),
        (125, 55, 0.855, 80),
        (175, 55, 0.855, 113),
        (200, 55, 0.855, 129),
        (250, 55, 0.855, 161),
        (300, 55, 0.855, 193),
    ],
)
def test_seed_rates(plants_m2: float, grain_g: float, establishment: float, kg_ha: float) -> None:
    assert ag.seed_rate_kg_ha(plants_m2, grain_g, establishment) == pytest.approx(kg_ha, abs=0.51)


@pytest.mark.parametrize(
    ("plants_m2", "establishment", "seeds"),
    [
        # Teagasc figures in Agriland (Ireland), "Drilling of winter cereals".
        (280, 0.80, 350),
        # The same, "Get your seed rate right".
        (270, 0.85, 318),
        # Anglia Farmer, Sep 2020, p. 18.
        (238, 0.85, 280),
    ],
)
def test_seeds_per_square_metre(plants_m2: float, establishment: float, seeds: float) -> None:
    assert ag.seeds_per_m2(plants_m2, establishment) == pytest.approx(seeds, abs=0.5)


@pytest.mark.parametrize(
    ("area_m2", "ratio", "width_m", "circumference_m", "turns"),
    [
        # Air seeder operator manual, p. 39, ground drive calibration, examples 1 and 2.
        (500, 3.457, 13.75, 4.3, 29.2),
        (500, 3.198, 8, 3.864, 51.7),
    ],
)
def test_wheel_turns(
    area_m2: float, ratio: float, width_m: float, circumference_m: float, turns: float
) -> None:
    found = ag.wheel_turns(area_m2, width_m, circumference_m, ratio)
    assert found == pytest.approx(turns, abs=0.05)


def test_a_row_of_a_drill_over_20_turns() -> None:
    """soilhealthlabs.com, "How to calibrate a grain drill", part 5: 8 ft wheel, 7.5 in row."""
    circumference_m, row_m = 8 * units.FOOT_M, 0.625 * units.FOOT_M
    area_m2 = 100 * units.FOOT_M**2
    assert ag.wheel_turns(area_m2, row_m, circumference_m) == pytest.approx(20)


def test_flow_of_a_boom() -> None:
    """Boom/air sprayer user manual, p. 21: 8 km/h, 12 m, 100 l/ha: 16 l/min."""
    assert ag.flow_l_min(100, units.from_kmh(8), 12) == pytest.approx(16)


def test_flow_of_a_nozzle() -> None:
    """Alberta Agriculture, Agdex 606-1, p. 11: 40 l/acre at 9 km/h, 0.5 m: within 0.71 to 0.79."""
    assert 0.71 < ag.flow_l_min(40 / ACRE_HA, units.from_kmh(9), 0.5) < 0.79


def test_rate_from_flow() -> None:
    """ "Calibration of boom spray equipment", chemical accreditation course (Australia): 24 l/min,
    200 m in a minute, 12 m: 100 l/ha."""
    assert ag.rate_from_flow_l_ha(24, 200 / units.MINUTE_S, 12) == pytest.approx(100)


def test_us_nozzle_formula() -> None:
    """G1270A, MU Extension: GPM = GPA x MPH x W / 5940."""
    l_ha = 10 * units.US_GALLON_L / ACRE_HA
    found = ag.flow_l_min(l_ha, 6 * units.MPH_M_S, 20 * units.INCH_M) / units.US_GALLON_L
    assert found == pytest.approx(10 * 6 * 20 / 5940, rel=1e-4)


def test_ground_per_tank() -> None:
    """Alberta Agriculture, Agdex 606-1, p. 11: 2000 l at 40 l/acre: 50 acres. The Western
    Producer, Jun 2015: 800 gal at 10 gal/acre: 80 acres."""
    assert ag.area_per_load_m2(2000, 40 / ACRE_HA) == pytest.approx(50 * units.ACRE_M2)
    assert ag.area_per_load_m2(800, 10 / ACRE_HA) == pytest.approx(80 * units.ACRE_M2)


def test_way_per_load_in_the_head() -> None:
    """1000 kg at 200 kg/ha are 5 ha; 4 m wide, 12.5 km."""
    assert ag.metres_per_load(1000, 200, 4) == pytest.approx(12_500)


@pytest.mark.parametrize(
    ("ha_h", "hours", "share", "ha_day", "tolerance"),
    [
        # Konaka, farm mechanization planning, table 241.
        (0.083, 8, 0.75, 0.5, 0.005),
        (0.009, 8, 0.80, 0.06, 0.005),
        # The same, table 311.
        (0.266, 10.0, 0.72, 1.92, 0.006),
        (1.132, 10.5, 0.70, 8.32, 0.006),
        (1.8, 11.0, 0.80, 15.84, 0.006),
        (0.052, 8.5, 0.65, 0.29, 0.006),
    ],
)
def test_daily_capacity(
    ha_h: float, hours: float, share: float, ha_day: float, tolerance: float
) -> None:
    rate = ha_h / units.hectares_per_hour(1.0)
    found = units.hectares(ag.daily_capacity_m2(rate, hours * units.HOUR_S, share))
    assert found == pytest.approx(ha_day, abs=tolerance)


def test_fuel_a_hectare() -> None:
    """ "Lesson 6, Field capacity, efficiency", ICAR-IASRI e-course: 6 l/h at 0.45 ha/h: 13.33."""
    assert ag.fuel_per_ha(6, 0.45 / units.hectares_per_hour(1.0)) == pytest.approx(13.33, abs=0.005)


def test_speed_to_match_undoes_the_capacity() -> None:
    """The narrower header of common practice: 25 ft at about 4.9 km/h for 30 ft at 4.1."""
    rate = effective_field_capacity_m2_s(units.from_kmh(4.1), 30 * units.FOOT_M, 0.7)
    found = units.kmh(ag.speed_to_match_m_s(float(rate), 25 * units.FOOT_M, 0.7))
    assert found == pytest.approx(4.92, abs=0.01)


@pytest.mark.parametrize(
    ("kind", "width_ft", "acre_h"),
    [
        # W. Edwards, "Estimating the Field Capacity of Farm Machines", A3-24, Iowa State.
        ("spreader", 60, 29.7),
        ("plough", 8, 4.1),
        # "Estimating Field Capacity of Farm Machines", PM 696, Iowa State: chisel plough 11 ft 3.
        ("cultivator", 11.25, 6.4),
    ],
)
def test_typical_figures_give_the_published_capacity(
    kind: str, width_ft: float, acre_h: float
) -> None:
    usual = ag.TYPICAL[kind]
    rate = effective_field_capacity_m2_s(usual.speed_m_s, width_ft * units.FOOT_M, usual.efficiency)
    assert units.acres_per_hour(float(rate)) == pytest.approx(acre_h, abs=0.051)


@pytest.mark.parametrize(
    ("kind", "efficiency", "speed_kmh"),
    [
        # ASABE D497, from memory: the standard is not free to read. Ranges, not checks.
        ("drill", (0.55, 0.80), (6.5, 11.0)),
        ("sprayer", (0.50, 0.80), (5.0, 11.5)),
        ("header", (0.65, 0.80), (3.0, 6.5)),
    ],
)
def test_handbook_ranges_are_as_remembered_and_said_to_be(
    kind: str, efficiency: tuple[float, float], speed_kmh: tuple[float, float]
) -> None:
    low, high = ag.RANGES[kind].rates_m2_s(10.0)
    assert units.hectares_per_hour(low) == pytest.approx(speed_kmh[0] * efficiency[0])
    assert units.hectares_per_hour(high) == pytest.approx(speed_kmh[1] * efficiency[1])
    assert "from memory" in ag.HANDBOOK


@pytest.mark.parametrize("kind", sorted(set(ag.TYPICAL) & set(ag.RANGES)))
def test_what_is_published_as_typical_lies_within_the_handbook_range(kind: str) -> None:
    usual = ag.TYPICAL[kind]
    low, high = ag.RANGES[kind].rates_m2_s(1.0)
    assert low <= usual.efficiency * usual.speed_m_s <= high
