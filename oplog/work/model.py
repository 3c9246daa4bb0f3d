"""What the steps of the work pass to each other and hand out."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import TypeAlias

from shapely.geometry import MultiLineString, MultiPolygon, Polygon

from oplog.events import Span
from oplog.kit import Rig
from oplog.land import Field
from oplog.records import dataclass

METHOD = "18"
"""Version of the method: changed whenever any figure changes."""

Ground: TypeAlias = Polygon | MultiPolygon


@dataclass(frozen=True, eq=False)
class Visit:
    """What one machine did in one stay in one field. SI units; geometries in lon/lat.

    The columns of events.WorkMeasured of the same names; None where not known.
    """

    field: Field
    rig: Rig
    started_at: datetime
    ended_at: datetime
    spans: tuple[Span, ...]
    working_s: float
    turning_s: float
    filling_s: float
    standing_s: float
    travelling_s: float
    unrecorded_s: float
    break_s: float
    working_low_s: float | None
    working_high_s: float | None
    working_m: float
    speed_m_s: float | None
    speed_low_m_s: float | None
    speed_high_m_s: float | None
    width_used_m: float | None
    bout_width_m: float | None
    bout_width_sd_m: float | None
    worked_m2: float | None
    worked_low_m2: float | None
    worked_high_m2: float | None
    gross_m2: float | None
    overlap_m2: float | None
    outside_m2: float | None
    missed_m2: float | None
    applied_m2: float | None
    noise_m: float
    interval_s: float
    line_m: float | None
    right_m: float | None
    worked: Ground
    missed: Ground
    overlap: Ground
    bouts: MultiLineString
    doubts: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class DayWork:
    """One machine's working day: its visits, and its time on the road and elsewhere.

    found: fields without a name, for ground worked that lies in no field on file; visits to it
    are among the visits.
    """

    started_at: datetime
    ended_at: datetime
    visits: tuple[Visit, ...]
    spans: tuple[Span, ...]
    tracked_s: float
    field_s: float
    road_s: float
    elsewhere_s: float
    road_m: float
    nearest_m: float | None
    nearest_field: str | None
    doubts: tuple[str, ...]
    found: tuple[Field, ...] = ()


@dataclass(frozen=True)
class Settings:
    """Every threshold that shapes the figures, by name; recorded in each event.

    The values that follow from the track itself (noise, interval, speed while working) are not
    here: these are the constants behind them.
    """

    absence_s: float = 300.0
    """A machine that leaves a field for longer than this ends its visit. Common practice."""
    far_m: float = 200.0
    """Nor does it leave the field as long as it stays within this of it."""
    near_m: float = 40.0
    """Standing at the gate, within this of it, a machine has not left it until a break is over."""
    break_s: float = 1200.0
    """Standing for longer than this in one place is a break. Common practice."""

    def as_map(self) -> dict[str, float]:
        return {k: float(v) for k, v in asdict(self).items()}
