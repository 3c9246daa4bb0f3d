"""What was stated in ways that know nothing of each other: every version, who stated it and why,
and the command that lets one of them hold."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import fields as columns_of
from typing import Any

from oplog.events import EntryStruck, EntryWritten, Event, VisitSaid
from oplog.fold import Farm, Unsettled
from oplog.fold.rivals import UNSAID
from oplog.sheets import figures as fig
from oplog.sheets.table import METRIC
from oplog.sheets.text import WIDTH, clean, paragraph

_HANDLE = 8
_SHAPES = ("geometry", "boundary_m2")


def open_choices(farm: Farm) -> list[Unsettled]:
    """What a person has to choose. The rest is settled by measuring again."""
    return [u for u in farm.unsettled if u.machine is None]


def concerning(
    farm: Farm, *, names: Collection[str] = (), days: Collection[Any] = ()
) -> list[Unsettled]:
    """Open choices about any of some fields, machines, implements or jobs; where days are given
    as well, those about visits only if they are of these days."""
    keys = {n.casefold() for n in names if n}
    found = []
    for u in open_choices(farm):
        about = {str(v).casefold() for e in u.events for v in _names(e)}
        on = {e.day for e in u.events if isinstance(e, VisitSaid)}
        if about & keys and (not days or not on or on & set(days)):
            found.append(u)
    return found


def _names(event: Event) -> Iterable[str]:
    """What an event is about, by name."""
    for column in ("field", "machine", "implement", "name", "job", "customer"):
        if value := getattr(event, column, None):
            yield value


def unsettled_lines(
    farm: Farm, found: Sequence[Unsettled], system: str = METRIC, width: int = WIDTH
) -> list[str]:
    """Each matter with its versions and what to type."""
    wrote = {i: e for e in farm.entries for i in e.events}
    lines: list[str] = []
    for u in found:
        lines.append(paragraph(clean(u.what), first="- ", rest="  ", width=width))
        for handle, words in versions(u, wrote, system):
            lines.append(
                paragraph(f"{handle} {clean(words)}", first="  ", rest=" " * 11, width=width)
            )
        lines.append(f"  Which holds? {how(u)}")
    return lines


def sentence(farm: Farm, matter: Unsettled, system: str = METRIC) -> str:
    """A matter in one sentence, the command that settles it last."""
    wrote = {i: e for e in farm.entries for i in e.events}
    told = "; or ".join(f"{h} {words}" for h, words in versions(matter, wrote, system))
    return f"{matter.what} {told}. Which holds? {how(matter)}"


def how(matter: Unsettled) -> str:
    """The command that settles a matter."""
    return f"oplog settle {matter.events[0].event_id[:_HANDLE]} --because WHY"


def versions(
    matter: Unsettled, wrote: Mapping[str, EntryWritten], system: str = METRIC
) -> list[tuple[str, str]]:
    """Handle and words of every version: what sets it apart, who stated it, and why."""
    differing = _differing(matter.events)
    return [
        (e.event_id[:_HANDLE], _version(e, differing, wrote.get(e.event_id), system))
        for e in matter.events
    ]


def _differing(events: Sequence[Event]) -> set[str]:
    """Columns in which events of one type differ."""
    alike = [e for e in events if not isinstance(e, EntryStruck)]
    names = {c.name for e in alike for c in columns_of(e)} - UNSAID
    told = {n for n in names if len({repr(getattr(e, n, None)) for e in alike}) > 1}
    if len(alike) == 1 or any(isinstance(e, VisitSaid) for e in alike):
        return {"implement", "operation", "driver", "job"} if "implement" in names else names
    return told


def _version(event: Event, differing: set[str], entry: EntryWritten | None, system: str) -> str:
    if isinstance(event, EntryStruck):
        what = "struck out"
    else:
        own = [c.name for c in columns_of(event) if c.name in differing]
        told = (_words(event, name, system) for name in own)
        what = ", ".join(t for t in told if t) or "nothing more"
    who = event.stated_by or (entry.writer_name if entry else "")
    why = f": {event.because}" if event.because else ""
    when = f", {entry.written_at:%Y-%m-%d}" if entry else ""
    return f"{what} ({who}{when}{why})"


def _words(event: Event, name: str, system: str) -> str:
    value = getattr(event, name)
    if value in (None, (), "") or (name == "geometry"):
        return ""
    if name == "boundary_m2":
        return fig.area(value, system)
    if name == "width_m":
        return fig.width(value, system)
    said = ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)
    if isinstance(value, float):
        said = f"{value:g}"
    plain = name in ("implement", "operation", "crop", "machine", "note", "fields", "farms")
    label = {"driver": "by", "by": "due by"}.get(name, name.replace("_", " "))
    return said if plain else f"{label} {said}"
