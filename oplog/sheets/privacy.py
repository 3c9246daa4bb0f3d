"""Private places and what was forgotten, in words. Where a place lies is never among them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Protocol
from zoneinfo import ZoneInfo

from oplog.events import PrivatePlace, Span, StretchForgotten, WorkMeasured
from oplog.fold import Farm
from oplog.sheets.table import Column, Table

SHOWN = 8
"""Stretches shown in full."""

FEW_DAYS = 3
"""Days that are measured again one by one; more, all at once."""


def place_lines(farm: Farm) -> list[str]:
    """One line for each private place: its name and size, not where it is."""
    if not farm.private:
        return [
            "No place is private. To keep a home out of the log: oplog private add NAME "
            "--at LAT,LON --radius 150m"
        ]
    return [
        f"{p.place}: a circle of {p.radius_m:g} m"
        if p.radius_m is not None
        else f"{p.place}: as drawn in a file"
        for p in _places(farm)
    ]


def places_table(farm: Farm) -> Table:
    """The private places as data: names and sizes. Of one drawn in a file there is no radius."""
    columns = (Column("place", "place"), Column("radius_m", "radius", "m"))
    return Table("", columns, tuple((p.place, p.radius_m) for p in _places(farm)))


def _places(farm: Farm) -> list[PrivatePlace]:
    return sorted(farm.private, key=lambda p: (p.place.casefold(), p.event_id))


def forgotten_lines(farm: Farm) -> list[str]:
    """One line for each stretch that was forgotten: whose, when, how much, by whom and why."""
    return [forgotten_line(farm, f) for f in sorted(farm.forgotten, key=_first)]


def forgotten_table(farm: Farm) -> Table:
    """What was forgotten as data, a row for each machine and time that it was done."""
    names = ("machine", "began", "ended", "stretches", "place", "positions", "stated_by",
             "stated_at", "because")  # fmt: skip
    rows = [
        (
            f.machine,
            min((s.started_at for s in f.stretches), default=None),
            max((s.ended_at for s in f.stretches), default=None),
            len(f.stretches),
            f.place,
            f.fix_count,
            f.stated_by,
            f.stated_at,
            f.because,
        )
        for f in sorted(farm.forgotten, key=_first)
    ]
    return Table("", tuple(Column(n, n.replace("_", " ")) for n in names), tuple(rows))


def forgotten_line(farm: Farm, stretch: StretchForgotten) -> str:
    """A stretch that was forgotten, in words."""
    zone = ZoneInfo(farm.zone)
    when = ""
    if stretch.stretches:
        when = f", {period(_first(stretch), max(s.ended_at for s in stretch.stretches), zone)}"
        if len(stretch.stretches) > 1:
            when += f" ({len(stretch.stretches)} stretches)"
    where = f" within {stretch.place}" if stretch.place else ""
    by = stretch.stated_by or "somebody"
    on = f" on {stretch.stated_at.astimezone(zone):%Y-%m-%d}" if stretch.stated_at else ""
    return (
        f"{stretch.machine}{when}{where}: {stretch.fix_count:,} positions "
        f"forgotten by {by}{on}: {stretch.because}"
    )


class Going(Protocol):
    """What would be forgotten of one machine (see flow.forgetting.Part)."""

    @property
    def machine(self) -> str: ...
    @property
    def spans(self) -> tuple[Span, ...]: ...
    @property
    def files(self) -> tuple[str, ...]: ...
    @property
    def fix_count(self) -> int: ...


def would_go(farm: Farm, parts: Sequence[Going], visits: Sequence[WorkMeasured]) -> list[str]:
    """What a forgetting takes out of the log, and what it leaves in it."""
    zone = ZoneInfo(farm.zone)
    lines = []
    for p in parts:
        stretches = [f"  {period(s.started_at, s.ended_at, zone)}" for s in p.spans[:SHOWN]]
        if len(p.spans) > SHOWN:
            stretches.append(f"  and {len(p.spans) - SHOWN} more stretches")
        lines += [f"{p.machine}: {p.fix_count:,} positions", *stretches]
        lines += [f"  {line}" for line in _files(farm, p.files)]
    if visits:
        lines.append(
            f"Work measured from it stays on record, its figures and the ground that it covered: "
            f"{visit_names(farm, visits)}."
        )
    return lines


def visit_names(farm: Farm, visits: Sequence[WorkMeasured]) -> str:
    """Visits by handle, field and day, the first few."""
    return names(
        [
            f"{farm.standing[v.event_id].handle} ({v.field or 'in no field'}, {v.day})"
            for v in visits
        ]
    )


def again_lines(visits: Sequence[WorkMeasured]) -> list[str]:
    """What to type to measure work anew without what was forgotten for a private place."""
    days = sorted({v.day for v in visits})
    each = [f" --day {day}" for day in days] if len(days) <= FEW_DAYS else [""]
    return [f"oplog remeasure --forgotten{day}" for day in each]


def _files(farm: Farm, digests: Sequence[str]) -> list[str]:
    """The imported files that go, by day of their track."""
    days = {
        t.file_digest: f"{t.first_at.astimezone(ZoneInfo(farm.zone)):%Y-%m-%d}" for t in farm.tracks
    }
    if not digests:
        return []
    told = sorted(f"{d[:8]} ({days[d]})" if d in days else d[:8] for d in digests)
    count = "1 imported file" if len(digests) == 1 else f"{len(digests)} imported files"
    return [f"with the bytes of {count}: {names(told)}"]


def period(first: datetime, last: datetime, zone: ZoneInfo) -> str:
    """From when to when, by the farm's clock; the day once where it is the same."""
    begin, end = first.astimezone(zone), last.astimezone(zone)
    form = "%H:%M" if begin.date() == end.date() else "%Y-%m-%d %H:%M"
    return f"{begin:%Y-%m-%d %H:%M} to {end.strftime(form)}"


def names(of: Sequence[str]) -> str:
    """Names one behind the other, the first few."""
    few = ", ".join(of[:5])
    return few if len(of) <= 5 else f"{few} and {len(of) - 5} more"


def _first(stretch: StretchForgotten) -> datetime:
    return min((s.started_at for s in stretch.stretches), default=datetime.max.replace(tzinfo=UTC))
