"""Places as tables spell them: a column each for latitude and longitude, or both in one cell."""

from __future__ import annotations

import re

import numpy as np

from oplog.readers._numbers import number
from oplog.track import Floats

_LONGEST = 100
"""Of a cell that can be a place: what is tried on longer ones would take very long."""
_MINUTES = (re.compile(r"[-+]?\d{4}\.\d+[NS]?"), re.compile(r"[-+]?\d{5}\.\d+[EW]?"))
"""Degrees and minutes in one number, as NMEA 0183 has them: 5218.1234 and 00009.0000."""
_LAST_TWO = re.compile(r"(\d\d\.)")
_SEXAGESIMAL = re.compile(
    r"""(?P<sign>[-+]?)(?P<deg>\d{1,3})[°d:\s]\s*(?P<min>\d{1,2}(?:[.,]\d+)?)['′m:\s]?\s*"""
    r"""(?:(?P<sec>\d{1,2}(?:[.,]\d+)?)\s*(?:"|″|''|s)?)?\s*"""
)
_SIDES = "NSEWnsew"
_SECONDS_BEHIND = re.compile(r"\d\s*[m′'].*\d\s*s", re.DOTALL)
_WKT = re.compile(
    r"(?:SRID=4326\s*;\s*)?POINT\s*(?:Z|M|ZM)?\s*\(\s*(\S+)\s+([^\s)]+)[^()]*\)", re.IGNORECASE
)
_GEOJSON = re.compile(r'\{.*"coordinates"\s*:\s*\[\s*([^\s,\]]+)\s*,\s*([^\s,\]]+)', re.DOTALL)
_BETWEEN = re.compile(r"\s*;\s*|,\s+|\s+|,")


def of_two(lats: list[str], lons: list[str]) -> tuple[Floats, Floats]:
    """Latitudes and longitudes of cells that hold one each."""
    both = [lats, lons]
    if all(p.fullmatch(c) for p, cells in zip(_MINUTES, both, strict=True) for c in cells if c):
        both = [[_LAST_TWO.sub(r" \1", c) for c in cells] for cells in both]
    lat, lon = (np.array([degrees(c) for c in cells]) for cells in both)
    return lat, lon


def of_one(cells: list[str], name: str) -> tuple[Floats, Floats]:
    """Latitudes and longitudes of cells that hold both. name: of their column."""
    pairs = np.array([pair(c, name) for c in cells]).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def with_side(cell: str, side: str) -> str:
    """A number with the letter that another column has for its hemisphere; what is no letter
    there says something else."""
    return cell + side[:1].upper() if side[:1].isalpha() else cell


def pair(cell: str, name: str) -> tuple[float, float]:
    """Latitude and longitude of WKT, of GeoJSON, or of two numbers; NaN where there are none.

    Two bare numbers can be in either order: the name of their column has to tell.
    """
    if len(cell) > 3 * _LONGEST:
        return np.nan, np.nan
    if found := _WKT.fullmatch(cell) or _GEOJSON.match(cell):
        return number(found[2]), number(found[1])
    parts = [p for p in _BETWEEN.split(cell.strip("()[] ")) if p]
    if len(parts) != 2:
        return np.nan, np.nan
    first, second = parts
    plain = re.sub(r"[\W_]", "", name.casefold())
    if re.search("lat.*l[on]", plain) or (_side(first) in "NS" and _side(second) in "EW"):
        return degrees(first), degrees(second)
    if re.search("l[on].*lat", plain) or (_side(first) in "EW" and _side(second) in "NS"):
        return degrees(second), degrees(first)
    return np.nan, np.nan


def _side(text: str) -> str:
    """The hemisphere that a number names; a blank for none."""
    found = re.search(f"^[{_SIDES}]|[{_SIDES}]$", text)
    return found[0].upper() if found else " "


def plain(cell: str) -> str:
    """A number with a point for a decimal comma and a hyphen for a minus sign."""
    cell = cell.replace("\u2212", "-")
    return cell.replace(",", ".") if cell.count(",") == 1 else cell


def degrees(cell: str) -> float:
    """Degrees with a sign, or with N, S, E or W before or behind; minutes and seconds too."""
    if len(cell) > _LONGEST:
        return np.nan
    cell = plain(cell)
    value = number(cell)
    if value == value:
        return value
    before = cell[:1] if cell[:1] in _SIDES else ""
    seconds_end = cell.endswith("s") and _SECONDS_BEHIND.search(cell)
    behind = cell[-1:] if cell[-1:] in _SIDES and not seconds_end else ""
    rest = cell[len(before) : len(cell) - len(behind)].strip()
    value = number(rest.strip(" °"))
    if value != value and (parts := _SEXAGESIMAL.fullmatch(rest)):
        minutes, seconds = (number(plain(parts[g] or "0")) for g in ("min", "sec"))
        if minutes < 60 and seconds < 60:
            value = float(parts["deg"]) + (minutes + seconds / 60) / 60
            value = -value if parts["sign"] == "-" else value
    return -value if (before + behind).upper() in ("S", "W") else value
