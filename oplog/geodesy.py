"""The shape of the earth: the only user of pyproj.

Lengths and areas are geodesic (Karney, "Algorithms for geodesics", J. Geodesy 87, 2013, as
implemented in PROJ). Work in a field is done in a plane of its own; see `Plane`.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass

Floats = NDArray[np.float64]

_A = 6378137.0
_F = 1 / 298.257223563
_E2 = _F * (2 - _F)
"""WGS 84: NIMA TR8350.2, third edition, table 3.1."""


@cache
def _geod() -> Any:
    from pyproj import Geod

    return Geod(a=_A, f=_F)


def lengths_m(lon: Floats, lat: Floats) -> Floats:
    """Geodesic length from each point to the next: (n,) degrees -> (n-1,) metres."""
    if len(lon) < 2:
        return np.zeros(0)
    _, _, distance = _geod().inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    return np.asarray(distance, dtype=np.float64)


def area_m2(geometry: Any) -> float:
    """Geodesic area of a Polygon or MultiPolygon in lon/lat, holes taken out. [m2]

    Rings are oriented first, as signed areas of same-way rings would add (PROJ gives signed
    areas since 3.x; see the note on `geometry_area_perimeter` in pyproj's documentation).
    """
    from shapely.geometry import MultiPolygon
    from shapely.geometry.polygon import orient

    parts = geometry.geoms if isinstance(geometry, MultiPolygon) else [geometry]
    return float(
        sum(_geod().geometry_area_perimeter(orient(p))[0] for p in parts if not p.is_empty)
    )


@dataclass(frozen=True)
class System:
    """A coordinate system by name ("EPSG:27700", a URN, or WKT), turned into lon/lat WGS 84.

    East is always first, as in files of boundaries, whatever the system's own definition says.
    Raises: ValueError where PROJ does not know the system.
    """

    name: str

    def __post_init__(self) -> None:
        _transformer(self.name)

    def lonlat(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """(n,) coordinates -> (n,) degrees. Raises: ValueError for a point outside the system."""
        lon, lat = _transformer(self.name).transform(x, y)
        lon, lat = np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)
        if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
            raise ValueError("has a point outside its coordinate system")
        return lon, lat

    def accuracy_m(self) -> float | None:
        """Stated accuracy of the transformation, known once `lonlat` was used; None where PROJ
        knows of none. [m]"""
        from pyproj.exceptions import ProjError

        transformer = _transformer(self.name)
        if transformer.accuracy >= 0:
            return float(transformer.accuracy)
        try:
            accuracy = float(transformer.get_last_used_operation().accuracy)
        except ProjError:
            return None
        return accuracy if accuracy >= 0 else None


@cache
def _transformer(name: str) -> Any:
    from pyproj import Transformer
    from pyproj.exceptions import CRSError, ProjError

    try:
        return Transformer.from_crs(name, "OGC:CRS84", always_xy=True)
    except (CRSError, ProjError) as error:
        raise ValueError(f"coordinate system {name[:60]!r} is not known") from error


@dataclass(frozen=True)
class Plane:
    """A metric plane that touches the ellipsoid at one point: x east, y north. [m]

    Second-order local series of the ellipsoid about (lon0, lat0): x = N cos(lat) dlon with N and
    cos(lat) taken at the point's own latitude, y the meridian arc plus the fall of the parallel.
    Within 0.1 ppm of geodesic length and area over 2 km, good to 20 km (tested). Longitudes are
    taken the short way round, so that a field across the date line is whole.
    """

    lon0: float
    lat0: float

    def xy(self, lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
        """(n,) degrees -> (n,) x, (n,) y in metres."""
        lon, lat = np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)
        dlon = lon - self.lon0
        if dlon.size and np.abs(dlon).max() > 180.0:
            dlon = (dlon + 180.0) % 360.0 - 180.0
        dlon = np.radians(dlon)
        phi = np.radians(lat)
        sin, cos = np.sin(phi), np.cos(phi)
        nu = _A / np.sqrt(1 - _E2 * sin**2)
        x = nu * cos * dlon * (1 - (sin * dlon) ** 2 / 6)
        y = self._arc(phi) + nu * cos * sin * dlon**2 / 2
        return x, y

    def lonlat(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Inverse of `xy`, by fixed-point iteration (to below 1e-9 degree); -180 <= lon < 180."""
        dlon, lat = self._from_centre(x, y)
        return (self.lon0 + dlon + 180.0) % 360.0 - 180.0, lat

    def _from_centre(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Degrees east of the plane's centre, and latitude."""
        x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        phi0 = np.radians(self.lat0)
        rho0 = _meridian_radius(phi0)
        phi = phi0 + y / rho0
        dlon = np.zeros_like(x)
        for _ in range(3):
            sin, cos = np.sin(phi), np.cos(phi)
            nu = _A / np.sqrt(1 - _E2 * sin**2)
            dlon = x / (nu * cos * (1 - (sin * dlon) ** 2 / 6))
            miss = y - (self._arc(phi) + nu * cos * sin * dlon**2 / 2)
            phi = phi + miss / _meridian_radius(phi)
        return np.degrees(dlon), np.degrees(phi)

    def project(self, geometry: Any) -> Any:
        """A shapely geometry in lon/lat, in this plane."""
        from shapely import transform

        return transform(geometry, lambda c: np.column_stack(self.xy(c[:, 0], c[:, 1])))

    def unproject(self, geometry: Any) -> Any:
        """A shapely geometry of this plane, in lon/lat.

        Longitudes run on past 180 across the date line, so that the geometry stays whole.
        """
        from shapely import transform

        def turned(points: Floats) -> Floats:
            dlon, lat = self._from_centre(points[:, 0], points[:, 1])
            return np.column_stack([self.lon0 + dlon, lat])

        return transform(geometry, turned)

    def _arc(self, phi: Floats) -> Floats:
        """Meridian arc from lat0, third order about lat0. [m]"""
        phi0 = np.radians(self.lat0)
        d = phi - phi0
        rho = _meridian_radius(phi0)
        slope = 3 * rho * _E2 * np.sin(phi0) * np.cos(phi0) / (1 - _E2 * np.sin(phi0) ** 2)
        bend = 3 * rho * _E2 * np.cos(2 * phi0) / (1 - _E2 * np.sin(phi0) ** 2)
        return np.asarray(d * (rho + d * (slope / 2 + d * (bend / 6))), dtype=np.float64)


def plane_of(geometry: Any) -> Plane:
    """The plane of a place: centred on the middle of a geometry's bounds."""
    west, south, east, north = geometry.bounds
    return Plane((west + east) / 2, (south + north) / 2)


def _meridian_radius(phi: Any) -> Any:
    w = 1 - _E2 * np.sin(phi) ** 2
    return _A * (1 - _E2) / (w * np.sqrt(w))
