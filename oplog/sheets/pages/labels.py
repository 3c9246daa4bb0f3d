"""Words on a picture, placed so that none lies on another or over the edge."""

from __future__ import annotations

from collections.abc import Sequence

from oplog.records import dataclass

CHARACTER = 0.62
"""Width of a character over the size of its letters: generous, for any plain typeface."""


@dataclass(frozen=True)
class Box:
    """A rectangle that is taken. [unit]"""

    left: float
    top: float
    right: float
    bottom: float

    def touches(self, other: Box) -> bool:
        """Whether two rectangles share any paper."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(frozen=True)
class Label:
    """A text with the left end of its baseline, and the box that it fills. [unit]"""

    text: str
    x: float
    y: float
    box: Box


def text_width(text: str, size: float) -> float:
    """Width that a text may take up. [unit]"""
    return len(text) * size * CHARACTER


def shorten(text: str, longest: int) -> str:
    """A name short enough for a picture; the full one stands in the words beside it."""
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def place(
    text: str, x: float, y: float, taken: Sequence[Box], paper: Box, size: float = 10.0
) -> Label | None:
    """A text near a point, clear of what is taken; None where there is no room."""
    wide, high = text_width(text, size), size * 1.15
    for reach in (6.0, 12.0, 20.0, 30.0, 44.0):
        for dx, dy in ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1)):
            left = x + dx * reach - (wide if dx < 0 else wide / 2 if dx == 0 else 0.0)
            top = y + dy * reach - (high if dy < 0 else high / 2 if dy == 0 else 0.0)
            box = Box(left, top, left + wide, top + high)
            inside = (
                box.left >= paper.left
                and box.right <= paper.right
                and box.top >= paper.top
                and box.bottom <= paper.bottom
            )
            if inside and not any(box.touches(t) for t in taken):
                return Label(text, round(left, 1), round(top + size * 0.9, 1), box)
    return None
