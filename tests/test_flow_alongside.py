"""Two machines close to each other in one file are told; two receivers on one machine are not."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from oplog import readers
from oplog.flow import alongside, gather
from oplog.flow.mixed import two_machines
from oplog.track import Track, track
from tests.test_readers_nmea import line
from tests.tracks import PLACE, START

Way = tuple[np.ndarray, np.ndarray]
"""Seconds, and places as complex numbers [m]; never changed, as tests share them."""

STARTED = np.datetime64(START.replace(tzinfo=None), "us")


@cache
def bouts(first_m: float, apart_m: float, speed_m_s: float = 2.5, later_s: float = 0.0) -> Way:
    """Up and down 300 m a dozen times with round turns, ten places a second."""
    corners: list[complex] = []
    for k in range(12):
        x = first_m + k * apart_m
        ends = [complex(x, 0.0), complex(x, 300.0)]
        corners += ends if k % 2 == 0 else ends[::-1]
        out = 1 if k % 2 == 0 else -1
        turn = np.linspace(np.pi, 0, 9)[1:-1]
        bulb = np.cos(turn) * apart_m / 2 + 1j * out * np.sin(turn) * max(apart_m / 2, 6.0)
        corners += (corners[-1] + apart_m / 2 + bulb).tolist()
    places = np.array(corners)
    along = np.r_[0.0, np.cumsum(np.abs(np.diff(places)))]
    seconds = np.arange(0.0, along[-1] / speed_m_s, 0.1)
    at = np.interp(speed_m_s * seconds, along, places.real) + 1j * np.interp(
        speed_m_s * seconds, along, places.imag
    )
    return seconds + later_s, at


def cart(of: Way, beside_m: float, away_s: tuple[float, float]) -> Way:
    """Beside a combine, but for a while in which it stands where it was full."""
    seconds, at = of
    to = at + beside_m
    stands = (seconds > away_s[0]) & (seconds < away_s[1])
    to[stands] = to[np.flatnonzero(stands)[0]]
    drove = to.copy()
    for k in range(1, len(to)):  # no faster than 5 m/s back to the combine
        step = to[k] - drove[k - 1]
        drove[k] = drove[k - 1] + step * min(1.0, 0.5 / max(abs(step), 1e-9))
    return seconds, drove


def fixes(
    way: Way, every_s: float, begin_s: float, stray_s: float, seed: int, wander_m: float = 0.0
) -> Way:
    """What a receiver writes of a way: stamps that stray, places that tremble and wander."""
    rng = np.random.default_rng(seed)
    stamps = np.arange(np.ceil(way[0][0]) + begin_s, way[0][-1], every_s)
    stamps = stamps + rng.uniform(-stray_s, stray_s, len(stamps))
    at = np.interp(stamps, way[0], way[1].real) + 1j * np.interp(stamps, way[0], way[1].imag)
    white = rng.normal(0, 1, (len(stamps), 2)) @ [1, 1j]
    keep = np.exp(-every_s / 120.0)
    slow = np.zeros(len(stamps), dtype=complex)
    for k in range(1, len(stamps) if wander_m else 0):
        slow[k] = keep * slow[k - 1] + np.sqrt(1 - keep**2) * white[k]
    return stamps, at + 0.02 * rng.normal(0, 1, (len(stamps), 2)) @ [1, 1j] + wander_m * slow


def in_one(*ways: Way) -> Track:
    seconds = np.concatenate([w[0] for w in ways])
    at = np.concatenate([w[1] for w in ways])
    lon, lat = PLACE.lonlat(at.real, at.imag)
    stamps = STARTED + np.round(seconds * 1e6).astype("m8[us]")
    return gather.ready(track(stamps, lat, lon))


STAMPS = {"one clock": (0.0, 0.0), "between": (0.5, 0.0), "straying": (0.0, 0.3)}
"""When the second receiver writes, of its interval, and by how much stamps stray. [s]"""


def both(one: Way, other: Way, every_s: float, stamps: str, wander_m: float = 0.0) -> Track:
    begin, stray_s = STAMPS[stamps]
    return in_one(
        fixes(one, every_s, 0.0, stray_s, 1, wander_m),
        fixes(other, every_s, begin * every_s, stray_s, 2, wander_m),
    )


TWO: dict[str, Callable[[], tuple[Way, Way]]] = {
    "in neighbouring bouts of 6 m": lambda: (bouts(0, 12), bouts(6, 12, 2.4, 8)),
    "in neighbouring bouts of 24 m": lambda: (bouts(0, 48), bouts(24, 48, 2.4, 8)),
    "the second an hour's quarter later": lambda: (bouts(0, 12), bouts(6, 12, 2.4, 900)),
    "a cart beside a combine that drives off": lambda: (
        bouts(0, 9, 2.0),
        cart(bouts(0, 9, 2.0), 8, (500, 800)),
    ),
}


@pytest.mark.parametrize("every_s", [1.0, 2.0, 5.0])
@pytest.mark.parametrize("stamps", STAMPS)
@pytest.mark.parametrize("how", TWO)
def test_machines_that_part_and_meet_are_two(how, stamps, every_s):
    assert two_machines(both(*TWO[how](), every_s, stamps)) != ""


@pytest.mark.parametrize("every_s", [1.0, 2.0, 5.0])
@pytest.mark.parametrize("stamps", STAMPS)
@pytest.mark.parametrize("behind_s", [7.0, 10.0, 12.0])
@pytest.mark.parametrize("aside_m", [6.0, 12.0, 30.0])
def test_machines_that_follow_bout_beside_bout_are_two(aside_m, behind_s, stamps, every_s):
    """Now to the left, now to the right; at 5 s and 10 s behind both write at one moment."""
    ways = bouts(0, 2 * aside_m), bouts(aside_m, 2 * aside_m, later_s=behind_s)
    assert two_machines(both(*ways, every_s, stamps)) != ""


@pytest.mark.parametrize("every_s", [1.0, 2.0])
@pytest.mark.parametrize("stamps", STAMPS)
@pytest.mark.parametrize("behind_s", [4.0, 6.0])
def test_machines_that_follow_closely_bout_beside_bout_are_two(behind_s, stamps, every_s):
    """As near as receivers on a long implement, and now to the left, now to the right."""
    track = both(bouts(0, 12), bouts(6, 12, later_s=behind_s), every_s, stamps)
    assert two_machines(track) != ""


@pytest.mark.parametrize("behind_s", [5.0, 7.0])
def test_who_follows_drives_in_his_own_manner(behind_s):
    """He drops back and closes up by some metres, and is not quite as straight."""
    seconds, at = bouts(6, 12, later_s=behind_s)
    late_s = seconds + 0.8 * np.sin(seconds / 41.0) + 0.4 * np.sin(seconds / 17.0)
    wavers = 0.2 * np.sin(seconds / 13.0)
    assert two_machines(both(bouts(0, 12), (late_s, at + wavers), 1.0, "between")) != ""


def pulled(of: Way, hitch_m: float, drawbar_m: float, east_m: float) -> Way:
    """A receiver on an implement behind a hitch, all of it set off to the east."""
    seconds, at = of
    course = np.gradient(at)
    course = course / np.abs(course)
    hitch = at - hitch_m * course
    axle = hitch - drawbar_m * course
    for k in range(1, len(hitch)):
        bar = hitch[k] - axle[k - 1]
        axle[k] = hitch[k] - drawbar_m * bar / abs(bar)
    return seconds, axle + east_m


@pytest.mark.parametrize("every_s", [1.0, 2.0, 5.0])
@pytest.mark.parametrize("stamps", STAMPS)
@pytest.mark.parametrize("east_m", [6.0, 8.5])
def test_an_implement_set_off_to_the_east_is_no_other_machine(east_m, stamps, every_s):
    """Even where that is half of what is between bouts, and it takes the middle."""
    assert (
        two_machines(both(bouts(0, 12), pulled(bouts(0, 12), 3, 7, east_m), every_s, stamps)) == ""
    )


@pytest.mark.parametrize("stamps", STAMPS)
@pytest.mark.parametrize("behind_s", [2.4, 4.8])
def test_a_steered_implement_set_off_to_the_east_lies_anywhere(behind_s, stamps):
    """It goes where the tractor went, as another machine would, but not in the middle."""
    seconds, at = bouts(0, 24, later_s=behind_s)
    assert two_machines(both(bouts(0, 24), (seconds, at + 6), 1.0, stamps)) == ""


def abreast(of: Way, left_m: float, wavers_m: float = 0.0, ahead_m: float = 0.0) -> Way:
    """Beside a machine in whatever course, wavering within some minutes as a driver does."""
    seconds, at = of
    course = np.gradient(at)
    course = course / np.abs(course)
    wavering = np.sin(seconds / 37.0) + np.sin(seconds / 101.0)
    left = left_m + wavers_m * wavering
    return seconds, at + course * (ahead_m + 2.0 * wavers_m * np.sin(seconds / 53.0) + 1j * left)


@cache
def laps(speed_m_s: float = 2.0) -> Way:
    """Six times round a block of 220 by 320 m, each lap 9 m farther in, with round corners."""
    places: list[complex] = []
    for k in range(6):
        low, right, top = 9.0 * k + 8.0, 212.0 - 9.0 * k, 312.0 - 9.0 * k
        corners = [complex(low, top), complex(right, top), complex(right, low), complex(low, low)]
        for turned, middle in enumerate(corners):
            arc = np.pi - turned * np.pi / 2 - np.linspace(0, np.pi / 2, 8)
            places += (middle + 8.0 * np.exp(1j * arc)).tolist()
    way = np.array(places)
    along = np.r_[0.0, np.cumsum(np.abs(np.diff(way)))]
    seconds = np.arange(0.0, along[-1] / speed_m_s, 0.1)
    east, north = (np.interp(speed_m_s * seconds, along, part) for part in (way.real, way.imag))
    return seconds, east + 1j * north


@pytest.mark.parametrize("every_s", [1.0, 2.0, 5.0])
@pytest.mark.parametrize("stamps", STAMPS)
@pytest.mark.parametrize("left_m", [9.5, 12.0, 15.0])
def test_a_cart_that_never_leaves_the_combine_is_another_machine(left_m, stamps, every_s):
    assert two_machines(both(laps(), abreast(laps(), left_m, 0.4), every_s, stamps)) != ""


STIFF: dict[str, Callable[[], tuple[Way, Way]]] = {
    "the halves of a boom": lambda: (abreast(laps(), 9), abreast(laps(), -9)),
    "at both ends of an implement": lambda: (laps(), abreast(laps(), 7.5)),
    "aside on a long trailed implement": lambda: (bouts(0, 6), abreast(bouts(0, 6), 7.5, 0, -12)),
    "a map set right by 6 m": lambda: (bouts(0, 6), (bouts(0, 6)[0], bouts(0, 6)[1] + 6)),
    "a map set right by 12 m": lambda: (bouts(0, 24), (bouts(0, 24)[0], bouts(0, 24)[1] + 12)),
    "far behind, the one 6 m east": lambda: (
        bouts(0, 24),
        (bouts(0, 24)[0], abreast(bouts(0, 24), 0, 0, -12)[1] + 6),
    ),
}


@pytest.mark.parametrize("every_s", [1.0, 2.0, 5.0])
@pytest.mark.parametrize("stamps", STAMPS)
@pytest.mark.parametrize("where", STIFF)
def test_what_is_stiff_or_keeps_to_the_compass_is_one_machine(where, stamps, every_s):
    assert two_machines(both(*STIFF[where](), every_s, stamps)) == ""


@pytest.mark.parametrize("every_s", [1.0, 2.0, 5.0])
@pytest.mark.parametrize("stamps", STAMPS)
def test_phones_far_behind_each_other_are_one_machine(stamps, every_s):
    """A turn swings the one round the other, by 24 m and what they err."""
    ways = bouts(0, 24), bouts(0, 24, later_s=4.8)
    assert two_machines(both(*ways, every_s, stamps, 6.0)) == ""


ONE: dict[str, Callable[[], tuple[Way, Way]]] = {
    "on the roof": lambda: (bouts(0, 6), bouts(0, 6)),
    "on the roof and on the implement": lambda: (bouts(0, 6), bouts(0, 6, later_s=2.4)),
}


@pytest.mark.parametrize("wander_m", [0.0, 1.0, 3.0])
@pytest.mark.parametrize("every_s", [1.0, 2.0, 5.0])
@pytest.mark.parametrize("stamps", STAMPS)
@pytest.mark.parametrize("where", ONE)
def test_two_receivers_on_one_machine_are_no_two_machines(where, stamps, every_s, wander_m):
    """As phones do, each wanders by some metres in two minutes."""
    assert two_machines(both(*ONE[where](), every_s, stamps, wander_m)) == ""


def test_places_of_one_stamp_may_come_in_any_order():
    one, other = (
        fixes(bouts(0, 12), 1.0, 0.0, 0.0, 1),
        fixes(bouts(6, 12, 2.4, 8), 1.0, 0.0, 0.0, 2),
    )
    mixed = np.random.default_rng(3)
    swap = mixed.random(len(one[0])) < 0.5
    k = np.searchsorted(one[0], other[0])
    k = k[k < len(one[0])]
    first = np.where(swap[k], other[1][: len(k)], one[1][k])
    second = np.where(swap[k], one[1][k], other[1][: len(k)])
    at = np.column_stack([first, second]).ravel()
    pair = alongside.of_one_stamp(np.repeat(one[0][k], 2), at, np.arange(1, len(at), 2))
    assert np.abs(np.diff(pair.first)).max() < 4.0
    assert alongside.part_and_meet(pair)


def degrees(value: float, width: int) -> str:
    return f"{int(value):0{width}d}{value % 1 * 60:010.7f}"


def sentences(of: Way, talker: str) -> list[tuple[float, str]]:
    lons, lats = PLACE.lonlat(of[1].real, of[1].imag)
    out = []
    for s, lat, lon in zip(of[0].tolist(), lats, lons, strict=True):
        clock = f"08{int(s) // 60:02d}{s % 60:05.2f}"
        place = f"{degrees(lat, 2)},N,{degrees(lon, 3)},E"
        rmc = line(f"{talker}RMC,{clock},A,{place},4.0,90.0,250324,,,A")
        out.append((s, rmc + line(f"{talker}GGA,{clock},{place},4,09,0.8,40,M,46,M,,")))
    return out


@pytest.mark.parametrize("talkers", [("GP", "GP"), ("GP", "GN")])
@pytest.mark.parametrize("begin_s", [0.0, 0.5])
def test_two_receivers_in_one_log_of_sentences(talkers, begin_s):
    ways = bouts(0, 12), bouts(6, 12, 2.4, 8)
    said = [
        s
        for way, talker, begin in zip(ways, talkers, (0.0, begin_s), strict=True)
        for s in sentences(fixes(way, 1.0, begin, 0.0, 1), talker)
    ]
    log = "".join(text for _, text in sorted(said, key=lambda s: s[0]))
    found, _ = readers.read(log.encode(), name="x")
    assert two_machines(gather.ready(found)) != ""
