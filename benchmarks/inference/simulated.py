"""Scenarios of the simulator, measured and held against their truth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import union_all

from benchmarks.inference import naive
from oplog.flow.mixed import two_machines
from oplog.geodesy import area_m2, plane_of
from oplog.kit import Rig
from oplog.land import Field
from oplog.work.measure import measure_day
from oplog.work.model import DayWork, Visit
from tests.simulator.scene import Scenario, VisitTruth

NOT_COMPARED = ("wrong_width", "two_machines_one_file", "no_boundary")
"""Scenarios that ask for something other than figures: see `told`."""

IN_FIELD = ("working", "turning", "filling", "standing", "travelling", "unrecorded")


@dataclass(frozen=True)
class Row:
    """One true stay against what was measured of it. Errors are shares of the truth [1], filling
    and the like of the time in the field; None where there is nothing to compare.

    inside, half: whether the truth lies in the stated 90 % range, and half of that over the truth.
    floor_hours, floor_f1: those of an oracle that knows the edges of the work but not when the
    driver lowers and lifts. naive: name of a method -> (error of area, error of hours, F1).
    """

    scenario: str
    seed: int
    field: str
    quality: str
    interval_s: float
    boundary_m2: float
    true_m2: float
    found_m2: float
    visits: int
    area: float | None = None
    hours: float | None = None
    speed: float | None = None
    gross: float | None = None
    filling: float | None = None
    f1: float | None = None
    inside: bool | None = None
    half: float | None = None
    hours_inside: bool | None = None
    hours_half: float | None = None
    floor_hours: float | None = None
    floor_f1: float | None = None
    naive: dict[str, naive.Score] | None = None


def fields_of(scenario: Scenario) -> list[Field]:
    """The fields of which a boundary was given."""
    return [
        Field(f["name"], f.get("farm") or "", f["boundary"], area_m2(f["boundary"]))
        for f in scenario.fields
        if f["boundary"] is not None
    ]


def rig_of(stated: dict[str, object]) -> Rig:
    """The rig as the user of a scenario states it."""
    return Rig(**{"drag_m": 0.0, "holds": False} | stated)  # type: ignore[arg-type]


def measured(scenario: Scenario) -> DayWork:
    """The day of a scenario as the code under test sees it."""

    def rig_for(name: str, started: datetime, ended: datetime) -> Rig:
        return rig_of(scenario.rig_for(name, started, ended))

    return measure_day(scenario.track(), fields_of(scenario), rig_for)


def compare(scenario: Scenario, seed: int, day: DayWork, with_naive: bool = False) -> list[Row]:
    """A row for each true stay, and one for ground claimed where nothing was done."""
    mine: dict[int, list[Visit]] = {k: [] for k in range(len(scenario.visits_truth))}
    stray: list[Visit] = []
    for visit in day.visits:
        best = _truth_of(visit, scenario.visits_truth)
        (stray if best is None else mine[best]).append(visit)
    boundaries = {f.name: f.area_m2 for f in fields_of(scenario)}
    rows = []
    for k, truth in enumerate(scenario.visits_truth):
        if truth.field in boundaries:
            row = _row(scenario, seed, truth, mine[k], boundaries[truth.field], with_naive)
            rows.append(row)
    if stray or not scenario.visits_truth:
        found = sum(v.worked_m2 or 0.0 for v in stray)
        about = (scenario.name, seed, "-", scenario.quality, scenario.interval_s)
        rows.append(Row(*about, 0.0, 0.0, found, len(stray)))
    return rows


def _truth_of(visit: Visit, truths: list[VisitTruth]) -> int | None:
    shared = [
        (min(visit.ended_at, t.ended) - max(visit.started_at, t.started)).total_seconds()
        if t.field == visit.field.name
        else 0.0
        for t in truths
    ]
    return int(np.argmax(shared)) if shared and max(shared) > 0 else None


def _row(
    scenario: Scenario, seed: int, truth: VisitTruth, visits: list[Visit], boundary_m2: float,
    with_naive: bool,
) -> Row:  # fmt: skip
    found = net_m2(visits)
    about = (scenario.name, seed, truth.field, scenario.quality, scenario.interval_s, boundary_m2)
    if truth.in_boundary_m2 <= 0:
        return Row(*about, 0.0, found, len(visits))
    seconds = truth.seconds
    in_field = max(sum(seconds.get(s, 0.0) for s in IN_FIELD), 1.0)
    worked_s, worked_m = sum(v.working_s for v in visits), sum(v.working_m for v in visits)
    one = visits[0] if len(visits) == 1 else None
    return Row(
        *about, truth.in_boundary_m2, found, len(visits),
        area=found / truth.in_boundary_m2 - 1,
        hours=worked_s / max(seconds["working"], 1.0) - 1,
        speed=worked_m / worked_s / truth.working_speed_m_s - 1 if worked_s else None,
        gross=sum(v.gross_m2 or 0.0 for v in visits) / truth.gross_m2 - 1,
        filling=(sum(v.filling_s for v in visits) - seconds["filling"]) / in_field,
        f1=_f1(scenario, truth, visits), **_floor(scenario, truth),
        **_ranges(one, truth),
        naive=naive.scores(scenario, truth) if with_naive else None,
    )  # fmt: skip


def net_m2(visits: list[Visit]) -> float:
    """Ground worked in a stay, once, though the tool may make several visits of it. [m2]"""
    if len(visits) == 1:
        return float(visits[0].worked_m2 or 0.0)
    shapes = [v.worked for v in visits if not v.worked.is_empty]
    if not shapes:
        return 0.0
    plane = plane_of(shapes[0])
    return float(union_all([plane.project(s) for s in shapes], grid_size=0.001).area)


def _ranges(visit: Visit | None, truth: VisitTruth) -> dict[str, bool | float | None]:
    if visit is None or visit.worked_low_m2 is None or visit.worked_high_m2 is None:
        return {}
    low, high, true = visit.worked_low_m2, visit.worked_high_m2, truth.in_boundary_m2
    early, late, worked = visit.working_low_s or 0.0, visit.working_high_s or 0.0, truth.seconds
    return {
        "inside": low <= true <= high,
        "half": (high - low) / 2 / true,
        "hours_inside": early <= worked["working"] <= late,
        "hours_half": (late - early) / 2 / max(worked["working"], 1.0),
    }


def _f1(scenario: Scenario, truth: VisitTruth, visits: list[Visit]) -> float:
    """F1 of "working" over the intervals between fixes, weighted by time."""
    at, rows, length, true = _intervals(scenario, truth)
    return f1(_working_share(visits, at)[rows], true, length)


def _floor(scenario: Scenario, truth: VisitTruth) -> dict[str, float]:
    """What an oracle of the ground would score: it errs by the driver's hand alone."""
    _, rows, length, true = _intervals(scenario, truth)
    oracle = scenario.at_edges[:-1][rows]
    worked_s = float(length[oracle].sum()) / max(float(length[true].sum()), 1.0)
    return {"floor_hours": worked_s - 1, "floor_f1": f1(oracle, true, length)}


def _intervals(
    scenario: Scenario, truth: VisitTruth
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.float64], NDArray[np.bool_]]:
    """Stamps, and of the intervals of a stay: which they are, their length, whether worked."""
    at = seconds_of(scenario.fixes["time"])
    rows = (at[:-1] >= truth.started.timestamp()) & (at[:-1] < truth.ended.timestamp())
    true = (np.asarray(scenario.labels)[:-1] == "working")[rows]
    return at, rows, np.diff(at)[rows], true


def seconds_of(time: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Seconds since 1970 UTC."""
    return np.asarray(time, dtype="datetime64[us]").astype(np.int64) / 1e6


def working_at(visits: list[Visit], moments: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether the visits say "working" at moments in seconds since 1970."""
    said = np.zeros(len(moments), dtype=bool)
    for span in (s for v in visits for s in v.spans if s.state == "working"):
        begin, end = span.started_at.timestamp(), span.ended_at.timestamp()
        said |= (moments >= begin) & (moments < end)
    return said


def _working_share(visits: list[Visit], at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of each interval between moments in which the visits say "working": (n-1,) 0-1.

    A logger that writes by distance has intervals of minutes, of which a second may be work.
    """
    spans = sorted(
        (s.started_at.timestamp(), s.ended_at.timestamp())
        for v in visits
        for s in v.spans
        if s.state == "working"
    )
    edges = np.array(spans).ravel()
    if not len(edges):
        return np.zeros(len(at) - 1)
    worked = np.cumsum(np.diff(edges, prepend=edges[0]) * (np.arange(len(edges)) % 2))
    return np.asarray(np.diff(np.interp(at, edges, worked)) / np.maximum(np.diff(at), 1e-9))


def f1(
    said: NDArray[Any], true: NDArray[np.bool_], weight: NDArray[np.float64] | None = None
) -> float:
    """Harmonic mean of precision and recall of what is said, weighted. said: flags or shares."""
    w = np.ones(len(true)) if weight is None else weight
    both, either = float((w * said * true).sum()), float((w * said).sum() + (w * true).sum())
    return 2 * both / either if either > 0 else 1.0


def told(scenario: Scenario, day: DayWork) -> tuple[str, bool, str]:
    """Of a scenario that asks for a warning: (what is asked, whether it was told, how)."""
    if scenario.mixed:
        said = two_machines(scenario.track())
        return "two machines in one file are told", bool(said), said
    doubts = [d for v in day.visits for d in v.doubts if "apart" in d]
    return "a wrong width is told", bool(doubts), "; ".join(doubts)
