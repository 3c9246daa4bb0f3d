"""Bars of one line: plain characters, of the length that was asked for, true to the time."""

from __future__ import annotations

import re
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from oplog import log
from oplog.events import Span
from oplog.sheets.bars import clock_bar, progress_bar
from tests import factory as f
from tests.evening import DAY, Run, day_gpx


@pytest.mark.parametrize(
    ("share", "bar"),
    [
        (0.0, "[----------]"), (1.0, "[##########]"), (0.5, "[#####-----]"),
        (0.999, "[#########-]"), (0.001, "[#---------]"), (1.2, "[##########]"),
    ],
)  # fmt: skip
def test_a_bar_is_full_only_when_all_is_done(share: float, bar: str) -> None:
    assert progress_bar(share, 12) == bar


def test_each_mark_is_what_most_of_its_time_was() -> None:
    """06:58 to 08:00 on the road, work for an hour with a stop, and home: London is at UTC + 1."""
    start = f.at("2026-04-10", "07:00")

    def span(begin_min: float, end_min: float, state: str) -> Span:
        return Span(start + timedelta(minutes=begin_min), start + timedelta(minutes=end_min), state)

    work = (
        span(0, 29, "working"),
        span(29, 31, "turning"),
        span(31, 40, "filling"),
        span(40, 60, "working"),
    )
    visit = f.work("2026-04-10", "07:00", hours=1, spans=work)
    whole = f.whole_day(visit, spans=(span(-12, 0, "road"), span(60, 65, "elsewhere")))
    bar, told = clock_bar([whole], [visit], "Europe/London", 40)
    assert bar == "07:45 " + "===" + "######" + "oo" + "####" + "_" + " 09:05"
    assert told == "# working, o filling, = road, _ elsewhere; a mark is 5 min"


@pytest.mark.parametrize("hours", [0.1, 1, 5, 12, 23])
@pytest.mark.parametrize("width", [40, 60, 80])
def test_a_clock_fits_the_terminal(hours: float, width: int) -> None:
    start = f.at("2026-04-10", "00:07")
    states = ("working", "turning", "standing", "travelling", "unrecorded", "filling")
    ends = [start + timedelta(hours=hours * i / 600) for i in range(601)]
    spans = tuple(Span(a, b, states[i % 6]) for i, (a, b) in enumerate(pairwise(ends)))
    visit = f.work("2026-04-10", "00:07", hours=hours, spans=spans)
    bar, told = clock_bar([f.whole_day(visit)], [visit], "UTC", width)
    assert len(bar) <= width
    assert bar.isascii()
    assert told.isascii()


def test_a_day_without_states_has_no_clock() -> None:
    visit = f.work()
    assert clock_bar([f.whole_day(visit)], [visit], "UTC") == []


def test_some_events_are_read_whole_and_no_others(farm: log.Log) -> None:
    every = farm.events()
    wanted = {e.event_id for e in every[::2]}
    assert farm.some(wanted) == [e for e in every if e.event_id in wanted]
    assert farm.some({"0" * 32}) == []
    (first, *_) = (farm.path / "events").iterdir()
    first.rename(first.with_name("renamed.parquet"))
    assert log.open_log(farm.path).some(wanted) == farm.some(wanted)


def test_the_days_screen_and_the_import_show_the_clock(
    farm: log.Log, run: Run, tmp_path: Path
) -> None:
    track = tmp_path / "track.gpx"
    track.write_bytes(day_gpx())
    words = ("--log", farm.path)
    imported = run(*words, "import", track, "--machine", "blue", "--implement", "drill").out
    bars = [
        line
        for line in imported.splitlines()
        if re.fullmatch(r"  \d\d:\d\d \S.*\S \d\d:\d\d", line)
    ]
    assert len(bars) == 1
    assert "#" in bars[0]
    assert bars[0] in run(*words, "day", DAY).out
    assert all(len(line) <= 80 for line in imported.splitlines())
