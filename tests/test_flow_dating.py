"""Dates 1024 weeks off: noticed, the corrected date offered, used only when confirmed."""

from __future__ import annotations

from datetime import date, timedelta

from oplog import flow, log
from oplog.flow import Told
from oplog.flow.taking import FileTaken
from oplog.kit import KitItem
from tests.evening import DAY, DRILLED, now
from tests.tracks import gpx

CYCLE = timedelta(days=7168)
STATED = DAY - CYCLE
OFFER = "it could be 2024-03-25"


def old(after_days: int = 0, creator: str = "old box") -> bytes:
    """A drive of the day, or some days after, as a receiver writes it whose weeks ran over."""
    moved = [(t - CYCLE + timedelta(days=after_days), x, y) for t, x, y in DRILLED[:600]]
    return gpx(moved, creator=creator)


def take(
    farm: log.Log,
    data: bytes,
    *,
    today: date = DAY,
    written: date | None = None,
    machine: str | None = "blue",
    add_days: int | None = None,
) -> FileTaken:
    told = Told(machine=machine, add_days=add_days)
    dates = {"o.gpx": written} if written else {}
    done = flow.import_files(farm, [("o.gpx", data)], told, today=today, written=dates)
    return done.files[0]


def days(farm: log.Log) -> list[date]:
    return sorted({d.day for d in now(farm).days})


def test_it_is_noticed_against_today_and_offered(farm: log.Log) -> None:
    said = take(farm, old()).refused
    assert said.startswith(f"o.gpx begins on {STATED}.")
    assert OFFER in said
    assert "--add-days 7168" in said
    assert days(farm) == []


def test_the_day_the_file_was_written_speaks_for_one_of_them(farm: log.Log) -> None:
    assert f"written on {DAY}, which speaks for that" in take(farm, old(), written=DAY).refused
    assert f"But the file was written on {STATED}" in take(farm, old(), written=STATED).refused


def test_it_is_noticed_against_other_tracks_where_the_clock_is_wrong(farm: log.Log) -> None:
    take(farm, gpx(DRILLED))
    said = take(farm, old(1), today=date(2010, 1, 1)).refused
    assert f"The log's other tracks are of {DAY} to {DAY}" in said
    assert "it could be 2024-03-26" in said


def test_it_is_noticed_against_the_future(farm: log.Log) -> None:
    ahead = gpx([(t + CYCLE, x, y) for t, x, y in DRILLED[:600]])
    assert "--add-days -7168" in take(farm, ahead).refused


def test_a_day_that_is_still_to_come_may_be_the_computers_fault(farm: log.Log) -> None:
    said = take(farm, gpx(DRILLED[:600]), today=date(2024, 3, 1)).refused
    assert said.startswith(f"o.gpx begins on {DAY}, a day that is still to come by the clock here")
    assert "set the clock and import it again" in said
    assert "--add-days 0" in said


def test_once_confirmed_it_is_set_for_the_device_and_said(farm: log.Log) -> None:
    flow.add_kit(farm, KitItem("red", "tractor", True))
    assert take(farm, old(), add_days=7168).refused == ""
    later = take(farm, old(1), machine=None)
    assert later.refused == ""
    assert "dates moved by 7168 days; as before for this device" in str(later.problems[0])
    assert days(farm) == [DAY, DAY + timedelta(days=1)]
    assert OFFER in take(farm, old(creator="another"), machine="red").refused


def test_once_confirmed_it_is_set_for_the_machine(farm: log.Log) -> None:
    assert take(farm, old(), add_days=7168).refused == ""
    later = take(farm, old(1, "its other program"))
    assert "as before for blue" in str(later.problems[0])


def test_the_date_stands_where_it_is_said_to(farm: log.Log) -> None:
    assert take(farm, old(), add_days=0).refused == ""
    assert days(farm) == [STATED]
    assert take(farm, old(1)).refused != ""


def test_a_device_that_was_set_right_once_and_writes_right_dates_is_left_alone(
    farm: log.Log,
) -> None:
    take(farm, old(), add_days=7168)
    right = [(t + timedelta(days=2), x, y) for t, x, y in DRILLED[:600]]
    file = take(farm, gpx(right, creator="old box"), today=DAY + timedelta(days=2))
    assert (file.refused, file.problems) == ("", ())
