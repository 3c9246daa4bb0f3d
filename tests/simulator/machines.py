"""Machines with their implements, as they truly are. Lengths in metres, speeds in m/s."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Machine:
    """One machine with one implement.

    antenna_ahead_m: antenna ahead of the steered point (the axle that does not steer).
    line_m: working line ahead of the antenna (behind is negative) when going straight.
    drag_m: the part of it that swings behind the hitch (0: mounted).
    antenna_right_m: antenna right of the centre line.
    lag_down_s, lag_up_s: the implement is down and out this long after the edge of the work.
    lag_sd_s: how much both differ from bout to bout.
    overlap_m: bouts are set this much closer than the working width.
    wander_m: standard deviation of steering across the bout.
    fill_area_m2: ground worked from one filling; None for what holds nothing.
    """

    width_m: float
    operation: str
    implement: str
    antenna_ahead_m: float = 1.0
    line_m: float = -3.0
    drag_m: float = 0.0
    antenna_right_m: float = 0.0
    work_m_s: float = 2.2
    turn_m_s: float = 1.9
    travel_m_s: float = 2.8
    road_m_s: float = 8.0
    radius_m: float = 6.0
    accel_m_s2: float = 0.6
    lag_down_s: float = 0.3
    lag_up_s: float = 0.3
    lag_sd_s: float = 0.15
    overlap_m: float = 0.08
    wander_m: float = 0.03
    vary: float = 0.03
    fill_area_m2: float | None = None
    fill_s: tuple[float, float] = (180.0, 420.0)
    sections: int | None = None
    holds: bool = False
    trailed_turns: bool = False

    @property
    def line_from_axle_m(self) -> float:
        return self.antenna_ahead_m + self.line_m

    @property
    def spacing_m(self) -> float:
        return self.width_m - self.overlap_m

    def rig(self) -> dict[str, object]:
        """All of it, as a careful user would state it."""
        return {
            "width_m": self.width_m,
            "line_m": self.line_m,
            "drag_m": self.drag_m,
            "right_m": self.antenna_right_m,
            "holds": self.holds,
            "sections": self.sections,
            "operation": self.operation,
            "implement": self.implement,
        }


DRILL_3 = Machine(
    3.0, "drilling", "drill", line_m=-3.6, work_m_s=2.4, radius_m=5.5, fill_area_m2=35_000,
    holds=True,
)  # fmt: skip
DRILL_6_TRAILED = Machine(
    6.0, "drilling", "drill", line_m=-7.6, drag_m=5.0, work_m_s=3.0, radius_m=7.5, turn_m_s=2.2,
    fill_area_m2=90_000, holds=True, trailed_turns=True,
)  # fmt: skip
DRILL_4 = Machine(
    4.0, "drilling", "drill", line_m=-4.0, work_m_s=2.6, radius_m=6.0, fill_area_m2=50_000,
    holds=True,
)  # fmt: skip
PLOUGH_5 = Machine(
    2.0, "ploughing", "plough", line_m=-5.0, work_m_s=1.9, radius_m=5.5, overlap_m=0.0,
)  # fmt: skip
CULTIVATOR_6 = Machine(
    6.0, "cultivating", "cultivator", line_m=-6.2, drag_m=3.8, work_m_s=3.1, radius_m=6.5,
    trailed_turns=True, overlap_m=0.2,
)  # fmt: skip
CULTIVATOR_3 = Machine(3.0, "cultivating", "cultivator", line_m=-3.8, work_m_s=2.5)
ROLLER_12 = Machine(
    12.3, "rolling", "roller", line_m=-6.0, drag_m=3.5, work_m_s=3.3, turn_m_s=3.0,
    travel_m_s=3.3, radius_m=7.5, overlap_m=0.3, wander_m=0.15, trailed_turns=True,
)  # fmt: skip
ROLLER_6 = Machine(
    6.3, "rolling", "roller", line_m=-5.5, drag_m=3.0, work_m_s=3.35, turn_m_s=3.1,
    travel_m_s=3.3, radius_m=6.5, overlap_m=0.25, wander_m=0.12, trailed_turns=True,
)  # fmt: skip
SPRAYER_30 = Machine(
    30.0, "spraying", "sprayer", line_m=-5.5, drag_m=3.5, work_m_s=3.6, turn_m_s=2.6,
    travel_m_s=4.0, radius_m=7.0, overlap_m=0.0, fill_area_m2=200_000, holds=True, sections=10,
    trailed_turns=True,
)  # fmt: skip
SPRAYER_24 = Machine(
    24.0, "spraying", "sprayer", line_m=-4.0, work_m_s=3.2, turn_m_s=2.6, travel_m_s=3.8,
    radius_m=6.5, overlap_m=0.0, fill_area_m2=80_000, holds=True, sections=7,
)  # fmt: skip
SPREADER_24 = Machine(
    24.0, "spreading", "spreader", line_m=-4.0, work_m_s=3.6, turn_m_s=2.8, travel_m_s=4.2,
    radius_m=6.0, overlap_m=0.0, fill_area_m2=60_000, holds=True,
)  # fmt: skip
COMBINE_7 = Machine(
    7.5, "combining", "header", antenna_ahead_m=0.5, line_m=3.6, work_m_s=1.6, turn_m_s=1.5,
    travel_m_s=2.5, road_m_s=5.5, radius_m=6.0, overlap_m=0.35, wander_m=0.12, vary=0.09,
    lag_down_s=-1.0, lag_up_s=1.0, fill_area_m2=12_000, fill_s=(90, 240), holds=True,
)  # fmt: skip
COMBINE_9 = Machine(
    9.1, "combining", "header", antenna_ahead_m=0.3, line_m=4.2, work_m_s=1.4, turn_m_s=1.5,
    travel_m_s=2.4, road_m_s=5.5, radius_m=6.5, overlap_m=0.4, wander_m=0.1, vary=0.1,
    lag_down_s=-1.5, lag_up_s=1.0, fill_area_m2=14_000, fill_s=(90, 240), holds=True,
)  # fmt: skip
MOWER_3 = Machine(
    3.0, "mowing", "mower", line_m=-3.0, work_m_s=3.0, radius_m=5.5, overlap_m=0.25,
    wander_m=0.12, vary=0.05,
)  # fmt: skip
MOWER_9 = Machine(
    8.7, "mowing", "mower", line_m=-2.8, work_m_s=3.6, radius_m=6.0, overlap_m=0.4,
    wander_m=0.1, vary=0.04,
)  # fmt: skip
RAKE_7 = Machine(
    7.2, "raking", "rake", line_m=-6.5, drag_m=4.5, work_m_s=3.2, radius_m=6.0, overlap_m=0.4,
    wander_m=0.15, trailed_turns=True,
)  # fmt: skip
BALER = Machine(
    7.2, "baling", "baler", line_m=-5.5, drag_m=4.0, work_m_s=2.2, radius_m=6.0, overlap_m=0.4,
    wander_m=0.15, vary=0.07, trailed_turns=True,
)  # fmt: skip
