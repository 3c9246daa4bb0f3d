"""Import: atomic, idempotent, the same in any order, each instant of a machine once."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from oplog import flow, log
from oplog.errors import CannotWrite, OplogError, UnknownName, UnreadableFile
from oplog.events import DeviceAssigned, TrackImported, WorkReplaced
from oplog.flow import Told
from oplog.flow.history import read
from oplog.flow.taking import Batch, read_in, take
from oplog.kit import KitItem
from tests.corpus import corpus
from tests.evening import (
    DAY,
    DRILLED,
    ROLLED,
    day_gpx,
    every,
    farm_log,
    in_field,
    measured,
    now,
)
from tests.tracks import bouts, gpx, walk

DRILL = Told(machine="blue", implement="drill")


def test_a_day_of_known_figures(farm: log.Log) -> None:
    flow.import_file(farm, day_gpx(), "day.gpx", DRILL)
    visit = in_field(farm, "Long Acre")
    # 25 bouts of 200 m at 4 m: 2 ha gross in the bouts, the field is 100 m x 200 m
    assert visit.worked_m2 == pytest.approx(20_000, rel=0.05)
    assert visit.gross_m2 is not None
    assert visit.gross_m2 >= visit.worked_m2
    assert visit.speed_m_s == pytest.approx(2.0, rel=0.02)
    assert (visit.implement, visit.operation, visit.width_m) == ("drill", "drilling", 4.0)
    (day,) = now(farm).days
    assert day.tracked_s == pytest.approx(day.field_s + day.road_s + day.elsewhere_s, abs=0.01)


def test_states_add_up_to_the_time_in_the_field(farm: log.Log) -> None:
    flow.import_file(farm, day_gpx(), "day.gpx", DRILL)
    for v in now(farm).visits:
        states = ("working", "turning", "filling", "standing", "travelling", "unrecorded")
        total = sum(getattr(v, f"{s}_s") for s in states)
        assert total == pytest.approx((v.ended_at - v.started_at).total_seconds(), abs=0.01)


def test_an_import_is_one_entry(farm: log.Log) -> None:
    before = len(now(farm).entries)
    done = flow.import_file(farm, day_gpx(), "day.gpx", DRILL)
    assert len(now(farm).entries) == before + 1
    assert len(done.entries) == 1


def test_the_same_file_again_adds_nothing(farm: log.Log) -> None:
    flow.import_file(farm, day_gpx(), "day.gpx", DRILL)
    before = {e.event_id for e in farm.events()}
    done = flow.import_file(farm, day_gpx(), "copy of day.gpx", DRILL)
    assert {e.event_id for e in farm.events()} == before
    assert (done.files[0].new, done.files[0].known) == (0, len(DRILLED) + len(ROLLED))
    assert not done.entries


def test_a_file_that_contains_an_earlier_one_adds_the_rest(farm: log.Log) -> None:
    flow.import_file(farm, gpx(DRILLED), "morning.gpx", DRILL)
    done = flow.import_file(farm, day_gpx(), "all.gpx", DRILL)
    assert (done.files[0].new, done.files[0].known) == (len(ROLLED), len(DRILLED))
    assert {v.field for v in now(farm).visits} == {"Long Acre", "Mill"}
    assert len(every(farm, WorkReplaced)) == 1


@pytest.mark.anew
def test_pieces_measure_as_the_whole_does(farm: log.Log, tmp_path: Path) -> None:
    """A file cut in two anywhere in the work, both imported, is one import."""
    flow.import_file(farm, day_gpx(), "day.gpx", DRILL)
    other = farm_log(tmp_path / "other")
    cut = len(DRILLED) // 2 + 7
    everything = DRILLED + ROLLED
    flow.import_file(other, gpx(everything[cut:]), "b.gpx", DRILL)
    flow.import_file(other, gpx(everything[:cut]), "a.gpx", DRILL)
    for field in ("Long Acre", "Mill"):
        whole, pieced = in_field(farm, field), in_field(other, field)
        assert pieced.visit == whole.visit
        assert pieced.worked_m2 == pytest.approx(whole.worked_m2, rel=1e-6)
        assert pieced.working_s == pytest.approx(whole.working_s, abs=0.01)


@pytest.mark.anew
def test_any_order_of_imports_gives_the_same_events(tmp_path: Path) -> None:
    files = [
        (f"{n}.gpx", gpx([(t + timedelta(days=n), x, y) for t, x, y in DRILLED])) for n in range(3)
    ]
    results = []
    for seed in range(3):
        here = farm_log(tmp_path / str(seed))
        for name, data in random.Random(seed).sample(files, 3):
            flow.import_file(here, data, name, DRILL)
        results.append(measured(here))
    assert results[0] == results[1] == results[2]
    together = farm_log(tmp_path / "together")
    flow.import_files(together, files, DRILL)
    assert measured(together) == results[0]


@pytest.mark.anew
def test_two_laptops_agree(tmp_path: Path) -> None:
    one, two = farm_log(tmp_path / "one"), farm_log(tmp_path / "two")
    flow.import_file(one, day_gpx(), "day.gpx", DRILL)
    flow.import_file(two, day_gpx(), "DAY (1).GPX", DRILL)
    one.merge(two)
    assert len(every(one, TrackImported)) == 1
    assert measured(one) == measured(two)
    assert not now(one).unsettled


@pytest.mark.anew
def test_halves_of_a_day_on_two_laptops_are_settled_to_the_whole(tmp_path: Path) -> None:
    one, two = farm_log(tmp_path / "one"), farm_log(tmp_path / "two")
    flow.import_file(one, gpx(DRILLED), "a.gpx", DRILL)
    flow.import_file(two, gpx(ROLLED), "b.gpx", Told("blue", "roller"))
    one.merge(two)
    assert now(one).unsettled
    flow.settle(one)
    assert not now(one).unsettled
    assert in_field(one, "Long Acre").implement == "drill"
    assert in_field(one, "Mill").implement == "roller"
    assert flow.settle(one) is None


def test_a_second_receiver_on_the_machine_counts_once(farm: log.Log) -> None:
    flow.import_file(farm, gpx(DRILLED), "receiver.gpx", DRILL)
    alone = in_field(farm, "Long Acre")
    phone = [(t + timedelta(seconds=0.4), x + 0.8, y - 0.5) for t, x, y in DRILLED[::3]]
    flow.import_file(farm, gpx(phone, creator="phone"), "phone.gpx", DRILL)
    both = in_field(farm, "Long Acre")
    assert both.working_s == pytest.approx(alone.working_s, rel=0.01)
    assert both.worked_m2 == pytest.approx(alone.worked_m2, rel=0.01)


def test_one_machine_is_not_in_two_places_in_two_files(farm: log.Log) -> None:
    flow.import_file(farm, gpx(DRILLED), "here.gpx", DRILL)
    elsewhere = [(t, x + 5000, y) for t, x, y in DRILLED]
    before = {e.event_id for e in farm.events()}
    with pytest.raises(UnreadableFile, match=r"5\.0 km away at these very times"):
        flow.import_file(farm, gpx(elsewhere), "there.gpx", DRILL)
    assert {e.event_id for e in farm.events()} == before


def test_one_machine_is_not_in_two_places_in_one_file(farm: log.Log) -> None:
    other = walk(bouts(20_000, 0, 100, 200, 4.0), 2.0)
    mixed = [f for pair in zip(DRILLED, other, strict=True) for f in pair]
    mixed = [(t + timedelta(seconds=0.5 * (i % 2)), x, y) for i, (t, x, y) in enumerate(mixed)]
    with pytest.raises(UnreadableFile, match="more than one machine in one file"):
        flow.import_file(farm, gpx(mixed), "mixed.gpx", DRILL)


def test_work_past_midnight_belongs_to_the_evening(farm: log.Log) -> None:
    late = datetime(2024, 3, 25, 23, 30, tzinfo=UTC)
    flow.import_file(farm, gpx(walk(bouts(0, 0, 100, 200, 4.0), 2.0, late)), "n.gpx", DRILL)
    assert [d.day for d in now(farm).days] == [DAY]


def test_work_over_the_turn_of_the_day_is_two_days(farm: log.Log) -> None:
    early = datetime(2024, 3, 25, 3, 40, tzinfo=UTC)
    flow.import_file(farm, gpx(walk(bouts(0, 0, 100, 200, 4.0), 2.0, early)), "n.gpx", DRILL)
    assert [d.day for d in now(farm).days] == [date(2024, 3, 24), DAY]


def test_a_device_is_remembered(farm: log.Log) -> None:
    flow.add_kit(farm, KitItem("red", "tractor", True))
    with pytest.raises(UnreadableFile, match="whose track is this"):
        flow.import_file(farm, gpx(DRILLED, creator="box 7"), "a.gpx")
    flow.import_file(farm, gpx(DRILLED, creator="box 7"), "a.gpx", Told(machine="red"))
    done = flow.import_file(farm, gpx(ROLLED, creator="box 7"), "b.gpx")
    assert done.files[0].machine == "red"
    assert "as before from this device" in done.files[0].how
    assert len(every(farm, DeviceAssigned)) == 1


def test_a_device_that_has_been_on_two_machines_does_not_tell(farm: log.Log) -> None:
    flow.add_kit(farm, KitItem("red", "tractor", True))
    for week, machine in enumerate(("blue", "red", "blue", "red")):
        moved = [(t + timedelta(weeks=week), x, y) for t, x, y in DRILLED]
        flow.import_file(farm, gpx(moved, creator="box 7"), "a.gpx", Told(machine=machine))
    assert not now(farm).unsettled
    later = [(t + timedelta(weeks=9), x, y) for t, x, y in DRILLED]
    with pytest.raises(UnreadableFile, match="has been on blue and red"):
        flow.import_file(farm, gpx(later, creator="box 7"), "a.gpx")


def test_what_the_log_holds_as_one_machines_is_not_taken_as_anothers(farm: log.Log) -> None:
    """A logger that is moved from machine to machine; then all it holds is imported again."""
    flow.add_kit(farm, KitItem("red", "tractor", True))
    later = [(t + timedelta(weeks=1), x, y) for t, x, y in DRILLED]
    flow.import_file(farm, gpx(DRILLED, creator="box 7"), "a.gpx", DRILL)
    flow.import_file(farm, gpx(later, creator="box 7"), "b.gpx", Told("red", "drill"))
    before = measured(farm)
    done = flow.import_files(
        farm, [(n, gpx(f, creator="box 7")) for n, f in (("b.gpx", later), ("a.gpx", DRILLED))]
    )
    assert [(f.machine, f.new) for f in done.files] == [("red", 0), ("blue", 0)]
    assert measured(farm) == before
    grown = [*DRILLED, *ROLLED]
    done = flow.import_file(farm, gpx(grown, creator="box 7"), "a.gpx")
    assert (done.files[0].machine, done.files[0].new) == ("blue", len(ROLLED))


def test_a_file_taken_for_the_wrong_machine_is_set_right(farm: log.Log) -> None:
    flow.add_kit(farm, KitItem("red", "tractor", True))
    flow.import_file(farm, gpx(ROLLED), "b.gpx", Told("blue", "roller"))
    flow.import_file(farm, gpx(DRILLED), "a.gpx", DRILL)
    done = flow.import_file(farm, gpx(DRILLED), "a.gpx", Told("red", "drill"))
    assert "blue's in the log until now" in done.files[0].how
    assert {(v.machine, v.field) for v in now(farm).visits} == {
        ("blue", "Mill"),
        ("red", "Long Acre"),
    }
    assert {t.machine for t in now(farm).tracks} == {"blue", "red"}
    assert not now(farm).unsettled
    flow.import_file(farm, gpx(DRILLED), "a.gpx", DRILL)
    assert {(v.machine, v.field) for v in now(farm).visits} == {
        ("blue", "Mill"),
        ("blue", "Long Acre"),
    }, "and back again"
    assert [d.machine for d in now(farm).days] == ["blue"]


def test_the_only_machine_is_taken_and_said_so(farm: log.Log) -> None:
    done = flow.import_file(farm, day_gpx(), "a.gpx")
    assert done.files[0].machine == "blue"
    assert "the only machine" in done.files[0].how


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "empty"),
        (b"\0\1\2\3" * 100, "binary"),
        (b"<!doctype html><html><body>404</body></html>", "web page"),
        (gpx([]), ""),
    ],
)
def test_what_is_no_track_is_told_and_adds_nothing(farm: log.Log, data: bytes, why: str) -> None:
    before = {e.event_id for e in farm.events()}
    with pytest.raises(UnreadableFile, match=f"(?s)x.gpx.*{why}.*Nothing was added"):
        flow.import_file(farm, data, "x.gpx", DRILL)
    assert {e.event_id for e in farm.events()} == before


def test_a_track_without_times_is_told(farm: log.Log) -> None:
    bare = day_gpx().decode()
    while "<time>" in bare:
        head, _, tail = bare.partition("<time>")
        bare = head + tail.partition("</time>")[2]
    with pytest.raises(UnreadableFile, match="without times"):
        flow.import_file(farm, bare.encode(), "bare.gpx", DRILL)


def test_unknown_names_are_told_before_anything_is_read(farm: log.Log) -> None:
    with pytest.raises(UnknownName, match="Did you mean drill"):
        flow.import_file(farm, day_gpx(), "a.gpx", Told("blue", "drlil"))
    with pytest.raises(UnknownName, match="kit add"):
        flow.import_file(farm, day_gpx(), "a.gpx", Told("green"))


def test_a_bad_file_does_not_stop_the_good_ones(farm: log.Log) -> None:
    done = flow.import_files(farm, [("bad", b"\0\1\2"), ("day.gpx", day_gpx())], DRILL)
    assert [bool(f.refused) for f in done.files] == [True, False]
    assert now(farm).visits


def test_a_track_on_no_field_is_road(farm: log.Log) -> None:
    far = [(t, 9000 + 12.0 * i, y) for i, (t, _, y) in enumerate(DRILLED[:200])]
    flow.import_file(farm, gpx(far), "far.gpx", DRILL)
    (day,) = now(farm).days
    assert not now(farm).visits
    assert day.nearest_field == "Mill"
    assert day.nearest_m == pytest.approx(9000 - 420, rel=0.01)


def test_nothing_is_written_where_nothing_can_be(
    farm: log.Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    from oplog.log import disk

    def full(*args: object, **kwargs: object) -> None:
        raise CannotWrite("The disk is full.")

    before = {e.event_id for e in farm.events()}
    monkeypatch.setattr(disk, "write_whole", full)
    with pytest.raises(CannotWrite):
        flow.import_file(farm, day_gpx(), "a.gpx", DRILL)
    monkeypatch.undo()
    assert {e.event_id for e in log.open_log(farm.path).events()} == before


def test_a_date_1024_weeks_off_is_offered_and_not_applied(farm: log.Log) -> None:
    early = [(t - timedelta(days=7168), x, y) for t, x, y in DRILLED]
    done = flow.import_files(farm, [("o.gpx", gpx(early))], DRILL, today=DAY)
    assert "--add-days 7168" in done.files[0].refused
    moved = Told("blue", "drill", add_days=7168)
    flow.import_files(farm, [("o.gpx", gpx(early))], moved, today=DAY)
    assert [v.day for v in now(farm).visits] == [DAY]


def test_two_machines_of_the_corpus_in_one_file(farm: log.Log) -> None:
    """fieldwork/PROVENANCE.md names the file that mixes two machines."""
    files = [
        (path.name, path.read_bytes())
        for path in sorted(corpus("fieldwork").rglob("*"))
        if path.suffix in (".gpx", ".gz", ".csv", ".nmea", ".zip")
    ]
    # What is taken is not measured here: that is tests/test_work_recorded.py.
    history = read(farm)
    batch = Batch(history.farm)
    taken = [take(history, batch, f, read_in(f, zone=None), DRILL, None, None) for f in files]
    refused = [f.refused for f in taken if "more than one machine" in f.refused]
    assert len(refused) == 1
    assert any(f.new for f in taken)


def test_fixes_come_back_as_they_were_measured(farm: log.Log) -> None:
    flow.import_file(farm, day_gpx(), "a.gpx", DRILL)
    (track,) = now(farm).tracks
    kept = farm.fixes(track.fixes)
    assert len(kept) == track.fix_count
    assert np.all(np.diff(kept.time) > np.timedelta64(0, "us"))


def test_errors_are_ours(farm: log.Log) -> None:
    with pytest.raises(OplogError):
        flow.import_file(farm, b"nonsense", "a.txt", DRILL)
