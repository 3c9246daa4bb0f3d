"""Days of the second simulator, seen as the first one's scenarios are, so that both are measured
in one way. Nothing is set on what it shows alone: see `benchmarks.second`."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from shapely import union_all
from shapely.geometry import MultiPolygon

from benchmarks import second
from benchmarks.inference.simulated import Row, compare, measured
from oplog.geodesy import area_m2
from oplog.work.model import DayWork
from tests.simulator.scene import Scenario, VisitTruth

TO_BE_PARTED = "two_machines_in_one_file"
CUT = ("combine", "forager")
HOLD = ("combine", "drill", "sprayer", "spreader", "harvester", "planting")
"""Whose implement is stated at all says what it is: it cuts its way, or is filled or emptied."""
STATES = ("working", "turning", "filling", "standing", "travelling", "unrecorded")


def names() -> list[str]:
    """Scenarios with figures to compare: with a boundary, and one machine in a file."""
    return [n for n in second.names() if n != TO_BE_PARTED and "no_boundary" not in n]


def rows(job: tuple[str, int]) -> list[Row]:
    """A day, measured and held against its truth."""
    scenario = scenario_of(second.build(*job))
    day = measured(scenario)
    return compare(_as_visited(scenario, day), job[1], day)


def scenario_of(day: second.Day) -> Scenario:
    """A day as a scenario. What is true at the edges is taken for what is true: it is not told."""
    fields = [{"name": g.name, "boundary": g.boundary, "true": g.true} for g in day.fields]
    rig = _rig(day)
    labels = np.asarray(day.labels)
    fixes = {"time": day.time, "lat": day.lat, "lon": day.lon}
    truths = [_truth(stay, rig) for stay in day.stays]
    return Scenario(
        day.name, fields, truths, fixes, rig, day.quality, day.interval_s, labels,
        labels == "working",
    )  # fmt: skip


def _rig(day: second.Day) -> dict[str, Any]:
    """The rig as stated: ahead and left are counted the other way there."""
    said, drag_m = day.rig, day.rig.get("drag_m") or 0.0
    behind_m = said.get("behind_m")
    if behind_m is None and "hitch_m" in said:
        behind_m = said["hitch_m"] + drag_m
    known = said.get("width_m") is not None
    cuts = bool(said.get("header")) or (known and any(k in day.name for k in CUT))
    return {
        "width_m": said.get("width_m"),
        "line_m": None if behind_m is None else -behind_m,
        "drag_m": drag_m if behind_m is not None else 0.0,
        "right_m": -said["right_m"] if "right_m" in said else None,
        "holds": bool(said.get("holds")) or (known and any(k in day.name for k in HOLD)),
        "operation": "combining" if cuts else None,
    }


def _truth(stay: second.Stay, rig: dict[str, Any]) -> VisitTruth:
    return VisitTruth(
        stay.field, stay.started, stay.ended, stay.worked, stay.worked_m2, stay.worked_m2, 0.0,
        stay.gross_m2, 0.0, dict.fromkeys(STATES, 0.0) | stay.seconds, stay.working_speed_m_s,
        rig, [],
    )  # fmt: skip


def _as_visited(scenario: Scenario, day: DayWork) -> Scenario:
    """Stays that the tool takes for one, a way to the yard and back left out, are one."""
    truths = list(scenario.visits_truth)
    for visit in day.visits:
        hit = [
            t for t in truths
            if t.field == visit.field.name
            and (min(visit.ended_at, t.ended) - max(visit.started_at, t.started)).total_seconds()
            > 60
        ]  # fmt: skip
        if len(hit) > 1:
            truths = [t for t in truths if t not in hit] + [_joined(hit, scenario)]
    return replace(scenario, visits_truth=truths)


def _joined(stays: list[VisitTruth], scenario: Scenario) -> VisitTruth:
    worked = union_all([t.worked for t in stays])
    worked = MultiPolygon([g for g in getattr(worked, "geoms", [worked]) if g.area > 0])
    field = next(f for f in scenario.fields if f["name"] == stays[0].field)
    within_m2 = area_m2(worked.intersection(field["boundary"] or field["true"]))
    seconds = {s: sum(t.seconds[s] for t in stays) for s in STATES}
    way_m = sum(t.working_speed_m_s * t.seconds["working"] for t in stays)
    return replace(
        stays[0], started=min(t.started for t in stays), ended=max(t.ended for t in stays),
        worked=worked, worked_m2=within_m2, in_boundary_m2=within_m2,
        gross_m2=sum(t.gross_m2 for t in stays), seconds=seconds,
        working_speed_m_s=way_m / max(seconds["working"], 1.0),
    )  # fmt: skip
