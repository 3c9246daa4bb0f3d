"""What was stated in ways that know nothing of each other: every version, who stated it and why,
and the command that lets one of them hold."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields as columns_of
from datetime import MAXYEAR, MINYEAR, date
from typing import Any

from oplog.events import EntryStruck, EntryWritten, Event, TrackImported, VisitSaid
from oplog.fold import Farm, Unsettled, of_subject, of_visits
from oplog.fold.hanging import folded, missing
from oplog.fold.rivals import UNSAID
from oplog.sheets import figures as fig
from oplog.sheets.table import METRIC, Column, Table
from oplog.sheets.text import WIDTH, clean, paragraph

_HANDLE = 8
_SHAPES = ("geometry", "boundary_m2")


def open_choices(farm: Farm) -> list[Unsettled]:
    """What a person has to choose. The rest is settled by measuring again."""
    return [u for u in farm.unsettled if u.machine is None]


def of_season(farm: Farm, year: int) -> list[Unsettled]:
    """What is unsettled of a harvest year's figures, which stand against those of the year before:
    all work in their days, and the kit and the jobs it was done with; and work of these calendar
    years that does not count meanwhile."""
    years = (year, year - 1)
    visits = [v for v in farm.visits if farm.standing[v.event_id].harvest_year in years]
    about = of_visits(farm, visits, whole=True, machines=None)
    found = of_subject(farm, about) if visits else []
    first, last = (min(max(y, MINYEAR), MAXYEAR) for y in (year - 1, year))
    lacks = missing(farm, date(first, 1, 1), date(last, 12, 31))
    return [u for u in farm.unsettled if u in found or u in lacks]


def of_field(farm: Farm, field: str) -> list[Unsettled]:
    """What is unsettled of the work in a field."""
    own = [v for v in farm.visits if v.field.casefold() == field.casefold()]
    crops = [c.crop for c in farm.crops.get(field.casefold(), ())]
    about = of_visits(farm, own, fields=folded([field]), crops=folded(crops), first=None, last=None)
    return of_subject(farm, about)


def of_jobs(farm: Farm, names: Iterable[str]) -> list[Unsettled]:
    """What is unsettled of what is done and left of some jobs."""
    jobs = [farm.job(name) for name in names]
    keys = folded(j.job for j in jobs)
    own = [v for v in farm.visits if (farm.standing[v.event_id].job or "").casefold() in keys]
    about = of_visits(
        farm,
        own,
        fields=folded([*(f for j in jobs for f in j.fields), *(v.field for v in own)]),
        jobs=keys,
        first=None,
        last=None,
    )
    return of_subject(farm, about)


def unsettled_lines(
    farm: Farm, found: Sequence[Unsettled], system: str = METRIC, width: int = WIDTH
) -> list[str]:
    """Each matter with its versions and what to type."""
    wrote = {i: e for e in farm.entries for i in e.events}
    lines: list[str] = []
    for u in found:
        lines.append(paragraph(clean(_told(u)), first="- ", rest="  ", width=width))
        if not _is_choice(u):
            continue
        for handle, words in versions(u, wrote, system):
            lines.append(
                paragraph(f"{handle} {clean(words)}", first="  ", rest=" " * 11, width=width)
            )
        lines.append(f"  Which holds? {how(u)}")
    return lines


def sentence(farm: Farm, matter: Unsettled, system: str = METRIC) -> str:
    """A matter in one sentence, the command that settles it last."""
    if not _is_choice(matter):
        return _told(matter)
    wrote = {i: e for e in farm.entries for i in e.events}
    told = "; or ".join(f"{h} {words}" for h, words in versions(matter, wrote, system))
    return f"{matter.what} {told}. Which holds? {how(matter)}"


def parted(sentence: str) -> tuple[str, str]:
    """A sentence, and the command in it that settles the matter ("" where there is none)."""
    before, found, command = sentence.rpartition("oplog ")
    return (before.rstrip(), f"oplog {command}") if found else (command, "")


def notices(farm: Farm, found: Iterable[Unsettled], system: str = METRIC) -> list[tuple[str, str]]:
    """Each matter as a page tells it: a sentence, and the command that settles it."""
    return [parted(sentence(farm, u, system)) for u in found]


def as_data(farm: Farm, found: Sequence[Unsettled], system: str = METRIC) -> list[dict[str, Any]]:
    """Each matter for other programs: what, its versions by their handles, and what to type."""
    wrote = {i: e for e in farm.entries for i in e.events}
    return [
        {
            "what": u.what,
            "versions": [
                {"version": handle, "says": clean(words)}
                for handle, words in (versions(u, wrote, system) if _is_choice(u) else ())
            ],
            "settle": how(u),
        }
        for u in found
    ]


def choices_table(farm: Farm, found: Sequence[Unsettled], system: str = METRIC) -> Table:
    """What a person has to choose as a table: a row for each version, with what is said in it."""
    rows = [
        (matter["what"], version["version"], version["says"])
        for matter in as_data(farm, found, system)
        for version in matter["versions"]
    ]
    names = ("what", "version", "says")
    return Table("", tuple(Column(n, n) for n in names), tuple(rows))


def how(matter: Unsettled) -> str | None:
    """The command that settles a matter; None where it is not for who reads this to settle."""
    if not matter.events:
        return None
    if matter.machine is not None:
        return "oplog settle"
    return f"oplog settle {matter.events[0].event_id[:_HANDLE]} --because WHY"


def _is_choice(matter: Unsettled) -> bool:
    return bool(matter.events) and matter.machine is None


def _told(matter: Unsettled) -> str:
    """A matter in a sentence, and what becomes of it where no version can be chosen."""
    if not matter.events:
        return f"{matter.what} It is not settled yet: figures may change."
    again = " To measure the day again: oplog settle"
    return f"{matter.what}{again if matter.machine is not None else ''}"


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
    if any(isinstance(e, TrackImported) for e in alike):
        return {"machine", "implement", "operation", "driver"}
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
