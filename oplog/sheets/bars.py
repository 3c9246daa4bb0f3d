"""Bars of one line for a terminal: how far a job is, and what a machine did when.

Plain characters, so that a pipe, a dumb terminal and a printed page show the same; what each
character means stands beside it in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from oplog.events import DayMeasured, Span, WorkMeasured
from oplog.sheets.text import WIDTH
from oplog.units import MINUTE_S

MARKS = {
    "working": "#", "turning": "+", "filling": "o", "standing": ".", "travelling": "~",
    "unrecorded": "?", "road": "=", "elsewhere": "_",
}  # fmt: skip
STEPS_MIN = (1, 2, 5, 10, 15, 20, 30, 60)
"""What one character may stand for. [min]"""
_AROUND = len("09:00  10:00")


def progress_bar(share: float, length: int = 30) -> str:
    """A share of 0 to 1 as "[######----]"; full only when it is whole, empty only when nothing."""
    inner = length - 2
    filled = round(min(max(share, 0.0), 1.0) * inner)
    if 0.0 < share < 1.0:
        filled = min(max(filled, 1), inner - 1)
    return f"[{'#' * filled}{'-' * (inner - filled)}]"


def clock_bar(
    days: Sequence[DayMeasured], visits: Sequence[WorkMeasured], zone: str, width: int = WIDTH
) -> list[str]:
    """One machine's day as a line, and a line that says what the characters mean.

    Each character is what most of its minutes were spent on.
    """
    spans = [s for d in days for s in d.spans] + [s for v in visits for s in v.spans]
    if not spans:
        return []
    first, last = min(s.started_at for s in spans), max(s.ended_at for s in spans)
    room = width - _AROUND
    length_min = (last - first).total_seconds() / MINUTE_S
    step = next((s for s in STEPS_MIN if length_min / s < room - 1), STEPS_MIN[-1])
    start = _floor(first, step, ZoneInfo(zone))
    cells = _cells(spans, start, last, step)
    end = (start + timedelta(minutes=step * len(cells))).astimezone(ZoneInfo(zone))
    bar = "".join(MARKS.get(c, " ") for c in cells)
    told = [f"{MARKS[s]} {s}" for s in MARKS if s in cells]
    return [
        f"{start.astimezone(ZoneInfo(zone)):%H:%M} {bar} {end:%H:%M}",
        f"{', '.join(told)}; a mark is {step} min",
    ]


def _floor(moment: datetime, step_min: int, zone: ZoneInfo) -> datetime:
    """The last full step by the clock at or before a moment."""
    local = moment.astimezone(zone)
    past = timedelta(
        minutes=local.minute % step_min, seconds=local.second, microseconds=local.microsecond
    )
    return moment - past


def _cells(spans: Sequence[Span], start: datetime, last: datetime, step_min: int) -> list[str]:
    """The state of each step from a start: the one with most of its time; "" for none."""
    step = timedelta(minutes=step_min)
    count = max(-((start - last) // step), 1)
    shares: list[dict[str, float]] = [{} for _ in range(count)]
    for span in spans:
        cell = max((span.started_at - start) // step, 0)
        while cell < count and start + cell * step < span.ended_at:
            begin = max(span.started_at, start + cell * step)
            seconds = (min(span.ended_at, start + (cell + 1) * step) - begin).total_seconds()
            shares[cell][span.state] = shares[cell].get(span.state, 0.0) + seconds
            cell += 1
    return [max(s, key=lambda state: s[state]) if s else "" for s in shares]
