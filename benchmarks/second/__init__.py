"""A second simulator of field work, by another hand: a check on the method, never its teacher.

It was written from the trade and from physics, without sight of the first simulator or of the
method that both are to test. Weights, thresholds and rules are never set on it: a change that
is made because of what it shows has to be judged on other days.

A driver or guidance pursues lines within what steering, grip and brakes allow; turns come of
that, and of the room there is. Implements are carried or drawn; they are lowered and lifted by
hand. Truth is of the motion at full rate, within the time that the track spans. A field that
is only driven through, or into which no work is brought, has no stay. Leaving the field parts a
stay, and so do a night and a further operation. Filling is also unloading. A label is the state
that most of its interval was spent in; reversing and going about with the implement up between
two bouts is turning, longer ways are travelling.

Tillage
- plough_reversible_slats: a plough turned over each time, right of the tractor out, left home
- plough_in_lands: lands from the middle out, offset plough; headland last
- plough_cast_lands_wedge: lands from the sides in, in a wedge; nothing stated
- plough_offset_unstated: the headland is left for another day; no roads
- plough_wide_bow: all bouts follow one curve along a brook
- cultivator_fishtails: no room over the edge, turns with a change of gear; 5 Hz
- cultivator_last_headland: by eye, uneven ends, a bent corner; patches gone over again
- cultivator_twice_crosswise: two full operations, the second across the first
- cultivator_two_days: left in the field over night
- cultivator_triangle_eye: a triangle, laps with loops at the corners
- discs_skip_contour: trailed, bouts left out and taken later, along a contour
- discs_round_and_round: laps to the middle, then the diagonals
- discs_inside_out: from the middle to the edge
- discs_lifts_over_waterway: lifted for some metres in the middle of bouts
- roll_fast_phone: a wide roll in an L, followed by a phone
- roll_at_road_speed: a long strip and a rectangle, bulbs over the edge
- roll_both_shared_edge: two fields with an edge in common
- roll_phone_5s: a phone every 5 s; nothing stated
Seeding
- drill_refills_at_gate: ways over drilled ground to the gate and back
- drill_pond_refills: bouts parted by a pond
- drill_blocked_coulters: stops, reverses, goes on; stands with the drill down; 5 Hz
- drill_lunch_key_off: the logger is off over lunch
- drill_lunch_running: a long stop; a margin all round is left
- drill_two_hectare_corner: a small triangle without a headland; never leaves
- drill_beside_a_second_machine: every other pair of bouts is another machine's
- wide_drill_skip: 6 to 9 m trailed, refilled
- wide_drill_horseshoe: a field with two horns
- wide_drill_10s: a fix every 10 s
- wide_drill_phone: 6 to 12 m, followed by a phone
- wide_drill_three_fields: three in a day, every 2 s
- wide_drill_revisit: a field begun, another done, the first one finished
- drill_logger_late: the track begins in mid-field
- drill_logger_stopped_early: ends in mid-field, with gaps
- drill_drawn_inside: the boundary lies 3 m inside
- drill_no_boundary: none is drawn
- drill_stamps_cut_to_seconds: 5 Hz with stamps of whole seconds
Spraying and spreading
- sprayer_fills_in_yard: leaves the field for every load
- sprayer_bowser_at_gate: filled in the field
- sprayer_headland_last: the tramlines first
- sprayer_drawn_roughly: corners 3 m off
- sprayer_phone_no_boundary: a phone, no boundary
- sprayer_through_to_the_far_field: the nearer field is only driven through
- sprayer_pond_by_distance: a fix every 4 m, none while standing
- spreader_throws_behind: on and off by guess, far behind the tractor
- spreader_phone_5s: a phone every 5 s, some fixes twice
- spreader_narrow_two_fields: two fields with an edge in common
Grass
- mower_round_and_round: a side mower, laps to the middle, then the diagonals
- mower_round_phone: laps with a phone, a crescent missed at every corner
- mower_side_unstated: in lands, the offset not stated
- wide_mower_bouts: 9 m, overlap by eye
- wide_mower_three_patches: three laps, then bouts, in three fields
- rake_both_ways: uneven swaths
- rake_phone_10s: round and round, a phone every 10 s
- baler_ties_often: round and round, stands every 200 m with the pick-up down
- baler_big_bales_phone: a phone; now and then stands
- forager_trailers_alongside: waits for trailers, header ahead
- forager_shunts_opening: corners shunted in the opening laps; stamps jitter
- forager_jittery_stamps: stamps jitter and are cut to seconds
Harvest
- combine_unloads_standing: unloads at bout ends
- combine_unloads_moving: never stops for it
- combine_lands: lands from the sides in; what was left is picked up last
- combine_pond_pole: round a pond and poles
- combine_breakdown: off for repair and back
- combine_part_cut: less than half of the bouts
- combine_phone: followed by a phone
- combine_round_up: laps to the middle, then the diagonals
- combine_two_days: a night in the field, every 2 s
- combine_strays_and_freezes: single fixes far off, a receiver that repeats itself
- potato_harvester_offset: 1.5 to 1.8 m, right of the tractor
- beet_harvester_clamp: unloads at the gate
Elsewhere
- southern_drill, southern_combine: the southern hemisphere
- far_north_roll: 60 degrees north and beyond
- date_line_cultivator: the road may cross the date line, the field lies beside it
- equator_planting_coarse_digits: minutes with four decimals, 0.2 m
- cultivator_no_roads_nothing_stated: every 2 s, uneven ends
- drill_10_hz: round poles, ten fixes a second
- discs_through_and_both: through a field to the one behind, then back to work it too
Mishaps
- drill_phone_in_the_pocket: the driver walks about with the phone while filling
- drill_under_trees: trees bend and drop the signal
- wide_drill_corrections_lost: RTK falters for minutes
- wide_drill_steered_by_sbas: steered by the receiver that is logged: what is not straight is
  not seen, so that gaps and overlaps of 0.1 to 0.3 m cannot be found by any method
- spreader_steered_by_sbas: the same, 18 to 24 m wide
- discs_telematics: fixes only when something changes
- cultivator_backs_into_edges: reverses to the edge before each bout
- drill_uphill_slow: slower out than home
- sprayer_looks_round_first: once round the field before work
- roll_looks_round_drawn_roughly: the same, boundary 3 m off
- bale_cart_no_work: bales are collected; nothing is worked
- crop_walk_no_work_phone: a look at the crop, row by row; nothing is worked
Several
- discs_turn_in_the_neighbour: no hedge and no headland, turns on the next field's ground
- cultivates_then_rolls: one tractor, two implements of different width, the same field
- mows_then_rakes_elsewhere: one tractor, two implements, two fields
- two_machines_in_one_file: fixes of two machines in two fields come in between each other, each
  with its own label; to be parted or refused
"""

from __future__ import annotations

from benchmarks.second import days
from benchmarks.second.records import Day, Ground, Stay
from benchmarks.second.scenarios import ALL

__all__ = ["Day", "Ground", "Stay", "build", "names"]

_BY_NAME = {s.name: s for s in ALL}


def names() -> list[str]:
    """Names of all scenarios."""
    return list(_BY_NAME)


def build(name: str, seed: int) -> Day:
    """One day of a scenario; the same seed gives the same bytes. KeyError for an unknown name."""
    return days.build(_BY_NAME[name], seed)
