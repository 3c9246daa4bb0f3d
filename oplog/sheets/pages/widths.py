"""Output against working width: what was reached, what the speed would give, what is published."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from oplog.fold import Farm
from oplog.records import dataclass
from oplog.sheets import figures as fig
from oplog.sheets.pages.chart import Axis, Mark, round_ratios
from oplog.sheets.pages.labels import Box, Label, place, text_width
from oplog.sheets.table import METRIC
from oplog.units import HECTARE_M2, HOUR_S, acres, feet, from_kmh, hectares_per_hour
from oplog.work.agronomy import HANDBOOK, RANGES, SOURCE, TYPICAL

WIDTH, HEIGHT = 340.0, 220.0
LEFT, RIGHT, TOP, BOTTOM = 34.0, 326.0, 18.0, 190.0
SPEEDS_KMH = (5.0, 10.0, 15.0)
"""Lines of theory: speed x width, nothing lost."""


@dataclass(frozen=True)
class Point:
    """One machine, implement and width. overall, spot: heights; published: of the published
    typical speed and efficiency, None where there is none; span: low and high of the
    handbook's range, cut to the chart. [unit]"""

    number: int
    x: float
    overall: float
    spot: float
    published: float | None
    span: tuple[float, float] | None
    label: Label | None


@dataclass(frozen=True)
class Theory:
    """A line of one speed. [unit]"""

    x1: float
    y1: float
    x2: float
    y2: float
    label: Label | None


@dataclass(frozen=True)
class WidthChart:
    """Paths and words of the chart, and its rows in words. [unit]"""

    width: float
    height: float
    widths: tuple[Mark, ...]
    rates: tuple[Mark, ...]
    units: tuple[str, str]
    theory: tuple[Theory, ...]
    points: tuple[Point, ...]
    rows: tuple[Mapping[str, Any], ...]
    source: str
    handbook: str
    told: str


def width_chart(rows: Sequence[Mapping[str, Any]], farm: Farm, system: str) -> WidthChart | None:
    """The chart of rows of `output_by_width`; None where there are none."""
    shown = [r for r in rows if r["overall_ha_h"] and r["spot_ha_h"]]
    if not shown:
        return None
    length, rate = (1.0, 1.0) if system == METRIC else (feet(1.0), acres(HECTARE_M2))
    wide = round_ratios([r["width_m"] * length for r in shown])
    rates = [r[c] * rate for r in shown for c in ("overall_ha_h", "spot_ha_h")]
    high = round_ratios(rates)
    x = Axis(wide[0] / length, wide[-1] / length, LEFT, RIGHT, by_ratio=True)
    y = Axis(high[0] / rate, high[-1] / rate, BOTTOM, TOP, by_ratio=True)
    paper = Box(LEFT, TOP - 8, WIDTH - 1, BOTTOM - 1)
    taken = [
        Box(x.at(r["width_m"]) - 5, y.at(r[c]) - 5, x.at(r["width_m"]) + 5, y.at(r[c]) + 5)
        for r in shown
        for c in ("overall_ha_h", "spot_ha_h")
    ]
    points = []
    for number, r in enumerate(shown, start=1):
        px, py = x.at(r["width_m"]), y.at(r["overall_ha_h"])
        label = place(str(number), px, py, taken, paper)
        taken += [label.box] if label else []
        published = _published(farm, r)
        top = None if published is None else y.at(published)
        span = _span(farm, r, y)
        points.append(Point(number, px, py, y.at(r["spot_ha_h"]), top, span, label))
    return WidthChart(
        WIDTH, HEIGHT,
        tuple(Mark(x.at(v / length), f"{v:g}") for v in wide),
        tuple(Mark(y.at(v / rate), f"{v:g}") for v in high),
        ("m", "ha/h") if system == METRIC else ("ft", "acres/h"),
        _theory(x, y, taken, paper, system),
        tuple(points),
        tuple(_row(i, r, system) for i, r in enumerate(shown, start=1)),
        SOURCE if any(p.published is not None for p in points) else "",
        HANDBOOK if any(p.span is not None for p in points) else "",
        f"Rate of work of {len(shown)} machines and implements against their working width.",
    )  # fmt: skip


def _theory(x: Axis, y: Axis, taken: list[Box], paper: Box, system: str) -> tuple[Theory, ...]:
    """Lines of speed x width, from edge to edge of the chart."""
    found = []
    for speed in SPEEDS_KMH:
        per_m = hectares_per_hour(from_kmh(speed))
        low, high = max(x.low, y.low / per_m), min(x.high, y.high / per_m)
        if low >= high:
            continue
        ends = [(x.at(w), y.at(w * per_m)) for w in (low, high)]
        words = f"{speed:g} km/h" if system == METRIC else fig.speed(from_kmh(speed), system)
        label = None
        for share in (0.92, 0.85, 0.78, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1):
            w = low * (high / low) ** share
            label = label or _on_line(words, x.at(w), y.at(w * per_m), taken, paper)
        taken += [label.box] if label else []
        found.append(Theory(*ends[0], *ends[1], label))
    return tuple(found)


def _on_line(
    text: str, x: float, y: float, taken: Sequence[Box], paper: Box, size: float = 10.0
) -> Label | None:
    """A text with its middle on a line, clear of what is taken; None where there is no room."""
    wide = text_width(text, size)
    box = Box(x - wide / 2, y - size * 0.6, x + wide / 2, y + size * 0.6)
    inside = paper.left <= box.left and box.right <= paper.right
    inside = inside and paper.top <= box.top and box.bottom <= paper.bottom
    if not inside or any(box.touches(t) for t in taken):
        return None
    return Label(text, round(box.left, 1), round(y + size * 0.35, 1), box)


def _published(farm: Farm, row: Mapping[str, Any]) -> float | None:
    """Published typical output at a width: speed x width x efficiency. [ha/h]"""
    versions = farm.kit.get((row["implement"] or "").casefold())
    typical = TYPICAL.get(versions[-1].kind) if versions else None
    if typical is None:
        return None
    return float(hectares_per_hour(typical.speed_m_s * row["width_m"] * typical.efficiency))


def _span(farm: Farm, row: Mapping[str, Any], y: Axis) -> tuple[float, float] | None:
    """Where the handbook's range of output lies at a width, cut to the chart. [unit]"""
    versions = farm.kit.get((row["implement"] or "").casefold())
    known = RANGES.get(versions[-1].kind) if versions else None
    if known is None:
        return None
    rates = (rate * HOUR_S / HECTARE_M2 for rate in known.rates_m2_s(row["width_m"]))
    low, high = (min(max(rate, y.low), y.high) for rate in rates)
    return y.at(low), y.at(high)


def _row(number: int, row: Mapping[str, Any], system: str) -> dict[str, Any]:
    def rate(column: str) -> str:
        return fig.rate(row[column] * HECTARE_M2 / HOUR_S, system)

    return {
        "number": number,
        "machine": row["machine"],
        "implement": row["implement"] or "not said",
        "operation": row["operation"] or "not said",
        "width": fig.width(row["width_m"], system),
        "speed": fig.speed(from_kmh(row["speed_kmh"]), system),
        "spot": rate("spot_ha_h"),
        "overall": rate("overall_ha_h"),
        "efficiency": fig.share(row["field_efficiency"], 1.0),
    }
