"""Errands: a machine that stops every few lengths, as for bales, samples or stones, works nothing.

Bales lie in rows, so that who collects them leaves what looks like bouts. But work is driving:
what stops for filling, a full header or a knot stands a while and goes on for minutes.
"""

from __future__ import annotations

from oplog.work.idle import standing
from oplog.work.motion import Path
from oplog.work.runs import true_runs

SHORTEST_S, LONGEST_S = 5, 300
"""A stop at one thing and the next: a shorter one is a change of gear, a longer one a wait."""
FEWEST = 8
"""Fewer stops are no round of them."""


def on_errands(path: Path) -> bool:
    """Whether a machine stood for longer than it drove, in many short stops."""
    still = standing(path)
    stops = [b - a + 1 for a, b in true_runs(still, path.piece)]
    stood_s = [s for s in stops if SHORTEST_S <= s <= LONGEST_S]
    return len(stood_s) >= FEWEST and sum(stood_s) > int((~still).sum())
