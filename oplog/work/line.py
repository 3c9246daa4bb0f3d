"""The working line: where the implement is, given where the antenna is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.kit import Rig
from oplog.records import dataclass
from oplog.track import Floats
from oplog.work.motion import Path

CUT_IN_FRONT = ("combining", "harvesting", "chopping")
"""Operations whose working line is carried in front, whether or not it is stated how far."""
BEHIND_M = 4.0
"""How far behind an antenna on the cab a tractor works, where nobody has said: 3 to 5 m mounted,
5 to 8 m trailed (common practice, no source; a guess within 2 m halves what ends are off by)."""


@dataclass(frozen=True, eq=False)
class Line:
    """Centre of the working line, second by second. [m]

    x, y: (m,) its centre; heading: (m,) the direction in which the implement faces, along which
    it is square; unwrapped within a piece. [rad]
    """

    x: Floats
    y: Floats
    heading: Floats

    def part_of(self, chosen: NDArray[np.bool_]) -> Line:
        """The seconds that a mask selects."""
        return Line(self.x[chosen], self.y[chosen], self.heading[chosen])


def working_line(way: Path, rig: Rig) -> Line:
    """The working line of a rig.

    Where it is not stated how far from the antenna it is, a header is taken to be at it, as it
    goes down before the crop, and any other implement 4 m behind. Rigid from the antenna to the
    hitch (or to a header); behind the hitch a trailed one follows the tractrix of its way.
    """
    rigid_m = _ahead_m(rig) + rig.drag_m
    right_m = rig.right_m or 0.0
    x = way.x + rigid_m * np.cos(way.heading) - right_m * np.sin(way.heading)
    y = way.y + rigid_m * np.sin(way.heading) + right_m * np.cos(way.heading)
    return _dragged(x, y, way, rig.drag_m) if rig.drag_m > 0.3 else Line(x, y, way.heading)


def in_front(rig: Rig) -> bool:
    """Whether the rig cuts its way with a header in front. A mower or hoe in front has none; what
    is carried there for nobody knows what work is taken for one."""
    ahead = (rig.line_m or 0.0) > 0
    return rig.operation in CUT_IN_FRONT or (ahead and rig.operation is None)


def _ahead_m(rig: Rig) -> float:
    """How far ahead of the antenna the line is, as stated or as is usual. [m]"""
    if rig.line_m is not None:
        return rig.line_m
    return 0.0 if in_front(rig) else -BEHIND_M


def _dragged(hitch_x: Floats, hitch_y: Floats, way: Path, drag_m: float) -> Line:
    """Tractrix: the implement is always drawn straight towards the hitch."""
    x, y = np.empty_like(hitch_x), np.empty_like(hitch_y)
    last = -1
    tx = ty = 0.0
    heading = way.heading.tolist()
    piece = way.piece.tolist()
    for i, (hx, hy) in enumerate(zip(hitch_x.tolist(), hitch_y.tolist(), strict=True)):
        if piece[i] != last:
            last = piece[i]
            tx = hx - drag_m * float(np.cos(heading[i]))
            ty = hy - drag_m * float(np.sin(heading[i]))
        else:
            dx, dy = hx - tx, hy - ty
            scale = 1.0 - drag_m / max((dx * dx + dy * dy) ** 0.5, 1e-6)
            tx, ty = tx + dx * scale, ty + dy * scale
        x[i], y[i] = tx, ty
    facing = np.unwrap(np.arctan2(hitch_y - y, hitch_x - x))
    return Line(x, y, np.asarray(facing))
