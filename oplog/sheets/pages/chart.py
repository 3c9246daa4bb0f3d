"""What charts share: round marks along an axis, and where a value lies on paper."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from math import ceil, floor, log10

from oplog.records import dataclass


@dataclass(frozen=True)
class Axis:
    """Values from low to high lie between two places on paper. [any; unit]

    by_ratio: equal ratios are equally far apart, rather than equal differences.
    """

    low: float
    high: float
    start: float
    end: float
    by_ratio: bool = False

    def at(self, value: float) -> float:
        """Place of a value, to a tenth of a unit."""
        if self.by_ratio:
            share = log10(value / self.low) / log10(self.high / self.low)
        else:
            share = (value - self.low) / ((self.high - self.low) or 1.0)
        return round(self.start + share * (self.end - self.start), 1)


@dataclass(frozen=True)
class Mark:
    """A place on an axis and its words."""

    at: float
    label: str


def round_values(high: float, most: int = 5) -> list[float]:
    """Round values from 0 to the first at or above `high`."""
    if high <= 0:
        return [0.0, 1.0]
    rough = high / most
    power = 10.0 ** floor(log10(rough))
    step = next(s * power for s in (1, 2, 5, 10) if s * power >= rough)
    return [i * step for i in range(ceil(high / step - 1e-9) + 1)]


def round_ratios(values: Sequence[float]) -> list[float]:
    """1, 2, 5, 10, ... from the last at or below all values to the first at or above."""
    marks = [s * 10.0**p for p in range(-3, 6) for s in (1, 2, 5)]
    low = max(m for m in marks if m <= max(min(values), marks[0]))
    high = min((m for m in marks if m >= max(values) and m > low), default=marks[-1])
    return [m for m in marks if low <= m <= high]


def round_days(first: date, last: date, most: int = 5) -> list[date]:
    """Evenly spread days from first to last, at most so many."""
    length = (last - first).days
    step = next((s for s in (1, 2, 3, 7, 14, 28, 61, 122) if length / s < most), 366)
    return [first + timedelta(days=d) for d in range(0, length + 1, step)]


def short_day(day: date) -> str:
    """A date as "7 Aug"."""
    return f"{day.day} {day:%b}"


def polyline(points: list[tuple[float, float]]) -> str:
    """Path data through points."""
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in points)
