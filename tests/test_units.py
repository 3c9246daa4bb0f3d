"""Conversions against published figures, and lengths and amounts as people type them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oplog import units

# (quantity, computed, published, tolerance, publication)
PUBLISHED = [
    (
        "acre in square feet",
        units.ACRE_M2 / units.FOOT_M**2,
        43_560.0,
        1e-6,
        "Common conversions, Texas A&M Natural Resources",
    ),
    (
        "hectare in acres",
        units.acres(units.HECTARE_M2),
        2.471,
        0.0005,
        "Common conversions, Texas A&M Natural Resources",
    ),
    (
        "US gallon in millilitres",
        units.US_GALLON_L * 1000,
        3785.4,
        0.05,
        "Common conversions, Texas A&M Natural Resources",
    ),
    (
        "pound in grams",
        units.POUND_KG * 1000,
        453.6,
        0.05,
        "Common conversions, Texas A&M Natural Resources",
    ),
    (
        "pound per acre in kilograms per hectare",
        units.POUND_KG / units.hectares(units.ACRE_M2),
        1.12,
        0.005,
        "Conversions from U.S. measure to metric, CTAHR, University of Hawaii",
    ),
    (
        "US gallon per acre in litres per hectare",
        units.US_GALLON_L / units.hectares(units.ACRE_M2),
        9.35,
        0.005,
        "Conversions from U.S. measure to metric, CTAHR, University of Hawaii",
    ),
    (
        "square feet of an acre per foot of a mile: the 8.25 of capacity sums in US units",
        units.ACRE_M2 / (units.FOOT_M * units.MILE_M),
        8.25,
        1e-12,
        "Calculating farm machinery field capacities, AEN-73, University of Kentucky, 1991",
    ),
]

# Exact by definition: international yard and pound agreement 1959, national weights and measures
# acts for the gallons, International Hydrographic Conference 1929 for the knot.
DEFINED = [
    ("foot in metres", units.FOOT_M, 0.3048),
    ("inch in feet", units.INCH_M * 12, 0.3048),
    ("yard in feet", units.YARD_M, 3 * 0.3048),
    ("mile in metres", units.MILE_M, 1609.344),
    ("mile in feet", units.MILE_M / units.FOOT_M, 5280.0),
    ("international acre in m2", units.ACRE_M2, 4046.8564224),
    ("acre in square chains of 22 yards", units.ACRE_M2, 10 * (22 * units.YARD_M) ** 2),
    ("US gallon in litres", units.US_GALLON_L, 3.785411784),
    ("US gallon in cubic inches", units.US_GALLON_L / (units.INCH_M**3 * 1000), 231.0),
    ("imperial gallon in litres", units.IMPERIAL_GALLON_L, 4.54609),
    ("knot in km/h", units.kmh(units.from_knots(1.0)), 1.852),
    ("mile per hour in km/h", units.kmh(units.MPH_M_S), 1.609344),
    ("pound in kilograms", units.POUND_KG, 0.45359237),
    ("day in hours", units.hours(units.DAY_S), 24.0),
]

# Travel time for 800 m: Crop protection guide, Agdex 606-1, Alberta Agriculture, p. 11, speed
# chart. (km/h, s, tolerance of its rounding; its 7 km/h line is printed 3 s short.)
SPEED_CHART = [(7, 408, 4), (8, 360, 0.5), (9, 320, 0.5), (10, 288, 0.5), (11, 262, 0.5)]

# Sprayer calibration fact sheet, Oklahoma State University: (feet, seconds, mph).
TIMED_FEET = [(200, 45, 3), (200, 27, 5)]


@pytest.mark.parametrize(("quantity", "computed", "published", "tolerance", "source"), PUBLISHED)
def test_published_conversions(quantity, computed, published, tolerance, source):
    assert computed == pytest.approx(published, abs=tolerance), (quantity, source)


@pytest.mark.parametrize(("quantity", "computed", "defined"), DEFINED)
def test_defined_conversions(quantity, computed, defined):
    assert computed == pytest.approx(defined, rel=1e-14), quantity


@pytest.mark.parametrize(("speed_kmh", "time_s", "tolerance_s"), SPEED_CHART)
def test_speed_chart(speed_kmh, time_s, tolerance_s):
    assert 800 / units.from_kmh(speed_kmh) == pytest.approx(time_s, abs=tolerance_s)


@pytest.mark.parametrize(("distance_ft", "time_s", "speed_mph"), TIMED_FEET)
def test_timed_feet(distance_ft, time_s, speed_mph):
    assert units.mph(distance_ft * units.FOOT_M / time_s) == pytest.approx(speed_mph, abs=0.06)


def test_rates():
    assert units.hectares_per_hour(10_000 / 3600) == pytest.approx(1.0)
    assert units.acres_per_hour(units.ACRE_M2 / 3600) == pytest.approx(1.0)
    assert units.feet(6.096) == pytest.approx(20.0)
    assert units.minutes(90.0) == 1.5


def test_arrays_are_converted_and_missing_stays_missing():
    assert units.hectares(np.array([5_000.0, np.nan])) == pytest.approx([0.5, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("text", "length_m"),
    [
        ("20ft", 6.096),
        ("3m", 3.0),
        ("0.9 m", 0.9),
        ("12in", 0.3048),
        ("2.5", 2.5),
        (" 2,5 m ", 2.5),
        ("-0.5m", -0.5),
        (".5m", 0.5),
        ("24 Metres", 24.0),
        ("7ft 6in", 2.286),
        ("7'6\"", 2.286),
        ("-1ft 6in", -0.4572),
        ("0,900 m", 0.9),
        ("30cm", 0.3),
        ("10 yards", 9.144),
    ],
)
def test_lengths(text, length_m):
    assert units.parse_length(text) == pytest.approx(length_m, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not a length"),
        ("wide", "not a length"),
        ("nan", "not a length"),
        ("inf", "not a length"),
        ("3 furlongs", "no unit of length"),
        ("3kg", "no unit of length"),
        ("1e3m", "no unit of length"),
        ("3m 2m", "no unit of length"),
        ("1,200 m", "write 1200 or 1.200"),
        ("9" * 400, "not a number"),
    ],
)
def test_no_lengths(text, says):
    with pytest.raises(ValueError, match=says):
        units.parse_length(text)


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("1200kg", (1200.0, "kg")),
        ("50 l", (50.0, "l")),
        ("2.5t", (2.5, "t")),
        ("2,5 t", (2.5, "t")),
        ("3 tonnes", (3.0, "t")),
        ("600 Litres", (600.0, "l")),
        ("1 US gal", (1.0, "us gal")),
        ("0kg", (0.0, "kg")),
    ],
)
def test_amounts(text, amount):
    assert units.parse_amount(text) == amount


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("12", "has no unit"),
        ("5 bags", "no unit of amount"),
        ("5 gal", "gallons differ"),
        ("-3kg", "less than nothing"),
        ("lots", "not an amount"),
        ("1,200kg", "write 1200 or 1.200"),
    ],
)
def test_no_amounts(text, says):
    with pytest.raises(ValueError, match=says):
        units.parse_amount(text)


def test_amounts_in_kilograms_and_litres():
    assert units.AMOUNTS["t"] == ("kg", 1000.0)
    assert units.AMOUNTS["imp gal"] == ("l", 4.54609)


@given(
    st.floats(-1e4, 1e4, allow_nan=False).map(lambda x: round(x, 3)),
    st.sampled_from(sorted(units.LENGTHS)),
)
def test_any_length_written_out_is_read_back(value, unit):
    text = f"{value:.3f}{unit}"
    assert units.parse_length(text) == pytest.approx(value * units.LENGTHS[unit], abs=1e-9)


@given(st.text(max_size=12))
def test_any_text_is_a_length_or_says_why_not(text):
    try:
        length_m, complaint = units.parse_length(text), ""
    except ValueError as error:
        length_m, complaint = np.nan, str(error)
    assert np.isfinite(length_m) != (repr(text) in complaint)
