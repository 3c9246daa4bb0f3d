"""How a figure came to be, as a table: when, who, and what each event says."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from typing import Any, TypeAlias

from oplog.events import EntryWritten, Event
from oplog.sheets import figures
from oplog.sheets.table import Column, Table

Step: TypeAlias = tuple[Event, EntryWritten | None, Event | None]
"""An event, the entry that holds it, and the event that replaced it."""


def history_table(steps: Sequence[Step], zone: tzinfo) -> Table:
    """One row an event, oldest first; what no longer counts says what took its place."""
    columns = (
        Column("written_at", "written"),
        Column("who", "who"),
        Column("what", "what"),
        Column("counts", "counts"),
        Column("event", "event"),
        Column("entry", "entry"),
    )
    return Table("How it came to be", columns, tuple(_row(*s, zone) for s in steps))


def _row(
    event: Event, entry: EntryWritten | None, gone: Event | None, zone: tzinfo
) -> tuple[Any, ...]:
    when = f"{entry.written_at.astimezone(zone):%Y-%m-%d %H:%M}" if entry else "not arrived yet"
    who = event.stated_by or (entry.writer_name if entry else "")
    return (
        when,
        who,
        told(event, entry),
        "yes" if gone is None else f"no: {_took_its_place(gone)}",
        event.event_id[:8],
        entry.event_id[:8] if entry else "",
    )


def told(event: Event, entry: EntryWritten | None) -> str:
    """What an event says, in a line."""
    e: Any = event
    said = {
        "farm.opened": lambda: f"log opened for {e.farm_name}",
        "field.drawn": lambda: f"{e.field} drawn, {figures.area(e.boundary_m2)}",
        "crop.stated": lambda: f"{e.crop} stated in {e.field} for {e.harvest_year}",
        "kit.listed": lambda: f"{e.name} listed{_wide(e)}",
        "track.imported": lambda: (
            f"{e.fix_count:,} fixes of {e.machine} imported{_files(entry)}, "
            f"file {e.file_digest[:8]}"
        ),
        "work.measured": lambda: (
            f"measured {figures.area(e.worked_m2)} in {e.field}, "
            f"{e.operation or 'nothing stated'}{_wide(e)}, method {e.method}"
        ),
        "day.measured": lambda: f"day of {e.machine} measured, {len(e.measured)} visits",
        "work.replaced": lambda: f"{len(e.supersedes)} measurements replaced",
        "visit.said": lambda: f"said of {e.field}: {_words(e)}",
        "entry.struck": lambda: f"struck out{f' in {e.field}' if e.field else ''}",
    }.get(event.TYPE, lambda: event.TYPE.replace(".", " "))()
    return f"{said} ({event.because})" if event.because else said


def _took_its_place(event: Event) -> str:
    words = {"entry.struck": "struck", "visit.said": "corrected", "work.replaced": "measured again"}
    return words.get(event.TYPE, "replaced")


def _wide(event: Any) -> str:
    return f", {figures.width(event.width_m)}" if event.width_m else ""


def _files(entry: EntryWritten | None) -> str:
    return f" from {', '.join(entry.files[:3])}" if entry and entry.files else ""


def _words(event: Any) -> str:
    named = (event.implement, event.operation, event.driver, event.job)
    return ", ".join(str(n) for n in named if n) or "nothing"
