"""Two ways close behind each other: two machines in echelon, or two receivers on one machine?

A receiver on a long implement lies as far behind as a machine that follows, and where one of the
two is set off to a point of the compass it even lies now to the left and now to the right. But it
lies anywhere between the bouts, where a machine that shares the field takes the middle; and it is
pulled, towards the tractor that turns, where a machine that follows drives on to its own turn.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_MIDDLE = 0.25
"""How far off the middle between two bouts the bout of another machine may lie, of half of what
is between them."""
_MOSTLY = 0.7
_FEWEST_BOUTS = 4
_ONE_DIRECTION = 0.9
_TURNED_RAD = np.radians(25.0)
_TURNED_MOST_RAD = np.radians(120.0)
_FEWEST_TURNING = 15
_FOLLOWS = (0.4, 0.8)
"""How far inside of its way the one behind sees the one ahead, of how far that has turned: a half
where it follows on a circle; 0.3 from an implement, with three metres from receiver to hitch and
seven of drawbar, as the sharpest turn has it; all of it where both are on one frame."""

Mask = NDArray[np.bool_]
Places = NDArray[np.complex128]
Rows = NDArray[np.intp]


def in_echelon(ways: tuple[Places, Places], straight: Mask) -> bool:
    """Whether one of two ways follows the other as a machine that shares the field does.

    ways: both of (n,) places at the same moments [m]; straight: (n,) where both run straight.
    """
    rows = np.flatnonzero(straight)
    starts = rows[np.r_[True, np.diff(rows) > 1]]
    run = np.searchsorted(starts, np.arange(len(straight)), side="right") - 1
    course = _headings(ways[0])
    forward_m = ((ways[1] - ways[0]) * course.conj()).real
    leads = np.bincount(run[rows], forward_m[rows], len(starts)) < 0
    # What a turn comes after says who leads in it.
    first_leads = leads[np.maximum(run, 0)]
    ahead = np.where(first_leads, *ways)
    behind = np.where(first_leads, ways[1], ways[0])
    if not _takes_the_middle(ahead[rows], behind[rows], course[rows], run[rows]):
        return False
    off = (behind - ahead)[rows]
    sideways = 1j * (off * course[rows].conj()).imag * course[rows]
    set_off = complex(np.median(sideways.real), np.median(sideways.imag))
    return _drives_on(ahead + set_off, behind, ~straight & (run >= 0))


def _takes_the_middle(ahead: Places, behind: Places, course: Places, bout: Rows) -> bool:
    """Whether the bouts of the one behind lie in the middle between those of the one ahead.

    course: (n,) of length 1; bout: (n,) number of each place's. Told only where all bouts lie in
    one direction, up and down.
    """
    doubled = complex(np.mean(course**2))
    if abs(doubled) < _ONE_DIRECTION:
        return False
    along = np.sqrt(doubled / abs(doubled))
    lines, second = (
        np.bincount(bout, (at * np.conj(along)).imag) / np.bincount(bout) for at in (ahead, behind)
    )
    lines = np.sort(lines)
    after = np.searchsorted(lines, second)
    inside = (after > 0) & (after < len(lines))
    if inside.sum() < _FEWEST_BOUTS:
        return False
    low_m, high_m = lines[after[inside] - 1], lines[after[inside]]
    off_m = np.abs(second[inside] - (low_m + high_m) / 2)
    return bool(np.mean(off_m < _MIDDLE * (high_m - low_m) / 2) > _MOSTLY)


def _drives_on(ahead: Places, behind: Places, turning: Mask) -> bool:
    """Whether the one behind drives on to where the one ahead turned, rather than towards it, as
    what is pulled, or outwards, as what is bolted on. Of few places in turns nothing is told.

    ahead, behind: (n,) places, what the one is set off taken away. [m]
    """
    goes = _headings(behind)
    turned = np.angle(_headings(ahead) * goes.conj())
    told = turning & (np.abs(turned) > _TURNED_RAD) & (np.abs(turned) < _TURNED_MOST_RAD)
    if told.sum() < _FEWEST_TURNING:
        return False
    inside = np.angle((ahead - behind) * goes.conj())[told] / turned[told]
    return bool(_FOLLOWS[0] < np.median(inside) < _FOLLOWS[1])


def _headings(at: Places) -> Places:
    """The way that each place is left and was come to, of length 1."""
    step = np.gradient(at)
    return np.asarray(step / np.maximum(np.abs(step), 1e-9))
