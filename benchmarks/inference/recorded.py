"""The recorded corpus, measured and held against the machines' own counters and labels."""

from __future__ import annotations

import csv
import json
import os
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import buffer, union_all
from shapely.geometry import shape

from benchmarks.inference import naive
from benchmarks.inference.simulated import f1, net_m2, seconds_of, working_at
from oplog.flow.mixed import two_machines
from oplog.geodesy import area_m2, plane_of
from oplog.kit import Rig
from oplog.land import Field
from oplog.readers import read
from oplog.track import Track
from oplog.work.coverage import bout_lines, cover
from oplog.work.measure import measure_day, plane_for
from oplog.work.model import DayWork, Visit
from oplog.work.visit import number_bouts

CORPUS = Path(
    os.environ.get("OPLOG_CORPUS")
    or Path(__file__).resolve().parents[2].parent / "shared" / "corpus"
)

UNBROKEN_S = 10.0
"""Fixes no further apart than this belong to one way."""
NIGHT_S = 4 * 3600.0
"""A longer gap ends a working day, in recordings that run over several."""


@dataclass(frozen=True)
class Task:
    """A recording against what its machine counted. Errors as shares; None: nothing to compare.

    said, true: "working" at each fix, for pooling. floor_gross, floor_hours, floor_net: the same
    errors for the true labels themselves. net_union: the net figure against shapely's own union of
    the ways truly at work, 9 m wide, which has no gaps at bends as one of single steps has.
    net_alike: ground under the fixes said to be work, against ground under those truly at work,
    both covered in one way.
    """

    name: str
    fixes: int
    gross: float | None = None
    hours: float | None = None
    speed: float | None = None
    net: float | None = None
    f1: float | None = None
    floor_gross: float | None = None
    floor_hours: float | None = None
    floor_net: float | None = None
    net_union: float | None = None
    net_alike: float | None = None
    said: NDArray[np.bool_] | None = None
    true: NDArray[np.bool_] | None = None
    naive: dict[str, naive.Score] | None = None
    note: str = ""


def forage_names() -> list[str]:
    """The forage tasks of the corpus; none where it is absent."""
    file = CORPUS / "forage_harvester_isobus" / "expected.json"
    return list(json.loads(file.read_text("utf-8"))) if file.exists() else []


def load(folder: str, name: str) -> tuple[Track, dict[str, Any]]:
    """A recording and its expected figures."""
    expected = json.loads((CORPUS / folder / "expected.json").read_text("utf-8"))[name]
    file = CORPUS / folder / expected.get("file", f"{name}.gpx")
    track, _ = read(file.read_bytes(), name=file.name)
    return track, expected


def labels(
    folder: str, name: str
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.float64]]:
    """Seconds since 1970, whether the machine said "working", and where, record by record."""
    with (CORPUS / folder / f"{name}.labels.csv").open(newline="", encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    time = np.array([r["time"].rstrip("Z") for r in rows], dtype="datetime64[us]")
    working = np.array([r["state"] == "working" for r in rows])
    return seconds_of(time), working, np.array([(r["lon"], r["lat"]) for r in rows], dtype=float)


def boundary(folder: str, name: str) -> Field:
    """The boundary of a field of the corpus."""
    file = json.loads((CORPUS / folder / "fields.geojson").read_text("utf-8"))
    found = [f for f in file["features"] if f["properties"]["field"] == name]
    ground = shape(found[0]["geometry"])
    return Field(name, "", ground, area_m2(ground))


def forage(name: str, ahead_m: float | None, with_naive: bool = False) -> Task:
    """A task of the forage harvester. ahead_m: header ahead of the antenna, None for unstated."""
    folder = "forage_harvester_isobus"
    track, expected = load(folder, name)
    field = boundary(folder, expected["field"])
    rig = Rig("header", "chopping", width_m=9.0, line_m=ahead_m)
    day = measure_day(track, [field], lambda *_: rig)
    visits, counted, true = list(day.visits), expected["controller"], expected["from_labels"]
    at, label, lonlat = labels(folder, name)
    said = working_at(visits, at + 0.01)
    covered = partial(_covered_m2, at, lonlat, field)
    by_label = covered(label)
    worked_s = sum(v.working_s for v in visits)
    speed = counted["effective_distance_m"] / counted["effective_time_s"]
    net_true = true["net_ha_union_inside_boundary"] * 1e4
    return Task(
        name, len(track),
        gross=_gross(visits) / (counted["area_ha"] * 1e4) - 1,
        hours=worked_s / counted["effective_time_s"] - 1,
        speed=sum(v.working_m for v in visits) / max(worked_s, 1.0) / speed - 1,
        net=net_m2(visits) / net_true - 1,
        f1=f1(said, label), said=said, true=label,
        floor_gross=true["gross_ha_work_dist_x_9m"] / counted["area_ha"] - 1,
        floor_hours=true["working_h"] * 3600 / counted["effective_time_s"] - 1,
        floor_net=by_label / net_true - 1,
        net_union=net_m2(visits) / _union_m2(at, lonlat, field, label) - 1,
        net_alike=covered(said) / by_label - 1,
        naive=_naive(track, field, label, net_true, counted["effective_time_s"])
        if with_naive else None,
    )  # fmt: skip


def _covered_m2(
    at: NDArray[np.float64], lonlat: NDArray[np.float64], field: Field,
    working: NDArray[np.bool_],
) -> float:  # fmt: skip
    """Ground of a field under 9 m along the fixes at work, once; nothing is bridged or closed."""
    plane = plane_of(field.boundary)
    x, y = plane.xy(*lonlat.T)
    piece = np.cumsum(np.concatenate([[0], np.diff(at) > UNBROKEN_S])).astype(np.int32)
    lines = bout_lines(x, y, number_bouts(working, piece), piece)
    return float(cover(lines, 9.0, plane.project(field.boundary), 0.0).worked.area)


def _union_m2(
    at: NDArray[np.float64], lonlat: NDArray[np.float64], field: Field,
    working: NDArray[np.bool_],
) -> float:  # fmt: skip
    """The same by shapely alone: each way widened with square ends, and all of them united."""
    plane = plane_of(field.boundary)
    piece = np.cumsum(np.concatenate([[0], np.diff(at) > UNBROKEN_S])).astype(np.int32)
    lines = bout_lines(*plane.xy(*lonlat.T), number_bouts(working, piece), piece)
    swaths = buffer(lines, 4.5, cap_style="flat")
    return float(union_all(swaths).intersection(plane.project(field.boundary)).area)


def _gross(visits: list[Visit]) -> float:
    return sum(v.gross_m2 or 0.0 for v in visits)


def _naive(
    track: Track, field: Field, label: NDArray[np.bool_], true_m2: float, true_s: float
) -> dict[str, naive.Score]:
    fixes = naive.fixes_in(seconds_of(track.time), track.lon, track.lat, field.boundary)
    return {
        method: naive.score(fixes, area, said, label, true_m2, true_s)
        for method, (area, said) in naive.by_method(fixes, 9.0).items()
    }


def others() -> list[Task]:
    """The other recordings."""
    found = [seeding(), harvest(), combine_2015(), combine_2014(), corn(), road()]
    return [t for t in found if t is not None]


def _days(track: Track) -> list[Track]:
    """The fixes in order, cut at each night."""
    ordered = track.take(np.argsort(track.time, kind="stable"))
    cuts = np.flatnonzero(np.diff(seconds_of(ordered.time)) > NIGHT_S) + 1
    return [ordered.take(rows) for rows in np.split(np.arange(len(ordered)), cuts) if len(rows) > 5]


def _all_days(track: Track, field: Field, rig: Rig) -> list[DayWork]:
    return [measure_day(part, [field], lambda *_: rig) for part in _days(track)]


def _task(
    name: str, track: Track, days: list[DayWork], gross_ha: float | None, hours: float | None,
    kmh: float | None, net_ha: float | None, note: str,
) -> Task:  # fmt: skip
    visits = [v for d in days for v in d.visits]
    worked_s, worked_m = sum(v.working_s for v in visits), sum(v.working_m for v in visits)
    return Task(
        name, len(track),
        gross=_gross(visits) / (gross_ha * 1e4) - 1 if gross_ha else None,
        hours=worked_s / 3600 / hours - 1 if hours else None,
        speed=3.6 * worked_m / max(worked_s, 1.0) / kmh - 1 if kmh else None,
        net=net_m2(visits) / (net_ha * 1e4) - 1 if net_ha else None, note=note,
    )  # fmt: skip


def seeding() -> Task | None:
    """An air seeder over two days, recorded only while it seeded."""
    folder, name = "section_logs_ofpe", "seeding_millview_2019"
    if not (CORPUS / folder).exists():
        return None
    track, e = load(folder, name)
    rig = Rig("seeder", "drilling", width_m=e["full_width_m"], holds=True)
    days = _all_days(track, boundary(folder, "millview"), rig)
    return _task(
        name, track, days, e["controller_gross_ha"], e["logged_h_gaps_le10s"],
        e["working_speed_kmh_median"], e["net_union_inside_boundary_ha"],
        "speed against the median of records",
    )  # fmt: skip


def harvest() -> Task | None:
    """A combine, 40 minutes, recorded only while it cut."""
    folder, name = "section_logs_ofpe", "harvest_sec1west_2019"
    if not (CORPUS / folder).exists():
        return None
    track, e = load(folder, name)
    rig = Rig("header", "combining", width_m=e["full_width_m"], holds=True)
    days = _all_days(track, boundary(folder, "sec1west"), rig)
    return _task(
        name, track, days, e["distance_x_full_width_ha"], e["logged_h_gaps_le10s"],
        e["working_speed_kmh_median"], e["net_union_inside_boundary_ha"],
        "gross against distance x full width",
    )  # fmt: skip


def combine_2015() -> Task | None:
    """A combine over three days; figures from fieldwork/PROVENANCE.md."""
    if not (CORPUS / "fieldwork").exists():
        return None
    track, _ = load("fieldwork", "combine_sec1east_2015")
    rig = Rig("header", "combining", width_m=12.192, holds=True)
    days = _all_days(track, boundary("fieldwork", "sec1east"), rig)
    note = "gross against distance x full width"
    return _task("combine_sec1east_2015", track, days, 86.852, 8.66, None, 76.9, note)


def combine_2014() -> Task | None:
    """Two combines in one file: to be told, not measured."""
    if not (CORPUS / "fieldwork").exists():
        return None
    track, _ = load("fieldwork", "combine_sec1west_2014")
    days = _days(track)
    said = sum(bool(two_machines(day)) for day in days)
    note = f"two machines told on {said} of {len(days)} days (they mix on one)"
    return _task("combine_sec1west_2014", track, [], None, None, None, None, note)


def corn() -> Task | None:
    """A combine in maize; no boundary is published, so ground about the fixes is taken for it."""
    folder, name = "combine_corn_mn2011", "combine_corn_2011"
    if not (CORPUS / folder).exists():
        return None
    track, e = load(folder, name)
    plane = plane_for(track)
    ground = plane.unproject(naive.hull_of(*plane.xy(track.lon, track.lat)))
    rig = Rig("header", "combining", width_m=e["width_m"], holds=True)
    days = _all_days(track, Field("corn", "", ground, area_m2(ground)), rig)
    return _task(
        name, track, days, e["monitor_gross_ha"], e["logged_h"],
        e["working_speed_kmh_median_monitor"], e["net_union_ha_approx"],
        "no boundary: ground about the fixes",
    )  # fmt: skip


def road() -> Task | None:
    """A harvester on the road, with a field drawn about all of it: nothing may be found."""
    folder, name = "road_transport_isobus", "transport_a"
    if not (CORPUS / folder).exists():
        return None
    track, _ = load(folder, name)
    plane = plane_for(track)
    ground = plane.unproject(naive.hull_of(*plane.xy(track.lon, track.lat)).buffer(40.0))
    rig = Rig("header", "chopping", width_m=12.0)
    day = measure_day(track, [Field("road", "", ground, area_m2(ground))], lambda *_: rig)
    note = f"{net_m2(list(day.visits)) / 1e4:.2f} ha, {sum(v.working_s for v in day.visits):.0f} s"
    return Task(name, len(track), note=f"road within a drawn field: {note}")
