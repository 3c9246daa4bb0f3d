"""A picture per scenario: truth left, inference right, in one frame."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely

from benchmarks.inference.simulated import seconds_of
from oplog.geodesy import Plane
from oplog.work.measure import plane_for
from oplog.work.model import DayWork
from tests.simulator.scene import Scenario

OUT = Path(__file__).resolve().parents[1] / "out"

COLOURS = {
    "working": "#2e7d32", "turning": "#e08e0b", "filling": "#1565c0", "standing": "#7b1fa2",
    "travelling": "#c62828", "unrecorded": "#000000", "road": "#9e9e9e", "elsewhere": "#9e9e9e",
}  # fmt: skip


def draw(scenario: Scenario, seed: int, day: DayWork) -> Path:
    """Draw a scenario with what was measured of it; gives the file."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    OUT.mkdir(exist_ok=True)
    plane = plane_for(scenario.track())
    figure, (left, right) = pyplot.subplots(1, 2, figsize=(18, 9), sharex=True, sharey=True)
    for axes in (left, right):
        for field in scenario.fields:
            _outline(axes, plane.project(field["true"]), "0.6", "-")
            if field["boundary"] is not None:
                _outline(axes, plane.project(field["boundary"]), "k", "--")
        axes.set_aspect("equal")
    for truth in scenario.visits_truth:
        _fill(left, plane.project(truth.worked))
    for visit in day.visits:
        _fill(right, plane.project(visit.worked))
    _dots(left, scenario, plane, np.asarray(scenario.labels))
    _dots(right, scenario, plane, said(scenario, day))
    left.set_title(f"truth: {_sum(scenario.visits_truth, 'in_boundary_m2')}")
    right.set_title(f"inference: {_sum(day.visits, 'worked_m2')}")
    _frame(left, scenario, plane)
    figure.legend(*left.get_legend_handles_labels(), loc="lower center", ncols=7)
    figure.suptitle(f"{scenario.name}, seed {seed}: {scenario.quality}, {scenario.interval_s:g} s")
    figure.tight_layout(rect=(0, 0.03, 1, 1))
    path = OUT / f"{scenario.name}.png"
    figure.savefig(path, dpi=70)
    pyplot.close(figure)
    return path


def said(scenario: Scenario, day: DayWork) -> Any:
    """The state that the inference gives each fix: (n,) names."""
    at = seconds_of(scenario.fixes["time"])
    state = np.full(len(at), "road", dtype="<U12")
    spans = [*day.spans, *(s for v in day.visits for s in v.spans)]
    for span in spans:
        begin, end = span.started_at.timestamp(), span.ended_at.timestamp()
        state[(at >= begin) & (at < end)] = span.state
    return state


def _dots(axes: Any, scenario: Scenario, plane: Plane, state: Any) -> None:
    x, y = plane.xy(scenario.fixes["lon"], scenario.fixes["lat"])
    axes.plot(x, y, "-", color="0.75", linewidth=0.4, zorder=2)
    for name, colour in COLOURS.items():
        rows = state == name
        if rows.any() or name == "working":
            axes.scatter(x[rows], y[rows], s=3, color=colour, label=name, zorder=3)


def _frame(axes: Any, scenario: Scenario, plane: Plane) -> None:
    """Show the fields, not the road home, nor fixes gone wild."""
    shapes = shapely.total_bounds([plane.project(f["true"]) for f in scenario.fields])
    axes.set_xlim(shapes[0] - 25, shapes[2] + 25)
    axes.set_ylim(shapes[1] - 25, shapes[3] + 25)


def _outline(axes: Any, ground: Any, colour: str, style: str) -> None:
    for part in shapely.get_parts(ground):
        for ring in (part.exterior, *part.interiors):
            axes.plot(*ring.xy, style, color=colour, linewidth=0.9)


def _fill(axes: Any, ground: Any) -> None:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Outline

    for part in shapely.get_parts(ground):
        if part.is_empty:
            continue
        rings = [np.asarray(r.coords) for r in (part.exterior, *part.interiors)]
        shape = Outline.make_compound_path(*(Outline(r, closed=True) for r in rings))
        axes.add_patch(PathPatch(shape, facecolor="#a5d6a7", edgecolor="#1b5e20", lw=0.2, zorder=1))


def _sum(visits: Any, name: str) -> str:
    areas = [getattr(v, name) or 0.0 for v in visits]
    return " + ".join(f"{a / 1e4:.2f}" for a in areas) + " ha" if areas else "nothing"
