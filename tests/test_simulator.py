"""The simulator against cases that can be worked out in the head, and against closed forms."""

from __future__ import annotations

import inspect
import math
from itertools import combinations

import numpy as np
import pyproj
import pytest
from shapely.geometry import Polygon, box

from oplog.geodesy import plane_of
from tests.simulated import SEED, Simulated
from tests.simulator import curves, motion, receiver, truth
from tests.simulator.curves import Pose
from tests.simulator.drive import Bout, Drive, approach, enter, road, work
from tests.simulator.machines import Machine
from tests.simulator.plan import Style, work_field
from tests.simulator.scenarios import SCENARIOS, placed
from tests.simulator.scene import Place, Scenario

PLAIN = Machine(
    10.0, "cultivating", "cultivator", antenna_ahead_m=0.0, line_m=0.0, overlap_m=0.0,
    wander_m=0.0, vary=0.0, lag_down_s=0.0, lag_up_s=0.0, lag_sd_s=0.0,
    work_m_s=2.5,
)  # fmt: skip

QUICK = ("drill_rectangle", "combine_l", "sprayer_30", "mower_spiral_phone", "lunch_logger_off")


def _square_day(machine: Machine) -> tuple[Drive, motion.Motion, truth.StayTruth]:
    """A square of 100 m worked in bouts alone, without lags, wander or overlap."""
    d = Drive(np.random.default_rng(1), [machine], Pose(-40, -20, 0.0), [box(0, 0, 100, 100)])
    road(d, (-20.0, 0.0))
    enter(d, 0)
    work_field(d, Style(laps=0, angle=0.0, stop_chance=0.0))
    m = motion.move(d)
    stay = truth.stays(d, m, truth.states(d, m), np.zeros(len(m.t), dtype=bool))[0]
    return d, m, stay


def test_square_of_100_m_in_ten_bouts_of_10_m_is_one_hectare() -> None:
    _, _, stay = _square_day(PLAIN)
    assert len(stay.bouts) == 10
    assert stay.worked.intersection(box(0, 0, 100, 100)).area == pytest.approx(1e4, rel=4e-3)
    assert stay.gross_m2 == pytest.approx(1e4, rel=0.02)
    # Ten bouts of 100 m at 2.5 m/s, a little slower where they begin and end.
    assert 400 <= stay.seconds["working"] < 440
    assert stay.working_speed_m_s == pytest.approx(2.5, rel=0.08)


def test_seconds_of_the_states_fill_the_stay() -> None:
    _, _, stay = _square_day(PLAIN)
    total = sum(v for k, v in stay.seconds.items() if k != "break")
    assert total == pytest.approx(stay.end_s - stay.start_s, abs=0.15)


def test_trailed_implement_comes_out_after_the_tractor_has_passed_the_edge() -> None:
    trailed = Machine(
        10.0, "cultivating", "cultivator", antenna_ahead_m=0.0, line_m=-6.0, drag_m=4.0,
        overlap_m=0.0, wander_m=0.0, vary=0.0, lag_down_s=0.0, lag_up_s=0.0,
    )  # fmt: skip
    _, m, stay = _square_day(trailed)
    last_down = np.flatnonzero(np.diff(m.down.astype(int)) < 0)
    beyond = np.maximum(m.x[last_down] - 100, -m.x[last_down])
    assert np.all(np.abs(beyond - 6.0) < 1.0)
    assert stay.worked.intersection(box(0, 0, 100, 100)).area == pytest.approx(1e4, rel=0.03)


def test_one_bout_there_and_back_over_itself_is_all_overlap() -> None:
    d = Drive(np.random.default_rng(1), [PLAIN], Pose(-40, 5, 0.0), [box(-60, -60, 160, 60)])
    road(d, (-20.0, 5.0))
    enter(d, 0)
    bout = Bout(np.array([[-50.0, 0.0], [150.0, 0.0]]), 50.0, 150.0)
    for b in (bout, bout.reversed()):
        approach(d, b)
        work(d, b)
    m = motion.move(d)
    stay = truth.stays(d, m, truth.states(d, m), np.zeros(len(m.t), dtype=bool))[0]
    assert stay.worked.area == pytest.approx(1000.0, rel=0.03)
    assert stay.gross_m2 == pytest.approx(2000.0, rel=0.03)


def test_towed_follows_the_classical_tractrix() -> None:
    """Pulled away at right angles: the tractrix x = L (u - tanh u), y = L sech u (Leibniz 1693),
    the hitch being at L u."""
    length = 5.0
    u = np.linspace(0, 4, 4001)
    phi = motion.towed(length * u, np.zeros_like(u), -math.pi / 2, length)
    x, y = length * u - length * np.cos(phi), -length * np.sin(phi)
    assert np.allclose(x, length * (u - np.tanh(u)), atol=1e-6)
    assert np.allclose(y, length / np.cosh(u), atol=1e-6)


def test_towed_on_a_circle_settles_at_the_angle_of_its_drawbar() -> None:
    """On a circle of radius R the wheels settle on one of sqrt(R^2 - L^2): angle asin(L / R)."""
    t = np.linspace(0, 6 * math.pi, 6000)
    phi = motion.towed(12 * np.cos(t), 12 * np.sin(t), math.pi / 2, 5.0)
    lag = (t[-1] + math.pi / 2) - phi[-1]
    assert math.remainder(lag, 2 * math.pi) == pytest.approx(math.asin(5 / 12), abs=2e-3)


@pytest.mark.parametrize(
    ("end", "expected"),
    [
        (Pose(30, 0, 0), 30.0),
        (Pose(0, 12, math.pi), 6 * math.pi),
        (Pose(6, 6, math.pi / 2), 3 * math.pi),
    ],
)
def test_shortest_turns_of_known_length(end: Pose, expected: float) -> None:
    path = curves.dubins(Pose(0, 0, 0), end, 6.0)[0]
    assert curves.length(path) == pytest.approx(expected, rel=2e-3)
    assert np.allclose(path[-1], end[:2], atol=0.01)


def test_turns_keep_to_their_radius() -> None:
    rng = np.random.default_rng(3)
    for _ in range(60):
        a, b = (Pose(*rng.uniform(-20, 20, 2), rng.uniform(-4, 4)) for _ in range(2))
        for path in curves.dubins(a, b, 5.0):
            p = curves.dense(path, 0.5)
            chord = np.diff(np.unwrap(np.arctan2(*np.diff(p, axis=0).T[::-1])))
            assert np.abs(chord).max() < 0.5 / 5.0 * 1.35


def test_speeds_keep_limit_and_acceleration() -> None:
    rng = np.random.default_rng(4)
    s = np.cumsum(rng.uniform(0.1, 0.4, 500))
    limit = rng.uniform(0.2, 4, 500)
    v = motion.speeds(s, limit, 0.6)
    assert np.all(v <= limit + 1e-9)
    assert np.all(np.abs(np.diff(v**2)) <= 2 * 0.6 * np.diff(s) + 1e-9)
    assert np.any(v == limit)


@pytest.mark.parametrize(("quality", "low", "high"), [
    ("rtk", 0.015, 0.03), ("sbas", 0.3, 0.6), ("phone", 2.2, 4.0),
])  # fmt: skip
def test_receiver_noise_is_as_wide_as_stated(quality: str, low: float, high: float) -> None:
    t = np.arange(0, 40_000, 1.0)
    e = receiver.wander(np.random.default_rng(8), t, quality)
    assert low < float(np.sqrt((e**2).sum(axis=1).mean())) < high
    # Neighbouring fixes err together; fixes an hour apart do not.
    near = float(np.corrcoef(e[:-1, 0], e[1:, 0])[0, 1])
    far = float(np.corrcoef(e[:-3600, 0], e[3600:, 0])[0, 1])
    assert near > 0.7
    assert abs(far) < 0.35


def test_a_logger_by_distance_is_silent_while_standing() -> None:
    t = np.arange(0, 300, 0.1)
    x = np.where(t < 100, 2 * t, np.where(t < 200, 200.0, 200 + 2 * (t - 200)))
    r = receiver.Receiver("none", 1.0, distance_m=5.0)
    at = receiver.instants(np.random.default_rng(1), r, t, x, np.zeros_like(x))
    assert np.diff(at).max() > 99
    assert not np.any((at > 102) & (at < 199))


def test_there_is_a_scenario_for_every_kind_of_day() -> None:
    assert len(SCENARIOS) >= 36
    for name, make in SCENARIOS.items():
        assert inspect.getdoc(make), name


def test_a_seed_fixes_a_scenario(simulated: Simulated) -> None:
    again = SCENARIOS["sprayer_30"](SEED)
    assert np.array_equal(again.fixes["lat"], simulated("sprayer_30").fixes["lat"])
    other = SCENARIOS["sprayer_30"](SEED + 1)
    assert len(other.labels) != len(again.labels)


def _hold(s: Scenario) -> None:
    """What must be true of every scenario."""
    geod = pyproj.Geod(ellps="WGS84")
    assert len(s.labels) == len(s.fixes["time"]) == len(s.track())
    assert np.all(np.diff(s.fixes["time"].astype(np.int64)) >= 0)
    true = {f["name"]: f["true"] for f in s.fields}
    for v in s.visits_truth:
        area, _ = geod.geometry_area_perimeter(true[v.field].normalize())
        total = sum(x for k, x in v.seconds.items() if k != "break")
        assert total == pytest.approx((v.ended - v.started).total_seconds(), abs=0.5)
        assert v.worked_m2 <= abs(area) + 1.0
        assert v.worked_m2 + v.outside_m2 <= v.gross_m2 * 1.001 + 1.0
        if not v.worked.is_empty:
            geodesic = sum(
                abs(geod.geometry_area_perimeter(g)[0])
                for g in (_oriented(p) for p in getattr(v.worked, "geoms", [v.worked]))
            )
            assert geodesic == pytest.approx(v.worked_m2, rel=2e-5)


def _oriented(p):  # type: ignore[no-untyped-def]
    from shapely.geometry.polygon import orient

    return orient(p)


@pytest.mark.parametrize(
    "name", [n if n in QUICK else pytest.param(n, marks=pytest.mark.slow) for n in SCENARIOS]
)
def test_all_scenarios_hold_together(name: str, simulated: Simulated) -> None:
    _hold(simulated(name))


def test_labels_tell_the_same_hours_as_the_truth(simulated: Simulated) -> None:
    s = simulated("drill_rectangle")
    dt = np.diff(s.fixes["time"]).astype(np.int64) / 1e6
    for state in ("working", "turning", "filling"):
        by_labels = dt[s.labels[:-1] == state].sum()
        assert by_labels == pytest.approx(s.visits_truth[0].seconds[state], rel=0.03, abs=12)


def test_the_edges_are_what_was_worked_but_for_the_hand_that_lowers_and_lifts(
    simulated: Simulated,
) -> None:
    s = simulated("drill_rectangle")
    working = s.labels == "working"
    apart = np.flatnonzero(s.at_edges != working)
    assert 0 < len(apart) < 0.05 * working.sum()
    ends = np.flatnonzero(np.diff(working.astype(int)))
    assert max(np.abs(ends - i).min() for i in apart) <= 3


def test_time_with_the_logger_off_is_unrecorded(simulated: Simulated) -> None:
    s = simulated("lunch_logger_off")
    gap = np.diff(s.fixes["time"]).astype(np.int64).max() / 1e6
    assert s.visits_truth[0].seconds["unrecorded"] == pytest.approx(gap, abs=3 * s.interval_s)
    assert s.visits_truth[0].seconds["unrecorded"] > 1400


@pytest.mark.parametrize("seed", [3000, 3004])
def test_no_bout_is_done_both_before_lunch_and_after_it(seed: int, simulated: Simulated) -> None:
    """With an odd number of them the halves shared the middle one."""
    s = simulated("lunch_logger_on", seed)
    plane = plane_of(s.fields[0]["boundary"])
    bouts = [plane.project(b) for b in s.visits_truth[0].bouts]
    long = [b for b in bouts if b.length > 50.0]
    closest = min(a.hausdorff_distance(b) for a, b in combinations(long, 2))
    assert closest > 2.0


def test_a_field_driven_through_is_a_visit_without_work(simulated: Simulated) -> None:
    through = simulated("driven_through").visits_truth[1]
    assert through.worked_m2 == 0
    assert through.seconds["working"] == 0
    assert through.seconds["travelling"] > 20


def test_thinned_strip_covers_what_the_full_one_does() -> None:
    """Ground swept on a winding line, by thinned samples and by every one of them."""
    t = np.arange(0, 120, 0.1)
    x, y = 2.5 * t, 18 * np.sin(t / 17)
    h = np.arctan2(np.gradient(y), np.gradient(x))
    thinned, _ = truth.strip(x, y, h, 6.0)
    half = np.column_stack([-np.sin(h), np.cos(h)]) * 3.0
    centre = np.column_stack([x, y])
    full = Polygon(np.vstack([centre + half, (centre - half)[::-1]]))
    assert full.is_valid
    assert thinned.area == pytest.approx(full.area, rel=5e-5)
    assert thinned.symmetric_difference(full).area < 2e-3 * full.area


def test_trailed_implement_cuts_the_corner_and_a_mounted_one_swings_out() -> None:
    """On a quarter circle of radius 10 m, 6 m behind: inside the circle when trailed, outside
    (sqrt(10^2 + 6^2) = 11.66 m from its centre) when mounted."""
    angle = np.linspace(0, math.pi / 2, 400)
    hitch = 10 * np.column_stack([np.sin(angle), 1 - np.cos(angle)])
    phi = motion.towed(hitch[:, 0], hitch[:, 1], 0.0, 6.0)
    trailed = hitch[-1] - 6.0 * np.array([math.cos(phi[-1]), math.sin(phi[-1])])
    mounted = hitch[-1] - 6.0 * np.array([0.0, 1.0])
    centre = np.array([0.0, 10.0])
    assert np.hypot(*(trailed - centre)) < 10.0
    assert np.hypot(*(mounted - centre)) == pytest.approx(math.hypot(10, 6))


def test_a_scenario_can_be_placed_anywhere_with_the_same_motion_and_noise(
    simulated: Simulated,
) -> None:
    south = placed("sprayer_30", SEED, Place(180.0, -45.0, 1.0))
    here = simulated("sprayer_30")
    assert np.array_equal(south.labels, here.labels)
    assert south.visits_truth[0].worked_m2 == here.visits_truth[0].worked_m2
    geod = pyproj.Geod(ellps="WGS84")
    lengths = [geod.line_length(s.fixes["lon"], s.fixes["lat"]) for s in (south, here)]
    assert lengths[0] == pytest.approx(lengths[1], rel=1e-6)
    assert south.fixes["lon"].min() < -179
    assert south.fixes["lon"].max() > 179
