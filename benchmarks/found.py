"""Ground worked that lies in no field on file: found, told from the road, and outlined.

Every scenario of the simulator with its boundaries withheld, and recordings with theirs, against
the truth, beside a speed threshold. Prints tables for DEVELOPERS.md; draws pictures into
benchmarks/out.

    python -m benchmarks.found --seeds 2
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from importlib.util import find_spec
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from benchmarks.inference import recorded
from benchmarks.inference.simulated import rig_of, seconds_of
from oplog.kit import Rig
from oplog.track import Track, track
from oplog.work.measure import measure_day, plane_for
from oplog.work.model import DayWork
from tests.simulator.scenarios import SCENARIOS
from tests.simulator.scene import Scenario

OUT = Path(__file__).resolve().parent / "out"

LEFT_OUT = ("two_machines_one_file",)
"""Refused before anything is measured."""

WHOLE = 0.97
"""A field of which more than this was worked can be outlined whole; so can one whose headland
was. Of other fields the outline is held against the ground worked."""

SLOW_M_S = 15 / 3.6
"""The naive method: slower than 15 km/h, as the median over a minute, is in a field."""

Flags = NDArray[np.bool_]
RigFor = Callable[[str, datetime, datetime], Rig]


@dataclass(frozen=True, eq=False)
class Outline:
    """A true field against the found piece that covers most of it. Shares. [1]"""

    error: float
    iou: float
    corners: int
    whole: bool


@dataclass(frozen=True, eq=False)
class Row:
    """One day against its truth. said, true, slow: "in a field", fix by fix."""

    name: str
    quality: str
    width_said: bool
    said: Flags
    true: Flags
    slow: Flags
    fields: int
    found: int
    outlines: tuple[Outline, ...]
    false_m2: float
    worked: float | None


def simulated(job: tuple[str, int, bool], drawing: bool = False) -> list[Row]:
    """A scenario, and its other days and machines, with no boundary on file."""
    name, seed, width_said = job
    whole = SCENARIOS[name](seed)
    rows = []
    for k, scenario in enumerate([whole, *whole.also]):
        stated = partial(_stated, scenario) if width_said else _unsaid
        day = measure_day(scenario.track(), [], stated)
        rows.append(_row(f"{name} {seed}" + f" ({k + 1})" * (k > 0), scenario, width_said, day))
        if drawing and k == 0 and width_said:
            draw(name, scenario.track(), day, [f["true"] for f in scenario.fields])
    return rows


def _stated(scenario: Scenario, name: str, started: datetime, ended: datetime) -> Rig:
    return rig_of(scenario.rig_for(name, started, ended))


def _unsaid(name: str, started: datetime, ended: datetime) -> Rig:
    return Rig()


def _row(name: str, scenario: Scenario, width_said: bool, day: DayWork) -> Row:
    at = seconds_of(scenario.fixes["time"])
    done = [v for v in scenario.visits_truth if v.worked_m2 > 0]
    true = np.zeros(len(at), dtype=bool)
    for v in done:
        true |= (at >= v.started.timestamp()) & (at < v.ended.timestamp())
    plane = plane_for(scenario.track())
    fields = []
    for f in scenario.fields:
        worked = [plane.project(v.worked) for v in done if v.field == f["name"]]
        if worked:
            fields.append((plane.project(f["true"]), _union(worked)))
    found = [plane.project(f.boundary) for f in day.found]
    true_m2 = sum(v.in_boundary_m2 for v in done)
    got_m2 = sum(v.worked_m2 or 0.0 for v in day.visits)
    return Row(
        name, scenario.quality, width_said, _said(day, at), true, _slow(scenario.track()),
        len(fields), len(found), tuple(_outline(found, *f) for f in fields),
        _beside(found, [f for f, _ in fields]), got_m2 / true_m2 - 1 if true_m2 else None,
    )  # fmt: skip


def _said(day: DayWork, at: NDArray[np.float64]) -> Flags:
    said = np.zeros(len(at), dtype=bool)
    for v in day.visits:
        said |= (at >= v.started_at.timestamp()) & (at < v.ended_at.timestamp())
    return said


def _slow(fixes: Track) -> Flags:
    """The naive method: median speed over a minute below a threshold."""
    plane = plane_for(fixes)
    x, y = plane.xy(fixes.lon, fixes.lat)
    at = seconds_of(fixes.time)
    step = np.hypot(np.diff(x), np.diff(y)) / np.maximum(np.diff(at), 0.1)
    speed = np.append(step, step[-1:])
    half = int(np.clip(30.0 / max(float(np.median(np.diff(at))), 0.1), 1, 300))
    padded = np.pad(speed, half, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    return np.asarray(middle < SLOW_M_S)


def _union(shapes: list[Any]) -> Any:
    return shapely.union_all(shapes, grid_size=0.001)


def _outline(found: list[Any], field: Any, worked: Any) -> Outline:
    filled = _union([shapely.Polygon(p.exterior) for p in shapely.get_parts(worked)])
    whole = worked.area > WHOLE * field.area or filled.area > WHOLE * field.area
    target = field if whole else _closed(worked)
    if not found:
        return Outline(-1.0, 0.0, 0, whole)
    shared = [shapely.intersection(f, target, grid_size=0.001).area for f in found]
    best = found[int(np.argmax(shared))]
    both = max(shared)
    iou = both / (best.area + target.area - both)
    corners = shapely.get_num_coordinates(best) - len(shapely.get_parts(best))
    return Outline(best.area / target.area - 1, iou, int(corners), whole)


def _closed(worked: Any) -> Any:
    """Ground worked without the slits between bouts and the holes."""
    parts = shapely.get_parts(worked.buffer(2.5).buffer(-2.5))
    return _union([shapely.Polygon(p.exterior) for p in parts])


def _beside(found: list[Any], fields: list[Any]) -> float:
    """Ground found more than ten metres outside every true field. [m2]"""
    if not found:
        return 0.0
    taken = _union([f.buffer(10.0) for f in fields]) if fields else shapely.Polygon()
    return float(shapely.difference(_union(found), taken, grid_size=0.001).area)


def recordings() -> list[tuple[str, Track, Any, float]]:
    """The recorded forage tasks, each with the recorded road laid before and after it: name,
    track, field and width."""
    folder = "forage_harvester_isobus"
    made = []
    for name in recorded.forage_names():
        task, expected = recorded.load(folder, name)
        road, _ = recorded.load("road_transport_isobus", "transport_a")
        field = recorded.boundary(folder, expected["field"]).boundary
        made.append((name, _with_road(task, road), field, 9.0))
    return made


def _with_road(task: Track, road: Track) -> Track:
    """A task with a road that ends at its first fix and another that begins at its last."""
    plane = plane_for(task)
    x, y = plane.xy(task.lon, task.lat)
    rx, ry = plane_for(road).xy(road.lon, road.lat)
    seconds = seconds_of(road.time) - seconds_of(road.time)[0]
    at = seconds_of(task.time)
    away = np.arctan2(y[0] - y.mean(), x[0] - x.mean())
    out = np.arctan2(y[-1] - y.mean(), x[-1] - x.mean())
    back = _turned(rx - rx[0], ry - ry[0], away)
    on = _turned(rx - rx[0], ry - ry[0], out)
    xs = np.concatenate([back[0][::-1] + x[0], x, on[0] + x[-1]])
    ys = np.concatenate([back[1][::-1] + y[0], y, on[1] + y[-1]])
    times = np.concatenate([at[0] - 1 - seconds, at, at[-1] + 1 + seconds])
    times[: len(seconds)] = np.sort(times[: len(seconds)])
    lon, lat = plane.lonlat(xs, ys)
    return track((times * 1e6).astype("datetime64[us]"), lat, lon)


def _turned(
    x: NDArray[np.float64], y: NDArray[np.float64], to: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A way turned so that it leads in a direction."""
    by = to - np.arctan2(y[-1], x[-1])
    return x * np.cos(by) - y * np.sin(by), x * np.sin(by) + y * np.cos(by)


def recording(job: tuple[str, Track, Any, float, bool], drawing: bool = False) -> Row:
    """A recording with its boundary withheld: within 10 m of the field is field."""
    name, fixes, boundary, width_m, width_said = job
    rig = Rig("header", "chopping", width_m=width_m) if width_said else Rig()
    day = measure_day(fixes, [], lambda *_: rig)
    plane = plane_for(fixes)
    field = plane.project(boundary).buffer(0)
    true = shapely.contains_xy(field.buffer(10.0), *plane.xy(fixes.lon, fixes.lat))
    found = [plane.project(f.boundary) for f in day.found]
    if drawing and width_said:
        draw(name, fixes, day, [boundary])
    return Row(
        name, "recorded", width_said, _said(day, seconds_of(fixes.time)), true, _slow(fixes), 1,
        len(found), (_outline(found, field, field),), _beside(found, [field]), None,
    )  # fmt: skip


def draw(name: str, fixes: Track, day: DayWork, fields: list[Any]) -> None:
    """A picture: true fields dashed, found pieces in colour, fixes said to be in a field green."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    OUT.mkdir(exist_ok=True)
    plane = plane_for(fixes)
    figure, axes = pyplot.subplots(figsize=(11, 9))
    x, y = plane.xy(fixes.lon, fixes.lat)
    said = _said(day, seconds_of(fixes.time))
    axes.plot(x, y, "-", color="0.8", linewidth=0.4)
    axes.scatter(x[said], y[said], s=1, color="#2e7d32")
    axes.scatter(x[~said], y[~said], s=2, color="#c62828")
    for field in fields:
        _rings(axes, plane.project(field), "k", "--")
    for k, found in enumerate(day.found):
        _rings(axes, plane.project(found.boundary), ("#1565c0", "#ad1457", "#6a1b9a")[k % 3], "-")
    bounds = shapely.total_bounds([plane.project(f) for f in fields])
    axes.set_xlim(bounds[0] - 60, bounds[2] + 60)
    axes.set_ylim(bounds[1] - 60, bounds[3] + 60)
    axes.set_aspect("equal")
    axes.set_title(f"{name}: " + ", ".join(f"{f.area_m2 / 1e4:.2f} ha" for f in day.found))
    figure.savefig(OUT / f"found_{name}.png", dpi=60)
    pyplot.close(figure)


def _rings(axes: Any, ground: Any, colour: str, style: str) -> None:
    for part in shapely.get_parts(ground):
        for ring in (part.exterior, *part.interiors):
            axes.plot(*ring.xy, style, color=colour, linewidth=1.2)


def f1(said: Flags, true: Flags) -> float:
    """Mean of the F1 of "field" and of "road"; of the one there is where there is one only."""
    scores = [
        2 * float((s & t).sum()) / float(s.sum() + t.sum())
        for s, t in ((said, true), (~said, ~true))
        if t.any()
    ]
    return float(np.mean(scores))


def table(title: str, rows: list[Row]) -> list[str]:
    """One line of figures for a lot of days."""
    said, true, slow = (np.concatenate([getattr(r, n) for r in rows])
                        for n in ("said", "true", "slow"))  # fmt: skip
    right = [float((r.said == r.true).mean()) for r in rows]
    whole = [o for r in rows for o in r.outlines if o.whole]
    part = [o for r in rows for o in r.outlines if not o.whole]
    count = sum(r.found == r.fields for r in rows)
    naive = f"{100 * (slow == true).mean():.1f} % / {f1(slow, true):.3f}"
    worked = [abs(r.worked) for r in rows if r.worked is not None]
    return [
        f"| {title} | {len(rows)} | {100 * (said == true).mean():.2f} % | {f1(said, true):.3f} | "
        f"{100 * np.median(right):.2f} / {100 * min(right):.1f} % | {naive} | {count} of "
        f"{len(rows)} | {_spread([abs(o.error) for o in whole])} | "
        f"{_middle([o.iou for o in whole])} | {_spread([abs(o.error) for o in part])} | "
        f"{_spread(worked)} | {sum(r.false_m2 for r in rows) / 1e4:.2f} ha | "
        f"{_corners([o.corners for o in whole])} |"
    ]


def _spread(errors: list[float]) -> str:
    if not errors:
        return "-"
    return (
        f"{100 * np.median(errors):.2f} / {100 * np.percentile(errors, 90):.2f} / "
        f"{100 * max(errors):.2f} %"
    )


def _middle(values: list[float]) -> str:
    return f"{np.median(values):.3f} / {min(values):.3f}" if values else "-"


def _corners(values: list[int]) -> str:
    return f"{np.median(values):.0f} / {max(values)}" if values else "-"


HEAD = [
    "| days | n | points right | macro F1 | median / worst day | speed below 15 km/h: points, F1 | "
    "pieces as many as fields | outline against the field: median / 9 in 10 / worst | IoU: median "
    "/ worst | outline of part-worked ground against it | worked area | found beside fields | "
    "corners: median / most |",
    "|---|---|---|---|---|---|---|---|---|---|---|---|---|",
]


def main() -> int:
    args = _arguments()
    drawing = not args.no_pictures and find_spec("matplotlib") is not None
    names = [n for n in args.only or SCENARIOS if n not in LEFT_OUT]
    seeds = range(args.first_seed, args.first_seed + args.seeds)
    jobs = list(product(names, seeds, (True, False)))
    tasks = [] if args.only else [(*t, said) for t in recordings() for said in (True, False)]
    with ProcessPoolExecutor(args.processes) as pool:
        rows = [r for some in pool.map(partial(simulated, drawing=drawing), jobs) for r in some]
        real = list(pool.map(partial(recording, drawing=drawing), tasks))
    print(f"\n{date.today()}, {len(names)} scenarios, seeds {seeds[0]} to {seeds[-1]}\n")
    print(*HEAD, sep="\n")
    for said, words in ((True, "width said"), (False, "width not said")):
        for quality in ("rtk", "sbas", "phone"):
            some = [r for r in rows if r.quality == quality and r.width_said is said]
            print(*(table(f"{quality}, {words}", some) if some else ()), sep="\n")
        some = [r for r in real if r.width_said is said]
        print(*(table(f"recorded, {words}", some) if some else ()), sep="\n")
    _worst([*rows, *real])
    return 0


def _worst(rows: list[Row]) -> None:
    """The days furthest from the truth, to be looked at."""
    print("\nFurthest out\n")
    for r in sorted(rows, key=lambda r: float((r.said == r.true).mean()))[:8]:
        print(f"- {r.name}, width {'' if r.width_said else 'not '}said: "
              f"{100 * (r.said == r.true).mean():.1f} % of points")  # fmt: skip
    for r in rows:
        if r.found != r.fields:
            print(f"- {r.name}, width {'' if r.width_said else 'not '}said: {r.fields} fields, "
                  f"{r.found} found")  # fmt: skip
    out = [(abs(o.error), r.name, o) for r in rows for o in r.outlines]
    for error, name, o in sorted(out, key=lambda e: -e[0])[:8]:
        print(f"- {name}: outline {100 * error:.1f} % off{'' if o.whole else ' (part-worked)'}")
    for r in rows:
        if r.false_m2 > 100:
            print(f"- {r.name}: {r.false_m2 / 1e4:.2f} ha found beside the fields")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.found", description=__doc__)
    parser.add_argument("--seeds", type=int, default=2, help="seeds per scenario")
    parser.add_argument("--first-seed", type=int, default=100)
    parser.add_argument("--only", nargs="+", choices=list(SCENARIOS), metavar="NAME")
    parser.add_argument("--no-pictures", action="store_true")
    parser.add_argument("--processes", type=int, default=2)
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
