"""The unit of speeds that a file does not state: what the way from fix to fix says of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from oplog.readers._tally import Tally
from oplog.track import Floats, Track, median
from oplog.units import KMH_M_S, KNOT_M_S, MPH_M_S

_UNITS = {"km/h": KMH_M_S, "knots": KNOT_M_S, "miles an hour": MPH_M_S}
_NEAR = 1.06
"""Knots and miles an hour differ by 1.15."""
_FEWEST = 30
_LONGEST_S = 10.0
_SLOWEST_M_S = 1.0
_DEGREE_M = 111_195.0


def in_m_s(track: Track, tally: Tally) -> Track:
    """The track with its speeds in m/s, where they are in another unit by what the fixes moved.

    track: with speeds as the file writes them. Told in the tally where they are converted; left
    as they are where too little moves, or no unit fits.
    """
    if not np.isfinite(track.speed_m_s).any():
        return track
    ratio = _ratio(track)
    for name, unit_m_s in _UNITS.items():
        if 1 / _NEAR < ratio * unit_m_s < _NEAR:
            what = f"speeds are in {name}, by the way from fix to fix"
            tally.add(what, count=int(np.isfinite(track.speed_m_s).sum()), done="converted")
            return replace(track, speed_m_s=track.speed_m_s * unit_m_s)
    return track


def _ratio(track: Track) -> float:
    """What the file gives for a metre a second: the median over steps that move; NaN for few."""
    seconds = np.diff(track.time) / np.timedelta64(1, "s")
    moved_m = np.hypot(
        np.diff(track.lat) * _DEGREE_M,
        np.diff(track.lon) * _DEGREE_M * np.cos(np.radians(track.lat[1:])),
    )
    stated: Floats = (track.speed_m_s[1:] + track.speed_m_s[:-1]) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        by_way = moved_m / seconds
    usable = (seconds > 0) & (seconds <= _LONGEST_S) & (by_way > _SLOWEST_M_S) & (stated > 0)
    if usable.sum() < _FEWEST:
        return np.nan
    return median(stated[usable] / by_way[usable])
