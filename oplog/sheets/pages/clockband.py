"""The clock of a day as a band: what a machine did when, in hundredths of the band's length."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from oplog.events import DayMeasured, Span, WorkMeasured
from oplog.records import dataclass
from oplog.sheets import figures as fig
from oplog.units import hours as hours_of

STATES = (
    "working", "turning", "filling", "standing", "travelling", "unrecorded", "road", "elsewhere",
)  # fmt: skip
FINEST = 0.06
"""Spans shorter than this share of the band go with what is beside them. [%]"""
APART = 6.5
"""Middles of two numbers are at least this far apart. [%]"""
MOST_TICKS = 7


@dataclass(frozen=True)
class Piece:
    """A stretch in one state. [%]"""

    state: str
    x: float
    width: float


@dataclass(frozen=True)
class Tick:
    """A line at an hour or a number at a visit. [%]"""

    x: float
    label: str


@dataclass(frozen=True)
class Stay:
    """The time of a visit. [%]"""

    number: int
    x: float
    width: float
    shown: bool


@dataclass(frozen=True)
class Band:
    """One machine's day. hours: each state that occurred, with its time in words, as measured
    (a piece outside fields is named by what most of it was)."""

    machine: str
    pieces: tuple[Piece, ...]
    stays: tuple[Stay, ...]
    hours: tuple[tuple[str, str], ...]
    told: str


@dataclass(frozen=True)
class Clock:
    """The bands of a day under one scale of hours."""

    ticks: tuple[Tick, ...]
    bands: tuple[Band, ...]


def clock(
    days: Sequence[DayMeasured], visits: Sequence[WorkMeasured], numbers: dict[str, int], zone: str
) -> Clock:
    """The bands of the machines of a day. numbers: of the visits, by event id."""
    local = ZoneInfo(zone)
    start = _hour(min(d.started_at for d in days), local)
    end = _hour(max(d.ended_at for d in days) + timedelta(minutes=59, seconds=59), local)
    length_s = (end - start).total_seconds()
    bands = []
    for name in dict.fromkeys(d.machine for d in sorted(days, key=lambda d: d.machine.casefold())):
        own = [d for d in days if d.machine == name]
        stays = [v for v in visits if v.machine == name]
        bands.append(_band(name, own, stays, numbers, start, length_s))
    return Clock(_ticks(start, end, local), tuple(bands))


def _band(
    name: str,
    days: Sequence[DayMeasured],
    visits: Sequence[WorkMeasured],
    numbers: dict[str, int],
    start: datetime,
    length_s: float,
) -> Band:
    spans = [s for d in days for s in d.spans] + [s for v in visits for s in v.spans]
    spans.sort(key=lambda s: s.started_at)
    times = {s: sum(getattr(v, f"{s}_s") for v in visits) for s in STATES[:6]}
    times["road"] = sum(d.road_s for d in days)
    times["elsewhere"] = sum(d.elsewhere_s for d in days)
    hours = tuple((s, fig.clock(t)) for s, t in times.items() if t >= 30.0)

    def at(moment: datetime) -> float:
        return 100.0 * (moment - start).total_seconds() / length_s

    told = ", ".join(f"{h} {s}" for s, h in hours)
    return Band(name, _pieces(spans, at), _stays(visits, numbers, at), hours, told)


def _pieces(spans: Sequence[Span], at: Callable[[datetime], float]) -> tuple[Piece, ...]:
    """Pieces in order; neighbours of one state are one, the smallest go with those before."""
    found: list[Piece] = []
    for span in spans:
        x, end = at(span.started_at), at(span.ended_at)
        last = found[-1] if found else None
        touching = last is not None and x - (last.x + last.width) < FINEST
        if last and touching and (last.state == span.state or end - x < FINEST):
            found[-1] = Piece(last.state, last.x, end - last.x)
        else:
            found.append(Piece(span.state, x, end - x))
    return tuple(Piece(p.state, round(p.x, 2), round(p.width, 2)) for p in found if p.width > 0)


def _stays(
    visits: Sequence[WorkMeasured], numbers: dict[str, int], at: Callable[[datetime], float]
) -> tuple[Stay, ...]:
    found: list[Stay] = []
    last = -100.0
    for v in sorted(visits, key=lambda v: v.started_at):
        x, end = at(v.started_at), at(v.ended_at)
        middle = (x + end) / 2
        shown = middle - last >= APART
        last = middle if shown else last
        found.append(Stay(numbers[v.event_id], round(x, 2), round(end - x, 2), shown))
    return tuple(found)


def _hour(moment: datetime, zone: ZoneInfo) -> datetime:
    """The full hour by the farm's clock at or before a moment, in UTC."""
    local = moment.astimezone(zone)
    past = timedelta(minutes=local.minute, seconds=local.second, microseconds=local.microsecond)
    return moment.astimezone(UTC) - past


def _ticks(start: datetime, end: datetime, zone: ZoneInfo) -> tuple[Tick, ...]:
    hours = round(hours_of((end - start).total_seconds()))
    step = next(s for s in (1, 2, 3, 4, 6, 12, 24) if hours / s <= MOST_TICKS or s == 24)
    found = []
    for hour in range(0, hours + 1, step):
        moment = (start + timedelta(hours=hour)).astimezone(zone)
        found.append(Tick(round(100.0 * hour / max(hours, 1), 2), f"{moment:%H:%M}"))
    return tuple(found)
