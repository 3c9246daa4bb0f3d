"""Rates of work against published capacity tables and worked examples, each named."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oplog import units
from oplog.fold import fold
from oplog.query import ask
from oplog.work import rates
from tests import factory

# Estimating Field Capacity of Farm Machines, PM 696 (rev. Apr 2001), Iowa State University
# Extension, main table. (machine, width ft, speed mph, field efficiency, acre/h)
# Anhydrous applicators are listed by knives; a spacing of 30 in is inferred.
PM_696 = [
    ("fertilizer spreader 40 ft", 40.0, 6.0, 0.7, 20.4),
    ("fertilizer spreader 50 ft", 50.0, 6.0, 0.7, 25.5),
    ("manure spreader 10 ft", 10.0, 5.0, 0.63, 3.8),
    ("manure spreader 15 ft", 15.0, 5.0, 0.63, 5.7),
    ("manure spreader 15 ft", 15.0, 6.0, 0.63, 6.9),
    ("manure spreader 20 ft", 20.0, 6.0, 0.63, 9.2),
    ("manure spreader 30 ft", 30.0, 6.0, 0.6, 13.1),
    ("anhydrous applicator 9 knives", 22.5, 5.0, 0.65, 8.9),
    ("anhydrous applicator 13 knives", 32.5, 5.0, 0.65, 12.8),
    ("anhydrous applicator 17 knives", 42.5, 5.0, 0.63, 16.2),
    ("plough 7 x 16 in", 9.3333, 5.0, 0.85, 4.8),
    ("plough 8 x 16 in", 10.6667, 5.0, 0.85, 5.5),
    ("plough 8 x 18 in", 12.0, 5.0, 0.85, 6.2),
    ("plough 10 x 18 in", 15.0, 5.0, 0.83, 7.5),
    ("plough 12 x 18 in", 18.0, 5.0, 0.83, 9.1),
    ("subsoiler 5 x 24 in", 10.0, 5.0, 0.85, 5.2),
    ("subsoiler 5 x 30 in", 12.5, 5.0, 0.85, 6.4),
    ("subsoiler 7 x 24 in", 14.0, 5.0, 0.85, 7.2),
    ("subsoiler 7 x 30 in", 17.5, 5.0, 0.83, 8.8),
    ("chisel plough 11 ft 3 in", 11.25, 5.5, 0.85, 6.4),
    ("chisel plough 13 ft 9 in", 13.75, 5.5, 0.85, 7.8),
    ("chisel plough 16 ft 3 in", 16.25, 5.5, 0.83, 9.0),
]

# Estimating the Field Capacity of Farm Machines, Ag Decision Maker File A3-24, Iowa State
# University Extension, Table 1. Columns as above.
A3_24 = [
    ("fertilizer spreader 60 ft", 60.0, 6.0, 0.68, 29.7),
    ("fertilizer spreader 60 ft", 60.0, 12.0, 0.68, 59.3),
    ("fertilizer spreader 80 ft", 80.0, 6.0, 0.68, 39.6),
    ("fertilizer spreader 80 ft", 80.0, 12.0, 0.68, 79.1),
    ("manure spreader 36 ft", 36.0, 5.0, 0.6, 13.1),
    ("manure spreader 45 ft", 45.0, 5.0, 0.6, 16.4),
    ("anhydrous applicator 15 knives", 37.5, 6.0, 0.65, 17.7),
    ("anhydrous applicator 17 knives", 42.5, 6.0, 0.63, 19.5),
    ("anhydrous applicator 23 knives", 57.5, 5.0, 0.63, 22.0),
    ("plough 6 x 16 in", 8.0, 5.0, 0.85, 4.1),
]

# Farm field equipment: efficiency versus capacity, Progressive Forage (magazine article).
PROGRESSIVE_FORAGE = [
    ("30 ft implement, theoretical", 30.0, 5.0, 1.0, 18.2),
    ("30 ft tillage, not tended", 30.0, 5.0, 0.8, 14.5),
    ("30 ft planter, tended", 30.0, 5.0, 0.6, 10.9),
]

# (source, width m, speed km/h, field efficiency, ha/h, tolerance of its rounding)
METRIC = [
    (
        "Machinery - deciding whether to replace or repair?, GRDC (Australia): air seeder",
        18.33,
        8.0,
        0.8,
        11.73,
        0.005,
    ),
    ("Lesson 6, Field capacity, ICAR-IASRI e-course, Q.1: theoretical", 20, 5, 1.0, 10.0, 1e-9),
    ("Lesson 6, Field capacity, ICAR-IASRI e-course, Q.1: effective", 20, 5, 0.925, 9.25, 1e-9),
    ("Lesson 6, Field capacity, ICAR-IASRI e-course, Q.2: plough", 0.9, 5, 1.0, 0.45, 1e-9),
]

# Work rate with a share of the time spent turning. Field size and biodiversity, NIAB (UK).
# (ha/h without turns, share, ha/h)
TURNING = [(8, 0.5, 4), (8, 0.25, 6), (8, 0.125, 7)]

# Work capacity (h/ha) of a rate (ha/h). Konaka, Farm mechanization planning, Table 241.
HOURS_PER_HECTARE = [(0.083, 12.0, 0.06), (0.009, 111.1, 0.06), (0.126, 7.9, 0.06)]


@pytest.mark.parametrize(
    ("machine", "width_ft", "speed_mph", "efficiency", "acre_h"),
    [*PM_696, *A3_24, *PROGRESSIVE_FORAGE],
)
def test_published_tables_in_us_units(machine, width_ft, speed_mph, efficiency, acre_h):
    rate = rates.effective_field_capacity_m2_s(
        speed_mph * units.MPH_M_S, width_ft * units.FOOT_M, efficiency
    )
    assert units.acres_per_hour(rate) == pytest.approx(acre_h, abs=0.05), machine


@pytest.mark.parametrize(
    ("source", "width_m", "speed_kmh", "efficiency", "ha_h", "tolerance"), METRIC
)
def test_published_metric_examples(source, width_m, speed_kmh, efficiency, ha_h, tolerance):
    rate = rates.effective_field_capacity_m2_s(units.from_kmh(speed_kmh), width_m, efficiency)
    assert units.hectares_per_hour(rate) == pytest.approx(ha_h, abs=tolerance), source


def test_hours_per_hectare_of_a_plough():
    # Machinery cost: explanatory, Western Cape Department of Agriculture, Oct 2012, example 1:
    # 3-furrow plough, 2.6 m, 5 km/h, 85 %: 0.905 h/ha.
    rate = rates.effective_field_capacity_m2_s(units.from_kmh(5.0), 2.6, 0.85)
    assert 1 / units.hectares_per_hour(rate) == pytest.approx(0.905, abs=0.0005)


@pytest.mark.parametrize(("rate_ha_h", "time_h_ha", "tolerance"), HOURS_PER_HECTARE)
def test_hours_per_hectare_and_back(rate_ha_h, time_h_ha, tolerance):
    rate = rates.overall_rate_m2_s(units.HECTARE_M2, units.HOUR_S / rate_ha_h)
    assert units.hectares_per_hour(rate) == pytest.approx(rate_ha_h)
    assert 1 / units.hectares_per_hour(rate) == pytest.approx(time_h_ha, abs=tolerance)


def test_efficiency_from_time_lost():
    # Lesson 6, Field capacity, ICAR-IASRI e-course, Q.1: 45 min of 10 h lost, 92.5 %.
    spot = rates.spot_rate_m2_s(units.from_kmh(5.0), 20.0)
    worked = spot * (10.0 - 0.75) * units.HOUR_S
    overall = rates.overall_rate_m2_s(worked, 10 * units.HOUR_S)
    assert rates.field_efficiency(overall, spot) == pytest.approx(0.925, abs=1e-9)


@pytest.mark.parametrize(("spot_ha_h", "share", "overall_ha_h"), TURNING)
def test_time_spent_turning(spot_ha_h, share, overall_ha_h):
    spot = spot_ha_h / units.hectares_per_hour(1.0)
    overall = rates.overall_rate_m2_s(spot * (1 - share) * 3600, 3600)
    assert units.hectares_per_hour(overall) == pytest.approx(overall_ha_h, abs=1e-9)
    assert rates.field_efficiency(overall, spot) == pytest.approx(1 - share)


def test_a_sprayer_that_stands_and_turns():
    # T. Wolf, "Spraying: race with the calendar is won in pit lane", The Western Producer, Jun
    # 2015: 90 ft at 14 mph, 37 % of field time standing, 15 % of driving time turning: 82 acre/h.
    spot = rates.spot_rate_m2_s(14 * units.MPH_M_S, 90 * units.FOOT_M)
    field_s = 10 * units.HOUR_S
    overall = rates.overall_rate_m2_s(spot * field_s * (1 - 0.37) * (1 - 0.15), field_s)
    assert units.acres_per_hour(overall) == pytest.approx(82, abs=0.5)


def test_long_breaks_are_left_out():
    with_break = rates.overall_rate_m2_s(20_000.0, 3 * 3600.0, break_s=3600.0)
    assert units.hectares_per_hour(with_break) == pytest.approx(1.0)


def test_no_time_gives_no_rate():
    assert np.isnan(rates.overall_rate_m2_s(0.0, 0.0))
    assert np.isnan(rates.overall_rate_m2_s(100.0, 60.0, break_s=60.0))
    assert np.isnan(rates.field_efficiency(1.0, 0.0))
    assert np.isnan(rates.field_efficiency(1.0, np.nan))


def test_arrays_give_arrays():
    rate = rates.overall_rate_m2_s(np.array([10_000.0, 1.0]), np.array([3600.0, 0.0]))
    assert units.hectares_per_hour(rate) == pytest.approx([1.0, np.nan], nan_ok=True)


@given(st.floats(0.1, 10), st.floats(0.5, 50), st.floats(1, 40_000), st.floats(0, 40_000))
def test_without_overlap_efficiency_is_the_share_of_time(speed_m_s, width_m, working_s, other_s):
    """Exact by definition: ground = speed x width x working time."""
    spot = rates.spot_rate_m2_s(speed_m_s, width_m)
    overall = rates.overall_rate_m2_s(spot * working_s, working_s + other_s)
    share = working_s / (working_s + other_s)
    assert rates.field_efficiency(overall, spot) == pytest.approx(share)
    again = rates.effective_field_capacity_m2_s(speed_m_s, width_m, share)
    assert again == pytest.approx(overall)


def test_the_question_gives_the_figures_of_the_formulas():
    """SQL sums the visits of a width by itself: its rates must be these rates."""
    visits = [
        factory.work("2026-04-10", hours=2.0),
        factory.work("2026-04-11", hours=3.0, break_s=600.0, speed_m_s=2.4),
    ]
    farm = fold(
        [factory.opened(), factory.drawn(), factory.tractor(), factory.implement()]
        + [e for v in visits for e in (v, factory.whole_day(v))]
    )
    answer = ask(farm, "output_by_width")
    (row,) = (dict(zip(answer.columns, r, strict=True)) for r in answer.rows)
    worked_m2, working_s, field_s = (
        sum(values)
        for values in zip(*((v.worked_m2, v.working_s, _field_s(v)) for v in visits), strict=True)
    )
    speed_m_s = sum(v.speed_m_s * v.working_s for v in visits) / working_s
    spot = rates.spot_rate_m2_s(speed_m_s, 4.0)
    overall = rates.overall_rate_m2_s(worked_m2, field_s, 600.0)
    assert row["spot_ha_h"] == pytest.approx(units.hectares_per_hour(spot))
    assert row["overall_ha_h"] == pytest.approx(units.hectares_per_hour(overall))
    assert row["overall_ha_h_m"] == pytest.approx(units.hectares_per_hour(overall) / 4.0)
    assert row["field_efficiency"] == pytest.approx(rates.field_efficiency(overall, spot))
    assert row["speed_kmh"] == pytest.approx(units.kmh(speed_m_s))


def _field_s(visit):
    return (visit.ended_at - visit.started_at).total_seconds()
