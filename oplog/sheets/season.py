"""A field's season and the whole farm's, notes, and what comes next, on a sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from itertools import groupby
from typing import Any

from oplog.season.sequence import Stage
from oplog.sheets import figures as fig
from oplog.sheets.jobs import amount
from oplog.sheets.table import METRIC, Column, Table, in_units
from oplog.sheets.text import WIDTH, clean, clock, paragraph, write
from oplog.units import HECTARE_M2, HOUR_S, from_kmh

_GROUPS = ("operation", "crop", "farm", "machine", "driver")
_STATES = ("working", "turning", "filling", "standing", "travelling", "unrecorded")


def field_sheet(
    name: str,
    rows: Sequence[Mapping[str, Any]],
    notes: Sequence[Mapping[str, Any]],
    next_up: Sequence[Stage],
    *,
    system: str = METRIC,
    width: int = WIDTH,
) -> str:
    """One field's work in order. rows: of the question `field_season`; notes: of `notes`."""
    lines = [clean(name)]
    for (year, crop), some in groupby(rows, key=lambda r: (r["harvest_year"], r["crop"])):
        lines += ["", f"{crop or 'stubble or bare soil'}{f', harvest {year}' if year else ''}"]
        for row in some:
            lines += _work(row, notes, system, width)
    shown = {r["visit"] for r in rows}
    if rest := [n for n in notes if n["visit"] not in shown]:
        lines += ["", "Notes"]
        lines += [_note(n, "  ", width) for n in rest]
    for stage in next_up:
        lines += ["", paragraph(_stage(stage), width=width)]
    return "\n".join(lines)


def stages_table(found: Sequence[Stage]) -> Table:
    """Where each field is in the sequence of its crop."""
    columns = (
        Column("crop", "crop"),
        Column("harvest_year", "harvest"),
        Column("field", "field"),
        Column("done", "done"),
        Column("of", "of"),
        Column("last", "last"),
        Column("next", "next"),
        Column("behind", "behind by"),
    )
    rows = tuple(
        (
            s.crop, s.harvest_year, s.field, s.done, len(s.operations),
            s.operations[s.done - 1] if s.done else None, s.next, s.behind,
        )
        for s in found
    )  # fmt: skip
    return Table("", columns, rows)


def notes_lines(rows: Sequence[Mapping[str, Any]], zone: tzinfo, width: int = WIDTH) -> str:
    """Rows of the question `notes`, a line each."""
    return "\n".join(_note(r, "", width, zone) for r in rows)


def season_sheet(
    rows: Sequence[Mapping[str, Any]],
    days: Sequence[Mapping[str, Any]],
    year: int,
    *,
    system: str = METRIC,
    width: int = WIDTH,
    bold: bool = False,
) -> str:
    """A season. rows: of the question `season`; days: of `season_days`."""
    parts = [f"Season {year}"]
    compared = any(r["before_ha"] is not None for r in rows)
    for group in _GROUPS:
        some = [r for r in rows if r["grouped_by"] == group]
        table = in_units(_by(group, some, compared), system)
        parts.append(write(table, width=width, bold=bold))
    parts.append(_hours([r for r in rows if r["grouped_by"] == "operation"], width))
    parts.append(write(in_units(_days(days), system), width=width, bold=bold))
    if not compared:
        parts.append(f"Nothing is on file for {year - 1} to compare with.")
    return "\n\n".join(parts)


def _work(
    r: Mapping[str, Any], notes: Sequence[Mapping[str, Any]], system: str, width: int
) -> list[str]:
    since = ""
    if r["days_since"] is not None:
        days = r["days_since"]
        count = "the same day as" if days == 0 else f"{days} day{'s' if days != 1 else ''} after"
        since = f"{count} {r['after'] or 'other work'}"
    head = f"  {r['day']}  {r['operation'] or 'operation ?'}{f', {since}' if since else ''}"
    area = fig.area(r["worked_ha"] * HECTARE_M2 if r["worked_ha"] is not None else None, system)
    speed = fig.speed(from_kmh(r["speed_kmh"]) if r["speed_kmh"] is not None else None, system)
    what = f"{r['machine']} with {r['implement'] or '?'}"
    by = f" by {r['driver']}" if r["driver"] else ""
    text = f"{r['visit']}  {what}{by}: {area} at {speed}, {clock(r['field_h'] * HOUR_S)} h"
    indent = " " * 14
    lines = [head, paragraph(text, first=indent, rest=indent + "       ", width=width)]
    if r["inputs"]:
        lines.append(paragraph(r["inputs"], first=indent, rest=indent, width=width))
    lines += [_note(n, indent, width) for n in notes if n["visit"] == r["visit"]]
    return lines


def _note(n: Mapping[str, Any], indent: str, width: int, zone: tzinfo | None = None) -> str:
    place = [str(n[c]) for c in ("day", "field", "machine") if n[c]] if zone else []
    if n["day"] and not zone:
        place = [str(n["day"])]
    where = f"{', '.join(place)}: " if place else ""
    text = f"{n['handle']}  {where}{n['note']}" if zone else f"note: {where}{n['note']}"
    return paragraph(text, first=indent, rest=indent + "  ", width=width)


def _stage(s: Stage) -> str:
    if s.next is None:
        return f"{s.crop} {s.harvest_year}: everything planned is done."
    behind = f"; {s.behind} behind the farthest field" if s.behind else ""
    return f"{s.crop} {s.harvest_year}: next comes {s.next}{behind}."


def _by(group: str, rows: Sequence[Mapping[str, Any]], compared: bool) -> Table:
    columns = [
        Column("name", f"by {group}"),
        Column("worked_ha", "worked", "ha"),
        Column("field_h", "in fields", "h"),
        Column("rate_ha_h", "rate", "ha/h"),
        Column("days", "days"),
        Column("fuel_l", "fuel l"),
    ]
    if compared:
        columns += [Column("before_ha", "year before", "ha"), Column("before_h", "in fields", "h")]
    shown = []
    for r in rows:
        rate = r["worked_ha"] / r["field_h"] if r["worked_ha"] and r["field_h"] else None
        fuel = None
        if r["fuel_l"] is not None:
            fuel = f"{amount(r['fuel_l'], 'l')} ({amount(r['fuel_rate'] or 0.0, 'l/ha')})"
        row = [r["name"] or "not said", r["worked_ha"], r["field_h"], rate, r["days"], fuel]
        shown.append((*row, *((r["before_ha"], r["before_h"]) if compared else ())))
    return Table("", tuple(columns), tuple(shown))


def _hours(rows: Sequence[Mapping[str, Any]], width: int) -> str:
    total = sum(r["field_h"] for r in rows)
    shares = [
        f"{state} {clock(sum(r[f'{state}_h'] for r in rows) * HOUR_S)}"
        for state in _STATES
        if sum(r[f"{state}_h"] for r in rows) * HOUR_S >= 30
    ]
    return paragraph(
        f"Hours in fields {clock(total * HOUR_S)}, long breaks left out: {', '.join(shares)}.",
        rest="  ",
        width=width,
    )


def _days(rows: Sequence[Mapping[str, Any]]) -> Table:
    columns = (
        Column("operation", "day by day"),
        Column("day", "day"),
        Column("worked_ha", "worked", "ha"),
        Column("so_far_ha", "so far", "ha"),
    )
    names = [r["operation"] or "not said" for r in rows]
    return Table(
        "",
        columns,
        tuple(
            (n if not i or names[i - 1] != n else "", r["day"], r["worked_ha"], r["so_far_ha"])
            for i, (n, r) in enumerate(zip(names, rows, strict=True))
        ),
    )
