"""The table of errors, as text that can be pasted into a page of Markdown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from benchmarks.inference import naive
from benchmarks.inference.recorded import Task
from benchmarks.inference.simulated import NOT_COMPARED, Row, f1

SMALL_M2 = 30_000.0
"""Below this a part-worked field is held to hectares rather than to a share."""

Select = Callable[[Row], bool]
Value = Callable[[Row], float | None]
Lines = list[str]


def _good(r: Row) -> bool:
    return r.quality in ("rtk", "sbas") and 1 <= r.interval_s <= 2


def _phone(r: Row) -> bool:
    return r.quality == "phone" and 1 <= r.interval_s <= 5


def _usual(r: Row) -> bool:
    return 1 <= r.interval_s <= 2


def _small(r: Row) -> bool:
    return r.true_m2 < SMALL_M2 and r.true_m2 < 0.9 * r.boundary_m2


def _area_ha(r: Row) -> float | None:
    return None if r.area is None else (r.found_m2 - r.true_m2) / 1e4


FIGURES: tuple[tuple[str, str, float, Value, Select], ...] = (
    (
        "worked area (net), RTK or SBAS, 1-2 s [%]", "0.4 / 2", 100,
        lambda r: r.area, lambda r: _good(r) and not _small(r),
    ),
    ("- small part-worked fields [ha]", "- / 0.06", 1, _area_ha, lambda r: _good(r) and _small(r)),
    ("worked area (net), phone, 1-5 s [%]", "1.5 / 4", 100, lambda r: r.area, _phone),
    (
        "- every 5 or 10 s, RTK or SBAS [%]", "", 100,
        lambda r: r.area, lambda r: r.quality != "phone" and r.interval_s > 2,
    ),
    ("working hours, 1-2 s [%]", "1 / 4", 100, lambda r: r.hours, _usual),
    ("- RTK or SBAS alone [%]", "", 100, lambda r: r.hours, _good),
    ("filling hours, of those in the field [points]", "2 / 6", 100, lambda r: r.filling, _usual),
    ("working speed [%]", "0.5 / 2", 100, lambda r: r.speed, _usual),
)  # fmt: skip


def figures(rows: Sequence[Row], tasks: Sequence[Task]) -> Lines:
    """The figures to be reached, and those that were."""
    rows = [r for r in rows if r.scenario not in NOT_COMPARED]
    out = _head("figure", "aim: median / worst", "reached: median / 90th / worst", "n")
    for name, aim, scale, value, select in FIGURES:
        found = [abs(v) * scale for r in rows if select(r) and (v := value(r)) is not None]
        out.append(_line(name, aim, _spread(found, "{:.2f}"), len(found)))
    out += _f1_lines(rows)
    false = [r.found_m2 / 1e4 for r in rows if r.area is None]
    out.append(_line("false area, ha", "0 / 0.02", _spread(false, "{:.3f}"), len(false)))
    return out + forage_figures(tasks)


def _f1_lines(rows: Sequence[Row]) -> Lines:
    """F1, and F1 and hours of an oracle: it knows the ground's edges, not the driver's hand."""
    usual = [r for r in rows if r.f1 is not None and r.floor_f1 is not None and _usual(r)]
    hours = [100 * abs(r.floor_hours or 0.0) for r in usual]
    return [
        _line('F1 of "working", 1-2 s', "0.992 / 0.965", _f1s([r.f1 for r in usual]), len(usual)),
        _line("- of the true edges, unlagged", "", _f1s([r.floor_f1 for r in usual]), len(usual)),
        _line("hours of the true edges [%]", "", _spread(hours, "{:.2f}"), len(usual)),
    ]


def _f1s(found: Sequence[float | None]) -> str:
    short = [1 - v for v in found if v is not None]
    return " / ".join(f"{1 - v:.4f}" for v in _three(short)) if short else "none run"


def forage_figures(tasks: Sequence[Task]) -> Lines:
    """The rows for the recorded forage tasks: header position unstated."""
    if not tasks:
        return [_line("forage tasks", "", "recorded data absent", 0)]
    out = []
    for name, aim, key in (
        ("forage tasks: working hours [%]", "2 / 8", "hours"),
        ("forage tasks: gross ha [%]", "2.5 / 8", "gross"),
        ("forage tasks: net ha in the boundary, union of ways [%]", "1.5 / 6", "net_union"),
        ("- against the published union, of single steps [%]", "", "net"),
        ("- the true labels themselves against that [%]", "", "floor_net"),
        ("- against the true labels, both covered alike [%]", "1.5 / 6", "net_alike"),
    ):
        found = [100 * abs(getattr(t, key)) for t in tasks]
        out.append(_line(name, aim, _spread(found, "{:.2f}"), len(found)))
    pool = f"{pooled(tasks):.4f} pooled, {min(t.f1 or 0.0 for t in tasks):.3f} worst"
    out.append(_line('forage tasks: F1 of "working"', "0.96 pooled, 0.90", pool, len(tasks)))
    return out


def pooled(tasks: Sequence[Task]) -> float:
    """F1 over the fixes of all tasks together."""
    said = [t.said for t in tasks if t.said is not None]
    true = [t.true for t in tasks if t.true is not None]
    return f1(np.concatenate(said), np.concatenate(true))


def recordings(unstated: Sequence[Task], stated: Sequence[Task], others: Sequence[Task]) -> Lines:
    """Task by task: errors in %, with those of the true labels beside."""
    out = _head("recording", "gross %", "hours %", "speed %", "net %", "F1", "labels: gross, hours")
    for title, tasks in (
        ("header unstated", unstated), ("header 4 m ahead", stated), ("others", others),
    ):  # fmt: skip
        if tasks:
            out.append(_line(f"*{title}*", *[""] * 6))
        for t in tasks:
            floor = (
                [] if t.floor_gross is None else [_signed(t.floor_gross), _signed(t.floor_hours)]
            )
            cells = [_signed(v) for v in (t.gross, t.hours, t.speed, t.net)]
            f1_cell = "" if t.f1 is None else f"{t.f1:.3f}"
            out.append(_line(t.name, *cells, f1_cell, ", ".join(floor) or t.note))
    return out


METHODS = (
    "boundary area", "distance x width", "speed 2-12 km/h x width", "buffered union",
    "stop detection",
)  # fmt: skip


def beside(rows: Sequence[Row], tasks: Sequence[Task]) -> Lines:
    """The naive methods beside ours, on simulated and on recorded work."""
    out = _head("method", "work", "area %", "hours %", "F1")
    mine = [r for r in rows if r.naive and _good(r) and r.area is not None]
    recorded = [t for t in tasks if t.naive]
    for work, ours, theirs in (
        (
            "simulated, RTK or SBAS, 1-2 s",
            [naive.Score(r.area or 0.0, r.hours, r.f1) for r in mine], [r.naive for r in mine],
        ),
        (
            "forage tasks",
            [naive.Score(t.net or 0.0, t.hours, t.f1) for t in recorded],
            [t.naive for t in recorded],
        ),
    ):  # fmt: skip
        if not ours:
            continue
        out.append(_scores("this project", work, ours))
        for method in METHODS:
            found = [n[method] for n in theirs if n and method in n]
            cells = _scores(method, work, found) if found else ""
            out.append(cells or _line(method, work, "movingpandas is not installed", "", ""))
    return out


def _scores(method: str, work: str, found: Sequence[naive.Score]) -> str:
    area = _two([100 * abs(s.area) for s in found])
    hours = _two([100 * abs(s.hours) for s in found if s.hours is not None])
    f1s = [s.f1 for s in found if s.f1 is not None]
    f1_cell = f"{np.median(f1s):.3f} / {min(f1s):.3f}" if f1s else ""
    return _line(method, work, area, hours, f1_cell)


def ranges(rows: Sequence[Row]) -> Lines:
    """How often the truth lies in the stated 90 % range, and how wide that is."""
    out = _head(
        "receiver", "area: truths inside", "median half-width", "hours: truths inside",
        "median half-width", "n",
    )  # fmt: skip
    stated = [r for r in rows if r.inside is not None and r.scenario not in NOT_COMPARED]
    classes: list[tuple[str, Select]] = [
        (q, lambda r, q=q: r.quality == q)
        for q in ("rtk", "sbas", "phone")  # type: ignore[misc]
    ]
    for name, select in [*classes, ("all", lambda r: True)]:
        some = [r for r in stated if select(r)]
        if some:
            out.append(
                _line(
                    name,
                    f"{100 * np.mean([bool(r.inside) for r in some]):.1f} %",
                    f"{100 * np.median([r.half or 0.0 for r in some]):.2f} %",
                    f"{100 * np.mean([bool(r.hours_inside) for r in some]):.1f} %",
                    f"{100 * np.median([r.hours_half or 0.0 for r in some]):.2f} %",
                    len(some),
                )
            )
    return out


def worst(rows: Sequence[Row], most: int = 5) -> Lines:
    """The stays that are furthest out, figure by figure."""
    rows = [r for r in rows if r.scenario not in NOT_COMPARED]
    out = []
    for name, _, scale, value, select in FIGURES:
        found = [(v * scale, r) for r in rows if select(r) and (v := value(r)) is not None]
        if name.startswith("- RTK"):
            continue
        found.sort(key=lambda p: -abs(p[0]))
        out.append(
            f"- {name.removeprefix('- ')}: "
            + ", ".join(_which(f"{v:+.2f}", r) for v, r in found[:most])
        )
    low = sorted((r for r in rows if r.f1 is not None and _usual(r)), key=lambda r: r.f1 or 0.0)
    out.append("- F1: " + ", ".join(_which(f"{r.f1:.4f}", r) for r in low[:most]))
    false = sorted((r for r in rows if r.area is None and r.found_m2), key=lambda r: -r.found_m2)
    said = ", ".join(_which(f"{r.found_m2 / 1e4:.3f}", r) for r in false[:most])
    out.append("- false area, ha: " + (said or "none"))
    return out


def _which(value: str, r: Row) -> str:
    return f"{r.scenario}:{r.seed} {r.field} {value}"


def _head(*cells: str) -> Lines:
    return [_line(*cells), "|" + "---|" * len(cells)]


def _line(*cells: object) -> str:
    return "| " + " | ".join(str(c) for c in cells) + " |"


def _three(values: Iterable[float]) -> tuple[float, float, float]:
    v = np.asarray(list(values))
    return float(np.median(v)), float(np.percentile(v, 90)), float(v.max())


def _spread(values: Sequence[float], form: str) -> str:
    if not values:
        return "none run"
    return " / ".join(form.format(v) for v in _three(values))


def _two(values: Sequence[float]) -> str:
    return f"{np.median(values):.1f} / {max(values):.1f}" if values else ""


def _signed(value: float | None) -> str:
    return "" if value is None else f"{100 * value:+.1f}"
