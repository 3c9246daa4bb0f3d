"""What a driver has in mind for a field."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Job:
    """Lengths in metres, pairs are mean and spread or from and to."""

    pattern: str = "side"  # side, skip, cast, gather, spiral, inside_out
    step: int = 3  # bouts from one to the next in patterns that leave some out
    headland: str = "first"  # first, last, none; done: left as it is, for another time
    laps: int = 0  # of the headland; 0: as many as turning needs
    corner: str = "round"  # round, shunt, loop
    across: bool = False  # not along the longest side
    bow_m: float = 0.0  # height of the wave that all bouts follow
    finish: bool = True  # works each bout to the last corner of the ground
    overlap_m: float = 0.03
    uneven_m: float = 0.02
    weave_m: float = 0.02
    lower_m: tuple[float, float] = (0.0, 0.4)  # mean (late positive) and spread
    lift_m: tuple[float, float] = (0.0, 0.4)
    margin_m: float = 0.0
    share: tuple[float, float] = (0.0, 1.0)  # of the bouts, in driven order
    every_other: bool = False  # a second machine takes the rest
    over_edge_m: float = 2.0  # how far a turn may swing over the edge
    load_m: float = 0.0  # metres of work to a load; 0: holds nothing
    load_s: tuple[float, float] = (240.0, 600.0)
    load_at: str = "gate"  # gate, here (a trailer comes alongside), yard
    blocked_per_km: float = 0.0
    tie_every_m: float = 0.0  # a baler stops so often
    tie_s: tuple[float, float] = (15.0, 40.0)
    idle_down_per_km: float = 0.0  # stands a moment with the implement down
    wait_share: float = 0.0  # of bout ends where it waits for a trailer
    obstacles: int = 0
    lunch: str = ""  # standing or dark: in mid-work
    breakdown: bool = False
    backs_in: bool = False  # reverses to the edge before each bout
    uphill: float = 0.0  # share by which it is slower out than home
    touch_ups: int = 0  # short runs over what was missed, at the end
    scout: bool = False  # drives round the field once, to look, before work
    diagonals: bool = False  # the corners that laps have missed are worked last
    raised_per_km: float = 0.0  # lifts over a wet place or a waterway and goes on
    stands_crop: bool = False  # does not turn into what is not worked yet
