"""Every fix of a day with what the machine was doing at it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from oplog import geodesy
from oplog.events import DayMeasured, Span, WorkMeasured
from oplog.flow import gather
from oplog.flow.days import bounds, stamp
from oplog.fold import Farm
from oplog.ground import place_name
from oplog.records import dataclass
from oplog.track import Track


@dataclass(frozen=True, eq=False)
class Labelled:
    """One machine's fixes of a day, (n,) each. field: "" outside fields; bout: 0 outside bouts.

    speed_m_s: as the receiver gave it, else from this fix to the next. [m/s]
    """

    machine: str
    track: Track
    speed_m_s: NDArray[np.float64]
    field: NDArray[np.str_]
    state: NDArray[np.str_]
    bout: NDArray[np.int64]


def day_fixes(
    farm: Farm, fixes: Callable[[str], Track], day: date, machine: str | None = None
) -> list[Labelled]:
    """The fixes of a working day, machine by machine; a fix has the state of its interval.

    fixes: gives the fixes of a digest (Log.fixes).
    """
    started_at, ended_at = bounds(day, farm.zone, farm.day_turns_at)
    found = []
    for name in sorted({t.machine for t in farm.tracks}, key=str.casefold):
        if machine is not None and name.casefold() != machine.casefold():
            continue
        own = [t for t in farm.tracks if t.machine == name]
        track, _ = gather.day_track(own, fixes, started_at, ended_at)
        if len(track):
            found.append(_labelled(farm, name, day, track))
    return found


def _labelled(farm: Farm, machine: str, day: date, track: Track) -> Labelled:
    n = len(track)
    state, field = np.full(n, "elsewhere", dtype="<U12"), np.full(n, "", dtype=object)
    bout = np.zeros(n, dtype=np.int64)
    measured: list[DayMeasured | WorkMeasured] = [
        *(d for d in farm.days if (d.machine, d.day) == (machine, day)),
        *(v for v in farm.visits if (v.machine, v.day) == (machine, day)),
    ]
    for one in measured:
        rows, which = _spans_at(track.time, one.spans)
        state[rows] = [one.spans[i].state for i in which]
        bout[rows] = [one.spans[i].bout for i in which]
        field[rows] = place_name(farm, one) if isinstance(one, WorkMeasured) else ""
    return Labelled(machine, track, _speeds(track), field.astype(str), state, bout)


def _spans_at(
    time: NDArray[np.datetime64], spans: Sequence[Span]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows of the times that lie in a span (start included, end not), and which span it is."""
    if not spans:
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    starts = _times(s.started_at for s in spans)
    ends = _times(s.ended_at for s in spans)
    which = np.searchsorted(starts, time, side="right") - 1
    inside = (which >= 0) & (time < ends[np.maximum(which, 0)])
    rows = np.flatnonzero(inside)
    return rows, which[rows]


def _times(moments: Iterable[datetime]) -> NDArray[np.datetime64]:
    return np.array([stamp(m) for m in moments], dtype="datetime64[us]")


def _speeds(track: Track) -> NDArray[np.float64]:
    metres = geodesy.lengths_m(track.lon, track.lat)
    seconds = np.diff(track.time) / np.timedelta64(1, "s")
    same = np.diff(track.segment) == 0
    with np.errstate(divide="ignore", invalid="ignore"):
        between = np.where(same & (seconds > 0), metres / seconds, np.nan)
    between = np.append(between, np.nan)
    return np.where(np.isfinite(track.speed_m_s), track.speed_m_s, between)
