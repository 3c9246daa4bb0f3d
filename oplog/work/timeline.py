"""Timeline: the states of a stay from entry to exit, adding up to the second."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from oplog.events import Span
from oplog.records import dataclass
from oplog.track import Floats
from oplog.work import idle
from oplog.work.motion import Path


@dataclass(frozen=True)
class Clock:
    """Seconds since the first fix, and moments in UTC."""

    start: np.datetime64

    @cached_property
    def first(self) -> datetime:
        """The moment of the first fix."""
        moment: datetime = self.start.astype("datetime64[us]").astype(datetime)
        return moment.replace(tzinfo=UTC)

    def at(self, seconds: float) -> datetime:
        """The moment, to the microsecond."""
        return self.first + timedelta(microseconds=round(seconds * 1e6))

    def seconds(self, moment: datetime) -> float:
        """Seconds since the first fix."""
        return (moment - self.at(0.0)).total_seconds()

    def spans(self, edges: Floats, states: list[str], bouts: list[int]) -> tuple[Span, ...]:
        """Spans between (k+1,) edges with k states; those without length are left out."""
        moments = [self.at(float(e)) for e in edges]
        return tuple(
            Span(a, b, state, bout)
            for a, b, state, bout in zip(moments[:-1], moments[1:], states, bouts, strict=True)
            if b > a
        )


def timeline(
    part: Path,
    codes: idle.Codes,
    bout: NDArray[np.int32],
    entered_s: float,
    left_s: float,
    clock: Clock,
) -> tuple[Span, ...]:
    """The states of a stay without holes: what the path does not cover is unrecorded.

    codes, bout: (m,) state and bout number of each second of the path.
    """
    edges, states, bouts = [entered_s], [""], [0]
    kinds = codes.astype(np.int64) * 1_000_000 + bout
    for a, b in idle.runs(kinds, part.piece):
        begin, end = float(part.seconds[a]), float(part.seconds[b]) + 1.0
        if b + 1 == len(part) or part.piece[b + 1] != part.piece[b]:
            end = float(part.seconds[b])
        if begin - edges[-1] > 1.5:
            _add(edges, states, bouts, begin, "unrecorded", 0)
        _add(
            edges,
            states,
            bouts,
            min(max(end, edges[-1]), left_s),
            idle.NAMES[codes[a]],
            int(bout[a]),
        )
    if left_s - edges[-1] > 1.5:
        _add(edges, states, bouts, left_s, "unrecorded", 0)
    edges[-1] = left_s
    return clock.spans(np.asarray(edges), states[1:], bouts[1:])


def _add(
    edges: list[float], states: list[str], bouts: list[int], edge: float, state: str, bout: int
) -> None:
    edges.append(edge)
    states.append(state)
    bouts.append(bout)


def seconds_by_state(spans: tuple[Span, ...]) -> dict[str, float]:
    """Seconds in each state of idle.NAMES."""
    total = dict.fromkeys(idle.NAMES, 0.0)
    for span in spans:
        total[span.state] += (span.ended_at - span.started_at).total_seconds()
    return total


def break_seconds(spans: tuple[Span, ...], break_s: float) -> float:
    """Seconds of standing in stops that are each longer than a break. [s]"""
    standing = [(s.ended_at - s.started_at).total_seconds() for s in spans if s.state == "standing"]
    return sum(length for length in standing if length > break_s)
