"""Ends of bouts, set to the second where the line comes onto new ground and leaves it."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oplog.records import dataclass
from oplog.track import Floats, median
from oplog.work.line import Line
from oplog.work.motion import Path
from oplog.work.runs import TREMBLES_M, heading_change, true_runs

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
SLANT_S = 9.0
"""How long a line may take to cross an edge that lies aslant; what takes longer is none."""
FIRST_S = 6
"""How far from where it is seen to cross its first corner may have come over the edge, or its
last may."""
STAND_S, STANDS_M_S = 10, 0.15
"""How long a machine takes to come to a stand, or to get going; how slowly it goes that stands."""
HALT_M, HALT_TURNED = 15.0, np.radians(15)
"""How far on and how much turned a bout goes on at most after a halt."""
TURN_LEFT_S = 4
"""How long a turn may last into what looks like a run, at most."""
IN_LINE_S, COMES_S = 5, 25
"""How soon a machine is in line with its bout, and for how long it did not work before, if it comes
from elsewhere."""
COMES_IN_S = 10
"""For how long a machine has driven on that comes in over the boundary."""
ABOUT = np.radians(135)
TURNED_S, TURNED = 8, np.radians(20)
"""How long before its end a run may have gone into the turn that ends it, and by how much."""
TELLS_S, SAYS_LATE_S = 0.7, 0.4
"""How far off the ends are that the sequence model finds, which goes by speed and bends as well;
how late it says that work began, and how early that it ended."""
LOWERED_S, LIFTED_S = 0.4, 0.3
"""An implement takes its time to go down and to come up (common practice)."""


@dataclass(frozen=True, eq=False)
class Crossings:
    """Share of the line, and of its right and left half, on ground of its own: (m,) 0-1 each."""

    whole: Floats
    right: Floats
    left: Floats


def trim(
    path: Path, line: Line, work: Flags, new: Crossings, inland: Floats, usual: float,
    inmost: Flags, width_m: float, cuts: bool,
) -> Flags:  # fmt: skip
    """Move the ends of each run to where the line comes onto new ground and leaves it: (m,) mask.

    The sequence model finds the runs. Within some seconds of their ends the line decides, to the
    second: where it crosses from old ground to new or back; failing that, where it runs straight,
    looked for as far as `far` seconds inward. inland: (m,) share of the line in the field, 0-1.
    inmost: (m,) where there is room for a headland.
    """
    far = 5 if cuts else 10
    able = ~path.reverse & (path.speed > 0.25 * usual)
    turn = heading_change(line.heading, 1)
    # Noise bends a heading over two seconds by its size over the way gone.
    bent = np.radians(5) + 2 * path.noise_m / max(2 * usual, 0.5)
    level = able & (new.whole >= 0.2)
    # A trailed implement swings straight some seconds after the machine: at the start the
    # machine's own heading tells, at the end the implement's.
    lined_up = level & (heading_change(path.heading, 1) < bent)
    drawn_straight = level & (turn < bent)
    out = work.copy()
    runs = true_runs(work, path.piece)
    square = able & (turn < np.radians(30))
    first, last = np.array(runs, dtype=np.intp).reshape(-1, 2).T
    begins, seen = _ends_of_runs(first, 1, new, square, lined_up, far)
    ends, left = _ends_of_runs(last, -1, new, square, drawn_straight, far)
    # Where positions wander the ground tells worse than what the model goes by as well.
    blur_s = path.drift_m / max(usual, 0.5)
    share = blur_s**2 / (blur_s**2 + TELLS_S**2)
    begins = _between(begins, first - SAYS_LATE_S, share)
    ends = _between(ends, last + SAYS_LATE_S, share)
    if not cuts:
        on = (new.whole >= 0.35) & ~path.reverse & (turn < np.radians(10))
        from_halt, to_halt = _halts(begins, ends, path)
        stands = ~seen & (from_halt | ~inmost[begins])
        begins = np.where(stands, _to_standstill(begins, -1, path, on), begins)
        stands = ~left & (to_halt | ~inmost[ends])
        ends = np.where(stands, _to_standstill(ends, 1, path, on), ends)
    inner = ends[inmost[np.minimum(ends + 1, len(inmost) - 1)]]
    bend = np.abs(np.diff(path.heading))
    steers = not cuts and path.noise_m <= TREMBLES_M
    told = zip(
        runs, begins.tolist(), seen.tolist(), ends.tolist(), _turned_back(path, first, last),
        strict=True,
    )  # fmt: skip
    for (a, b), crossing, crossed, end, back in told:
        begin = crossing if cuts else _when_straight(crossing, end, bend, bent)
        if steers and not out[max(begin - COMES_S, 0) : max(begin - TURN_LEFT_S, 0)].any():
            begin = _when_in_line(begin, end, path.heading, bend, bent)
        # What is crossed in a turn is no edge of the work; and who comes in over the boundary may
        # leave a headland for another day.
        came_in = inland[max(crossing - 3, 0) : crossing].min(initial=1.0) < 0.5
        came_in = came_in and _drove_on(path, max(crossing - COMES_IN_S, 0), crossing)
        if not crossed or begin > crossing or came_in:
            begin = _at_neighbours_end(begin, line, inner, width_m, far)
        if back:
            end = _while_straight(begin, end, path.heading, bend, bent)
        if end > begin:
            out[min(a, begin) : max(b, end) + 1] = False
            out[begin : end + 1] = True
    return np.asarray(out, dtype=bool)


def _between(rows: Rows, others: NDArray[np.floating[Any]], share: float) -> Rows:
    """Rows that lie that share of the way to others. (k,)"""
    return np.floor(rows + share * (others - rows) + 0.5).astype(np.intp)


def _halts(begins: Rows, ends: Rows, path: Path) -> tuple[Flags, Flags]:
    """Which runs begin, and which end, at a halt in a bout: the machine goes on in line after it.
    (k,) mask each."""
    a, b = ends[:-1], begins[1:]
    turned = np.abs(path.heading[b] - path.heading[a]) < HALT_TURNED
    back = np.cumsum(path.reverse)
    near = np.hypot(path.x[b] - path.x[a], path.y[b] - path.y[a]) < HALT_M
    halts = turned & near & (back[b] == back[a]) & (path.piece[a] == path.piece[b])
    after, before = np.zeros(len(begins), dtype=bool), np.zeros(len(ends), dtype=bool)
    after[1:], before[:-1] = halts, halts
    return after, before


def _to_standstill(at: Rows, outward: int, path: Path, on: Flags) -> Rows:
    """Where runs end that come to a stand, or set off from one, still on ground of their own.

    There an implement is lowered before the machine sets off, and lifted once it stands: nobody
    leaves the last metres to a headland that is none. on: (m,) straight on and on new ground.
    """
    away = outward * np.arange(STAND_S + 1)
    rows = at[:, None] + away
    there = (rows >= 0) & (rows < len(path))
    rows = np.clip(rows, 0, len(path) - 1)
    goes = on[rows] & (path.speed[rows] > STANDS_M_S) & there
    goes[:, 0] = True
    lasts = np.cumprod(goes, axis=1).sum(axis=1)
    beyond = np.clip(at + outward * lasts, 0, len(path) - 1)
    stands = (path.speed[beyond] <= STANDS_M_S) | path.reverse[beyond]
    stands &= (lasts <= STAND_S) & (path.piece[beyond] == path.piece[at])
    return np.where(stands, at + outward * (lasts - 1), at)


def _turned_back(path: Path, first: Rows, last: Rows) -> list[bool]:
    """Whether the run after each goes the other way."""
    midst = path.heading[(first + last) // 2]
    return [abs(b - a) > ABOUT for a, b in pairwise(midst.tolist())] + [False] * bool(len(midst))


def _when_straight(begin: int, end: int, bend: Floats, bent: float) -> int:
    """The row at which a run is out of the turn that led to it: nothing is lowered in a turn.

    How straight is straight shows in the midst of the run, as some follow curves. bend: (m-1,) of
    the heading from each second to the next; bent: what noise bends it within two seconds. [rad]
    """
    if end - begin < 3 * TURN_LEFT_S:
        return begin
    turn = bend[begin:end]
    if turn[:TURN_LEFT_S].max() <= bent:
        return begin
    usual = median(turn[TURN_LEFT_S:-TURN_LEFT_S])
    askew = np.flatnonzero(turn[:TURN_LEFT_S] > bent + 3 * usual)
    return begin + int(askew[-1]) + 1 if len(askew) else begin


def _when_in_line(begin: int, end: int, heading: Floats, bend: Floats, bent: float) -> int:
    """The row at which a machine heads where its bout leads: who comes from elsewhere may cross the
    edge of the ground aslant, straight on, and lowers once he is in line. As _when_straight."""
    if end - begin < 3 * IN_LINE_S:
        return begin
    usual = median(bend[begin + IN_LINE_S : end])
    lined_up = median(heading[begin + IN_LINE_S : begin + IN_LINE_S + TURN_LEFT_S])
    left_s = np.arange(IN_LINE_S, 0, -1) + TURN_LEFT_S / 2
    off = np.abs(heading[begin : begin + IN_LINE_S] - lined_up)
    askew = np.flatnonzero(off > bent + usual * left_s)
    return begin + int(askew[-1]) + 1 if len(askew) else begin


def _while_straight(begin: int, end: int, heading: Floats, bend: Floats, bent: float) -> int:
    """The row up to which a run keeps straight, if it ends well within a turn: there it was lifted,
    whatever ground the turn leads over. heading: (m,) of each second; bend, bent: as before."""
    if end - begin < 3 * TURNED_S:
        return end
    turn = bend[begin:end]
    if turn[-TURNED_S:].max() <= bent:
        return end
    usual = median(turn[TURN_LEFT_S:-TURNED_S])
    straight = turn[-TURNED_S:] <= bent + 3 * usual
    # Where it swings out first the bend is nil for a second, but not for two.
    lasting = np.flatnonzero(straight[:-1] & straight[1:])
    last = end - TURNED_S + (int(lasting[-1]) + 2 if len(lasting) else 0)
    turned = np.abs(heading[last : end + 1] - heading[last]).max()
    return last if turned > TURNED and end - last >= 2 else end


def _drove_on(path: Path, first: int, last: int) -> bool:
    """Whether a machine went on from one row to another: who shunts in a corner is over the
    boundary there as well, and comes to a stand; who comes in drives over it."""
    return bool(path.speed[first:last].min(initial=np.inf) > STANDS_M_S)


def _at_neighbours_end(begin: int, line: Line, ends: Rows, width_m: float, far: int) -> int:
    """The row at which a bout that begins on untouched ground is level with where others ended.

    A machine runs straight for a while before it lowers, but turns soon after it lifts: where
    the headland is worked another day, the ends of the bouts beside show where its edge is.
    """
    x, y, heading = line.x, line.y, line.heading
    along = np.array([np.cos(heading[begin]), np.sin(heading[begin])])
    last = ends[(ends != begin) & (np.cos(heading[ends] - heading[begin]) < -0.94)]
    if not len(last):
        return begin
    out = np.minimum(last + 1, len(x) - 1)
    offset = np.column_stack([x[out] - x[begin], y[out] - y[begin]])
    inward, aside = offset @ along, np.abs(offset @ np.array([-along[1], along[0]]))
    beside = (np.abs(inward) < 2 * width_m + 10.0) & (aside < 5 * width_m)
    near = inward[beside][np.argsort(aside[beside])]
    # One end alone may be that of a lap, or of a bout that a pond cut short.
    if len(near) < 2 or abs(near[1] - near[0]) > width_m:
        return begin
    edge = float(near[0])
    rows = np.arange(begin, min(begin + far + 1, len(x)))
    gone = np.column_stack([x[rows] - x[begin], y[rows] - y[begin]]) @ along
    level = np.flatnonzero(gone >= edge)
    return int(rows[level[0]]) if len(level) else begin


def _ends_of_runs(
    at: Rows, inward: int, new: Crossings, able: Flags, straight: Flags, far: int, reach: int = 5,
) -> tuple[Rows, Flags]:  # fmt: skip
    """Where runs really end, looked for within `reach` seconds; inward: +1 start, -1 end.

    at: (k,) where they end as they are. Returns (k,) rows, and whether each run was seen to come
    onto new ground there or to leave it.
    """
    size = len(new.whole)
    away = np.arange(-reach, far + 1)
    rows = at[:, None] + inward * away
    there = (rows >= 0) & (rows < size)
    rows = np.clip(rows, 0, size - 1)
    on = new.whole[rows] >= (0.35 if inward > 0 else 0.2)
    crosses = np.zeros(rows.shape, dtype=bool)
    crosses[:, 1:] = on[:, 1:] & ~on[:, :-1] & able[rows[:, 1:]] & there[:, 1:] & there[:, :-1]
    crosses &= away <= reach
    crossed = np.asarray(crosses.any(axis=1))
    nearest = np.argmin(np.where(crosses, np.abs(away), far + reach), axis=1)
    steady = straight[rows] & there
    # The first steady second, from without inward.
    ends = np.where(steady.any(axis=1), _each(rows, np.argmax(steady, axis=1)), at)
    ends[crossed] = _first_corner(new, _each(rows, nearest)[crossed], inward)
    return ends, crossed


def _first_corner(new: Crossings, k: Rows, inward: int) -> Rows:
    """The rows at which the first corner of the line comes onto new ground, near crossings k.

    A line that crosses aslant is lowered when its first corner is over new ground, and lifted
    when its last is over old. Its halves cross in turn; from the middle of the one to the middle
    of the other is half of the whole.
    """
    right, left = (_crossed(half, k, inward) for half in (new.right, new.left))
    last = len(new.whole) - 1
    middle, slant = (left + right) / 2, np.minimum(2 * np.abs(left - right), SLANT_S)
    if inward > 0:
        at = np.floor(middle - slant / 2 + LOWERED_S + 0.5)
        return np.asarray(np.clip(at, np.maximum(k - FIRST_S, 0), k + 1), dtype=np.intp)
    at = np.floor(middle + slant / 2 + LIFTED_S + 0.5) - 1
    return np.asarray(np.clip(at, k - 1, np.minimum(k + FIRST_S, last)), dtype=np.intp)


def _crossed(new: Floats, k: Rows, inward: int) -> Floats:
    """When a part of the line crosses onto new ground or off it, near rows k: (k,) in rows.

    By how much new ground there is in the seconds about: a row stands for the second that begins
    with it. Ground taken from a neighbour and slips between neighbours count for nothing.
    """
    without = 3
    rows = k[:, None] + inward * np.arange(-without, without + 1)
    there = (rows >= 0) & (rows < len(new))
    share = new[np.clip(rows, 0, len(new) - 1)]
    inner = there[:, without:].sum(axis=1)
    by_size = np.sort(np.where(there, share, np.inf)[:, without:], axis=1)
    middle = (_each(by_size, (inner - 1) // 2) + _each(by_size, inner // 2)) / 2
    high = np.maximum(middle, 0.3)
    least = np.where(there, share, np.inf)[:, :without].min(axis=1)
    low = np.minimum(np.minimum(least, high), 0.5 * high)
    part = np.clip((share - low[:, None]) / (high - low)[:, None], 0.0, 1.0) * there
    # Outside the last row that is wholly old, nothing counts.
    wholly = (part[:, :without] < 0.1) & there[:, :without]
    beyond = np.cumsum(wholly[:, ::-1], axis=1)[:, ::-1]
    part[:, : without - 1][beyond[:, 1:] > 0] = 0.0
    after = k + inner if inward > 0 else k + 1 - inner
    return np.asarray(after - inward * part.sum(axis=1))


def _each(values: NDArray[Any], place: Rows) -> NDArray[Any]:
    """One value of each row: (k, n) values at (k,) places."""
    return np.take_along_axis(values, place[:, None], axis=1)[:, 0]
