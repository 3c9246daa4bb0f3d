"""Fields: ground with a name, a boundary and a time from which that boundary holds."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from oplog.records import dataclass

if TYPE_CHECKING:
    from shapely.geometry import MultiPolygon, Polygon


@dataclass(frozen=True, eq=False)
class Field:
    """One drawing of one field.

    name: unique in a log (compared without regard to case).
    farm: the block of land that the field belongs to.
    boundary: lon/lat WGS 84, holes left out, exterior rings anticlockwise.
    area_m2: geodesic area of the boundary. [m2]
    valid_from: first day on which this drawing holds; None for always.
    event_id: the event that drew it. source: the file or new ground that it was drawn from.
    """

    name: str
    farm: str
    boundary: Polygon | MultiPolygon
    area_m2: float
    valid_from: date | None = None
    event_id: str = ""
    source: str = ""


def on(drawings: list[Field], day: date) -> Field | None:
    """The drawing of a field that holds on a day: the latest that begins on or before it.

    Before the first dated drawing the earliest one holds, so that work done before the field
    was drawn is measured all the same.
    """
    if not drawings:
        return None
    ordered = sorted(drawings, key=lambda f: (f.valid_from or date.min, f.event_id))
    valid = [f for f in ordered if (f.valid_from or date.min) <= day]
    return valid[-1] if valid else ordered[0]
