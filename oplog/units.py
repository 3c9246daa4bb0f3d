"""Every conversion and constant of measure. Nothing else multiplies by 3.6 or 10 000.

Inside the program all is SI: metres, square metres, seconds, metres per second. Exact values are
those of the international yard and pound (1959); the acre is the international one. Functions take
floats or arrays and give the same. Rounding and writing out for people is the sheets' work.
"""

from __future__ import annotations

import re
from math import isfinite
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Number = TypeVar("Number", float, "NDArray[np.float64]")

INCH_M = 0.0254
FOOT_M = 0.3048
YARD_M = 0.9144
MILE_M = 1609.344
HECTARE_M2 = 10_000.0
ACRE_M2 = 4046.8564224
"""International acre; the US survey acre, retired in 2022, is 4 ppm larger."""
MINUTE_S = 60.0
HOUR_S = 3600.0
DAY_S = 86_400.0
KMH_M_S = 1000.0 / HOUR_S
MPH_M_S = MILE_M / HOUR_S
KNOT_M_S = 1852.0 / HOUR_S
POUND_KG = 0.45359237
US_GALLON_L = 3.785411784
IMPERIAL_GALLON_L = 4.54609

LENGTHS = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "km": 1000.0,
    "ft": FOOT_M,
    "in": INCH_M,
    "yd": YARD_M,
}
"""Units in which a length can be typed, in metres."""

AMOUNTS = {
    "kg": ("kg", 1.0),
    "g": ("kg", 0.001),
    "t": ("kg", 1000.0),
    "lb": ("kg", POUND_KG),
    "l": ("l", 1.0),
    "ml": ("l", 0.001),
    "m3": ("l", 1000.0),
    "us gal": ("l", US_GALLON_L),
    "imp gal": ("l", IMPERIAL_GALLON_L),
}
"""Units in which an amount can be typed: what they measure (kg or l), and how much of it."""

_SPELLINGS = {
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "'": "ft",
    "foot": "ft",
    "feet": "ft",
    '"': "in",
    "inch": "in",
    "inches": "in",
    "yard": "yd",
    "yards": "yd",
    "tonne": "t",
    "tonnes": "t",
    "lbs": "lb",
    "litre": "l",
    "litres": "l",
    "liter": "l",
    "liters": "l",
    "m³": "m3",
}

_NUMBER = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_ONE = re.compile(rf"\s*([+-]?{_NUMBER})\s*(.*?)\s*")
_FEET_INCHES = re.compile(
    rf"\s*([+-]?)(\d+)\s*(?:ft|feet|foot|')\s*({_NUMBER})\s*(?:in|inch|inches|\")\s*",
    re.IGNORECASE,
)


def hectares(area_m2: Number) -> Number:
    """[m2] -> [ha]"""
    return area_m2 / HECTARE_M2


def acres(area_m2: Number) -> Number:
    """[m2] -> [acre]"""
    return area_m2 / ACRE_M2


def kmh(speed_m_s: Number) -> Number:
    """[m/s] -> [km/h]"""
    return speed_m_s / KMH_M_S


def mph(speed_m_s: Number) -> Number:
    """[m/s] -> [mile/h]"""
    return speed_m_s / MPH_M_S


def hours(time_s: Number) -> Number:
    """[s] -> [h]"""
    return time_s / HOUR_S


def minutes(time_s: Number) -> Number:
    """[s] -> [min]"""
    return time_s / MINUTE_S


def hectares_per_hour(rate_m2_s: Number) -> Number:
    """[m2/s] -> [ha/h]"""
    return rate_m2_s * (HOUR_S / HECTARE_M2)


def acres_per_hour(rate_m2_s: Number) -> Number:
    """[m2/s] -> [acre/h]"""
    return rate_m2_s * (HOUR_S / ACRE_M2)


def feet(length_m: Number) -> Number:
    """[m] -> [ft]"""
    return length_m / FOOT_M


def from_knots(speed_kn: Number) -> Number:
    """[knot] -> [m/s]"""
    return speed_kn * KNOT_M_S


def from_kmh(speed_kmh: Number) -> Number:
    """[km/h] -> [m/s]"""
    return speed_kmh * KMH_M_S


def parse_length(text: str) -> float:
    """A length as people type it: "3m", "0.9 m", "20ft", "7ft 6in", "12in", "2.5" (metres). [m]

    A minus sign is kept: what has no left and right refuses it itself.
    Raises: ValueError, its message for the person who typed it.
    """
    if both := _FEET_INCHES.fullmatch(text):
        length_m = float(both[2]) * FOOT_M + _number(both[3], text) * INCH_M
        return -length_m if both[1] == "-" else length_m
    value, unit = _split(text, "a length", "3m, 0.9m, 20ft or 12in")
    if not unit:
        return value
    if unit not in LENGTHS:
        raise ValueError(
            f"{text!r} is in no unit of length known here: use {_choice(LENGTHS)}, as in 3m or 20ft"
        )
    return value * LENGTHS[unit]


def parse_amount(text: str) -> tuple[float, str]:
    """An amount as people type it: "1200kg", "50 l", "2.5t" -> (2.5, "t"). See AMOUNTS.

    The unit is kept as it was said, in its short spelling.
    Raises: ValueError, its message for the person who typed it.
    """
    value, unit = _split(text, "an amount", "1200kg, 50l or 2.5t")
    if unit in ("gal", "gallon", "gallons"):
        raise ValueError(f"{text!r}: gallons differ, so say 'us gal' or 'imp gal'")
    if unit not in AMOUNTS:
        said = "has no unit" if not unit else "is in no unit of amount known here"
        raise ValueError(f"{text!r} {said}: use {_choice(AMOUNTS)}, as in 1200kg or 50l")
    if value < 0:
        raise ValueError(f"{text!r} is less than nothing")
    return value, unit


def _split(text: str, what: str, such_as: str) -> tuple[float, str]:
    match = _ONE.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is not {what}: write a number and its unit, as in {such_as}")
    unit = " ".join(match[2].casefold().split())
    return _number(match[1], text), _SPELLINGS.get(unit, unit)


def _number(digits: str, text: str) -> float:
    """A comma is a decimal comma, unless it could as well part the thousands."""
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", digits):
        raise ValueError(
            f"{text!r} can be read two ways: write {digits.replace(',', '')} or "
            f"{digits.replace(',', '.')}"
        )
    value = float(digits.replace(",", "."))
    if not isfinite(value):
        raise ValueError(f"{text!r} is not a number that anything can have")
    return value


def _choice(units: dict[str, Any]) -> str:
    names = list(units)
    return f"{', '.join(names[:-1])} or {names[-1]}"
