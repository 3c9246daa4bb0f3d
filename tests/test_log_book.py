"""Opening, reading and appending: what goes in comes out, once, and nothing by half."""

from __future__ import annotations

import errno
import os
import re
import threading
from datetime import UTC, datetime, timedelta, timezone

import filelock
import pytest

from oplog import log
from oplog.errors import CannotWrite, LogBusy, NotALog
from oplog.events import TYPES, EntryWritten, FieldDrawn, NoteWritten, event_id
from oplog.log import disk, locking, schema, tidy
from tests.logs import imported, meaning, measured, new_log, note, own_configuration, with_import

__all__ = ["own_configuration"]


def test_what_was_appended_comes_back_equal_and_in_order_of_ids(tmp_path):
    made = new_log(tmp_path / "log")
    given = [measured(1), note("a"), imported(1)[0], measured(2, geometry=None, doubts=())]
    entry = made.append(given, command="import", files=["a.gpx"])
    assert entry.written == tuple(e.event_id for e in given)
    back = log.open_log(made.path).events()
    assert [e.event_id for e in back] == sorted(e.event_id for e in back)
    by_id = {e.event_id: e for e in back}
    assert [by_id[e.event_id] for e in given] == given
    assert all(event_id(e) == e.event_id for e in back)
    record = by_id[entry.id]
    assert isinstance(record, EntryWritten)
    assert (record.number, record.command, record.files) == (2, "import", ("a.gpx",))


def test_every_type_of_event_comes_back_with_nothing_and_with_everything_stated(tmp_path):
    from tests.test_events import full, least

    made = new_log(tmp_path / "log")
    given = [make(t) for t in TYPES.values() for make in (full, least)]
    for event in given:
        made.append([event])
    made.append([measured(5)])
    for step in (lambda: None, made.tidy):
        step()
        by_id = {e.event_id: e for e in log.open_log(made.path).events()}
        assert [by_id[e.event_id] for e in given] == given


def test_columns_that_are_not_needed_are_left_out(tmp_path):
    made = with_import(tmp_path / "log")
    (lean,) = [e for e in made.events(without=("spans", "geometry")) if e.TYPE == "work.measured"]
    whole = measured(1)
    assert (lean.spans, lean.geometry, lean.worked_m2) == ((), None, whole.worked_m2)
    assert lean.event_id == whole.event_id
    assert made.table("work.measured", without=("spans",)).num_rows == 1
    assert made.table("job.closed").num_rows == 0


def test_the_same_import_again_adds_nothing(tmp_path):
    made = with_import(tmp_path / "log")
    files = sorted(made.path.rglob("*"))
    event, drive, data = imported(1)
    entry = log.open_log(made.path).append(
        [event, measured(1)], fixes={event.fixes: drive}, raw={event.file_digest: data}
    )
    assert (entry.number, entry.written) == (0, ())
    assert sorted(made.path.rglob("*")) == files


def test_an_entry_holds_only_what_is_new_and_each_event_once(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    entry = made.append([note("a"), note("b"), note("b")])
    assert entry.written == (note("b").event_id,)


def test_entries_follow_each_other_in_a_chain(tmp_path):
    made = new_log(tmp_path / "log")
    ids = [made.append([note(t)]).id for t in "abc"]
    records = {e.event_id: e for e in made.events() if isinstance(e, EntryWritten)}
    assert [records[i].number for i in ids] == [2, 3, 4]
    assert [records[i].previous for i in ids[1:]] == ids[:-1]


def test_two_open_logs_see_what_the_other_writes(tmp_path):
    made = new_log(tmp_path / "log")
    other = log.open_log(made.path)
    made.append([note("a")])
    assert other.append([note("a")]).written == ()
    other.append([note("b")])
    assert meaning(made.events()).keys() >= {note("a").event_id, note("b").event_id}


def test_the_log_is_found_from_the_folders_within_it(tmp_path):
    made = new_log(tmp_path / "log")
    deep = made.path / "letters" / "2026"
    deep.mkdir(parents=True)
    assert log.find(deep) == made.path
    assert log.find(made.path / "events") == made.path


@pytest.mark.parametrize("what", ["folder", "file", "nothing"])
def test_what_is_not_a_log_says_how_to_open_one(what, tmp_path):
    place = tmp_path / "place"
    if what == "folder":
        (place / "events").mkdir(parents=True)
    if what == "file":
        place.write_text("")
    said = {"folder": "is not a log", "file": "is not a folder", "nothing": "does not exist"}
    for act in (log.open_log, log.check, log.mend):
        with pytest.raises(NotALog, match=f"{said[what]}.*oplog new"):
            act(place)
    with pytest.raises(NotALog, match="oplog new"):
        log.find(place)
    assert what != "folder" or list((place / "events").iterdir()) == []


def test_a_log_is_not_started_over_another(tmp_path):
    made = with_import(tmp_path / "log")
    before = meaning(made.events())
    with pytest.raises(CannotWrite, match=r"a log in .* already"):
        new_log(made.path)
    assert meaning(log.open_log(made.path).events()) == before


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES])
def test_a_read_only_disk_is_said_and_the_log_still_read(code, tmp_path, monkeypatch):
    made = with_import(tmp_path / "log")
    before = {p: p.read_bytes() for p in made.path.rglob("*") if p.is_file()}
    real = os.open

    def read_only(path, flags, *rest, **more):
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) and str(made.path) in str(path):
            raise OSError(code, os.strerror(code), str(path))
        return real(path, flags, *rest, **more)

    monkeypatch.setattr(os, "open", read_only)
    again = log.open_log(made.path)
    with pytest.raises(CannotWrite, match="read-only"):
        again.append([note("a")])
    with pytest.raises(CannotWrite, match="read-only"):
        again.tidy()
    assert len(meaning(again.events())) == 3
    assert log.check(made.path).findings == ()
    assert {p: p.read_bytes() for p in made.path.rglob("*") if p.is_file()} == before


def test_a_log_that_another_program_holds_is_waited_for_and_then_said(tmp_path, monkeypatch):
    made = new_log(tmp_path / "log")
    monkeypatch.setattr(disk, "WAIT_S", 0.2)
    held, done = threading.Event(), threading.Event()

    def hold() -> None:
        with disk.held(made.path):
            held.set()
            done.wait(20)

    holder = threading.Thread(target=hold)
    holder.start()
    held.wait(20)
    try:
        with pytest.raises(LogBusy, match="Nothing was changed"):
            log.open_log(made.path).append([note("a")])
        assert len(meaning(made.events())) == 1
    finally:
        done.set()
        holder.join()
    made.append([note("a")])


def test_a_drive_that_knows_no_locks_is_written_to_without(tmp_path, monkeypatch):
    made = new_log(tmp_path / "log")

    def unknown(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSYS, "Function not implemented")

    monkeypatch.setattr(locking, "locked", unknown)
    made.append([note("a")])
    assert len(meaning(log.open_log(made.path).events())) == 2


def test_a_lock_that_was_taken_away_keeps_nobody_out_and_lets_nobody_in(tmp_path, monkeypatch):
    """Another program may hold the file of a name that has another file now."""
    made = new_log(tmp_path / "log")
    monkeypatch.setattr(disk, "WAIT_S", 0.0)
    with disk.held(made.path):
        with pytest.raises(LogBusy):
            made.append([note("a")])
        (made.path / disk.LOCK).unlink()
        made.append([note("b")])
    made.append([note("c")])
    assert len(meaning(log.open_log(made.path).events())) == 3


def test_names_of_people_and_fields_never_become_file_names(tmp_path):
    made = log.create(tmp_path / "log", "../../Farm: 'x'; DROP", "Europe/London")
    hostile = ["../../etc/passwd", "C:\\con", "a\x00b", "COM1", "naïve/ü", "\ud800", "; --"]
    fields = [
        FieldDrawn(field=n, farm=n, geometry=b"", boundary_m2=1.0, source_name=n) for n in hostile
    ]
    made.append(fields, files=hostile, command="land add")
    names = [p.name for p in made.path.rglob("*") if p.is_file()]
    assert all(re.fullmatch(r"[0-9a-f]{32}\.parquet|oplog\.json|lock", n) for n in names)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["configuration", "log"]
    back = {e.field for e in log.open_log(made.path).events() if isinstance(e, FieldDrawn)}
    assert back == {*hostile[:5], "?", hostile[6]}
    assert log.check(made.path).findings == ()


def test_a_text_that_no_file_can_hold_has_the_id_of_what_is_kept(tmp_path):
    made = new_log(tmp_path / "log")
    given = NoteWritten(
        note="bad \udcff name",
        stated_at=datetime(2026, 3, 1, 9, tzinfo=timezone(timedelta(hours=1))),
    )
    made.append([given])
    (back,) = [e for e in log.open_log(made.path).events() if isinstance(e, NoteWritten)]
    assert back.note == "bad ? name"
    assert back.stated_at == datetime(2026, 3, 1, 8, tzinfo=UTC)
    assert back.event_id == given.event_id == event_id(back)
    assert made.append([given]).written == ()


def test_digests_that_are_no_digests_find_nothing(tmp_path):
    made = with_import(tmp_path / "log")
    for name in ("*", "../raw/*", "", "a/b"):
        assert not made.has_fixes(name)
        assert not made.has_raw(name)


def test_fixes_and_files_under_a_wrong_digest_are_refused(tmp_path):
    made = new_log(tmp_path / "log")
    event, drive, data = imported(1)
    with pytest.raises(ValueError, match="these fixes are not"):
        made.append([event], fixes={"0" * 32: drive})
    with pytest.raises(ValueError, match="this file is not"):
        made.append([event], raw={"0" * 64: data})
    assert len(meaning(made.events())) == 1


def test_what_is_packed_already_is_kept_as_what_is_not(tmp_path):
    event, drive, data = imported(1)
    plain, packed = new_log(tmp_path / "plain"), new_log(tmp_path / "packed")
    plain.append([event], fixes={event.fixes: drive}, raw={event.file_digest: data})
    packed.append(
        [event],
        fixes={event.fixes: log.packed(drive)},
        raw={event.file_digest: log.packed(data)},
    )
    for folder in ("fixes", "raw"):
        names = [{f.name for f in (made.path / folder).iterdir()} for made in (plain, packed)]
        assert names[0] == names[1]
        assert len(names[0]) == 1
    with pytest.raises(ValueError, match="these fixes are not"):
        packed.append([event], fixes={"0" * 32: log.packed(drive)})
    with pytest.raises(ValueError, match="this file is not"):
        packed.append([event], raw={"0" * 64: log.packed(data)})


def test_an_import_again_brings_back_fixes_and_files_that_were_lost(tmp_path):
    made = with_import(tmp_path / "log")
    event, drive, data = imported(1)
    for folder in ("fixes", "raw"):
        (path,) = (made.path / folder).iterdir()
        path.unlink()
    assert log.check(made.path).damaged
    made.append([event], fixes={event.fixes: drive}, raw={event.file_digest: data})
    assert log.check(made.path).findings == ()


# ---- tidying


def test_many_small_files_are_merged_on_their_own_accord(tmp_path, monkeypatch):
    monkeypatch.setattr(tidy, "TIERS", ((1 << 20, 6), (16 << 20, 3)))
    made = new_log(tmp_path / "log")
    for k in range(40):
        made.append([note(f"note {k}"), measured(k)])
    assert len(list((made.path / "events").iterdir())) < 7
    assert len(meaning(log.open_log(made.path).events())) == 81
    assert log.check(made.path).findings == ()
    assert log.open_log(made.path).append([note("x")]).number == 42


def copied_in(made: log.Log, count: int) -> None:
    """As many files more, as copying from another computer leaves them."""
    for k in range(count):
        data = schema.encode([note(f"copied {k}")])
        (made.path / "events" / f"{disk.digest(data)}.parquet").write_bytes(data)


def test_very_many_files_that_were_copied_in_are_merged_for_the_next_reader(tmp_path):
    made = new_log(tmp_path / "log")
    copied_in(made, 90)
    made.tidy_many()
    assert len(list((made.path / "events").iterdir())) > 90
    copied_in(made, 120)
    before = sorted(meaning(log.open_log(made.path).events()))
    log.open_log(made.path).tidy_many()
    assert len(list((made.path / "events").iterdir())) < 5
    assert sorted(meaning(log.open_log(made.path).events())) == before


def test_a_reader_tidies_nothing_while_another_writes_or_the_disk_refuses(tmp_path, monkeypatch):
    made = new_log(tmp_path / "log")
    copied_in(made, 120)
    files = sorted((made.path / "events").iterdir())
    with filelock.FileLock(made.path / disk.LOCK):
        log.open_log(made.path).tidy_many()

    def refuses(*_: object) -> None:
        raise OSError(errno.EROFS, "read-only")

    monkeypatch.setattr(disk, "_write_and_flush", refuses)
    log.open_log(made.path).tidy_many()
    assert sorted((made.path / "events").iterdir()) == files


def test_tidying_takes_away_doubles_and_leaves_damaged_files_alone(tmp_path):
    made = new_log(tmp_path / "log")
    for text in "abcd":
        made.append([note(text)])
    files = sorted((made.path / "events").iterdir())
    (made.path / "events" / "double.parquet").write_bytes(files[0].read_bytes())
    torn = files[-1]
    torn.write_bytes(torn.read_bytes()[:-10])
    before = meaning(log.open_log(made.path).events())
    assert log.open_log(made.path).tidy() == 4
    assert torn.exists()
    assert (made.path / "events" / "double.parquet").exists()
    assert meaning(log.open_log(made.path).events()) == before


def test_large_files_are_left_as_they_are(tmp_path, monkeypatch):
    made = new_log(tmp_path / "log")
    made.append([measured(k) for k in range(50)])
    (large,) = [p for p in (made.path / "events").iterdir() if p.stat().st_size > 10_000]
    monkeypatch.setattr(tidy, "TIERS", ((10_000, 3),))
    for text in "abcdef":
        made.append([note(text)])
    assert large.exists()
    assert log.check(made.path).findings == ()


def test_a_reader_misses_nothing_while_another_tidies(tmp_path):
    made = new_log(tmp_path / "log")
    for k in range(10):
        made.append([note(f"{k}")])
    before = meaning(made.events())
    stop = threading.Event()
    seen: list[bool] = []

    def read() -> None:
        while not stop.is_set():
            seen.append(before.items() <= meaning(log.open_log(made.path).events()).items())

    reader = threading.Thread(target=read)
    reader.start()
    for k in range(10, 25):
        made.append([note(f"{k}")])
        made.tidy()
    stop.set()
    reader.join()
    assert len(seen) > 2
    assert all(seen)
