"""One width against another, in the head."""

from __future__ import annotations

from typing import Any

import pytest

from oplog.errors import OplogError
from oplog.events import WorkMeasured
from oplog.season.match import match, output_of, saved_by_filling_s, saved_by_width_s
from oplog.units import FOOT_M, from_kmh, kmh
from tests.factory import work


def header(
    name: str, width_ft: float, speed_kmh: float, efficiency: float, **more: Any
) -> WorkMeasured:
    """A day of ten hours' combining, so much of it at work."""
    speed_m_s, width_m = from_kmh(speed_kmh), width_ft * FOOT_M
    values = {
        "implement": name, "operation": "combining", "width_m": width_m, "width_used_m": width_m,
        "speed_m_s": speed_m_s, "working_s": 36_000 * efficiency,
        "turning_s": 36_000 * (1 - efficiency), "filling_s": 0.0, "standing_s": 0.0,
        "worked_m2": speed_m_s * width_m * 36_000 * efficiency,
    }  # fmt: skip
    return work(hours=10, **(values | more))


def test_a_25_ft_header_keeps_pace_with_a_30_ft_one() -> None:
    """Common practice, no source: about 4.9 km/h against about 4.1."""
    visits = [header("wide", 30, 4.1, 0.7), header("narrow", 25, 4.5, 0.7)]
    found = match(output_of(visits, "narrow"), output_of(visits, "wide"))
    assert (found.narrow.name, found.wide.name) == ("narrow", "wide")
    assert kmh(found.equal_m_s) == pytest.approx(4.92, abs=0.01)
    assert kmh(found.own_m_s) == pytest.approx(4.92, abs=0.01)


def test_at_its_own_losses_it_has_to_go_faster_where_it_loses_more() -> None:
    visits = [header("wide", 30, 4.0, 0.8), header("narrow", 30 / 2, 4.0, 0.4)]
    found = match(output_of(visits, "narrow"), output_of(visits, "wide"))
    assert kmh(found.equal_m_s) == pytest.approx(8.0)
    assert kmh(found.own_m_s) == pytest.approx(16.0)


def test_twice_the_width_takes_half_the_time() -> None:
    done = output_of([header("narrow", 10, 5.0, 0.75)], "narrow")
    assert saved_by_width_s(done, 20 * FOOT_M) == pytest.approx(18_000)
    assert saved_by_width_s(done, 10 * FOOT_M) == pytest.approx(0.0, abs=1e-6)


def test_a_second_fill_place_saves_only_where_something_is_filled() -> None:
    walked = {"travelling_s": 3600.0}
    dry = output_of([header("narrow", 10, 5.0, 0.75, **walked)], "narrow")
    filled = output_of([header("narrow", 10, 5.0, 0.75, filling_s=600.0, **walked)], "narrow")
    assert (saved_by_filling_s(dry), saved_by_filling_s(filled)) == (0.0, 1800.0)


def test_breaks_are_left_out() -> None:
    plain = output_of([header("narrow", 10, 5.0, 0.75)], "narrow")
    broken = output_of(
        [header("narrow", 10, 5.0, 0.75, standing_s=7200.0, break_s=7200.0)], "narrow"
    )
    assert broken.overall_m2_s == pytest.approx(plain.overall_m2_s)


def test_few_data_are_few() -> None:
    assert output_of([header("narrow", 10, 5.0, 0.75)], "narrow").few
    days = [header("narrow", 30, 5.0, 0.75, day=f"2026-08-0{d}") for d in (1, 2, 3)]
    assert not output_of(days, "narrow").few


def test_only_like_is_compared() -> None:
    visits = [
        header("narrow", 25, 4.5, 0.7),
        work(implement="drill"),
        work(implement="drill", operation="rolling", clock="18:00"),
        header("wide", 30, 4.0, 0.7, machine="red"),
        header("wider", 40, 4.0, 0.7, machine="red", day="2026-08-09"),
    ]
    with pytest.raises(OplogError, match="did drilling and rolling: rates are compared over one"):
        output_of(visits, "drill")
    assert output_of(visits, "drill", "rolling").operation == "rolling"
    with pytest.raises(OplogError, match="only like operations are compared"):
        match(output_of(visits, "narrow"), output_of(visits, "drill", "drilling"))
    with pytest.raises(OplogError, match=r"worked at 9\.144 m and 12\.192 m: name the implement"):
        output_of(visits, "red")
    with pytest.raises(OplogError, match="plough has no measured work"):
        output_of(visits, "plough")
