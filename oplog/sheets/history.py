"""How a figure came to be, as a table: when, who, and what each event says."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, tzinfo
from typing import Any, TypeAlias

from oplog.events import (
    EntryStruck,
    EntryWritten,
    Event,
    FieldDrawn,
    KitListed,
    WorkMeasured,
)
from oplog.sheets import figures
from oplog.sheets.table import Column, Table

Step: TypeAlias = tuple[Event, EntryWritten | None, Event | None, Sequence[Event]]
"""An event, the entry that holds it, the event that replaced it, and the events it replaced."""


def history_table(steps: Sequence[Step], zone: tzinfo, open_ids: Collection[str] = ()) -> Table:
    """One row an event, oldest first; what no longer counts says what took its place.

    open_ids: events of which a person has still to choose one.
    """
    columns = (
        Column("written_at", "written"),
        Column("who", "who"),
        Column("what", "what"),
        Column("counts", "counts"),
        Column("event", "event"),
        Column("entry", "entry"),
    )
    return Table(
        "How it came to be",
        columns,
        tuple(_row(*s, zone, s[0].event_id in open_ids) for s in steps),
    )


NEW_GROUND = "new ground"
"""Where work was that had no field yet."""

FIGURES_STAY = "Figures stay as they are until: oplog remeasure"
"""Said where a boundary or what kit is like was changed, after work was measured with it."""


def taking_back(handles: Sequence[str]) -> str:
    """How to take back what was just stated."""
    return f"To take that back: oplog strike {' '.join(handles)} --because WHY"


def struck_lines(
    out: Sequence[Event],
    back: Sequence[Event],
    measured: Sequence[tuple[str, date]],
    undo: Sequence[str],
    because: str,
) -> list[str]:
    """What a strike did, and how to take it back. out: struck; back: stated anew; measured:
    machine days measured again; undo: handles."""
    lines = [f"Struck out: {_thing(e)} ({because})." for e in out]
    lines += [f"Counts again: {_thing(e)}." for e in back]
    lines += [f"Measured again: {machine} on {day.isoformat()}." for machine, day in measured]
    if any(isinstance(e, FieldDrawn | KitListed) for e in (*out, *back)):
        lines.append(FIGURES_STAY)
    if undo:
        lines.append(taking_back(undo))
    return lines


def _thing(event: Event) -> str:
    if isinstance(event, WorkMeasured):
        return f"{event.machine} {_where(event)} on {event.day.isoformat()}"
    if isinstance(event, EntryStruck):
        return (
            f"the strike{f' {_where(event)}' if event.field is not None else ''} ({event.because})"
        )
    return told(event, None)


def _row(
    event: Event,
    entry: EntryWritten | None,
    gone: Event | None,
    replaced: Sequence[Event],
    zone: tzinfo,
    is_open: bool,
) -> tuple[Any, ...]:
    when = f"{entry.written_at.astimezone(zone):%Y-%m-%d %H:%M}" if entry else "not arrived yet"
    who = event.stated_by or (entry.writer_name if entry else "")
    return (
        when,
        who,
        _told_of_strike(event, replaced) if isinstance(event, EntryStruck) else told(event, entry),
        ("unsettled" if is_open else "yes") if gone is None else f"no: {_took_its_place(gone)}",
        event.event_id[:8],
        entry.event_id[:8] if entry else "",
    )


def _told_of_strike(strike: EntryStruck, replaced: Sequence[Event]) -> str:
    stated = [e for e in replaced if not isinstance(e, WorkMeasured)]
    if strike.visit is not None or not stated:
        return told(strike, None)
    back = all(isinstance(e, EntryStruck) for e in stated)
    what = "struck the strike, which is back" if back else f"struck out: {told(stated[0], None)}"
    return f"{what} ({strike.because})" if strike.because else what


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
            f"file {e.file_digest[:8]}{_found(e)}"
        ),
        "work.measured": lambda: (
            f"measured {figures.area(e.worked_m2)} {_where(e)}, "
            f"{e.operation or 'nothing stated'}{_wide(e)}, method {e.method}"
        ),
        "day.measured": lambda: f"day of {e.machine} measured, {len(e.measured)} visits",
        "work.replaced": lambda: f"{len(e.supersedes)} measurements replaced",
        "visit.said": lambda: f"said of {_place(e)}: {_words(e)}",
        "job.planned": lambda: f"job {e.job} planned: {e.operation} of {', '.join(e.fields)}",
        "job.closed": lambda: f"job {e.job} closed",
        "note.written": lambda: f'note "{e.note}"',
        "input.planned": lambda: f"{e.job} to get {e.per_ha:g} {e.unit}/ha of {e.product}",
        "input.applied": lambda: f"{e.product}, {e.amount:g} {e.unit}",
        "drill.calibrated": lambda: f"{e.implement} set for {e.product} on {e.day.isoformat()}",
        "customer.stated": lambda: f"ground of {e.customer}: {', '.join((*e.farms, *e.fields))}",
        "price.stated": lambda: f"{e.operation} costs {e.price:g} {e.currency} a {e.per}",
        "sequence.planned": lambda: f"{e.crop} gets {', '.join(e.operations)}",
        "device.assigned": lambda: f"device {e.device} belongs to {e.machine}",
        "place.private": lambda: f"{e.place} is private",
        "stretch.forgotten": lambda: f"{e.fix_count:,} fixes of {e.machine} forgotten",
        "track.cut": lambda: (
            f"file {e.file_digest[:8]} taken out{', what is left of its fixes kept' * bool(e.rest)}"
        ),
        "entry.struck": lambda: f"struck out{f' {_where(e)}' if e.field is not None else ''}",
    }.get(event.TYPE, lambda: event.TYPE.replace(".", " "))()
    return f"{said} ({event.because})" if event.because else said


def _where(event: Any) -> str:
    return f"in {event.field}" if event.field else f"on {NEW_GROUND}"


def _place(event: Any) -> str:
    return event.field or f"work on {NEW_GROUND}"


def _took_its_place(event: Event) -> str:
    words = {"entry.struck": "struck", "visit.said": "corrected", "work.replaced": "measured again"}
    return words.get(event.TYPE, "replaced")


def _wide(event: Any) -> str:
    return f", {figures.width(event.width_m)}" if event.width_m else ""


def _found(event: Any) -> str:
    """What was wrong in the file, as told when it was imported."""
    said = [
        f"{f.message}{f' ({f.count} times)' if f.count > 1 else ''}"
        + (f" from line {f.line}" if f.line is not None else "")
        + (f", {f.done}" if f.done else "")
        for f in event.found
    ]
    return f"; found in it: {'; '.join(said)}" if said else ""


def _files(entry: EntryWritten | None) -> str:
    return f" from {', '.join(entry.files[:3])}" if entry and entry.files else ""


def _words(event: Any) -> str:
    named = (event.implement, event.operation, event.driver, event.job)
    return ", ".join(str(n) for n in named if n) or "nothing"
