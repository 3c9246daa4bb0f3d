"""Ground put together and taken apart, on a grid on which overlays do not fail."""

from __future__ import annotations

from typing import Any

import shapely

GRID_M = 0.01
"""Coordinates are held to this grid, without which unions can fail (GEOS issue 1170)."""


def tidy(shape: Any) -> Any:
    """Ground made valid and put on the grid."""
    return surfaces(shapely.set_precision(shapely.make_valid(shape), GRID_M))


def within(shape: Any, bounds: Any) -> Any:
    """The ground that two have in common."""
    return surfaces(shapely.intersection(shape, bounds, grid_size=GRID_M))


def without(shape: Any, taken: Any) -> Any:
    """Ground less other ground."""
    return surfaces(shapely.difference(shape, taken, grid_size=GRID_M))


def together(*shapes: Any) -> Any:
    """All ground of several, once."""
    return surfaces(shapely.union_all(shapes, grid_size=GRID_M))


def surfaces(shape: Any) -> Any:
    """Only the ground of a geometry: overlays leave lines and points where edges just touch."""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    parts = shapely.get_parts(shapely.get_parts(shape))
    return shapely.MultiPolygon([p for p in parts if p.geom_type == "Polygon"])


def closed(shape: Any, radius_m: float) -> Any:
    """Ground with gaps narrower than twice a radius closed. [m]"""
    return buffered(buffered(shape, radius_m), -radius_m)


def opened(shape: Any, radius_m: float) -> Any:
    """The parts of some ground that are wider than twice a radius."""
    return within(buffered(buffered(shape, -radius_m), radius_m), shape)


def buffered(shape: Any, distance_m: float) -> Any:
    """Ground grown (shrunk where negative) by a distance, corners kept sharp. [m]"""
    return tidy(shapely.buffer(shape, distance_m, join_style="mitre"))


def filled(shape: Any) -> Any:
    """Ground without its holes."""
    return together(*(shapely.Polygon(r) for r in outlines(shape)))


def outlines(ground: Any) -> list[Any]:
    """The outer ring of each piece of ground."""
    return [part.exterior for part in shapely.get_parts(ground) if part.geom_type == "Polygon"]
