"""Looking: a way round the field before the work, over ground that is worked at once after it.

Who looks at a field first, or drives along its edge to where he begins, leaves two ways round of
which one was work. Both are over new ground when they are driven, and to go by the first come is
wrong: nobody works half of the way round a field only to work all of it again straight away.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.work.claims import Swath, ground_of, share
from oplog.work.motion import Path
from oplog.work.runs import Runs, whole_runs

Flags = NDArray[np.bool_]
OVER_AGAIN = 0.8
"""Share of the ground under the middle half of the line that is worked again where it was only
looked at: bouts and laps that lie side by side leave each other nearly all of it."""
SOON = 3.5
"""How much of the work is asked for it, in ways round the field: to look once, and two laps, of
which either works half of that ground. A way home comes later."""
ROUND = 0.5
"""How much of the way round a field is no mistake in a bout that is driven again."""
AFTER_S = 30
"""Ground covered again sooner is the same way still, in a corner."""
AS_FAST = 0.3
"""Log ratio to the working speed at which a run may be the one that worked the ground: ways to
and from a trailer are over worked ground as well, but faster."""
BLURRED = 1 / 3
"""Where positions wander by more of the width, one lap looks like the next."""


def looked_round(
    path: Path, run: NDArray[np.intp], runs: Runs, lay: Swath, field: Any, usual: float,
    width_m: float,
) -> Flags:  # fmt: skip
    """Seconds in which a field was only looked at, from the first: (m,) mask.

    lay: the working line as it is; run: (m,) number of each second's run. usual: working speed
    [m/s], as far as it is known.
    """
    from shapely import get_exterior_ring, get_parts, length

    none = np.zeros(len(path), dtype=bool)
    if path.drift_m > BLURRED * width_m:
        return none
    round_m = float(length(get_exterior_ring(get_parts(field))).sum())
    whole = whole_runs(path)
    long = np.bincount(whole, weights=path.speed) > 5 * width_m
    long[0] = False
    # Nothing that comes later is asked.
    soon = np.cumsum(path.speed) < SOON * round_m
    lay, run, speed = lay.part_of(soon), run[soon], path.speed[soon]
    opening = long[whole[soon]]
    if not opening.any():
        return none
    # Who only looks keeps to no line, and may swing a boom over the hedge.
    across = lay.cells.shape[1]
    inmost = slice(across // 4, across - across // 4)
    middle, second = lay.cells[:, inmost], lay.second[:, inmost]
    # Laps work it again; ways to be filled, and back to where the load gave out, do not. Where the
    # edge is drawn so roughly that none keeps to it, nobody can say.
    laps = runs.around if runs.around.any() else np.ones(len(runs.speed), dtype=bool)
    laps = laps & (np.abs(np.log(np.maximum(runs.speed, 0.05) / usual)) < AS_FAST)
    again = ground_of(lay, opening & laps[run]).last.take(middle) > second + AFTER_S
    # Where a lap of work closes it laps over itself, but it has been looked at before.
    again &= ground_of(lay, opening).first.take(middle) > second - AFTER_S
    over = share(lay, again)
    # As far as more than half is worked again, all in all: what follows is the work itself.
    at = int(np.argmax(np.cumsum(np.where(opening, (over - 0.5) * speed, 0.0))))
    seen = opening & (np.arange(len(run)) <= at)
    seen_m = float(speed[seen].sum())
    if seen_m < ROUND * round_m or (over * speed)[seen].sum() < OVER_AGAIN * seen_m:
        return none
    return np.asarray(np.arange(len(path)) <= at)
