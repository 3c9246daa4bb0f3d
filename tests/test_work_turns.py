"""Turns known by how they are driven, on ground that is new."""

from __future__ import annotations

import numpy as np
from shapely.geometry import box

from oplog.work import claims, states
from oplog.work.evidence import Evidence
from oplog.work.line import working_line
from oplog.work.motion import Path
from oplog.work.runs import running, runs_of
from oplog.work.turns import backed_about, looped, turned_over
from tests.work_days import PLAIN, driven, leg

WIDTH_M = 10.0
LONG_M = 200.0
Way = list[tuple[float, float]]


def bend(middle: tuple[float, float], radius_m: float, begin: float, swing: float) -> Way:
    """A bend about a middle: from one angle on, by so many degrees."""
    angles = np.radians(np.linspace(begin, begin + swing, max(int(abs(swing) / 6), 2)))
    return [
        (float(middle[0] + radius_m * np.cos(a)), float(middle[1] + radius_m * np.sin(a)))
        for a in angles
    ]


def along_the_headland(bouts: int = 8, skip_m: float = 40.0) -> Path:
    """Bouts up and down; from one to the next, and back to the one beside, along their ends."""
    way: Way = []
    x, up = 0.0, True
    for k in range(bouts):
        end = LONG_M if up else 0.0
        way += [(x, LONG_M - end), (x, end)]
        x += skip_m if k % 2 == 0 else WIDTH_M - skip_m
        beyond = end + (12.0 if up else -12.0)
        way += [(way[-1][0], beyond), (x, beyond)]
        up = not up
    return driven(*leg(way[:-2]))


def laid(p: Path) -> claims.Swath:
    line = working_line(p, PLAIN)
    return claims.swath(claims.way_of(line.x, line.y, line.heading, p.piece, WIDTH_M), WIDTH_M)


def over(p: Path) -> np.ndarray:
    run = running(p)
    return turned_over(
        p, run, runs_of(p, working_line(p, PLAIN), run, None, WIDTH_M), laid(p), WIDTH_M
    )


def test_a_loop_is_a_turn_and_the_end_of_work_round_and_round_is_none() -> None:
    loop = driven(*leg([(0, 0), (100, 0), *bend((100, 10), 10, -90, 270), (90, -60)]))
    assert looped(loop)[60:70].all()
    assert not looped(loop)[:45].any()
    half = driven(*leg([(0, 0), (100, 0), *bend((100, 10), 10, -90, 180), (0, 20)]))
    assert not looped(half).any()


def test_a_wide_circle_is_no_loop() -> None:
    assert not looped(driven(*leg(bend((0, 0), 40, 0, 720)))).any()


def test_a_bend_into_a_change_of_gear_is_part_of_the_turn() -> None:
    """A fishtail: round to one side, back along the hedge, and round into the next bout."""
    into = [(0, 0), (0, 100), *bend((10, 100), 10, 180, -80)]
    x1, y1 = leg(into)
    x2, y2 = leg([(x1[-1], y1[-1]), (x1[-1] - 18, y1[-1])], speed=1.0)
    x3, y3 = leg([(x2[-1], y2[-1]), *bend((x2[-1], y2[-1] - 10), 10, 90, -88), (x2[-1] + 10, 0.0)])
    p = driven(np.concatenate([x1, x2[1:], x3[1:]]), np.concatenate([y1, y2[1:], y3[1:]]))
    about = backed_about(p, running(p))
    assert p.reverse.any()
    assert about[53:57].all(), "the bend before the change of gear"
    assert not about[:45].any()


def test_ways_along_the_ends_of_bouts_that_lie_over_one_another_are_turns() -> None:
    p = along_the_headland()
    on_the_way = ((p.y > LONG_M + 8) | (p.y < -8)) & (np.abs(np.cos(p.heading)) > 0.9)
    told = over(p)
    assert told[on_the_way].mean() > 0.9
    assert not told[(p.y > 20) & (p.y < LONG_M - 20)].any()


def test_sides_of_laps_lie_edge_to_edge_and_are_none() -> None:
    way: Way = []
    for k in range(4):
        off = 5.0 + WIDTH_M * k
        far = 120.0 - off
        way += [(off, off), (LONG_M - off, off), (LONG_M - off, far), (off, far), (off, off + 10)]
    assert not over(driven(*leg(way))).any()


def test_a_way_across_to_a_lap_is_no_bout_that_is_turned_from() -> None:
    there: Way = [(100.0, 0.0), (150.0, 195.0), (190.0, 195.0), (190.0, 0.0)]
    p = driven(*leg([*there, (150.0, -20.0), *there]))
    assert not over(p).any()


def test_turns_on_a_headland_that_is_left_are_no_work() -> None:
    p = along_the_headland()
    ground = box(-30, -30, 130, LONG_M + 30)
    line = working_line(p, PLAIN)
    work = states.label(p, line, laid(p), WIDTH_M, 0.3, ground, (), Evidence()).work
    assert work[(p.y > 10) & (p.y < LONG_M - 10)].mean() > 0.97
    assert work[(p.y > LONG_M + 8) | (p.y < -8)].mean() < 0.1
