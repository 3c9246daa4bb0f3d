"""A scenario's day: the plan, driven, measured, logged."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from benchmarks.second import places, receivers, truth
from benchmarks.second.driving import Machine, Motion, driven
from benchmarks.second.machines import machine
from benchmarks.second.outlines import as_drawn
from benchmarks.second.places import Globe, Plot
from benchmarks.second.planning import Scenario, planned, plots_of
from benchmarks.second.receivers import Logger
from benchmarks.second.records import STATES, Day, Ground, Stay
from benchmarks.second.steering import STEP_S, Array


@dataclass(frozen=True, eq=False)
class Log:
    """What one receiver wrote, and the time that it spans; `at_s` of n fixes, `lon_lat` (n, 2)."""

    at_s: Array
    lon_lat: Array
    labels: NDArray[np.str_]
    span_s: tuple[float, float]


def build(scenario: Scenario, seed: int) -> Day:
    """All of a day; ValueError for a line that its driver loses."""
    rng = np.random.default_rng([seed, zlib.crc32(scenario.name.encode())])
    plots = plots_of(rng, scenario)
    m = machine(rng, scenario.kind, scenario.width_m, scenario.turns_over)
    motions = [driven(planned(rng, scenario, plots, m))]
    if scenario.other:
        motions = _with_other(rng, scenario, scenario.other, plots, motions[0])
    ground = places.globe(rng, scenario.region, places.middle_of(plots))
    started = _start(rng, ground)
    drawn = [_drawn(rng, scenario, p.shape) for p in plots]
    logs, stays = [], []
    for motion in motions:
        slow = receivers.slow_error(rng, len(motion.at_s), scenario.logger.quality)
        moved = motion.aside(-slow) if scenario.logger.steers else motion
        log = _logged(rng, scenario.logger, moved, slow, ground)
        logs.append(log)
        stays += _stays(moved, log.span_s, plots, drawn, ground, started)
    at = np.concatenate([log.at_s for log in logs])
    turn = np.argsort(at, kind="stable")
    degrees = np.concatenate([log.lon_lat for log in logs])[turn]
    return Day(
        name=scenario.name,
        quality=scenario.logger.quality,
        interval_s=scenario.logger.interval_s,
        time=np.datetime64(started.replace(tzinfo=None), "us")
        + np.round(at[turn] * 1e6).astype("timedelta64[us]"),
        lat=degrees[:, 1].copy(),
        lon=degrees[:, 0].copy(),
        labels=np.concatenate([log.labels for log in logs])[turn],
        fields=[
            Ground(f"field {k + 1}", d and ground.shape(d), ground.shape(p.shape))
            for k, (p, d) in enumerate(zip(plots, drawn, strict=True))
        ],
        stays=stays,
        rig=_rig(m, scenario.stated),
    )


def _with_other(
    rng: Generator, s: Scenario, other: Scenario, plots: list[Plot], first: Motion
) -> list[Motion]:
    """The day's second rig: on the same tractor afterwards, or another machine at the same time."""
    m = machine(rng, other.kind, other.width_m, other.turns_over)
    second = driven(planned(rng, other, plots, m))
    if s.beside:
        return [first, second.later(rng.uniform(0, 900))]
    return [first.then(second.later(first.at_s[-1] + rng.uniform(300, 1800)))]


def _logged(rng: Generator, logger: Logger, motion: Motion, slow: Array, ground: Globe) -> Log:
    """A track of a motion, by a receiver that errs by `slow` (n, 2) metres and a bit."""
    shown = motion if logger.interval_s >= STEP_S else motion.doubled()
    slow = slow if len(slow) == len(shown.at_s) else np.repeat(slow, 2, axis=0)[:-1]
    trees = receivers.trees_about(rng, shown, logger.shaded)
    seen = receivers.observed(rng, shown, logger, slow, trees)
    keep = receivers.kept(rng, shown, seen, logger, trees)
    if logger.repeats:
        keep = np.sort(np.concatenate([keep, keep[rng.random(len(keep)) < logger.repeats]]))
    points = receivers.spoilt(rng, seen[keep], logger)
    return Log(
        receivers.stamps(rng, shown.at_s[keep], logger),
        receivers.rounded(ground.degrees(points), logger),
        _labels(shown, keep),
        (float(shown.at_s[keep[0]]), float(shown.at_s[keep[-1]])),
    )


def _drawn(rng: Generator, s: Scenario, true: Polygon) -> Polygon | None:
    return None if s.drawn_m < 0 else as_drawn(rng, true, s.drawn_m, s.inwards_m)


def _start(rng: Generator, ground: Globe) -> datetime:
    day = datetime(2023, 1, 1, tzinfo=UTC) + timedelta(days=int(rng.integers(0, 900)))
    local = rng.uniform(5.5, 15.0)
    return day + timedelta(seconds=round((local - ground.lon / 15) * 3600, 1))


def _labels(motion: Motion, keep: NDArray[np.int64]) -> NDArray[np.str_]:
    """The state that most of each interval was spent in."""
    if len(keep) < 2:
        return np.array(["standing"] * len(keep))
    one = np.array([motion.label == state for state in STATES]).T
    total = np.concatenate([np.zeros((1, len(STATES)), int), np.cumsum(one, axis=0)])
    share = total[keep[1:]] - total[keep[:-1]]
    share = np.where(share.sum(axis=1, keepdims=True) > 0, share, one[keep[:-1]])
    names = np.array(STATES)[np.argmax(share, axis=1)]
    return np.concatenate([names, names[-1:]])


def _stays(
    motion: Motion,
    span_s: tuple[float, float],
    plots: list[Plot],
    drawn: list[Polygon | None],
    ground: Globe,
    started: datetime,
) -> list[Stay]:
    within = (motion.at_s >= span_s[0] - 1e-9) & (motion.at_s < span_s[1] - 1e-9)
    out = []
    for field, a, b in truth.stays(motion, within):
        mask = np.zeros(len(motion.at_s), bool)
        mask[a:b] = motion.down[a:b]
        worked = truth.worked(motion, mask)
        inside = worked.intersection(drawn[field] or plots[field].shape)
        distance, gross = truth.gross_m2(motion, mask)
        shape: Polygon | MultiPolygon = ground.shape(worked)
        seconds = truth.seconds(motion.label[a:b])
        out.append(
            Stay(
                field=f"field {field + 1}",
                started=started + timedelta(seconds=float(motion.at_s[a])),
                ended=started + timedelta(seconds=float(motion.at_s[b - 1] + STEP_S)),
                worked=shape,
                worked_m2=inside.area,
                gross_m2=gross,
                seconds=seconds,
                working_speed_m_s=distance / max(seconds.get("working", 0.0), STEP_S),
            )
        )
    return out


def _rig(m: Machine, stated: str) -> dict[str, Any]:
    if stated == "nothing":
        return {}
    out: dict[str, Any] = {"width_m": m.width_m, "holds": m.holds, "header": m.header}
    if stated == "width":
        return {"width_m": m.width_m}
    if not m.turns_over:
        out["right_m"] = round(m.right_m - m.antenna_right_m, 2)
    if m.tongue_m:
        out["hitch_m"] = round(m.antenna_ahead_m + m.back_m, 2)
        out["drag_m"] = round(m.tongue_m, 2)
    else:
        out["behind_m"] = round(m.antenna_ahead_m + m.back_m, 2)
    return out
