"""Jobs on a sheet: how far, how fast, when done, and what is still needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Any

from oplog.query.progress import Progress
from oplog.sheets import figures as fig
from oplog.sheets.bars import progress_bar
from oplog.sheets.table import METRIC, Column, Table
from oplog.sheets.text import HOLD, WIDTH, clean, clock, paragraph
from oplog.units import HECTARE_M2, HOUR_S

_LABEL = 9


def jobs_table(found: Sequence[Progress], zone: tzinfo = UTC) -> Table:
    """The jobs as data: the columns of the question `jobs`, and the forecast. Times in UTC."""
    columns = (
        Column("job", "job"),
        Column("operation", "operation"),
        Column("crop", "crop"),
        Column("harvest_year", "harvest"),
        Column("fields", "fields"),
        Column("area_ha", "area", "ha"),
        Column("done_ha", "done", "ha"),
        Column("left_ha", "left", "ha"),
        Column("missed_ha", "missed", "ha"),
        Column("percent", "done", "%"),
        Column("by", "by"),
        Column("state", ""),
        Column("days", "days"),
        Column("ha_a_day", "ha a day"),
        Column("rate_ha_h", "rate", "ha/h"),
        Column("left_h", "left", "h"),
        Column("done_at", "done at"),
        Column("done_at_low", "from"),
        Column("done_at_high", "to"),
        Column("in_time", "in time"),
    )
    own = [c.name for c in columns[:-4]]
    rows = tuple((*(p.job[n] for n in own), *_reckoned(p)) for p in found)
    return Table("", columns, rows)


def needs_table(found: Sequence[Progress]) -> Table:
    """What the jobs still need, as data."""
    columns = tuple(Column(n, n.replace("_", " ")) for n in (
        "job", "product", "kind", "rate_per_hectare", "planned", "used", "needed", "unit"
    ))  # fmt: skip
    rows = tuple(
        (p.job["job"], n.product, n.kind, n.rate, n.planned, n.used, n.needed, n.unit)
        for p in found
        for n in p.needs
    )
    return Table("", columns, rows)


def jobs_sheet(
    found: Sequence[Progress],
    now: datetime,
    zone: tzinfo,
    *,
    days_lost: int = 0,
    system: str = METRIC,
    width: int = WIDTH,
    bold: bool = False,
) -> str:
    """The jobs for people, each as a block of lines."""
    return "\n\n".join(_block(p, now, zone, days_lost, system, width, bold) for p in found)


def _reckoned(p: Progress) -> tuple[object, ...]:
    if p.forecast is None:
        return (None, None, None, None)
    in_time = p.forecast.done_at <= p.deadline_at if p.deadline_at else None
    return (p.forecast.done_at, p.forecast.low, p.forecast.high, in_time)


def _block(
    p: Progress, now: datetime, zone: tzinfo, days_lost: int, system: str, width: int, bold: bool
) -> str:
    job = p.job
    crop = f", {job['crop']} {job['harvest_year'] or ''}".rstrip() if job["crop"] else ""
    by = f", by {_day(job['by'])}" if job["by"] else ""
    state = "" if job["state"] == "open" else f"; {job['state']}"
    title = clean(f"{job['job']}: {job['operation']}{crop}{by}{state}".replace(HOLD, " "))
    lines = [f"\033[1m{title}\033[0m" if bold else title]
    if job["percent"] is not None:
        bar = progress_bar(job["percent"] / 100.0)
        done = fig.share(job["percent"], 100.0).replace(HOLD, " ")
        lines.append(f"  {'progress':<{_LABEL}}{bar} {done}")
    for label, text in job_parts(p, now, zone, days_lost, system):
        first = f"  {label:<{_LABEL}}"
        lines.append(paragraph(text, first=first, rest=" " * len(first), width=width))
    return "\n".join(lines)


def job_parts(
    p: Progress, now: datetime, zone: tzinfo, days_lost: int = 0, system: str = METRIC
) -> list[tuple[str, str]]:
    """What is said of a job: labels with their words."""
    parts = [
        ("area", _area(p, system)),
        ("so far", _so_far(p, system)),
        ("done by", _done(p, now, zone, days_lost)),
        ("needs", "; ".join(_need(n) for n in p.needs if p.job["state"] == "open")),
        ("fields", _fields(p, system)),
    ]
    return [(label, text) for label, text in parts if text]


def _area(p: Progress, system: str) -> str:
    job = p.job
    if not job["area_ha"]:
        return "not known: none of its fields has a boundary on file, or no width was said"
    area_m2, done_m2, left_m2 = (
        (job[c] or 0.0) * HECTARE_M2 for c in ("area_ha", "done_ha", "left_ha")
    )
    text = f"{fig.area(area_m2, system)} in {_count(job['fields'], 'field')}; "
    text += f"{fig.area(done_m2, system)} done, {fig.area(left_m2, system)} left"
    if job["state"] == "open":
        text += f" ({fig.share(area_m2 - left_m2, area_m2)} done)"
    if job["fields_unmeasured"]:
        text += (
            f"; {_count(job['fields_unmeasured'], 'field')} worked at an unknown width not in it"
        )
    return text


def _so_far(p: Progress, system: str) -> str:
    job = p.job
    if not job["days"]:
        return "no work yet"
    if not job["ha_a_day"] or not job["rate_ha_h"]:
        return f"{_count(job['days'], 'day')}"
    a_day = fig.area(job["ha_a_day"] * HECTARE_M2, system)
    rate = fig.rate(job["rate_ha_h"] * HECTARE_M2 / HOUR_S, system)
    text = f"{_count(job['days'], 'day')}, {a_day} a day; {rate} in the field"
    if job["state"] == "open" and job["left_h"]:
        text += f", at which the rest takes {clock(job['left_h'] * HOUR_S)} h"
    return text


def _done(p: Progress, now: datetime, zone: tzinfo, days_lost: int) -> str:
    if p.job["state"] != "open":
        return ""
    past = p.job["by"] is not None and p.job["by"] < now.astimezone(zone).date()
    late = f"The deadline {_day(p.job['by'])} is past. " if past else ""
    if p.forecast is None:
        if p.hours is None:
            return late + (
                f"cannot be said: no day of {p.job['operation']} is on file yet. With --start and "
                "--stop and one day of work it can."
            )
        return late + "cannot be said from the days on file."
    hours = f"each day worked from {p.hours.start:%H:%M} to {p.hours.stop:%H:%M}" if p.hours else ""
    days = _count(p.forecast.days, "day")
    kept = f", the middle of {days} of it" if p.hours and p.hours.kept else ""
    if p.like:
        kept = f", as on {days} of other {p.job['operation']}: this job has none yet"
    lost = f", {_count(days_lost, 'day')} lost" if days_lost else ""
    text = f"{_moment(p.forecast.done_at, zone)} ({hours}{kept}{lost}). "
    if p.forecast.low and p.forecast.high:
        text += f"{_between(p.forecast.low, p.forecast.high, zone)}. "
    else:
        text += "From one day there is no range. "
    return (late + text + ("" if past else _against(p))).rstrip()


def _between(low: datetime, high: datetime, zone: tzinfo) -> str:
    a, b = _moment(low, zone), _moment(high, zone)
    return f"8 times in 10 between {a} and {b}" if a != b else "The days so far were all alike"


def _against(p: Progress) -> str:
    if p.deadline_at is None or p.forecast is None:
        return ""
    by = _day(p.job["by"])
    low, high = p.forecast.low or p.forecast.done_at, p.forecast.high or p.forecast.done_at
    if high <= p.deadline_at:
        return f"In time for {by}."
    if low > p.deadline_at:
        return f"Too late for {by}."
    return f"It may miss {by}."


def _need(need: object) -> str:
    from oplog.query.progress import Need

    assert isinstance(need, Need)
    how = "planned" if need.planned else "as it went out so far"
    return (
        f"{amount(need.needed, need.unit)} of {need.product} still "
        f"({amount(need.rate, need.unit)}/ha {how})"
    )


def amount(value: float, unit: str) -> str:
    """An amount with its unit: 1234.5, "kg" -> "1,235 kg"; small ones with two figures more."""
    digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text}{HOLD}{unit}"


def _fields(p: Progress, system: str) -> str:
    sentences = []
    begun = [f for f in p.fields if f["state"] == "part-done"]
    if begun:
        each = (
            f"{f['field']} ({fig.area(f['left_ha'] * HECTARE_M2, system)} left{_unseen(f, system)})"
            for f in begun
        )
        sentences.append(f"Part-done: {', '.join(each)}.")
    for state in ("not begun", "not measured"):
        if some := [f["field"] for f in p.fields if f["state"] == state]:
            sentences.append(f"{state.capitalize()}: {', '.join(some)}.")
    if done := [f for f in p.fields if f["state"] == "finished"]:
        each = (
            f"{f['field']} ({fig.area(f['missed_ha'] * HECTARE_M2, system)} missed"
            f"{_unseen(f, system)})"
            for f in done
        )
        sentences.append(f"Finished: {', '.join(each)}.")
    return " ".join(sentences)


def _unseen(field: Mapping[str, Any], system: str) -> str:
    """What of a field a private place hides, as part of a sentence."""
    area_ha = field["unseen_ha"]
    return f", {fig.area(area_ha * HECTARE_M2, system)} not looked at" if area_ha else ""


def _moment(moment: datetime, zone: tzinfo) -> str:
    local = moment.astimezone(zone)
    quarter = local + timedelta(minutes=15 - local.minute % 15 if local.minute % 15 else 0)
    return f"{_day(quarter.date())} at {quarter:%H:%M}"


def _day(day: date) -> str:
    return f"{day:%a}{HOLD}{day.day}{HOLD}{day:%B}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
