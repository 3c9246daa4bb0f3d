"""Tables as text, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog import units
from oplog.sheets import data, figures, text
from oplog.sheets.table import US, Column, Table, in_units

AREAS = Table(
    "Fields",
    (Column("field", "field"), Column("area_ha", "area", "ha"), Column("hours_h", "hours", "h")),
    (("Long Acre", 1.98765, 1.5), ("Mill", None, 0.25)),
)


def test_a_small_table() -> None:
    assert text.write(AREAS).splitlines() == [
        "Fields",
        "field      area ha  hours",
        "Long Acre     1.99   1:30",
        "Mill             -   0:15",
    ]


def test_an_empty_table_says_so() -> None:
    assert "(nothing)" in text.write(Table("Fields", AREAS.columns, ()))


def test_times_are_shown_in_the_farms_zone() -> None:
    noon = datetime(2024, 7, 1, 12, tzinfo=UTC)
    table = Table("", (Column("at", "at"), Column("day", "day")), ((noon, date(2024, 7, 1)),))
    assert "2024-07-01 13:00" in text.write(table, zone=ZoneInfo("Europe/London"))
    assert data.to_csv(table).splitlines()[1] == "2024-07-01T12:00:00Z,2024-07-01"


words = st.text(
    st.characters(blacklist_categories=("Cs", "Cc", "Cf", "Zl", "Zp", "Mn", "Me")), max_size=90
)


@settings(max_examples=50, deadline=None)
@given(st.integers(1, 30), st.integers(0, 5), st.data())
def test_no_table_is_wider_than_asked(columns: int, rows: int, draw: st.DataObject) -> None:
    heads = tuple(
        Column(f"c{i}", draw.draw(st.sampled_from(["a", "area", "travelling"])))
        for i in range(columns)
    )
    cells = tuple(
        tuple(draw.draw(st.one_of(st.none(), st.floats(0, 1e4), words)) for _ in heads)
        for _ in range(rows)
    )
    for line in text.write(Table("", heads, cells), width=80).splitlines():
        assert text.span_of(line) <= 80


@given(st.text())
def test_nothing_steers_the_terminal(name: str) -> None:
    shown = text.write(Table("", (Column("n", "n"),), ((name,),)))
    assert not [c for c in shown if ord(c) < 32 and c != "\n"]
    assert "\x7f" not in shown
    assert "\x9b" not in shown


@given(st.text())
def test_text_comes_back_from_csv(name: str) -> None:
    """What a spreadsheet would run is led by an apostrophe; --raw gives it as it is."""
    table = Table("", (Column("n", "n"),), ((name,),))
    (raw,) = list(csv.DictReader(io.StringIO(data.to_csv(table, raw=True), newline="")))[:1] or [
        {"n": ""}
    ]
    assert raw["n"].replace("\r\n", "\n").replace("\r", "\n") == name.replace("\r\n", "\n").replace(
        "\r", "\n"
    )
    assert json.loads(data.to_json(table)) == {"rows": [{"n": name}]}


@pytest.mark.parametrize(
    "risky",
    ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1+1", "=cmd|' /C calc'!A0"],
)
def test_formulas_are_neutralised(risky: str) -> None:
    cell = next(csv.reader(io.StringIO(data.to_csv(Table("", (Column("n", "n"),), ((risky,),)))
                                       .split("\n", 1)[1], newline="")))  # fmt: skip
    assert cell[0].startswith("'")


@pytest.mark.parametrize("plain", ["-5", "+49 2", "Long Acre", "", "3-4", "a=b", "-1.5e3"])
def test_what_is_no_formula_stays(plain: str) -> None:
    assert data.is_formula(plain) == (plain == "+49 2")


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e9, max_value=1e9))
def test_numbers_are_never_touched(number: float) -> None:
    table = Table("", (Column("x_ha", "x", "ha"),), ((number,),))
    assert float(data.to_csv(table).splitlines()[1]) == pytest.approx(number, abs=1e-5)


def test_no_number_is_null_and_not_nan() -> None:
    table = Table("", (Column("x_ha", "x", "ha"),), ((float("nan"),),))
    assert json.loads(data.to_json(table)) == {"rows": [{"x_ha": None}]}


def test_acres_follow_the_unit_in_name_and_figure() -> None:
    us = in_units(AREAS, US)
    assert [c.name for c in us.columns] == ["field", "area_acre", "hours_h"]
    # the international acre: 4046.8564224 m2
    assert us.rows[0][1] == pytest.approx(1.98765 * 10_000 / 4046.8564224)
    assert us.rows[1][1] is None


def test_shares_never_claim_what_is_not_so() -> None:
    assert figures.share(99.7, 100).replace(text.HOLD, " ") == "99.7 %"
    assert figures.share(100, 100).replace(text.HOLD, " ") == "100 %"
    assert figures.share(0.2, 100) == "under 1 %"
    assert figures.share(None, 100) == "?"


def test_figures_carry_their_unit() -> None:
    assert figures.speed(units.from_kmh(8.24)).replace(text.HOLD, " ") == "8.2 km/h"
    assert figures.width(6.096, US).replace(text.HOLD, " ") == "20 ft"
    assert figures.area(None) == "?"
    assert text.clock(5399.0) == "1:30"
