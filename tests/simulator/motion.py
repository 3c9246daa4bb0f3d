"""From pieces of path to motion at 10 Hz: speed, the antenna, the dragged implement."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulator.curves import arcs
from tests.simulator.drive import Drive, Piece

Floats = NDArray[np.float64]
RATE_HZ = 10
SIDEWAYS_M_S2 = 1.3
"""Sideways acceleration at which drivers slow down for a bend."""


@dataclass(frozen=True, eq=False)
class Motion:
    """The true motion at even steps of 0.1 s; all columns (n,).

    t: seconds from the start. x, y: axle. heading: of the machine. speed: over ground.
    antenna_x, antenna_y. line_x, line_y: middle of the working line.
    line_heading: of the implement.
    down: implement down. piece: index of the piece of path.
    dwell: stop code while standing (see DWELLS), else 0.
    """

    t: Floats
    x: Floats
    y: Floats
    heading: Floats
    speed: Floats
    antenna_x: Floats
    antenna_y: Floats
    line_x: Floats
    line_y: Floats
    line_heading: Floats
    down: NDArray[np.bool_]
    over: NDArray[np.bool_]
    piece: NDArray[np.intp]
    dwell: NDArray[np.int8]


DWELLS = {"stand": 1, "fill": 2, "brief": 3, "off": 4}
"""Codes of stops; "off" is a stop with the logger switched off."""


def speeds(s: Floats, limit: Floats, accel: float) -> Floats:
    """The fastest speed along a path under a limit per node and one acceleration each way.

    v(s)^2 <= limit(r)^2 + 2 a |s - r| for all r; found with two running minima.
    """
    v2 = limit**2
    v2 = np.minimum(v2, np.minimum.accumulate(v2 - 2 * accel * s) + 2 * accel * s)
    back = np.minimum.accumulate((v2 + 2 * accel * s)[::-1])[::-1] - 2 * accel * s
    return np.asarray(np.sqrt(np.maximum(np.minimum(v2, back), 0.0)))


def towed(x: Floats, y: Floats, start: float, drag_m: float) -> Floats:
    """Heading of a trailed implement whose drawbar is drag_m long, hitched at (x, y).

    Each step is the closed form of the tractrix for a straight step of the hitch:
    tan(e/2) falls by exp(-step/drag), e being the angle between implement and step.
    When backing, e is held within a right angle, as the driver does.
    """
    dx, dy = np.diff(x), np.diff(y)
    step = np.hypot(dx, dy)
    bearing = np.arctan2(dy, dx)
    out = np.empty(len(x))
    phi = out[0] = start
    two_pi = 2 * math.pi
    fall = np.exp(-step / drag_m)
    for i, (b, f, moved) in enumerate(
        zip(bearing.tolist(), fall.tolist(), (step > 1e-6).tolist(), strict=True), start=1
    ):
        if moved:
            e = (phi - b + math.pi) % two_pi - math.pi
            if abs(e) > 3.0:
                e = max(-3.0, min(3.0, e))
            phi = b + 2 * math.atan(math.tan(e / 2) * f)
        out[i] = phi
    return np.unwrap(out)


def _nodes(d: Drive, p: Piece) -> tuple[Floats, Floats, Floats]:
    """Arc, speed limit and body heading at the nodes of a piece."""
    m = d.machines[p.machine]
    s = arcs(p.xy)
    step = np.gradient(p.xy, axis=0)
    tangent = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    bend = np.abs(np.gradient(tangent)) / np.maximum(np.gradient(s), 1e-6)
    if len(bend) > 6:
        bend = np.convolve(np.pad(bend, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    limit = np.full(len(s), p.v)
    if p.vary > 0:
        knots = np.arange(0, s[-1] + 40, 25.0)
        wave = d.rng.normal(0, p.vary, len(knots))
        for i in range(1, len(wave)):
            wave[i] = 0.7 * wave[i - 1] + 0.7 * wave[i]
        limit = limit * np.clip(1 + np.interp(s, knots, wave), 0.5, 1.4)
    limit = np.minimum(limit, np.sqrt(SIDEWAYS_M_S2 / np.maximum(bend, 1e-6)))
    limit = np.maximum(limit, 0.5 if m.turn_m_s > 0.5 else 0.2)
    return s, limit, tangent + (0.0 if p.gear > 0 else math.pi)


def move(d: Drive) -> Motion:
    """Drive all pieces: n samples at 10 Hz."""
    pieces = d.pieces
    s_all, limit_all, heading_all, xy_all, owner, pause = [], [], [], [], [], []
    base = 0.0
    for k, p in enumerate(pieces):
        s, limit, heading = _nodes(d, p)
        turns = k + 1 < len(pieces) and pieces[k + 1].gear != p.gear
        if k == 0:
            limit[0] = 0.05
        if p.dwell_s > 0 or turns or k == len(pieces) - 1:
            limit[-1] = 0.05
        if k and (pieces[k - 1].dwell_s > 0 or pieces[k - 1].gear != p.gear):
            limit[0] = 0.05
        s_all.append(s + base)
        limit_all.append(limit)
        heading_all.append(heading)
        xy_all.append(p.xy)
        owner.append(np.full(len(s), k))
        wait = np.zeros(len(s))
        wait[-1] = p.dwell_s
        pause.append(wait)
        base += s[-1]
    s, limit = np.concatenate(s_all), np.concatenate(limit_all)
    xy, piece, wait = np.concatenate(xy_all), np.concatenate(owner), np.concatenate(pause)
    heading = np.unwrap(np.concatenate(heading_all))
    v = speeds(s, limit, d.m.accel_m_s2)
    step = np.diff(s) / np.maximum((v[:-1] + v[1:]) / 2, 0.03)
    arrive = np.concatenate([[0.0], np.cumsum(step + wait[:-1])])
    leave = arrive + wait
    return _sampled(d, arrive, leave, s, xy, heading, piece)


def _sampled(
    d: Drive, arrive: Floats, leave: Floats, s: Floats, xy: Floats, heading: Floats,
    piece: NDArray[np.intp],
) -> Motion:  # fmt: skip
    end = float(leave[-1])
    t = np.arange(0.0, end, 1 / RATE_HZ)
    keyed = np.column_stack([arrive, leave]).ravel()
    twice = np.repeat(np.arange(len(s)), 2)
    x, y = np.interp(t, keyed, xy[twice, 0]), np.interp(t, keyed, xy[twice, 1])
    h, along = np.interp(t, keyed, heading[twice]), np.interp(t, keyed, s[twice])
    k = np.clip(np.searchsorted(arrive, t, side="right") - 1, 0, len(s) - 1)
    number = piece[k]
    dwell = np.zeros(len(t), dtype=np.int8)
    for p, (a, b) in _dwells(d, arrive, leave, piece):
        dwell[(t >= a) & (t < b)] = DWELLS[d.pieces[p].dwell_kind]
    rig = np.array([p.machine for p in d.pieces])[number]
    c, n = np.cos(h), np.sin(h)

    def of(name: str) -> Floats:
        return np.array([float(getattr(m, name)) for m in d.machines])[rig]

    ahead, right = of("antenna_ahead_m"), of("antenna_right_m")
    line_x, line_y, line_h = _line(d, x, y, h, rig)
    down, over = _down(d, t, arrive, leave, s, piece)
    return Motion(
        t=t, x=x, y=y, heading=h,
        speed=np.abs(np.gradient(along) * RATE_HZ),
        antenna_x=x + ahead * c + right * n,
        antenna_y=y + ahead * n - right * c,
        line_x=line_x, line_y=line_y, line_heading=line_h,
        down=down, over=over,
        piece=number, dwell=dwell,
    )  # fmt: skip


def _dwells(
    d: Drive, arrive: Floats, leave: Floats, piece: NDArray[np.intp]
) -> list[tuple[int, tuple[float, float]]]:
    last = np.flatnonzero(np.diff(piece, append=len(d.pieces)) > 0)
    return [
        (k, (float(arrive[i]), float(leave[i])))
        for k, i in enumerate(last)
        if d.pieces[k].dwell_s > 0
    ]


def _line(
    d: Drive, x: Floats, y: Floats, h: Floats, rig: NDArray[np.intp]
) -> tuple[Floats, Floats, Floats]:
    """Middle of the working line and heading of the implement."""
    line_x, line_y, line_h = x.copy(), y.copy(), h.copy()
    edges = np.flatnonzero(np.diff(rig)) + 1
    for lo, hi in zip([0, *edges], [*edges, len(rig)], strict=True):
        m = d.machines[int(rig[lo])]
        part = slice(lo, hi)
        fixed = m.line_from_axle_m + m.drag_m
        hx = x[part] + fixed * np.cos(h[part])
        hy = y[part] + fixed * np.sin(h[part])
        phi = towed(hx, hy, float(h[lo]), m.drag_m) if m.drag_m > 0 else h[part]
        line_h[part] = phi
        line_x[part] = hx - m.drag_m * np.cos(phi)
        line_y[part] = hy - m.drag_m * np.sin(phi)
    return line_x, line_y, line_h


def _down(
    d: Drive, t: Floats, arrive: Floats, leave: Floats, s: Floats, piece: NDArray[np.intp]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """When the implement is down: over the ideal bout, with the lag of machine and driver.

    And when it is over the ideal bout: the same without the lag.
    """
    out, over = np.zeros(len(t), dtype=bool), np.zeros(len(t), dtype=bool)
    first = np.searchsorted(piece, np.arange(len(d.pieces)), side="left")
    last = np.searchsorted(piece, np.arange(len(d.pieces)), side="right") - 1
    before = False
    for k, p in enumerate(d.pieces):
        if p.down is None:
            before = False
            continue
        m = d.machines[p.machine]
        i, j = int(first[k]), int(last[k])
        at = np.interp([s[i] + p.down[0], s[i] + p.down[1]], s[i : j + 1], arrive[i : j + 1])
        a, b = float(at[0]), float(at[1])
        on, off = a, float(leave[j]) if p.held else b
        if not before:
            a += m.lag_down_s + float(d.rng.normal(0, m.lag_sd_s))
        if p.held:
            b = float(leave[j])
        else:
            b += m.lag_up_s + float(d.rng.normal(0, m.lag_sd_s))
        # Never down across a change of gear or a stop with the implement up.
        lo = float(arrive[i]) - (1.5 if k and d.pieces[k - 1].gear == p.gear else 0.0)
        hi = float(leave[j]) if p.held else float(arrive[j]) + (1.0 if p.dwell_s == 0 else 0.0)
        if k + 1 < len(d.pieces) and d.pieces[k + 1].gear != p.gear:
            hi = float(arrive[j])
        out[(t >= max(a, lo)) & (t < min(b, hi))] = True
        over[(t >= max(on, lo)) & (t < min(off, hi))] = True
        before = p.held
    return out, over
