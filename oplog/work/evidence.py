"""Evidence for and against work that motion alone gives, and what each kind of it weighs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats, median
from oplog.work.header import strokes
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import TREMBLES_M, firsts, heading_change

Flags = NDArray[np.bool_]
STROKE = 1.2
"""How fast a stroke in a corner is at most, of the working speed: what is faster is a way."""
KEEPS = 0.4
"""How little of its usual speed a machine falls below it that keeps it, as slack tells it."""
OFTEN_S, RISES, RISES_UNTOLD = 3.0, 0.1, 0.15
"""How far work rises above its usual speed at the least, as log ratios; the second where fixes lie
further apart than so, or tremble as much as a phone's, and speed is not told so well."""

PACED_S, FEWEST_S, OFF = (5, 20), 60, (0.15, 0.6)
"""Over how many seconds before and after each a pace is told, at least and most; from how many such
of the work; and how far work is off its pace at the least and most, as log ratios."""
LASTS_S = 16
"""Where positions tremble, a shorter run is mostly slowing for the corner before it or after it."""
MOST_OFF, RUN_OFF = 1.0, 15.0
"""What another pace weighs at most against a second, and against a run. [nats]"""


@dataclass(frozen=True)
class Evidence:
    """Weights of the evidence, in nats (log-likelihood ratio of work against not)."""

    new_ground: float = 4.0
    """For a working line wholly on new ground, over and above `old_ground`."""
    old_ground: float = 2.2
    """Against work where no ground is new."""
    some_new: float = 0.3
    """Share of new ground that speaks for two thirds of `new_ground`; noise adds to it."""
    part_width: float = 0.08
    """The same for a header, which takes strips much narrower than itself."""
    steady: float = 0.5
    """For the visit's usual speed."""
    reverse: float = 6.0
    turning: float = 2.0
    turning_back: float = 5.0
    """For a turn that ends up the other way within twenty seconds: never work."""
    round_work: float = 0.8
    """How much of that is let go where the line keeps to its neighbour all round the bend."""
    stroke: float = 5.0
    """For a forward stroke in a corner, where a header cuts its way round."""
    outside: float = 6.0
    still: float = 4.0
    alike: float = 1.0
    """For new ground, at least, on a run like the bouts beside it, or in a header's stroke."""
    apart: float = 5.0
    """Against a run that has neither worked ground nor the field's edge beside it."""
    looked: float = 8.0
    """Against a way round the field that laps go over again at once."""
    lower: float = 3.0
    """Cost of starting work; lift: of stopping."""
    lift: float = 3.0


def slack(path: Path, work: Flags, usual: float) -> tuple[float, float]:
    """How far the visit's own straight work falls below and rises above its usual speed.

    As log ratios. A drill that keeps its speed makes slow or fast driving suspect; a harvester
    that follows the crop does not.
    """
    deep = work & (heading_change(path.heading, 8) < np.radians(20))
    if deep.sum() < 30:
        return 0.6, 0.3
    low, high = np.percentile(path.speed[deep], [15, 90])
    told = path.interval_s < OFTEN_S and path.noise_m < TREMBLES_M
    least = RISES if told else RISES_UNTOLD
    below = float(np.clip(1.5 * np.log(usual / max(low, 0.05)), 0.3, 0.8))
    return below, float(np.clip(1.5 * np.log(high / usual), least, 0.4))


def keeps_pace(path: Path, straight: Flags) -> bool:
    """Whether a machine keeps its speed where it runs straight in the field, (m,), as drills and
    sprayers do; a harvester, stated as one or not, goes as fast as the crop lets it."""
    usual = median(path.speed[straight]) if straight.any() else 1.0
    return slack(path, straight, usual)[0] < KEEPS


def speed_evidence(
    speed: Floats, usual: float, pace: Floats, below: float, above: float, weights: Evidence
) -> Floats:
    """For work at the visit's usual speed, against it the further off: (m,) [nats]

    speed: (m,), usual: of the work; pace: (m,) of that here, no higher [m/s]; below, above: how far
    it falls and rises, as log ratios.
    """
    faster_than, slower_than = (np.log(np.maximum(speed, 0.05) / by) for by in (usual, pace))
    r = np.where(slower_than < 0, slower_than, np.maximum(faster_than, 0.0))
    slower = 0.5 * np.minimum((r / below) ** 2, 6.0)
    faster = 0.5 * np.minimum((r / above) ** 2, 8.0)
    still = weights.still * (speed < 0.12 * usual)
    return np.asarray(weights.steady - np.where(r < 0, slower, faster) - still)


def off_pace(path: Path, run: NDArray[np.intp], work: Flags, pace: Floats) -> Floats:
    """Against a stretch of a run that is driven at another pace than the work for many seconds: a
    way to a bout or from it, say, where positions wander too much for the ground to tell: (m,)
    [nats]

    A mean over many seconds shows a tenth in speed, which a second does not. How far it may be off
    is what it is off in the midst of the work. A run as a whole is not lost for its pace alone.
    run: (m,) number of each second's run; work: (m,); pace: (m,) expected of work. [m/s]
    """
    reach = int(np.clip(1.5 * path.interval_s, *PACED_S))
    row, first = np.arange(len(run)), firsts(run)
    lasts_s = np.bincount(run)[run]
    begin = np.maximum(row - reach, first[run])
    end = np.minimum(row + reach, first[run] + lasts_s - 1) + 1
    told = (run > 0) & (end - begin > reach)
    told &= (lasts_s >= LASTS_S) | (path.noise_m <= TREMBLES_M)
    begin, end = np.where(told, begin, row), np.where(told, end, row + 1)
    way_m, worked_s = (np.concatenate([[0.0], np.cumsum(v)]) for v in (path.speed, work))
    mean = (way_m[end] - way_m[begin]) / (end - begin)
    off = np.log(np.maximum(mean, 0.05) / pace)
    deep = told & (worked_s[end] - worked_s[begin] == end - begin)
    if deep.sum() < FEWEST_S:
        return np.zeros(len(run))
    low, high = np.percentile(off[deep], [7, 93])
    below, above = np.clip([-1.5 * low, 1.5 * high], *OFF)
    square = np.where(off < 0, off / below, off / above) ** 2
    against = told * np.clip((square - 0.5) / 2, 0.0, MOST_OFF)
    total = np.bincount(run, weights=against)
    return np.asarray(against * (RUN_OFF / np.maximum(total, RUN_OFF))[run])


def fixed_evidence(
    path: Path, inside: Flags, usual: float, weights: Evidence, cuts: bool
) -> Floats:
    """What does not hang on any label: (m,) [nats] usual: a first guess of the working speed, which
    a stroke does not exceed by much. [m/s]"""
    fixed = -weights.reverse * path.reverse - weights.outside * ~inside
    if not cuts:
        return np.asarray(fixed)
    return np.asarray(fixed + weights.stroke * (strokes(path) & (path.speed < STROKE * usual)))


def turning_evidence(path: Path, line: Line, about: Flags, weights: Evidence) -> Floats:
    """Against work while the implement turns, and more so where it comes about: (m,) [nats]

    A bend of 30 m radius is nothing, one of 10 m is a turn. about: (m,) seconds known to be part
    of a turn that takes longer.
    """
    bend = heading_change(line.heading)
    way = 6.0 * np.maximum(path.speed, 0.7)
    turning = np.clip((bend / way - 1 / 30) / (1 / 10 - 1 / 30), 0.0, 1.5)
    back = (heading_change(line.heading, 9) > np.radians(135)) | about
    back &= bend > np.radians(25)
    return np.asarray(weights.turning * turning + weights.turning_back * back)
