"""Pages as text: their figures are those of the commands, and names stay text."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from html import unescape
from itertools import pairwise
from pathlib import Path

import html5lib
import numpy as np
import pytest
from shapely.geometry import LineString, MultiLineString, Polygon, box

from oplog import log
from oplog.cli import main
from oplog.events import NoteWritten
from oplog.fold import fold
from oplog.sheets.day import day_sheet
from oplog.sheets.pages.chart import Axis, round_ratios, round_values
from oplog.sheets.pages.day import day_page
from oplog.sheets.pages.headland import headland
from oplog.sheets.pages.labels import Box, place
from oplog.sheets.pages.paper import fit, path, scale_bar
from oplog.sheets.pages.render import render
from oplog.sheets.pages.season import season_page
from oplog.sheets.pages.stops import stops
from oplog.sheets.unsure import is_open
from tests import factory as f
from tests.evening import Run
from tests.many_fields import LONG, MARKUP, day, made_day, two_seasons
from tests.sample_log import opened_sample, sample, with_memory

__all__ = ["opened_sample", "sample", "with_memory"]

SAMPLE_DAYS = ("2026-04-07", "2026-04-11", "2026-06-02", "2026-06-04", "2026-08-06")
Page = Callable[..., str]


@pytest.fixture
def page(
    sample: log.Log, tmp_path: Path, capsys: pytest.CaptureFixture[str], with_memory: None
) -> Page:
    """Makes a sheet of the sample farm as the command does; gives its HTML."""

    def make(*words: str) -> str:
        out = tmp_path / "page.html"
        assert main(["--log", str(sample.path), "sheet", *words, "--out", str(out)]) == 0
        assert f"The page is in {out}\n" in capsys.readouterr().out
        return out.read_text("utf-8")

    return make


def words_of(html: str) -> str:
    """The text of a page, in one line."""
    body = re.sub(r"(?s)<style>.*?</style>|<(title|desc)[ >].*?</\1>", " ", html)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", body)).replace("\xa0", " ").split())


def strict(html: str) -> None:
    """The page parses without one error by the HTML standard's own algorithm."""
    html5lib.HTMLParser(strict=True).parse(html)


# --- figures ---------------------------------------------------------------------------------


@pytest.mark.parametrize("when", SAMPLE_DAYS)
def test_every_figure_of_the_days_screen_is_on_its_sheet(
    page: Page, run: Run, sample: log.Log, when: str
) -> None:
    shown = run("--log", sample.path, "day", when).out
    sheet = words_of(page("day", when))
    words = [x for x in shown.splitlines() if not re.match(r"  \d\d:\d\d \S", x)]  # no bars
    figures = re.findall(r"\d+[.:]\d+", "\n".join(words))
    assert len(figures) > 15
    for figure in set(figures):
        assert figure in sheet, figure
    rows = list(csv.DictReader(io.StringIO(run("--log", sample.path, "day", when, "--csv").out)))
    for row in rows:
        worked, low, high = (
            float(row[c]) for c in ("worked_ha", "worked_low_ha", "worked_high_ha")
        )
        assert f"{worked:.2f} ha ({low:.2f} to {high:.2f})" in sheet
        assert row["visit"] in sheet


@pytest.mark.parametrize("when", ["2026-06-02", "2026-08-06"])
def test_the_clock_adds_up_to_the_totals(page: Page, when: str) -> None:
    """Hours under each band are those of the machine's totals, to the minutes of their rounding."""
    html = page("day", when)
    bands = re.findall(r"(?s)<figure class=\"clock\">.*?<figcaption>(.*?)</figcaption>", html)
    in_fields = [_minutes(t) for t in re.findall(r"<li>([\d:]+) in fields", html)][-len(bands) :]
    assert bands
    for band, total in zip(bands, in_fields, strict=True):
        times = dict(re.findall(r"(\w+) (\d+:\d\d)", words_of(band)))
        states = [_minutes(t) for s, t in times.items() if s not in ("road", "elsewhere")]
        assert abs(sum(states) - total) <= len(states)


def _minutes(clock: str) -> int:
    hours, _, minutes = clock.partition(":")
    return 60 * int(hours) + int(minutes)


def test_a_jobs_sheet_says_what_the_command_says(page: Page, run: Run, sample: log.Log) -> None:
    words = ("wheat harvest", "--from", "2026-08-07")
    said = run("--log", sample.path, "jobs", *words).out
    sheet = words_of(page("job", *words))
    for line in " ".join(said.split()).split(". "):
        for part in re.findall(r"[\d.]+ ha|\d+ %|\w{3} \d+ August at [\d:]+", line):
            assert part in sheet, part
    asked = ("ask", "job_fields", "job=wheat harvest", "--json")
    rows = json.loads(run("--log", sample.path, *asked).out)["rows"]
    assert len(rows) == 5
    for row in rows:
        figures = [row[c] for c in ("croppable_ha", "done_ha", "left_ha", "missed_ha")]
        cells = " ".join(f"{v:.2f} ha" for v in figures)
        assert f"{row['field']} {row['state']} {row['state']} {cells}" in sheet


def test_a_fields_sheet_has_its_work_in_order(page: Page, run: Run, sample: log.Log) -> None:
    sheet = words_of(page("field", "barn close"))
    rows = csv.DictReader(io.StringIO(run("--log", sample.path, "ask", "visits", "--csv").out))
    own = [r for r in rows if r["field"] == "Barn Close"]
    at = [sheet.index(f"visit {r['visit']}") for r in own]
    assert at == sorted(at)
    assert len(at) == 3
    for r in own:
        assert f"{float(r['worked_ha']):.2f} ha" in sheet
    assert "Seed went in at 5 cm" in sheet


def either(ha: float) -> set[str]:
    """An answer's hectares in two decimals; it is rounded itself: halves may fall either way."""
    return {f"{ha + by:.2f} ha" for by in (-1e-4, 1e-4)}


def test_a_seasons_sheet_has_the_sums_of_the_question(
    page: Page, run: Run, sample: log.Log
) -> None:
    sheet = words_of(page("season", "2026"))
    asked = run("--log", sample.path, "ask", "season_summary", "harvest_year=2026", "--csv").out
    rows = list(csv.DictReader(io.StringIO(asked)))
    for r in rows:
        near = either(float(r["worked_ha"]))
        lines = [f"{r['operation']} {r['machine']} {w} {r['fields']} {r['days']}" for w in near]
        assert any(line in sheet for line in lines), lines
    total = sum(float(r["worked_ha"]) for r in rows)
    assert f"{total:.2f} ha worked" in sheet
    by_operation: dict[str, float] = {}
    for r in rows:
        by_operation[r["operation"]] = by_operation.get(r["operation"], 0) + float(r["worked_ha"])
    for operation, ha in by_operation.items():
        assert any(f"{operation} : {worked} in" in sheet for worked in either(ha)), operation


def test_a_season_stands_against_the_one_before() -> None:
    """1.8 ha of drilling in 2 hours, after 1.6 ha in 2 hours the year before."""
    sheet = words_of(season_page(two_seasons(), 2026, "seal"))
    assert "drilling 1.80 ha 1.60 ha 2:00 2:00 0.90 ha/h 0.80 ha/h" in sheet
    assert "rolling 1.71 ha – 2:00 – 0.85 ha/h –" in sheet
    assert "work not said yet 1.35 ha –" in sheet


def test_an_account_shows_the_commands_lines_and_no_other_land(
    page: Page, run: Run, sample: log.Log
) -> None:
    said = run("--log", sample.path, "account", "brook & sons", "--vat", "20").out
    sheet = words_of(page("account", "brook & sons", "--vat", "20"))
    for line in said.splitlines():
        if line.startswith(("Sum", "VAT", "In all", "2026")):
            for word in line.split():
                assert word in sheet, line
    farm = fold(sample.events())
    for drawings in farm.fields.values():
        if drawings[-1].farm != "Sallow":
            assert drawings[-1].name not in sheet
    assert "oplog customer" not in sheet


def test_what_went_out_is_shared_by_ground(page: Page, run: Run, sample: log.Log) -> None:
    """The spray of the sample's 14 April: parts by field add up to what went out."""
    rows = json.loads(run("--log", sample.path, "ask", "inputs", "--json").out)["rows"]
    spray = next(r for r in rows if r["kind"] == "spray")
    sheet = words_of(page("day", "2026-04-14"))
    told = re.search(
        rf"{spray['product']} \(spray\), of ([\d.,]+) l in all: (.*?) A calculation", sheet
    )
    assert told
    parts = [float(x) for x in re.findall(r"([\d.]+) l", told[2])]
    assert len(parts) == 4
    assert sum(parts) == pytest.approx(float(told[1]), abs=0.2)
    assert float(told[1]) == pytest.approx(spray["used"])


def test_a_field_says_what_its_sequence_has_next(page: Page, run: Run, sample: log.Log) -> None:
    rows = json.loads(run("--log", sample.path, "sequence", "--json").out)["rows"]
    own = next(r for r in rows if r["field"] == "Barn Close")
    sheet = words_of(page("field", "Barn Close"))
    assert f"{own['done']} of {own['of']} planned operations are done" in sheet
    assert f"next comes {own['next']}" in sheet


def test_acres_on_request(page: Page, run: Run, sample: log.Log) -> None:
    shown = run("--log", sample.path, "day", "2026-04-11", "--units", "us").out
    sheet = words_of(page("day", "2026-04-11", "--units", "us"))
    for acres in re.findall(r"[\d.]+ acres", shown):
        assert acres in sheet
    assert " ha" not in sheet


def test_what_is_unsure_stands_with_the_command_that_settles_it() -> None:
    visit = f.work("2026-04-10", implement=None, worked=box(0, 0, 90, 90))
    farm = fold([f.opened(), f.tractor(), f.drawn(), visit, f.whole_day(visit)])
    assert is_open(farm.visits[0])
    html = day_page(farm, visit.day, {}, "seal")
    handle = farm.standing[farm.visits[0].event_id].handle
    assert re.search(rf"<code>oplog say {handle} --implement NAME", html)
    assert "1 thing" in words_of(html)
    assert handle in day_sheet(farm, visit.day)


def test_notes_and_the_seal_are_on_the_sheet(sample: log.Log, page: Page) -> None:
    html = words_of(page("day", "2026-04-11"))
    assert f'oplog check --seal "{sample.seal()}"' in html
    farm, trail = made_day(1)
    stated = {"stated_by": "a", "stated_at": datetime(2026, 4, 10, tzinfo=UTC), "nonce": "1"}
    note = NoteWritten(note="Wet <b>corner</b>", day=day(), **stated)
    html = day_page(replace(farm, notes=(note,)), day(), {"blue": trail}, "s")
    assert "Wet &lt;b&gt;corner&lt;/b&gt;" in html


# --- names, markup, size ---------------------------------------------------------------------


def test_names_are_text_and_never_markup() -> None:
    farm, trail = made_day(3)
    html = day_page(farm, day(), {"blue": trail}, "seal")
    assert "<script" not in html.lower()
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert LONG.strip() in words_of(html)
    assert MARKUP in words_of(html)


@pytest.mark.parametrize("words", [
    ("day", "2026-06-02"), ("job", "wheat harvest"), ("field", "Sallow Top"), ("season",),
    ("account", "Brook & Sons", "--vat", "20"),
])  # fmt: skip
def test_pages_are_valid_and_hold_nothing_that_runs_or_fetches(
    page: Page, words: tuple[str, ...]
) -> None:
    html = page(*words)
    strict(html)
    assert "default-src 'none'" in unescape(html)
    assert not re.search(
        r"<script|<link|<img|<iframe|\bsrc=|@import|https?:", html.replace("http-equiv", "")
    )
    assert not re.search(r" (?:style|on\w+)=", html)


@pytest.mark.parametrize("count", [1, 60])
def test_made_days_are_valid(count: int) -> None:
    farm, trail = made_day(count)
    strict(day_page(farm, day(), {"blue": trail}, "seal"))


def test_a_fast_receivers_long_day_is_made_quickly_and_small() -> None:
    """12 hours at 10 Hz: under 2 s beyond start-up, under 1.5 MB."""
    farm, trail = made_day(12, minutes=59.5, hertz=10)
    assert len(trail.time) > 425_000
    day_page(*_small())
    start = time.process_time()
    html = day_page(farm, day(), {"blue": trail}, "seal")
    assert time.process_time() - start < 2.0
    assert len(html.encode()) < 1_500_000


def _small() -> tuple[object, ...]:
    farm, trail = made_day(1)
    return farm, day(), {"blue": trail}, "seal"


def test_steering_characters_go_no_further(tmp_path: Path) -> None:
    farm, trail = made_day(1)
    html = day_page(replace(farm, name="Hill\u202e\x1b[31m Farm"), day(), {"blue": trail}, "s")
    assert "\u202e" not in html
    assert "\x1b" not in html


def test_nothing_on_file_makes_no_page(sample: log.Log, run: Run, tmp_path: Path) -> None:
    for words in (
        ["day", "2020-01-01"],
        ["field", "Pightle", "--harvest", "2020"],
        ["season", "1999"],
    ):
        said = run("--log", sample.path, "sheet", *words, "--out", tmp_path / "x.html")
        assert said.code == 1
        assert "No sheet was made" in said.err
    assert not list(tmp_path.glob("*.html"))


def test_a_page_that_cannot_be_written_leaves_nothing(
    sample: log.Log, run: Run, tmp_path: Path
) -> None:
    said = run("--log", sample.path, "sheet", "season", "--out", tmp_path / "absent" / "x.html")
    assert said.code == 1
    assert "could not be written" in said.err


# --- drawing ---------------------------------------------------------------------------------


def test_a_frame_shows_ground_true_to_scale() -> None:
    """A square of 200 m by 100 m: twice as wide as high, of the area that the scale gives."""
    square = f.PLANE.unproject(box(0, 0, 200, 100))
    frame = fit([square], width=240, lowest=20, highest=200, pad=20)
    drawn = Polygon(_points(frame.area(square)))
    assert frame.scale == pytest.approx(1.0, rel=1e-3)
    assert drawn.area == pytest.approx(20_000 * frame.scale**2, rel=0.005)
    west, top, east, bottom = drawn.bounds
    assert (east - west) / (bottom - top) == pytest.approx(2, rel=0.01)
    assert (west, top) == pytest.approx((20, 20), abs=0.2)
    bar = scale_bar(frame, metric=True)
    assert bar.label == "50 m"
    assert bar.length == pytest.approx(50 * frame.scale)


def _points(data: str) -> np.ndarray:
    numbers = np.array([float(n) for n in re.findall(r"-?[\d.]+", data)]).reshape(-1, 2)
    return np.cumsum(numbers, axis=0)


def test_a_path_goes_through_its_points() -> None:
    points = np.array([[0.0, 0.0], [10.04, 0.0], [10.0, 5.55], [-3.0, 2.0]])
    assert np.allclose(_points(path(points)), np.round(points, 1))


def test_labels_lie_neither_on_each_other_nor_over_the_edge() -> None:
    paper = Box(0, 0, 100, 60)
    taken: list[Box] = []
    for _ in range(4):
        label = place("label", 50, 30, taken, paper)
        assert label is not None
        assert not any(label.box.touches(t) for t in taken)
        assert label.box.left >= 0
        assert label.box.right <= 100
        taken.append(label.box)
    assert place("far too long a label for so little paper", 50, 30, taken, paper) is None


def test_the_headland_is_as_deep_as_its_rounds() -> None:
    """Two rounds of 6 m, the rest up and down: 12 m."""
    boundary = box(0, 0, 200, 120)
    rounds = [boundary.buffer(-3 - 6 * i, join_style="mitre").exterior for i in range(2)]
    sides = [
        LineString(c)
        for ring in rounds
        for c in zip(ring.coords[:-1], ring.coords[1:], strict=True)
    ]
    body = [LineString([(15 + 6 * i, 12), (15 + 6 * i, 108)]) for i in range(29)]
    found = headland(MultiLineString([*sides, *body]), boundary, 6.0)
    assert found is not None
    assert found.depth_m == pytest.approx(12.0, abs=0.1)
    assert found.body.area == pytest.approx(176 * 96, rel=0.01)


def test_a_field_worked_round_and_round_has_no_body_and_one_without_rounds_no_headland() -> None:
    boundary = box(0, 0, 200, 160)
    rings = [boundary.buffer(-2 - 4 * i, join_style="mitre").exterior for i in range(19)]
    spiral = headland(MultiLineString([LineString(r.coords) for r in rings]), boundary, 4.0)
    assert spiral is not None
    assert spiral.body is None
    only = MultiLineString([[(2 + 4 * i, 0), (2 + 4 * i, 160)] for i in range(50)])
    assert headland(only, boundary, 4.0) is None


def test_stops_at_one_place_are_one_mark() -> None:
    farm, trail = made_day(1)
    found = stops(farm.visits[0], trail, lambda lon, lat: np.array([[5.0, 5.0]]))
    assert [s.kind for p in found.places for s in p.stops] == ["filling"]
    assert len(found.short) == 1


def test_axes() -> None:
    assert round_values(42.8) == [0, 10, 20, 30, 40, 50]
    assert round_ratios([3.1, 30]) == [2, 5, 10, 20, 50]
    assert Axis(0, 10, 100, 0).at(5) == 50
    assert Axis(1, 100, 0, 100, by_ratio=True).at(10) == 50


# --- the visual language ---------------------------------------------------------------------


def _luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("scheme", [0, 1, 2])
def test_shades_can_be_told_apart_in_grey(scheme: int) -> None:
    """On light, dark and paper: neighbours differ by a fifth in contrast, all in one direction, and
    what stands for work against its ground by 3 : 1 (WCAG 2.2, 1.4.11)."""
    style = (Path(log.__file__).parents[1] / "sheets/pages/templates/sheet.css").read_text("utf-8")
    blocks = re.findall(r":root \{(.*?)\}", style, re.S)
    colours = dict(re.findall(r"--([\w-]+): (#\w{6})", blocks[scheme]))
    shades = [_luminance(colours[f"s{i}"]) for i in range(1, 6)]
    steps = [(max(a, b) + 0.05) / (min(a, b) + 0.05) for a, b in pairwise(shades)]
    assert min(steps) > 1.2
    assert shades in (sorted(shades), sorted(shades, reverse=True))
    for name in ("soil", "water", "ink"):
        one, other = sorted((_luminance(colours[name]), _luminance(colours["paper"])))
        assert (other + 0.05) / (one + 0.05) >= 3.0


def test_every_state_has_a_texture_or_height_of_its_own() -> None:
    """Without colour: no two states of the clock's band are drawn alike."""
    html = (Path(log.__file__).parents[1] / "sheets/pages/templates/pictures.html").read_text(
        "utf-8"
    )
    line = next(x for x in html.splitlines() if '"working": (' in x)
    shapes = dict(re.findall(r'"(\w+)": \((\d+, \d+)\)', line))
    assert len(shapes) == 8
    plain = {s: shapes[s] for s in ("working", "standing", "road", "elsewhere")}
    assert len(set(plain.values())) == len(plain)


def test_the_policy_names_the_style_by_its_digest() -> None:
    html = render("base.html", title="x")
    style = re.search(r"(?s)<style>(.*?)</style>", html)
    assert style
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in unescape(html)
