"""Output of machines and widths on a sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from oplog.season.match import FEW_DAYS, Match, Output, saved_by_filling_s, saved_by_width_s
from oplog.sheets import figures as fig
from oplog.sheets.table import METRIC, Column, Table
from oplog.sheets.text import HOLD, WIDTH, clean, clock, paragraph
from oplog.units import HECTARE_M2, HOUR_S, from_kmh, hectares, hectares_per_hour, hours, kmh
from oplog.work.agronomy import SOURCE, TYPICAL

BEYOND = 1.5
"""A speed of so many times the measured one is out of reach. Common practice; no source."""
_LOST = ("turning", "filling", "standing", "travelling", "unrecorded")


def output_sheet(
    rows: Sequence[Mapping[str, Any]],
    kinds: Mapping[str, str],
    *,
    system: str = METRIC,
    width: int = WIDTH,
) -> str:
    """Rows of the question `output_by_width`, a block each, by operation and then by width.

    kinds: kind of each implement, by its casefolded name.
    """
    ordered = sorted(rows, key=lambda r: (r["operation"] or "", -r["width_m"], r["machine"]))
    blocks = [
        _block(r, kinds.get((r["implement"] or "").casefold()), system, width) for r in ordered
    ]
    return "\n\n".join(blocks)


def match_sheet(
    found: Match, wider_m: float | None = None, *, system: str = METRIC, width: int = WIDTH
) -> str:
    """Two widths against each other, in sentences."""
    lines = [_output(found.wide, system), _output(found.narrow, system)]
    narrow, wide = found.narrow, found.wide
    if narrow.width_m == wide.width_m:
        quicker, slower = sorted((narrow, wide), key=lambda o: -o.overall_m2_s)
        lines.append(
            f"They are equally wide. {quicker.name} did "
            f"{quicker.overall_m2_s / slower.overall_m2_s:.2f} times what {slower.name} did in "
            "the same time."
        )
    else:
        lines.append(
            f"To match {wide.name} at {fig.speed(wide.speed_m_s, system)}, {narrow.name} would "
            f"have to go {fig.speed(found.equal_m_s, system)} at equal losses, and "
            f"{fig.speed(found.own_m_s, system)} at the losses that each has had; it went "
            f"{fig.speed(narrow.speed_m_s, system)}."
        )
        if found.equal_m_s > BEYOND * narrow.speed_m_s:
            lines.append("That is far beyond what it was driven at: it cannot be matched by speed.")
    lines += _saved(narrow, wider_m, system)
    few = [o for o in (wide, narrow) if o.few]
    if few:
        each = " and ".join(
            f"{o.name} {o.days} {'day' if o.days == 1 else 'days'}, {fig.area(o.worked_m2, system)}"
            for o in few
        )
        lines.append(f"These are few data ({each}): take it as a hint, not a result.")
    return "\n".join(paragraph(line, rest="  ", width=width) for line in lines)


def match_table(found: Match, wider_m: float | None = None) -> Table:
    """Two widths against each other as data, the wider first.

    Of the narrower only: the speeds at which it keeps pace with the wider, at equal losses and at
    its own; the time that wider_m would have saved it; and the most that a second place to be
    filled would have.
    """
    columns = (
        Column("name", "name"),
        Column("operation", "operation"),
        Column("width_m", "width", "m"),
        Column("visits", "visits"),
        Column("days", "days"),
        Column("few_data", "few data"),
        Column("worked_ha", "worked", "ha"),
        Column("field_h", "in fields", "h"),
        Column("speed_kmh", "speed", "km/h"),
        Column("overall_ha_h", "over all", "ha/h"),
        Column("field_efficiency", "field efficiency"),
        Column("to_match_kmh", "to match", "km/h"),
        Column("to_match_own_losses_kmh", "to match at own losses", "km/h"),
        Column("saved_by_width_h", "saved by width", "h"),
        Column("saved_by_filling_h", "saved by filling", "h"),
    )
    narrow, wide = found.narrow, found.wide
    pace: tuple[float | None, ...] = (None, None)
    if narrow.width_m < wide.width_m:
        pace = (kmh(found.equal_m_s), kmh(found.own_m_s))
    saved_h = None
    if wider_m is not None and wider_m > narrow.width_m:
        saved_h = hours(saved_by_width_s(narrow, wider_m))
    rows = (
        (*_measured(wide), None, None, None, None),
        (*_measured(narrow), *pace, saved_h, hours(saved_by_filling_s(narrow))),
    )
    return Table("", columns, rows)


def _measured(o: Output) -> tuple[Any, ...]:
    return (
        o.name, o.operation, o.width_m, o.visits, o.days, o.few, hectares(o.worked_m2),
        hours(o.field_s), kmh(o.speed_m_s), hectares_per_hour(o.overall_m2_s), o.efficiency,
    )  # fmt: skip


def _saved(narrow: Output, wider_m: float | None, system: str) -> list[str]:
    lines = []
    if wider_m is not None and wider_m > narrow.width_m:
        saved_s = saved_by_width_s(narrow, wider_m)
        lines.append(
            f"With {fig.width(wider_m, system)} at the same speed and losses, {narrow.name} would "
            f"have needed {clock(saved_s)} h less of its {clock(narrow.field_s)} h."
        )
    if (saved_s := saved_by_filling_s(narrow)) >= 60:
        lines.append(
            f"A second place to be filled or emptied would have saved {narrow.name} up to "
            f"{clock(saved_s)} h (half of its travelling in fields, if all of that was on the way "
            "there)."
        )
    return lines


def _output(o: Output, system: str) -> str:
    return (
        f"{clean(o.name)}: {o.operation}, {fig.width(o.width_m, system)}, "
        f"{fig.area(o.worked_m2, system)} in {o.visits} {'visit' if o.visits == 1 else 'visits'}; "
        f"{fig.speed(o.speed_m_s, system)}, {fig.rate(o.overall_m2_s, system)} over all, "
        f"field efficiency {o.efficiency * 100:.0f} %."
    )


def _block(r: Mapping[str, Any], kind: str | None, system: str, width: int) -> str:
    title = f"{r['machine']}, {r['implement'] or 'implement ?'}: {r['operation'] or 'operation ?'}"
    bouts = ""
    if r["bout_width_m"] is not None:
        bouts = f", bouts {fig.width(r['bout_width_m'], system)} apart"
    rows = [
        ("width", f"{fig.width(r['width_m'], system)}{bouts}"),
        ("speed", _speed(r, system)),
        ("rate", _rate(r, system)),
        ("done", _done(r, system)),
        ("lost", _lost(r)),
        ("published", _typical(kind, system)),
    ]
    lines = [clean(title)]
    for label, text in rows:
        if text:
            first = f"  {label:<10}"
            lines.append(paragraph(text, first=first, rest=" " * len(first), width=width))
    return "\n".join(lines)


def _speed(r: Mapping[str, Any], system: str) -> str:
    if r["speed_kmh"] is None:
        return "not known"
    text = f"{fig.speed(from_kmh(r['speed_kmh']), system)} on the mean while working"
    if r["speed_low_kmh"] is not None and r["speed_high_kmh"] is not None:
        low, high = (fig.speed(from_kmh(r[f"speed_{e}_kmh"]), system) for e in ("low", "high"))
        text += f"; half of the time between {low} and {high}"
    return text


def _rate(r: Mapping[str, Any], system: str) -> str:
    to_si = HECTARE_M2 / HOUR_S
    parts = []
    if r["spot_ha_h"] is not None:
        parts.append(f"{fig.rate(r['spot_ha_h'] * to_si, system)} spot")
    if r["overall_ha_h"] is not None:
        parts.append(f"{fig.rate(r['overall_ha_h'] * to_si, system)} over all")
    if r["field_efficiency"] is not None:
        parts.append(f"field efficiency {r['field_efficiency'] * 100:.0f}{HOLD}%")
    if r["overall_ha_h_m"] is not None and system == METRIC:
        parts.append(f"{r['overall_ha_h_m']:.2f}{HOLD}ha/h per metre")
    return ", ".join(parts)


def _done(r: Mapping[str, Any], system: str) -> str:
    days = f"{r['days']} {'day' if r['days'] == 1 else 'days'}"
    best = fig.area(r["best_day_ha"] * HECTARE_M2, system)
    few = "; few data" if r["days"] < FEW_DAYS else ""
    breaks = f" besides breaks of {clock(r['break_h'] * HOUR_S)} h" if r["break_h"] else ""
    return (
        f"{fig.area(r['worked_ha'] * HECTARE_M2, system)} on {days}, best day {best}; "
        f"{clock(r['field_h'] * HOUR_S)} h in fields{breaks}{few}"
    )


def _lost(r: Mapping[str, Any]) -> str:
    field_h = r["field_h"]
    times = [(r[f"{s}_h"], s) for s in _LOST if field_h and r[f"{s}_h"] >= 0.005 * field_h]
    return ", ".join(
        f"{fig.share(hours, field_h)} {state}" for hours, state in sorted(times, reverse=True)
    )


def _typical(kind: str | None, system: str) -> str:
    if kind not in TYPICAL:
        return ""
    usual = TYPICAL[kind]
    return (
        f"{usual.of}: efficiency {usual.efficiency * 100:.0f}{HOLD}%, "
        f"{fig.speed(usual.speed_m_s, system)} ({SOURCE})"
    )
