"""Rings of coordinates into sound ground: closed, uncrossed, oriented, or left out by name.

Pure: coordinates in, a geometry and what was found in each ring out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from oplog import geodesy, units
from oplog.records import dataclass

if TYPE_CHECKING:
    from shapely.geometry import MultiPolygon, Polygon

Floats = NDArray[np.float64]
Projection = Callable[[Floats, Floats], tuple[Floats, Floats]]

LEAST_M2 = 1.0
"""A ring that encloses less than this is no ground: a slip of the hand or a doubled point."""
LEAST_DEG2 = 1e-10
"""The same in degrees, where points in a line enclose nothing: geodesics between them do."""
CHANGE = 1e-6
"""Share of the area below which a repair changed nothing worth a word."""


@dataclass(frozen=True, slots=True)
class Finding:
    """ring: "outer ring", "part 2, hole 1", ...; what was wrong; done about it."""

    ring: str
    what: str
    done: str


def ground(
    parts: Sequence[Sequence[Any]], project: Projection | None = None
) -> tuple[Polygon | MultiPolygon | None, list[Finding]]:
    """One field from its polygons, each a list of rings (outer first) of positions.

    project: from the file's coordinates to lon/lat; None where they are lon/lat already.
    Returns the ground in lon/lat (None where nothing is left; exterior rings anticlockwise; one
    across the date line is whole, its longitudes running on past 180), and what was found.
    """
    findings: list[Finding] = []
    pieces: list[Any] = []
    for number, rings in enumerate(parts, 1):
        prefix = f"part {number}, " if len(parts) > 1 else ""
        near = pieces[0].bounds[0] if pieces else None
        if (piece := _part(rings, project, near, prefix, findings)) is not None:
            pieces.append(piece)
    if not pieces:
        return None, findings
    return _oriented(_together(pieces, findings)), findings


def _part(
    rings: Sequence[Any],
    project: Projection | None,
    near_lon: float | None,
    prefix: str,
    findings: list[Finding],
) -> Any:
    """One polygon with its holes taken out; None where its outer ring is no good."""
    if not rings:
        findings.append(Finding(f"{prefix}outer ring", "is missing", "left out"))
        return None
    outer = _face(rings[0], project, near_lon, f"{prefix}outer ring", findings)
    if outer is None:
        return None
    west = outer.bounds[0]
    holes = []
    for number, ring in enumerate(rings[1:], 1):
        name = f"{prefix}hole {number}"
        hole = _face(ring, project, west, name, findings)
        if hole is not None and _belongs(hole, outer, name, findings):
            holes.append(hole)
    left = _without(outer, holes)
    if geodesy.area_m2(left) < LEAST_M2:
        findings.append(Finding(f"{prefix}outer ring", "is all hole", "left out"))
        return None
    return left


def _face(
    ring: Any,
    project: Projection | None,
    near_lon: float | None,
    name: str,
    findings: list[Finding],
) -> Any:
    """The ground inside one ring, or None with the reason in `findings`."""
    from shapely import Polygon

    try:
        points = _positions(ring)
        if not np.array_equal(points[0], points[-1]):
            points = np.vstack([points, points[:1]])
            findings.append(Finding(name, "is not closed", "closed"))
        points = _on_earth(points, project, near_lon)
        face = Polygon(points)
        if not face.is_valid:
            face = _uncrossed(face, name, findings)
        if face.area < LEAST_DEG2 or geodesy.area_m2(face) < LEAST_M2:
            raise ValueError("encloses no ground")
    except ValueError as reason:
        findings.append(Finding(name, str(reason), "left out"))
        return None
    return face


def _positions(ring: Any) -> Floats:
    """(n, 2) coordinates of a ring, heights dropped. Raises: ValueError with what is wrong."""
    try:
        points = np.array([position[:2] for position in ring], dtype=np.float64)
    except (TypeError, ValueError, IndexError, KeyError):
        raise ValueError("holds something other than coordinates") from None
    if points.ndim != 2 or points.shape[1] != 2:
        raise ValueError("holds no points" if not len(points) else "holds incomplete coordinates")
    if not np.isfinite(points).all():
        raise ValueError("holds a coordinate that is no number")
    if (distinct := len(np.unique(points, axis=0))) < 3:
        raise ValueError(f"has too few points ({distinct}, at least 3 are needed)")
    return points


def _on_earth(points: Floats, project: Projection | None, near_lon: float | None) -> Floats:
    """Coordinates in lon/lat, longitudes running on across the date line.

    near_lon: a longitude that the ring is brought near to, by whole turns.
    """
    lon, lat = points[:, 0], points[:, 1]
    if project is not None:
        lon, lat = project(lon, lat)
    wrong = ~((np.abs(lat) <= 90.0) & (np.abs(lon) <= 360.0))
    if wrong.any():
        x, y = points[wrong.argmax()]
        raise ValueError(f"has a point off the earth ({x:.7g}, {y:.7g})")
    turns = -np.cumsum(np.round(np.diff(lon, prepend=lon[0]) / 360.0))
    if turns[-1] != 0:
        raise ValueError("goes round a pole")
    west = (lon + 360.0 * turns).min()
    if near_lon is None:
        turns = turns - np.floor((west + 180.0) / 360.0)
    else:
        turns = turns - np.round((west - near_lon) / 360.0)
    return np.column_stack([lon + 360.0 * turns, lat])


def _uncrossed(face: Any, name: str, findings: list[Finding]) -> Any:
    """A ring that crosses itself, taken as all the ground that it goes round."""
    from shapely import is_valid_reason, make_valid

    reason = is_valid_reason(face)
    mended = _faces_of(make_valid(face, method="structure", keep_collapsed=False))
    before, after = abs(geodesy.area_m2(face)), geodesy.area_m2(mended)
    if after >= LEAST_M2:
        place = reason.partition("[")[2].rstrip("]").split()
        where = f" near {float(place[0]):.5f}, {float(place[1]):.5f}" if len(place) >= 2 else ""
        findings.append(Finding(name, f"crosses or touches itself{where}", _change(before, after)))
    return mended


def _belongs(hole: Any, outer: Any, name: str, findings: list[Finding]) -> bool:
    """Whether a hole takes ground out of the polygon; says so where it does not, or not only."""
    inside, whole = geodesy.area_m2(_faces_of(hole.intersection(outer))), geodesy.area_m2(hole)
    if inside < LEAST_M2:
        findings.append(Finding(name, "lies outside the outer ring", "left out"))
        return False
    if whole - inside > max(CHANGE * whole, LEAST_M2):
        findings.append(Finding(name, "reaches over the outer ring", "cut off at the boundary"))
    return True


def _without(outer: Any, holes: list[Any]) -> Any:
    from shapely import Polygon, union_all

    if not holes:
        return outer
    if outer.geom_type == "Polygon" and all(h.geom_type == "Polygon" for h in holes):
        exact = Polygon(outer.exterior, [*outer.interiors, *(h.exterior for h in holes)])
        if exact.is_valid and not any(h.interiors for h in holes):
            return exact
    return _faces_of(outer.difference(union_all(holes)))


def _together(pieces: list[Any], findings: list[Finding]) -> Any:
    """The parts of a field as one geometry; ground in two of them counts once."""
    from shapely import MultiPolygon, union_all

    if len(pieces) == 1:
        return pieces[0]
    flat = [p for piece in pieces for p in (getattr(piece, "geoms", None) or [piece])]
    if (apart := MultiPolygon(flat)).is_valid:
        return apart
    joined = _faces_of(union_all(pieces))
    before, after = sum(geodesy.area_m2(p) for p in pieces), geodesy.area_m2(joined)
    if before - after > max(CHANGE * before, LEAST_M2):
        findings.append(Finding("its parts", "overlap", _change(before, after)))
    return joined


def _faces_of(geometry: Any) -> Any:
    """The polygons of a geometry, lines and points left out; an empty polygon for none."""
    from shapely import MultiPolygon, Polygon, make_valid

    parts = [
        p
        for g in (getattr(geometry, "geoms", None) or [geometry])
        for p in (getattr(g, "geoms", None) or [g])
        if p.geom_type == "Polygon" and not p.is_empty
    ]
    if not parts:
        return Polygon()
    faces = parts[0] if len(parts) == 1 else MultiPolygon(parts)
    # GEOS may mend a ring into neighbours that share an edge, which is not valid, or into parts of
    # which one is not; a union fails on these.
    return faces if faces.is_valid else make_valid(faces, method="structure", keep_collapsed=False)


def _oriented(geometry: Any) -> Any:
    from shapely import MultiPolygon
    from shapely.geometry.polygon import orient

    if geometry.geom_type == "Polygon":
        return orient(geometry)
    return MultiPolygon([orient(p) for p in geometry.geoms])


def _change(before_m2: float, after_m2: float) -> str:
    if abs(after_m2 - before_m2) <= max(CHANGE * before_m2, LEAST_M2):
        return "repaired, area unchanged"
    before, after = units.hectares(before_m2), units.hectares(after_m2)
    return f"repaired, its area went from {before:.4f} ha to {after:.4f} ha"
