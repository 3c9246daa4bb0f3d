"""A working day on one screen: what each machine did, field by field, and what is unsure."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date
from zoneinfo import ZoneInfo

from oplog.events import DayMeasured, WorkMeasured
from oplog.fold import Farm
from oplog.ground import place_name
from oplog.sheets import figures as fig
from oplog.sheets.bars import clock_bar
from oplog.sheets.newground import of_visit
from oplog.sheets.table import METRIC, Column, Table, in_units
from oplog.sheets.text import HOLD, WIDTH, clean, paragraph, write
from oplog.sheets.unsure import is_open as is_open
from oplog.sheets.unsure import unsure as unsure
from oplog.sheets.unsure import unsure_of
from oplog.units import hectares, hectares_per_hour, hours, kmh
from oplog.work.rates import overall_rate_m2_s, spot_rate_m2_s

STATES = ("working", "turning", "filling", "standing", "travelling", "unrecorded")
_MANY = 8
"""More visits than this come as tables, one line each."""
_AFTER_HANDLE = " " * 7
NO_WORK = "no work seen: passed through or stood"
"""Said of a visit without working time."""


def day_sheet(
    farm: Farm,
    day: date,
    *,
    machine: str | None = None,
    system: str = METRIC,
    width: int = WIDTH,
    bold: bool = False,
) -> str:
    """The screen of a day, for one machine or all. Says so where nothing was recorded."""
    days = days_of(farm, day, machine)
    if not days:
        whose = f" by {machine}" if machine else ""
        none = f"{day_name(day)}: nothing recorded{whose}. {_elsewhen(farm, day, machine)}"
        return paragraph(_whole(none), width=width)
    visits = visits_of(farm, day, machine)
    title = day_name(day) + (f", {days[0].machine}" if len({d.machine for d in days}) == 1 else "")
    lines = [f"\033[1m{title}\033[0m" if bold else title]
    names = sorted({d.machine for d in days}, key=str.casefold)
    for name in names:
        own = [v for v in visits if v.machine == name]
        if len(names) > 1:
            lines += ["", f"{clean(name)}:"]
        lines += _visits(farm, own, system, width, bold)
    lines.append("")
    for name in names:
        own_days = [d for d in days if d.machine == name]
        lines += _total(name, own_days, visits, system, width)
        bar = clock_bar(own_days, [v for v in visits if v.machine == name], farm.zone, width - 2)
        lines += [paragraph(line, first="  ", rest="  ", width=width) for line in bar]
    if len(names) > 1:
        lines += _total("all", days, visits, system, width)
    return "\n".join(lines + _unsure_lines(unsure(farm, days, visits, system), width))


def visits_of(farm: Farm, day: date, machine: str | None = None) -> list[WorkMeasured]:
    """The visits of a day in order of start, of one machine or all."""
    return [v for v in farm.visits if v.day == day and _is(v.machine, machine)]


def days_of(farm: Farm, day: date, machine: str | None = None) -> list[DayMeasured]:
    """The measured days of a date, of one machine or all."""
    return [d for d in farm.days if d.day == day and _is(d.machine, machine)]


def _elsewhen(farm: Farm, day: date, machine: str | None) -> str:
    """Where to look instead of a day without anything."""
    known = [d.day for d in farm.days if _is(d.machine, machine)]
    if before := [d for d in known if d < day]:
        return f"The last day before it: oplog day {max(before)}"
    if known:
        return f"The first day on file: oplog day {min(known)}"
    return "Take in a track: oplog import PATH"


def visit_now(farm: Farm, visit: WorkMeasured) -> list[WorkMeasured]:
    """A visit as it counts now: the one of the same machine and field at the same time."""
    return [
        v
        for v in visits_of(farm, visit.day, visit.machine)
        if v.field == visit.field
        and v.started_at < visit.ended_at
        and visit.started_at < v.ended_at
    ]


def visit_lines(
    farm: Farm, visits: Sequence[WorkMeasured], system: str = METRIC, width: int = WIDTH
) -> str:
    """Visits, and what is unsure of them."""
    blocks = ["\n".join(_block(farm, v, system, width)) for v in visits]
    told = _unsure_lines(unsure_of(farm, visits, system), width)
    return "\n".join(["\n\n".join(blocks), *told])


def overall_m2_s(visit: WorkMeasured) -> float | None:
    """Overall rate of work of a visit, long breaks left out; None where no width is known."""
    if visit.worked_m2 is None:
        return None
    return float(overall_rate_m2_s(visit.worked_m2, field_s(visit), visit.break_s))


def field_s(visit: WorkMeasured) -> float:
    """All time of a visit. [s]"""
    return float(sum(getattr(visit, f"{s}_s") for s in STATES))


def day_name(day: date) -> str:
    """A date as "Thursday 25 March 2027"."""
    return f"{day:%A} {day.day} {day:%B %Y}"


def _is(name: str, wanted: str | None) -> bool:
    return wanted is None or name.casefold() == wanted.casefold()


def _visits(
    farm: Farm, visits: Sequence[WorkMeasured], system: str, width: int, bold: bool
) -> list[str]:
    if len(visits) > _MANY:
        return ["", write(in_units(_ground(farm, visits), system), width=width, bold=bold), "",
                write(in_units(_time(farm, visits), system), width=width, bold=bold)]  # fmt: skip
    lines = []
    for visit in visits:
        lines += ["", *_block(farm, visit, system, width)]
    return lines


def _block(farm: Farm, visit: WorkMeasured, system: str, width: int) -> list[str]:
    handle = farm.standing[visit.event_id].handle
    when = period(farm, visit)
    name = clean(place_name(farm, visit))
    room = width - len(_AFTER_HANDLE) - len(when) - 2
    head = f"{handle:<5}  {name[:room]:<{room}}  {when}"
    body = [what(farm, visit, system)]
    if not visit.field:
        body.append(of_visit(farm, visit, system))
    if visit.working_s <= 0:
        body.append(NO_WORK)
    body += [_labelled(label, text) for label, text in facts(visit, system)]
    rest = _AFTER_HANDLE + " " * 8
    return [head, *(paragraph(b, first=_AFTER_HANDLE, rest=rest, width=width) for b in body)]


def facts(
    visit: WorkMeasured, system: str = METRIC, customer: str | None = None
) -> list[tuple[str, str]]:
    """What is known of a visit: labels with their figures in words, hours last.

    customer: whom it is shown to; why ground was not looked at is not told then.
    """
    if visit.working_s <= 0:
        found = []
    elif visit.worked_m2 is None:
        found = [
            ("worked", "not known until the implement is said"),
            ("speed", f"{fig.speed(visit.speed_m_s, system)} working"),
        ]
    else:
        found = _figures(visit, system)
        if visit.unseen_m2:
            found.insert(2, ("unseen", unseen(visit.unseen_m2, system, customer)))
    return [*found, ("hours", _hours(visit))]


def unseen(area_m2: float, system: str = METRIC, customer: str | None = None) -> str:
    """What is said of ground that a private place hides."""
    why = "" if customer else ": private place"
    return f"{fig.area(area_m2, system)} not looked at{why}"


def _figures(visit: WorkMeasured, system: str) -> list[tuple[str, str]]:
    ranged = fig.area_range(visit.worked_low_m2, visit.worked_high_m2, system)
    spot = None
    used_m = visit.width_used_m or visit.width_m or visit.bout_width_m
    if visit.speed_m_s is not None and used_m is not None:
        spot = float(spot_rate_m2_s(visit.speed_m_s, used_m))
    of_field = ""
    if visit.boundary_m2:
        of_field = (
            f", {fig.share(visit.worked_m2, visit.boundary_m2)} of the field's "
            f"{fig.area(visit.boundary_m2, system)}"
        )
    lines = [
        (
            "worked",
            fig.area(visit.worked_m2, system) + (f" ({ranged})" if ranged else "") + of_field,
        ),
        (
            "gross",
            f"{fig.area(visit.gross_m2, system)}; overlap "
            f"{fig.area(visit.overlap_m2, system, unit=False)}, missed "
            f"{fig.area(visit.missed_m2, system, unit=False)}"
            + (
                f", over the boundary {fig.area(visit.outside_m2, system, unit=False)}"
                if visit.field
                else ""
            ),
        ),
        (
            "rate",
            f"{fig.rate(overall_m2_s(visit), system)} over all, {fig.rate(spot, system)} while "
            f"working at {fig.speed(visit.speed_m_s, system)}",
        ),
    ]
    if visit.applied_m2 is not None:
        applied = f"{fig.area(visit.applied_m2, system)} (sections shut off: assumed)"
        lines.insert(2, ("applied", applied))
    return lines


def _labelled(label: str, text: str) -> str:
    return f"{label:<7} {text}"


def what(farm: Farm, visit: WorkMeasured, system: str) -> str:
    """Operation, implement with its width, driver and job, as far as they are known."""
    standing = farm.standing[visit.event_id]
    if visit.implement is None:
        what = visit.operation or ("work not said yet" if visit.working_s > 0 else "no work")
    else:
        what = f"{visit.operation or 'work'} with {visit.implement}"
        what += f", {fig.width(visit.width_m, system)}"
    parts = [what, f"by {visit.driver}" if visit.driver else "", standing.job or ""]
    return "; ".join(filter(None, parts))


def _hours(visit: WorkMeasured) -> str:
    parts = [
        f"{fig.clock(getattr(visit, f'{s}_s'))}{HOLD}{s}"
        for s in STATES
        if s != "unrecorded" or visit.unrecorded_s >= 30
    ]
    long_break = f" (breaks {fig.clock(visit.break_s)})" if visit.break_s else ""
    return ", ".join(p + (long_break if p.endswith("standing") else "") for p in parts)


def period(farm: Farm, visit: WorkMeasured) -> str:
    """Start and end of a visit by the farm's clock."""
    zone = ZoneInfo(farm.zone)
    begin, end = visit.started_at.astimezone(zone), visit.ended_at.astimezone(zone)
    return f"{begin:%H:%M} to {end:%H:%M}"


def _total(
    name: str,
    days: Sequence[DayMeasured],
    visits: Sequence[WorkMeasured],
    system: str,
    width: int,
) -> list[str]:
    own = [v for v in visits if name == "all" or v.machine == name]
    label = "the day" if name == "all" else clean(name)
    parts = totals(days, own, system)
    return [paragraph(f"{label}: " + "; ".join(parts) + ".", rest="  ", width=width)]


def totals(
    days: Sequence[DayMeasured],
    visits: Sequence[WorkMeasured],
    system: str = METRIC,
    *,
    outside: bool = True,
) -> list[str]:
    """What measured days come to, as parts of a sentence. outside: with the time outside fields."""
    worked = [v for v in visits if v.worked_m2 is not None]
    total = sum(v.worked_m2 or 0.0 for v in worked)
    low = sum(v.worked_low_m2 or v.worked_m2 or 0.0 for v in worked)
    high = sum(v.worked_high_m2 or v.worked_m2 or 0.0 for v in worked)
    unknown = sum(is_open(v) for v in visits)
    still_open = f"{unknown} visit{'s' * (unknown > 1)} still open" if unknown else ""
    area = f"{fig.area(total, system)} worked"
    if total:
        area += f" ({fig.area_range(low, high, system)})"
    return [
        *([area] if total or not unknown else []),
        *([still_open] if still_open else []),
        f"{fig.clock(sum(d.field_s for d in days))} in fields",
        *(_outside(days, system) if outside else []),
    ]


def _outside(days: Sequence[DayMeasured], system: str) -> list[str]:
    return [
        f"{fig.clock(sum(d.road_s for d in days))} on the road "
        f"({fig.distance(sum(d.road_m for d in days), system)})",
        f"{fig.clock(sum(d.elsewhere_s for d in days))} elsewhere",
    ]


def _unsure_lines(found: Sequence[str], width: int) -> list[str]:
    if not found:
        return []
    return [
        "",
        "Unsure:",
        *(paragraph(_whole(f), first="- ", rest="  ", width=width) for f in found),
    ]


def _whole(sentence: str) -> str:
    """A sentence whose command, standing last, stays on one line, so that it can be copied, and
    whose numbers stay with their units."""
    sentence = re.sub(r"(?<=\d) (?=(?:m|ha|km|s|%)(?:\W|$))", HOLD, sentence)
    words, start, command = sentence.rpartition(" oplog ")
    return f"{words} oplog{HOLD}{command.replace(' ', HOLD)}" if start else sentence


def _ground(farm: Farm, visits: Iterable[WorkMeasured]) -> Table:
    columns = (
        Column("visit", "visit"),
        Column("field", "field"),
        Column("work", "work"),
        Column("worked_ha", "worked", "ha"),
        Column("low_ha", "low", "ha"),
        Column("high_ha", "high", "ha"),
        Column("gross_ha", "gross", "ha"),
        Column("overlap_ha", "overlap", "ha"),
        Column("percent", "of field", "%"),
    )
    rows = []
    for v in visits:
        share = 100 * v.worked_m2 / v.boundary_m2 if v.worked_m2 and v.boundary_m2 else None
        areas = (v.worked_m2, v.worked_low_m2, v.worked_high_m2, v.gross_m2, v.overlap_m2)
        said = what(farm, v, METRIC)
        ha = (None if a is None else hectares(a) for a in areas)
        place = place_name(farm, v)
        rows.append((farm.standing[v.event_id].handle, place, said, *ha, share))
    return Table("", columns, tuple(rows))


def _time(farm: Farm, visits: Iterable[WorkMeasured]) -> Table:
    columns = (
        Column("visit", "visit"),
        Column("from", "from"),
        Column("speed_kmh", "", "km/h"),
        Column("rate_ha_h", "", "ha/h"),
        *(Column(f"{s}_h", "unrec." if s == "unrecorded" else s, "h") for s in STATES),
    )
    rows = []
    for v in visits:
        rate = overall_m2_s(v)
        rows.append(
            (
                farm.standing[v.event_id].handle,
                f"{v.started_at.astimezone(ZoneInfo(farm.zone)):%H:%M}",
                None if v.speed_m_s is None else kmh(v.speed_m_s),
                None if rate is None else hectares_per_hour(rate),
                *(hours(getattr(v, f"{s}_s")) for s in STATES),
            )
        )
    return Table("", columns, tuple(rows))
