"""The scenarios: which machine, job, fields and logger; `__init__` says what each is for."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from benchmarks.second.jobs import Job
from benchmarks.second.planning import Scenario, Visit
from benchmarks.second.receivers import Logger

RTK = Logger("rtk", 1.0)
RTK5 = Logger("rtk", 0.2)
SBAS = Logger("sbas", 1.0, minutes_digits=6)
PHONE = Logger("phone", 1.0, digits=7, jitter_s=0.05)

GUIDED: dict[str, Any] = {"overlap_m": 0.03, "uneven_m": 0.02, "weave_m": 0.02}
BY_EYE: dict[str, Any] = {"overlap_m": 0.18, "uneven_m": 0.1, "weave_m": 0.09}
SLOPPY: dict[str, Any] = {"lower_m": (0.8, 1.6), "lift_m": (-0.3, 1.8)}
CROP: dict[str, Any] = {"stands_crop": True, "lower_m": (-1.5, 0.8), "lift_m": (1.0, 0.8)}
UNLOAD: dict[str, Any] = {"load_m": 1100, "load_at": "here", "load_s": (90, 240)}

Visits = tuple[Visit, ...]


def _half_and_half(**second: Any) -> Visits:
    """The first part of a field, then the rest of it."""
    return (
        Visit(0, (("share", (0.0, 0.55)), ("headland", "first"))),
        Visit(0, (("share", (0.55, 1.0)), ("headland", "done")), **second),
    )


TWICE: Visits = (Visit(0), Visit(0, (("across", True),), again=True))
COME_BACK: Visits = (
    Visit(0, (("share", (0.0, 0.6)), ("headland", "done"))),
    Visit(1),
    Visit(0, (("share", (0.6, 1.0)), ("headland", "last"))),
)


def _tillage() -> list[Scenario]:
    furrow: dict[str, Any] = {"overlap_m": 0.05, "uneven_m": 0.04, "weave_m": 0.025}
    plough = Job(headland="last", **furrow)
    small = (1.1, 1.8)
    deep = Job(**GUIDED, blocked_per_km=0.1)
    return [
        Scenario("plough_reversible_slats", "plough", plough, SBAS, area_ha=small, turns_over=True),
        Scenario("plough_in_lands", "plough", replace(plough, pattern="gather", step=9), RTK,
                 area_ha=small, stated="width"),
        Scenario("plough_cast_lands_wedge", "plough", replace(plough, pattern="cast", step=8), SBAS,
                 ("wedge",), small, stated="nothing"),
        Scenario("plough_offset_unstated", "plough", replace(plough, headland="done"), RTK,
                 ("irregular",), small, stated="width", roads=False),
        Scenario("plough_wide_bow", "plough", replace(plough, bow_m=12.0), RTK,
                 ("brook",), (1.5, 2.2), width_m=(2.0, 2.4), turns_over=True),
        Scenario("cultivator_fishtails", "cultivator", replace(deep, over_edge_m=0.5), RTK5,
                 ("rectangle",), (2, 3.5)),
        Scenario("cultivator_last_headland", "cultivator",
                 Job(headland="last", touch_ups=5, **BY_EYE, **SLOPPY), SBAS, ("round_corner",),
                 (3, 5)),
        Scenario("cultivator_twice_crosswise", "cultivator", Job(**BY_EYE, laps=3), RTK,
                 ("ell",), (2, 3), width_m=(4, 6), visits=TWICE),
        Scenario("cultivator_two_days", "cultivator", Job(**GUIDED), SBAS, ("irregular",), (4, 6),
                 visits=_half_and_half(night_before=True)),
        Scenario("cultivator_triangle_eye", "cultivator", Job(**BY_EYE, corner="loop"), RTK,
                 ("triangle",), (1.5, 3), stated="width"),
        Scenario("discs_skip_contour", "discs", Job(pattern="skip", bow_m=18.0, **GUIDED), RTK,
                 ("brook",), (4, 7)),
        Scenario("discs_round_and_round", "discs", Job(pattern="spiral", diagonals=True, **BY_EYE),
                 SBAS, ("irregular",), (3, 5)),
        Scenario("discs_inside_out", "discs", Job(pattern="inside_out", **BY_EYE), RTK,
                 ("rectangle",), (3, 5), stated="width"),
        Scenario("discs_lifts_over_waterway", "discs",
                 Job(pattern="skip", raised_per_km=1.5, **GUIDED), RTK, ("irregular",), (4, 6)),
        Scenario("roll_fast_phone", "roll", Job(pattern="skip", step=2, **BY_EYE), PHONE,
                 ("ell",), (3, 6), stated="width"),
        Scenario("roll_at_road_speed", "roll", Job(pattern="side", over_edge_m=6, **BY_EYE), SBAS,
                 ("strip", "rectangle"), (2, 4), gap_m=60),
        Scenario("roll_both_shared_edge", "roll", Job(pattern="skip", **BY_EYE), RTK,
                 ("rectangle", "rectangle"), (3, 5), layout="shared"),
        Scenario("roll_phone_5s", "roll", Job(pattern="skip", **BY_EYE),
                 replace(PHONE, interval_s=5.0), ("irregular",), (4, 8), stated="nothing"),
    ]  # fmt: skip


def _seeding() -> list[Scenario]:
    seed = Job(load_m=3200, **GUIDED)
    return [
        Scenario("drill_refills_at_gate", "drill", seed, RTK, ("rectangle",), (2, 4)),
        Scenario("drill_pond_refills", "drill", replace(seed, laps=2), RTK, ("pond",), (3, 5)),
        Scenario("drill_blocked_coulters", "drill",
                 Job(blocked_per_km=0.9, idle_down_per_km=0.4, **GUIDED), RTK5, ("ell",), (2, 3)),
        Scenario("drill_lunch_key_off", "drill", replace(seed, lunch="dark"), SBAS,
                 ("irregular",), (2, 4), stated="width"),
        Scenario("drill_lunch_running", "drill", replace(seed, lunch="running", margin_m=4.0), RTK,
                 ("round_corner",), (2, 4)),
        Scenario("drill_two_hectare_corner", "drill",
                 replace(seed, headland="none", over_edge_m=20), RTK, ("triangle",),
                 (0.6, 2.0), roads=False),
        Scenario("drill_beside_a_second_machine", "drill", replace(seed, every_other=True,
                 headland="first"), RTK, ("rectangle",), (3, 5)),
        Scenario("wide_drill_skip", "trailed_drill", Job(pattern="skip", load_m=4000, **GUIDED),
                 RTK, ("irregular",), (5, 9), width_m=(6, 9)),
        Scenario("wide_drill_horseshoe", "trailed_drill", Job(pattern="skip", **GUIDED), SBAS,
                 ("horseshoe",), (6, 10), width_m=(6, 8)),
        Scenario("wide_drill_10s", "trailed_drill", Job(pattern="skip", **GUIDED),
                 replace(RTK, interval_s=10.0), ("rectangle",), (6, 12), width_m=(6, 12)),
        Scenario("wide_drill_phone", "trailed_drill", Job(pattern="skip", load_m=5000, **GUIDED),
                 PHONE, ("brook",), (5, 9), width_m=(6, 12), stated="width"),
        Scenario("wide_drill_three_fields", "trailed_drill", Job(pattern="skip", **GUIDED),
                 replace(RTK, interval_s=2.0), ("rectangle", "wedge", "irregular"), (3, 5),
                 width_m=(8, 12)),
        Scenario("wide_drill_revisit", "trailed_drill", Job(pattern="skip", **GUIDED), RTK,
                 ("rectangle", "wedge"), (3, 5), width_m=(6, 9), visits=COME_BACK),
        Scenario("drill_logger_late", "drill", seed, replace(RTK, late_share=0.3), ("rectangle",),
                 (2, 4)),
        Scenario("drill_logger_stopped_early", "drill", seed,
                 replace(SBAS, early_share=0.25, outages=4), ("irregular",), (2, 4)),
        Scenario("drill_drawn_inside", "drill", seed, RTK, ("irregular",), (2, 4), inwards_m=3.0),
        Scenario("drill_no_boundary", "drill", seed, RTK, ("irregular",), (2, 4), drawn_m=-1.0),
        Scenario("drill_stamps_cut_to_seconds", "drill", Job(**GUIDED),
                 replace(RTK5, whole_seconds=True), ("wedge",), (1.5, 3)),
    ]  # fmt: skip


def _spraying() -> list[Scenario]:
    tram = Job(laps=1, load_m=2600, load_at="yard", **GUIDED)
    return [
        Scenario("sprayer_fills_in_yard", "sprayer", tram, RTK, ("irregular",), (10, 18)),
        Scenario("sprayer_bowser_at_gate", "sprayer", replace(tram, load_at="gate"), SBAS,
                 ("ell",), (10, 16), width_m=(21, 30)),
        Scenario("sprayer_headland_last", "sprayer", replace(tram, headland="last"), RTK,
                 ("brook",), (10, 16), stated="width"),
        Scenario("sprayer_drawn_roughly", "sprayer", tram, RTK, ("round_corner",), (8, 14),
                 drawn_m=3.0),
        Scenario("sprayer_phone_no_boundary", "sprayer", replace(tram, load_m=0), PHONE,
                 ("irregular",), (10, 18), drawn_m=-1.0, stated="width"),
        Scenario("sprayer_through_to_the_far_field", "sprayer", replace(tram, load_m=0), RTK,
                 area_ha=(5, 9), layout="behind", shapes=("rectangle", "rectangle"),
                 visits=(Visit(1),)),
        Scenario("sprayer_pond_by_distance", "sprayer", tram,
                 replace(RTK, interval_s=0.2, distance_m=4.0), ("pond",), (10, 16)),
        Scenario("spreader_throws_behind", "spreader",
                 Job(laps=1, load_m=3500, lower_m=(2, 4), lift_m=(-3, 5), **BY_EYE), SBAS,
                 ("irregular",), (8, 14), width_m=(20, 30)),
        Scenario("spreader_phone_5s", "spreader", Job(laps=1, load_m=3500, **BY_EYE),
                 replace(PHONE, interval_s=5.0, repeats=0.03), ("rectangle",), (6, 12)),
        Scenario("spreader_narrow_two_fields", "spreader", Job(laps=1, **BY_EYE), RTK,
                 ("rectangle", "rectangle"), (3, 5), width_m=(12, 15), layout="shared"),
    ]  # fmt: skip


def _grass() -> list[Scenario]:
    mown = Job(pattern="spiral", overlap_m=0.25, uneven_m=0.1, weave_m=0.08)
    swath = Job(laps=2, overlap_m=0.12, uneven_m=0.12, weave_m=0.08)
    return [
        Scenario("mower_round_and_round", "mower", replace(mown, diagonals=True), SBAS,
                 ("irregular",), (2, 3.5)),
        Scenario("mower_round_phone", "mower", mown, PHONE, ("brook",), (2, 3), stated="width"),
        Scenario("mower_side_unstated", "mower", Job(pattern="cast", step=8, laps=3, **BY_EYE), RTK,
                 ("rectangle",), (2, 3), stated="width"),
        Scenario("wide_mower_bouts", "wide_mower", Job(laps=2, **GUIDED | {"overlap_m": 0.3}), RTK,
                 ("round_corner",), (4, 8)),
        Scenario("wide_mower_three_patches", "wide_mower", replace(mown, laps=3), SBAS,
                 ("irregular", "triangle", "strip"), (2, 3), gap_m=250, drawn_m=2.0),
        Scenario("rake_both_ways", "rake", swath, SBAS, ("irregular",), (3, 6)),
        Scenario("rake_phone_10s", "rake", replace(swath, pattern="spiral", laps=0),
                 replace(PHONE, interval_s=10.0), ("rectangle",), (3, 6), stated="nothing"),
        Scenario("baler_ties_often", "baler", replace(swath, pattern="spiral", laps=5,
                 tie_every_m=220.0), RTK, ("irregular",), (3, 6)),
        Scenario("baler_big_bales_phone", "baler",
                 replace(swath, idle_down_per_km=0.8, over_edge_m=5.0), PHONE, ("ell",), (4, 7),
                 stated="width"),
        Scenario("forager_trailers_alongside", "forager", replace(swath, wait_share=0.3, **CROP),
                 RTK, ("irregular",), (3, 6)),
        Scenario("forager_shunts_opening", "forager",
                 replace(swath, corner="shunt", wait_share=0.15, **CROP),
                 replace(RTK, jitter_s=0.35), ("wedge",), (3, 6), stated="width"),
    ]  # fmt: skip


def _harvest() -> list[Scenario]:
    cut = Job(laps=2, corner="shunt", overlap_m=0.3, uneven_m=0.12, weave_m=0.06, **CROP)
    root = Job(laps=3, headland="first", load_m=900, load_s=(120, 420), **GUIDED)
    return [
        Scenario("combine_unloads_standing", "combine", replace(cut, **UNLOAD), SBAS,
                 ("irregular",), (4, 7)),
        Scenario("combine_unloads_moving", "combine", replace(cut, corner="round", laps=3), RTK,
                 ("rectangle",), (4, 7)),
        Scenario("combine_lands", "combine", replace(cut, pattern="cast", step=4, touch_ups=3,
                 **UNLOAD), RTK, ("rectangle",), (5, 8), stated="width"),
        Scenario("combine_pond_pole", "combine", replace(cut, obstacles=2, **UNLOAD), SBAS,
                 ("pond",), (4, 7), width_m=(6, 9)),
        Scenario("combine_breakdown", "combine", replace(cut, breakdown=True), RTK,
                 ("irregular",), (4, 6), width_m=(5, 8)),
        Scenario("combine_part_cut", "combine", replace(cut, share=(0.0, 0.45)), RTK,
                 ("wedge",), (4, 7)),
        Scenario("combine_phone", "combine", replace(cut, **UNLOAD), PHONE, ("brook",), (5, 8),
                 stated="width"),
        Scenario("combine_round_up", "combine", replace(cut, pattern="spiral", laps=0,
                 diagonals=True, **UNLOAD), SBAS, ("irregular",), (4, 6), width_m=(5, 7)),
        Scenario("combine_two_days", "combine", cut, replace(RTK, interval_s=2.0), ("ell",),
                 (5, 8), visits=_half_and_half(night_before=True)),
        Scenario("combine_strays_and_freezes", "combine", cut,
                 replace(SBAS, strays=8, frozen=4, repeats=0.01, outages=3), ("rectangle",),
                 (4, 6)),
        Scenario("potato_harvester_offset", "potato_harvester", root, RTK, ("rectangle",),
                 (0.8, 1.3)),
        Scenario("beet_harvester_clamp", "beet_harvester", replace(root, load_m=1500), SBAS,
                 ("round_corner",), (1.5, 2.5), stated="width"),
    ]  # fmt: skip


def _elsewhere() -> list[Scenario]:
    seed = Job(load_m=3200, **GUIDED)
    return [
        Scenario("southern_drill", "drill", seed, RTK, ("irregular",), (2, 4), region="south"),
        Scenario("southern_combine", "combine",
                 Job(laps=2, overlap_m=0.25, uneven_m=0.1, **CROP), SBAS, ("rectangle",), (5, 8),
                 region="south", stated="width"),
        Scenario("far_north_roll", "roll", Job(pattern="skip", **BY_EYE), SBAS, ("brook",), (3, 5),
                 region="far_north"),
        Scenario("date_line_cultivator", "cultivator", Job(**GUIDED), RTK, ("irregular",), (2, 4),
                 region="date_line"),
        Scenario("equator_planting_coarse_digits", "drill", Job(**BY_EYE),
                 replace(SBAS, minutes_digits=4), ("strip",), (1.5, 2.5), region="equator"),
        Scenario("cultivator_no_roads_nothing_stated", "cultivator", Job(**BY_EYE, **SLOPPY),
                 replace(SBAS, interval_s=2.0), ("irregular",), (2, 4), stated="nothing",
                 roads=False),
        Scenario("drill_10_hz", "drill", Job(**GUIDED, obstacles=3), replace(RTK, interval_s=0.1,
                 jitter_s=0.02), ("rectangle",), (1.5, 2.5)),
        Scenario("discs_through_and_both", "discs", Job(pattern="skip", **BY_EYE), RTK,
                 area_ha=(2, 4), layout="behind", shapes=("rectangle", "rectangle"),
                 visits=(Visit(1), Visit(0)), drawn_m=1.5),
    ]  # fmt: skip


def _mishaps() -> list[Scenario]:
    seed = Job(load_m=3000, **GUIDED)
    carted = (Visit(0, errand=True),)
    return [
        Scenario("drill_phone_in_the_pocket", "drill", seed, replace(PHONE, carried=True),
                 ("rectangle",), (2, 4), stated="width"),
        Scenario("drill_under_trees", "drill", seed, replace(SBAS, shaded=3), ("brook",), (2, 4)),
        Scenario("wide_drill_corrections_lost", "trailed_drill", Job(pattern="skip", **GUIDED),
                 replace(RTK, lost=3), ("irregular",), (5, 8), width_m=(6, 9)),
        Scenario("wide_drill_steered_by_sbas", "trailed_drill", Job(pattern="skip", **GUIDED),
                 replace(SBAS, steers=True), ("round_corner",), (5, 8), width_m=(6, 9)),
        Scenario("spreader_steered_by_sbas", "spreader", Job(laps=1, **GUIDED),
                 replace(SBAS, steers=True), ("irregular",), (8, 14), width_m=(18, 24),
                 stated="width"),
        Scenario("discs_telematics", "discs", Job(pattern="skip", **BY_EYE),
                 replace(SBAS, smart=True), ("irregular",), (4, 7)),
        Scenario("cultivator_backs_into_edges", "cultivator",
                 Job(headland="last", backs_in=True, **BY_EYE), RTK, ("rectangle",), (2, 3.5)),
        Scenario("drill_uphill_slow", "drill", Job(uphill=0.14, load_m=2500, **GUIDED), SBAS,
                 ("rectangle",), (2, 4)),
        Scenario("sprayer_looks_round_first", "sprayer", Job(laps=1, scout=True, **GUIDED), RTK,
                 ("irregular",), (9, 15), width_m=(21, 30)),
        Scenario("roll_looks_round_drawn_roughly", "roll",
                 Job(pattern="skip", scout=True, **BY_EYE), SBAS, ("wedge",), (3, 5), drawn_m=3.5,
                 stated="width"),
        Scenario("bale_cart_no_work", "rake", Job(), SBAS, ("rectangle",), (3, 5), visits=carted,
                 stated="nothing"),
        Scenario("crop_walk_no_work_phone", "drill", Job(), PHONE, ("irregular",), (3, 6),
                 visits=carted, stated="width"),
        Scenario("forager_jittery_stamps", "forager",
                 Job(laps=3, corner="shunt", overlap_m=0.12, uneven_m=0.15, **CROP),
                 replace(RTK, jitter_s=0.3, whole_seconds=True), ("ell",), (3, 6)),
    ]  # fmt: skip


def _several() -> list[Scenario]:
    """More than one rig, or more than one field's worth of ground, on one track."""
    far = Job(pattern="skip", headland="none", over_edge_m=14.0, **BY_EYE)
    roll = Scenario("", "roll", Job(pattern="skip", **BY_EYE), SBAS, width_m=(6, 9))
    rake = Scenario("", "rake", Job(laps=2, uneven_m=0.2), SBAS, visits=(Visit(1),))
    drill = Scenario("", "drill", Job(load_m=3000, **GUIDED), SBAS, visits=(Visit(1),))
    return [
        Scenario("discs_turn_in_the_neighbour", "discs", far, RTK, ("rectangle", "rectangle"),
                 (2, 4), layout="shared", visits=(Visit(0),)),
        Scenario("cultivates_then_rolls", "cultivator", Job(**GUIDED), RTK, ("irregular",),
                 (1.5, 2.5), width_m=(3, 4), stated="nothing", other=roll),
        Scenario("mows_then_rakes_elsewhere", "wide_mower", Job(laps=2, **GUIDED), SBAS,
                 ("rectangle", "brook"), (3, 5), stated="nothing", visits=(Visit(0),), other=rake),
        Scenario("two_machines_in_one_file", "cultivator", Job(**GUIDED), RTK,
                 ("rectangle", "irregular"), (1.5, 2.5), visits=(Visit(0),), other=drill,
                 beside=True, stated="nothing"),
    ]  # fmt: skip


ALL: list[Scenario] = [
    *_tillage(),
    *_seeding(),
    *_spraying(),
    *_grass(),
    *_harvest(),
    *_elsewhere(),
    *_mishaps(),
    *_several(),
]
