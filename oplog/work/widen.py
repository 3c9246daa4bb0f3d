"""Widen: shapes grown and shrunk with square corners, and what GEOS gets wrong of it mended."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

HAIR_M = 1e-6
"""To which corners are rounded between two overlays."""
_SQUARE: dict[str, Any] = {"join_style": "mitre", "mitre_limit": 2}


def buffered(shapes: Any, by_m: float, **how: Any) -> Any:
    """Shapes, one or several, grown by so much or, below zero, shrunk. how: as for Shapely.

    GEOS 3.14 at times loses the hole of what closes to a ring, a strip along a hedge that is open
    at the gate, say, and so gives out a whole field. With corners on whole micrometres, or round
    ones, it does not.
    """
    from shapely import buffer

    plain = buffer(shapes, by_m, **how, **_SQUARE)
    wrong = ~_sound(shapes, plain, by_m)
    if not wrong.any():
        return plain
    asked, found = np.atleast_1d(shapes), np.atleast_1d(plain)
    for k in np.flatnonzero(wrong).tolist():
        again = buffer(on_micrometres(asked[k]), by_m, **how, **_SQUARE)
        found[k] = again if _sound(asked[k], again, by_m) else buffer(asked[k], by_m, **how)
    return found if np.ndim(plain) else found[0]


def _sound(shapes: Any, grown: Any, by_m: float) -> NDArray[np.bool_]:
    """Whether shapes grew or shrank by no more than strips along their edges and at their corners
    can make out."""
    from shapely import area, get_num_geometries, length

    by = abs(by_m)
    most_m2 = 2.4 * by * length(shapes) + 16 * by * by * get_num_geometries(shapes)
    return np.asarray(np.abs(area(grown) - area(shapes)) <= most_m2)


def on_micrometres(shape: Any) -> Any:
    """A shape with each corner rounded by itself, sound or not."""
    from shapely import transform

    return transform(shape, lambda at: np.rint(at / HAIR_M) * HAIR_M)
