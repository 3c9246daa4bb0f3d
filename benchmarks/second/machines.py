"""Machines as they are, each time a little different."""

from __future__ import annotations

from numpy.random import Generator

from benchmarks.second.driving import Machine
from benchmarks.second.steering import Vehicle


def _vehicle(rng: Generator, radius_m: float) -> Vehicle:
    return Vehicle(
        radius_m=radius_m * rng.uniform(0.92, 1.1),
        lock_s=rng.uniform(1.2, 2.0),
        accelerate_m_s2=rng.uniform(0.45, 0.9),
        brake_m_s2=rng.uniform(0.6, 1.1),
        aside_m_s2=rng.uniform(0.8, 1.4),
        look_m=rng.uniform(2.2, 2.8),
        look_s=rng.uniform(0.6, 0.9),
    )


# Width from and to, speed from and to (m/s), least radius, back, tongue, right, holds, header.
_KINDS: dict[str, tuple[float, float, float, float, float, float, float, float, bool, bool]] = {
    "plough": (1.4, 2.4, 1.5, 2.2, 5.0, 3.6, 0.0, 0.45, False, False),
    "cultivator": (3.0, 6.0, 2.2, 3.2, 5.2, 2.8, 0.0, 0.0, False, False),
    "discs": (4.0, 6.0, 2.5, 3.6, 5.5, 1.1, 4.5, 0.0, False, False),
    "roll": (6.0, 12.3, 2.2, 3.4, 5.5, 1.1, 3.6, 0.0, False, False),
    "drill": (3.0, 4.0, 1.8, 2.9, 5.2, 2.9, 0.0, 0.0, True, False),
    "trailed_drill": (4.0, 12.0, 2.4, 3.6, 6.0, 1.1, 6.0, 0.0, True, False),
    "sprayer": (18.0, 36.0, 2.2, 3.9, 6.0, 1.1, 4.6, 0.0, True, False),
    "spreader": (12.0, 36.0, 2.8, 4.2, 5.2, 7.0, 0.0, 0.0, True, False),
    "mower": (2.8, 3.4, 2.6, 4.2, 4.8, 1.9, 0.0, 2.1, False, False),
    "wide_mower": (8.4, 9.3, 3.0, 4.5, 5.2, 1.5, 0.0, 0.0, False, False),
    "rake": (6.0, 9.0, 2.2, 3.4, 5.0, 1.0, 4.2, 0.0, False, False),
    "baler": (5.6, 9.0, 1.7, 2.8, 5.2, 1.0, 2.6, 0.0, True, False),
    "forager": (6.0, 9.0, 1.6, 2.6, 6.0, -3.2, 0.0, 0.0, False, True),
    "combine": (5.0, 12.2, 1.1, 1.9, 6.0, -2.9, 0.0, 0.0, True, True),
    "potato_harvester": (1.5, 1.8, 1.2, 1.8, 5.2, 1.0, 4.4, 1.3, True, False),
    "beet_harvester": (2.7, 3.0, 1.4, 2.2, 6.5, -2.4, 0.0, 0.0, True, True),
}
_PACE = {"combine": 0.12, "forager": 0.12, "baler": 0.08, "mower": 0.06, "beet_harvester": 0.07}
_STEPS = {"plough": 0.2, "sprayer": 3.0, "spreader": 3.0, "trailed_drill": 0.5, "combine": 0.3}


def machine(
    rng: Generator, kind: str, width_m: tuple[float, float] | None = None, turns_over: bool = False
) -> Machine:
    """One machine of a kind (a key of `kinds()`), of a width that is made."""
    low, high, slow, fast, radius, back, tongue, right, holds, header = _KINDS[kind]
    low, high = width_m or (low, high)
    step = _STEPS.get(kind, 0.05)
    return Machine(
        width_m=round(round(rng.uniform(low, high) / step) * step, 3),
        speed_m_s=rng.uniform(slow, fast),
        vehicle=_vehicle(rng, radius),
        back_m=back + rng.uniform(-0.35, 0.35),
        tongue_m=tongue * rng.uniform(0.85, 1.2),
        right_m=right * rng.uniform(0.8, 1.2),
        antenna_ahead_m=rng.uniform(-0.5, 0.6) if header else rng.uniform(0.2, 1.3),
        antenna_right_m=0.0 if rng.random() < 0.6 else rng.uniform(-0.35, 0.35),
        front_m=rng.uniform(0.8, 1.2) if header else rng.uniform(3.0, 4.2),
        turn_m_s=rng.uniform(1.4, 2.4),
        road_m_s=rng.uniform(5.5, 10.5),
        turns_over=turns_over,
        uneven_pace=_PACE.get(kind, 0.035),
        holds=holds,
        header=header,
    )


def kinds() -> list[str]:
    return list(_KINDS)
