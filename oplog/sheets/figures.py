"""Single figures with their unit, as they stand in a sentence."""

from __future__ import annotations

from oplog import units as u
from oplog.sheets.table import METRIC
from oplog.sheets.text import HOLD, clock

__all__ = ["area", "area_range", "clock", "distance", "rate", "share", "speed", "width"]


def area(area_m2: float | None, system: str = METRIC, *, unit: bool = True) -> str:
    """[m2] -> "6.42 ha" or "15.86 acres"."""
    if area_m2 is None:
        return "?"
    value, name = (u.hectares(area_m2), "ha") if system == METRIC else (u.acres(area_m2), "acres")
    return f"{value:.2f}{HOLD + name if unit else ''}"


def area_range(low_m2: float | None, high_m2: float | None, system: str = METRIC) -> str:
    """The two ends of a range, as "6.35 to 6.49"; "" where none is known."""
    if low_m2 is None or high_m2 is None:
        return ""
    return f"{area(low_m2, system, unit=False)} to {area(high_m2, system, unit=False)}"


def speed(speed_m_s: float | None, system: str = METRIC) -> str:
    """[m/s] -> "8.2 km/h" or "5.1 mph"."""
    if speed_m_s is None:
        return "?"
    return (
        f"{u.kmh(speed_m_s):.1f}{HOLD}km/h"
        if system == METRIC
        else f"{u.mph(speed_m_s):.1f}{HOLD}mph"
    )


def rate(rate_m2_s: float | None, system: str = METRIC) -> str:
    """[m2/s] -> "2.81 ha/h" or "6.94 acres/h"."""
    if rate_m2_s is None or rate_m2_s != rate_m2_s:
        return "?"
    if system == METRIC:
        return f"{u.hectares_per_hour(rate_m2_s):.2f}{HOLD}ha/h"
    return f"{u.acres_per_hour(rate_m2_s):.2f}{HOLD}acres/h"


def width(length_m: float | None, system: str = METRIC) -> str:
    """[m] -> "4 m" or "13.1 ft"."""
    if length_m is None:
        return "width ?"
    value, unit = (length_m, "m") if system == METRIC else (u.feet(length_m), "ft")
    return f"{value:.2f}".rstrip("0").rstrip(".") + f"{HOLD}{unit}"


def distance(length_m: float, system: str = METRIC) -> str:
    """[m] -> "5.2 km" or "3.2 miles"."""
    if system == METRIC:
        return f"{length_m / 1000.0:.1f}{HOLD}km"
    return f"{length_m / u.MILE_M:.1f}{HOLD}miles"


def share(part: float | None, whole: float | None) -> str:
    """A part of a whole as "79 %"; never 100 % or 0 % where it is not quite so."""
    if part is None or not whole:
        return "?"
    percent = 100.0 * part / whole
    if 99.5 <= percent < 99.95:
        return f"{percent:.1f}{HOLD}%"
    if 0.0 < percent < 0.5:
        return "under 1 %"
    return f"{percent:.0f}{HOLD}%"
