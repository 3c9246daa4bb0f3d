"""Jumps: positions that a machine cannot have had, and short stretches thrown off its way."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.track import Floats, median

FASTEST_M_S = 40.0
"""No farm machine goes faster: 144 km/h. Common practice, generous for a pickup."""

SHIFT_M = 5.0
"""A receiver that loses its signal is thrown aside by more than this, and comes back."""
SHIFT_S = 25.0
"""Within so long; a shift that lasts longer cannot be told from the way."""
MOST_SHIFTED = 0.05
"""A track with a larger share of such fixes comes from two places, not from a bad reception."""
TURN_M_S2 = 1.0
"""A machine gets no further off its course than this explains (common practice)."""


def plausible(seconds: Floats, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """Which fixes a machine can have had: (n,) mask.

    The track is cut wherever the step to the next fix is faster than any machine (a step of
    30 m is let pass whatever its time, as stamps are rounded). Short pieces that jump away from
    both neighbours, while those neighbours agree with each other, are left out.
    """
    keep = np.ones(len(seconds), dtype=bool)
    for _ in range(4):
        index = np.flatnonzero(keep)
        if len(index) < 3:
            break
        bad = _jumping_pieces(seconds[index], x[index], y[index])
        if not bad.any():
            break
        keep[index[bad]] = False
    return keep


def _jumping_pieces(seconds: Floats, x: Floats, y: Floats) -> NDArray[np.bool_]:
    broken = impossible(np.diff(seconds), np.hypot(np.diff(x), np.diff(y)))
    piece = np.concatenate([[0], np.cumsum(broken)])
    starts = np.flatnonzero(np.concatenate([[True], broken]))
    ends = np.append(starts[1:], len(seconds)) - 1
    sizes = ends - starts + 1
    drop = np.zeros(len(starts), dtype=bool)
    for k in np.flatnonzero(sizes <= 10):
        if 0 < k < len(starts) - 1 and not drop[k - 1]:
            a, b = ends[k - 1], starts[k + 1]
            gone = impossible(seconds[b] - seconds[a], np.hypot(x[b] - x[a], y[b] - y[a]))
            drop[k] = not gone
        elif len(starts) > 1 and k in (0, len(starts) - 1):
            drop[k] = sizes[k] <= 3
    return np.asarray(drop[piece], dtype=bool)


def impossible(dt: Floats, distance: Floats) -> NDArray[np.bool_]:
    """Steps that no machine can make: (n,) [s], (n,) [m] -> (n,) mask. Stamps are rounded, so
    that 30 m is let pass whatever its time.
    """
    return np.asarray(distance > np.maximum(30.0, FASTEST_M_S * np.maximum(dt, 1.0)))


def shifted(seconds: Floats, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """Fixes of short stretches that are thrown off the way and come back to it: (n,) mask.

    A step is held against the mean velocity before and after it. What is left over is the throw;
    a second one soon after, back by as much, ends the stretch, if the way goes on as it did but
    for the stretch. Stamps that are off by a second are no throw, nor is noise.
    """
    out = np.zeros(len(seconds), dtype=bool)
    if len(seconds) < 6:
        return out
    at, dt = x + 1j * y, np.diff(seconds)
    velocity = np.diff(at) / dt
    usual = np.concatenate([velocity[:1], (velocity[:-2] + velocity[2:]) / 2, velocity[-1:]])
    throw = (velocity - usual) * dt
    far = np.abs(throw)
    least = np.maximum(SHIFT_M, 8 * median(far))
    least = np.maximum(least, np.maximum(1.5 * np.abs(usual), TURN_M_S2 * dt**2))
    # The steps before and after a throw stand out half as much.
    peak = far >= 0.99 * np.maximum(np.r_[0.0, far[:-1]], np.r_[far[1:], 0.0])
    thrown = np.flatnonzero((far > least) & peak)
    last = -1
    for i, j in zip(thrown[:-1].tolist(), thrown[1:].tolist(), strict=True):
        if i > last and seconds[j] - seconds[i + 1] <= SHIFT_S and i > 0 and j < len(dt) - 1:
            over_s = seconds[j + 1] - seconds[i]
            gone = at[j + 1] - at[i] - over_s * (velocity[i - 1] + velocity[j + 1]) / 2
            slack = 0.35 * max(abs(throw[i]), abs(throw[j]))
            back = abs(throw[i] + throw[j]) < slack + least[i] / 2
            if back and abs(gone) < slack + TURN_M_S2 * over_s:
                out[i + 1 : j + 1] = True
                last = j
    return out if out.mean() <= MOST_SHIFTED else np.zeros(len(seconds), dtype=bool)
