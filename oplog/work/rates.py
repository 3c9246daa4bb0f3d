"""Rates of work, by their standard definitions. Floats or arrays; missing in, NaN out.

Spot rate is what the standards call theoretical field capacity, overall rate of work what they
call effective field capacity; field efficiency is the one over the other.

References: W. Edwards, "Estimating the Field Capacity of Farm Machines", File A3-24, Iowa State
University Extension; M. Konaka, biosystem engineering text, ch. 4.2.1.3, eq. 4.13-4.15; "Lesson 6,
Field capacity, efficiency", e-course, ICAR-IASRI.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Value = float | NDArray[np.float64]


def spot_rate_m2_s(speed_m_s: Value, width_m: Value) -> Value:
    """Ground covered per time while working, at full width: mean working speed x width. [m2/s]"""
    return speed_m_s * width_m


def overall_rate_m2_s(worked_m2: Value, field_s: Value, break_s: Value = 0.0) -> Value:
    """Ground worked (once) per time in the field, long breaks left out. [m2/s]

    worked_m2: net area. field_s: all time in the field, breaks included; break_s: the breaks.
    NaN where no time is left.
    """
    return _ratio(worked_m2, field_s - break_s)


def field_efficiency(overall_m2_s: Value, spot_m2_s: Value) -> Value:
    """Overall rate over spot rate: the share of full output that was reached. [1]

    Time lost and width lost to overlap both lower it. A share of time alone (working / field
    time) is a different figure. NaN where the spot rate is nothing.
    """
    return _ratio(overall_m2_s, spot_m2_s)


def effective_field_capacity_m2_s(speed_m_s: Value, width_m: Value, efficiency: Value) -> Value:
    """Output to be expected at a speed, a width and a field efficiency. [m2/s]

    efficiency: field efficiency as a share. [1]
    """
    return spot_rate_m2_s(speed_m_s, width_m) * efficiency


def _ratio(above: Value, below: Value) -> Value:
    below = np.asarray(below, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(below > 0, np.asarray(above, dtype=np.float64) / below, np.nan)
    return float(ratio) if ratio.ndim == 0 else ratio
