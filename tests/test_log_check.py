"""What a check tells apart, what a mending restores, and what a seal proves."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import ClassVar

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog import events, log
from oplog.cli import main
from oplog.errors import DAMAGED, DONE, DONE_WITH_PROBLEMS, CannotWrite, LogDamaged
from oplog.events import EntryWritten, NoteWritten
from oplog.log import chain, disk, kept, proving, schema
from oplog.log import survey as survey_room
from oplog.log.reading import decode, index, table_of
from tests.logs import imported, meaning, measured, new_log, note, own_configuration, with_import
from tests.test_events import full, least

__all__ = ["own_configuration"]


def kinds(report: log.Report) -> list[str]:
    return sorted({f.kind for f in report.findings})


def events_files(made: log.Log) -> list[Path]:
    return sorted((made.path / "events").glob("*.parquet"))


def file_of(made: log.Log, event_id: str) -> Path:
    """The events file that holds an event."""
    return next(p for p in events_files(made) if event_id in index(p.read_bytes()).types)


def put(made: log.Log, events: list) -> Path:
    """Write events into a log past its door: no entry, no chain."""
    data = schema.encode(events)
    path = made.path / "events" / f"{disk.digest(data)}.parquet"
    path.write_bytes(data)
    return path


def test_a_whole_log_is_whole_and_a_check_changes_nothing(tmp_path):
    made = with_import(tmp_path / "log")
    made.append([note("a")])
    before = {p: p.read_bytes() for p in made.path.rglob("*") if p.is_file()}
    for _ in range(2):  # the second one leans on what the first has verified
        report = log.check(made.path)
        assert report.findings == ()
        assert report.exit_code == DONE
        assert (report.entries, report.events, report.files) == (3, 7, 6)
        assert report.bytes_read == sum(len(b) for b in before.values())
    assert {p: p.read_bytes() for p in made.path.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize("other", [{"a": 1}, [1], "text", 1.5])
@pytest.mark.parametrize("name", ["spans", "tracks", "settings", "worked_m2", "started_at"])
def test_a_footer_that_makes_another_kind_of_a_column_is_told_and_hides_no_other(
    name, other, tmp_path
):
    made = with_import(tmp_path / "log")
    made.append([measured(4), note("beside it")])
    file = file_of(made, measured(4).event_id)
    table = table_of(file.read_bytes())
    column = pa.array([other] * len(table))
    table = table.set_column(table.column_names.index(name), name, column)
    pq.write_table(table, file)
    report = log.check(made.path)
    assert report.damaged
    assert {f.file.rpartition("/")[2] for f in report.findings if f.file} == {file.name}
    kept_on = log.open_log(made.path).events()
    assert "beside it" in [e.note for e in kept_on if isinstance(e, NoteWritten)]
    assert measured(4).event_id not in {e.event_id for e in kept_on}


def test_no_byte_can_change_unnoticed_and_none_makes_the_rest_unreadable(tmp_path):
    made = new_log(tmp_path / "log")
    event, drive, data = imported(1)
    made.append([event], fixes={event.fixes: drive}, raw={event.file_digest: data})
    made.append([note("a")])
    log.check(made.path)  # so that what it remembers as verified is put to the test as well
    whole = {p: p.read_bytes() for p in sorted(made.path.rglob("*")) if p.is_file()}
    everything = meaning(made.events())
    unnoticed = []
    for path, content in whole.items():
        held_here = held_by(path, content)
        # A spread of places here; benchmarks/log.py goes through every byte.
        places = [k for k in range(len(content)) if k % 37 == 0 or k > len(content) - 40]
        for place in places:
            altered = bytearray(content)
            altered[place] ^= 1 << place % 8
            path.write_bytes(altered)
            report = log.check(made.path)
            # One digit of the marker says that the log is of a later version: no damage to tell.
            if not report.damaged and kinds(report) != ["newer"]:
                unnoticed.append((path.name, place))
            left = meaning(log.open_log(made.path).events())
            assert left.items() <= everything.items()
            assert everything.keys() - left.keys() <= held_here
        path.write_bytes(content)
    assert unnoticed == []
    assert log.check(made.path).findings == ()


def held_by(path: Path, content: bytes) -> set[str]:
    return set(index(content).types) if path.parent.name == "events" else set()


@pytest.mark.parametrize("event_type", events.TYPES.values(), ids=events.TYPES)
def test_events_are_proven_from_their_columns_as_they_are_one_by_one(event_type):
    made = [full(event_type), least(event_type), full(event_type)]
    for group in ([made[0]], [made[1]], made):
        assert proving.all_whole(table_of(schema.encode(group)))
    other = events.TYPES["note.written" if event_type is not NoteWritten else "job.closed"]
    table = table_of(schema.encode([*made, full(other), least(other)]))
    assert proving.all_whole(table)
    for name in set(events.columns(event_type)) - set(events.columns(other)):
        assert not proving.all_whole(table.slice(1).set_column(*without_last(table, name))), name


def without_last(table: pa.Table, name: str) -> tuple[int, pa.Field, pa.Array]:
    """A column whose last cell that holds something holds nothing."""
    cells = table[name].to_pylist()[1:]
    last = max(k for k, cell in enumerate(cells) if cell not in (None, []))
    where = table.column_names.index(name)
    field = table.schema.field(name)
    return where, field, pa.array([*cells[:last], None, *cells[last + 1 :]], field.type)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.floats(), min_size=2, max_size=2),
    st.lists(st.text(), max_size=3),
    st.dictionaries(st.text(), st.floats(), max_size=3),
    st.datetimes(),
    st.none() | st.integers(-(2**60), 2**60),
)
def test_whatever_an_event_holds_is_proven_from_its_columns(floats, words, sizes, at, line):
    at = at.replace(tzinfo=UTC)
    made = [
        replace(
            measured(k, worked_m2=floats[k], doubts=tuple(words), settings=sizes),
            spans=tuple(events.Span(at, at, w, k) for w in words),
            geometry=b"%d" % k if words else None,
        )
        for k in range(2)
    ]
    more = replace(imported(1)[0], found=tuple(events.Found(w, line, w, 1, w) for w in words))
    assert proving.all_whole(table_of(schema.encode([*made, more])))


def test_zero_is_not_minus_zero():
    made = [measured(1, settings={"a": 0.0}), measured(2, settings={"a": -0.0})]
    table = table_of(schema.encode(made))
    assert proving.all_whole(table)
    both = pa.concat_tables([table.slice(0, 1)] * 2)
    ids = pa.array([made[0].event_id, made[1].event_id])
    assert not proving.all_whole(both.set_column(0, "event_id", ids))


def test_a_first_check_takes_nothing_apart_whose_bytes_an_entry_vouches_for(tmp_path, monkeypatch):
    made = with_import(tmp_path / "log")
    made.append([note("a")])
    apart: list[str] = []
    monkeypatch.setattr(kept, "holds", lambda content, data: apart.append(content) or True)
    assert log.check(made.path).findings == ()
    assert apart == []


def test_a_file_that_no_entry_vouches_for_is_taken_apart(tmp_path, monkeypatch):
    """A forger gives a file's bytes a name that fits and writes an entry that says so."""
    made = with_import(tmp_path / "log")
    event = imported(1)[0]
    data = kept.encode_raw(b"another field")
    name = kept.raw_name(event.file_digest, data)
    for file in (made.path / "raw").iterdir():
        file.unlink()
    (made.path / "raw" / name).write_bytes(data)
    assert kinds(log.check(made.path)) == ["rotten"]
    monkeypatch.setenv("OPLOG_CONFIG", str(tmp_path / "the forger"))
    put(
        made,
        [
            EntryWritten(
                writer="0" * 16,
                writer_name="Nobody",
                number=1,
                previous=None,
                events=(event.event_id,),
                written_at=event.first_at,
                stored=(kept.stem(name),),
            )
        ],
    )
    assert kinds(log.check(made.path)) == ["rotten"]


def test_an_altered_event_is_named_even_where_the_file_was_named_to_match(tmp_path):
    made = with_import(tmp_path / "log")
    figure = measured(1)
    path = file_of(made, figure.event_id)
    forged = [
        measured(1, worked_m2=99_999.0) if e.event_id == figure.event_id else e
        for e in decode(path.read_bytes())
    ]
    for event in forged:
        if event.TYPE == figure.TYPE:
            event.__dict__["event_id"] = figure.event_id
    path.unlink()
    new = put(made, forged)
    report = log.check(made.path)
    assert report.exit_code == DAMAGED
    (finding,) = report.findings
    assert (finding.kind, finding.event) == ("altered", figure.event_id)
    assert finding.file == f"events/{new.name}"


def test_a_missing_event_and_a_missing_entry_are_named(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    made.append([note("b")])
    file_of(made, note("a").event_id).unlink()
    report = log.check(made.path)
    assert report.exit_code == DAMAGED
    assert kinds(report) == ["missing"]
    assert "the entry before entry 3 of" in report.findings[0].message


def test_an_event_taken_out_of_its_entry_is_missing(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a"), note("b")])
    path = file_of(made, note("a").event_id)
    rest = [e for e in decode(path.read_bytes()) if e.event_id != note("a").event_id]
    path.unlink()
    put(made, rest)
    (finding,) = log.check(made.path).findings
    assert (finding.kind, finding.event, finding.damage) == ("missing", note("a").event_id, True)


def test_the_newest_entry_written_here_is_missed_too(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    file_of(made, note("a").event_id).unlink()
    (finding,) = log.check(made.path).findings
    assert finding.kind == "missing"
    assert "your newest entry here (number 2)" in finding.message


def test_a_torn_file_a_foreign_file_and_an_orphan_are_told_apart(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    torn = file_of(made, note("a").event_id)
    torn.write_bytes(torn.read_bytes()[:500])
    put(made, [note("smuggled")])
    pq.write_table(pa.table({"yield": [1.0]}), made.path / "events" / "harvest.parquet")
    (made.path / "events" / "letter.txt").write_text("Dear Ann")
    (made.path / "events" / ".DS_Store").write_text("")
    found = {(f.kind, f.file, f.damage) for f in log.check(made.path).findings}
    assert found >= {
        ("torn", f"events/{torn.name}", True),
        ("foreign", "events/harvest.parquet", True),
        ("foreign", "events/letter.txt", False),
        ("orphan", "", True),
    }
    assert note("smuggled").event_id in {f.event for f in log.check(made.path).findings}
    assert len(meaning(made.events())) == 2
    assert len(made.problems) == 2


def test_a_page_beside_the_log_asks_nothing_of_anybody(tmp_path):
    """Pages are made in the log's folder unless told otherwise."""
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    (made.path / "day-2024-03-25.html").write_text("a page")
    report = log.check(made.path)
    assert [(f.kind, f.file, f.damage) for f in report.findings] == [
        ("beside", "day-2024-03-25.html", False)
    ]
    assert report.exit_code == 0


def test_rotten_and_missing_fixes_and_raw_files_are_told_apart(tmp_path):
    made = with_import(tmp_path / "log")
    (fixes,), (raw,) = (list((made.path / f).iterdir()) for f in ("fixes", "raw"))
    fixes.write_bytes(fixes.read_bytes()[:-20] + b"x" * 20)
    raw.unlink()
    event = imported(1)[0]
    report = log.check(made.path)
    assert report.exit_code == DAMAGED
    assert {(f.kind, f.file) for f in report.findings} == {
        ("rotten", f"fixes/{fixes.name}"),
        ("missing", "raw"),
    }
    with pytest.raises(LogDamaged, match="oplog check"):
        made.fixes(event.fixes)
    with pytest.raises(LogDamaged, match="oplog check"):
        made.raw(event.file_digest)


def test_what_an_interrupted_import_left_is_no_damage(tmp_path):
    made = new_log(tmp_path / "log")
    event, drive, data = imported(1)
    made.append([], fixes={event.fixes: drive}, raw={event.file_digest: data})
    (made.path / "events" / f"abc{disk.ASIDE}").write_bytes(b"half")
    report = log.check(made.path)
    assert not report.damaged
    assert kinds(report) == ["orphan", "unfinished"]
    assert report.exit_code == DONE_WITH_PROBLEMS


def test_what_is_on_its_way_from_another_computer_is_waiting_at_first(tmp_path, monkeypatch):
    here = new_log(tmp_path / "here")
    monkeypatch.setenv("OPLOG_CONFIG", str(tmp_path / "another user"))
    there = new_log(tmp_path / "there")
    event, drive, data = imported(1)
    there.append([event], fixes={event.fixes: drive}, raw={event.file_digest: data})
    monkeypatch.setenv("OPLOG_CONFIG", str(tmp_path / "configuration"))
    shutil.copy(file_of(there, event.event_id), here.path / "events")
    (here.path / "fixes" / ".syncthing.abc.parquet.tmp").write_bytes(b"on its way")
    report = log.check(here.path)
    assert kinds(report) == ["waiting"]
    assert report.exit_code == DONE_WITH_PROBLEMS
    (here.path / "fixes" / ".syncthing.abc.parquet.tmp").unlink()
    newest = max(p.stat().st_ctime for p in here.path.rglob("*"))
    assert kinds(log.check(here.path, now=newest + 10)) == ["waiting"]
    assert kinds(log.check(here.path, now=newest + 7200)) == ["missing"]
    here.merge(there)
    assert log.check(here.path).findings == ()


@pytest.mark.parametrize("at", range(9))
def test_what_is_written_and_tidied_while_it_reads_is_no_damage(at, tmp_path, monkeypatch):
    """Before any of the listings of folders that a check goes by."""
    made = with_import(tmp_path / "log")
    for text in "ab":
        made.append([note(text)])
    listed, calls = survey_room._listed, []

    def meanwhile(folder: Path) -> list[str]:
        names = listed(folder)
        calls.append(folder)
        if len(calls) == at + 1:
            other = log.open_log(tmp_path / "log")
            event, drive, data = imported(7)
            other.append([event], fixes={event.fixes: drive}, raw={event.file_digest: data})
            other.tidy()
        return names

    monkeypatch.setattr(survey_room, "_listed", meanwhile)
    assert log.check(made.path).findings == ()
    assert len(calls) > at


def test_a_copied_folder_begins_a_chain_of_its_own(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    shutil.copytree(made.path, tmp_path / "copy")
    copy = log.open_log(tmp_path / "copy")
    copy.append([note("in the copy")])
    made.append([note("in the first")])
    made.merge(copy)
    assert log.check(made.path).findings == ()
    writers = {e.writer for e in made.events() if isinstance(e, EntryWritten)}
    assert len(writers) == 2


def test_a_log_put_back_from_a_backup_begins_a_chain_of_its_own(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    shutil.copytree(made.path, tmp_path / "backup")
    made.append([note("b")])
    shutil.rmtree(made.path)
    shutil.copytree(tmp_path / "backup", made.path)
    assert kinds(log.check(made.path)) == ["missing"]
    assert log.open_log(made.path).append([note("c")]).number == 1
    assert log.check(made.path).findings == ()


def test_a_forked_chain_is_said_and_loses_nothing(tmp_path):
    made = new_log(tmp_path / "log")
    first = next(e for e in made.events() if isinstance(e, EntryWritten))
    for text in "ab":
        entry = EntryWritten(
            writer=first.writer,
            writer_name="Ann",
            number=2,
            previous=first.event_id,
            events=(note(text).event_id,),
            written_at=first.written_at,
        )
        put(made, [entry, note(text)])
    report = log.check(made.path)
    assert kinds(report) == ["forked"]
    assert report.exit_code == DONE_WITH_PROBLEMS
    assert len(meaning(made.events())) == 3
    assert len(made.seal().split()) == 2


# ---- mending


def test_mending_keeps_every_event_that_is_still_whole_and_deletes_nothing(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    made.append([measured(k) for k in range(3)])
    made.tidy()
    (path,) = events_files(made)
    content = bytearray(path.read_bytes())
    found = 0
    for place in range(200, len(content) - 2000, 197):
        altered = bytearray(content)
        altered[place] ^= 255
        path.write_bytes(altered)
        readable = meaning(log.open_log(made.path).events())
        mended = log.mend(made.path)
        assert meaning(log.open_log(made.path).events()) == readable
        assert any(path.name in d and "set aside" in d for d in mended.done)
        assert not any(f.kind in ("torn", "altered") for f in mended.after.findings)
        assert (made.path / "set-aside" / path.name).read_bytes() == altered
        found += len(readable)
        shutil.rmtree(made.path / "set-aside")
        for file in events_files(made):
            file.unlink()
        path.write_bytes(content)
    assert found > 0
    assert log.check(made.path).findings == ()


def test_another_copy_of_the_log_brings_back_what_was_lost(tmp_path):
    made = with_import(tmp_path / "log")
    made.append([note("a")])
    shutil.copytree(made.path, tmp_path / "copy")
    whole = meaning(made.events())
    for path in [*events_files(made), *(made.path / "fixes").iterdir()]:
        path.write_bytes(path.read_bytes()[:100])
    assert log.mend(made.path).after.damaged
    log.open_log(made.path).merge(log.open_log(tmp_path / "copy"))
    assert meaning(log.open_log(made.path).events()) == whole
    assert log.check(made.path).findings == ()


def test_rotten_fixes_are_worked_out_again_from_the_raw_file(tmp_path):
    made = with_import(tmp_path / "log")
    event, drive, data = imported(1)
    (path,) = (made.path / "fixes").iterdir()
    path.write_bytes(b"rot")
    mended = log.mend(made.path, lambda e, raw: drive if (e, raw) == (event, data) else None)
    assert len(mended.done) == 2
    assert mended.after.findings == ()
    assert made.fixes(event.fixes).digest() == drive.digest()


def test_other_fixes_than_those_that_were_there_are_not_taken(tmp_path):
    made = with_import(tmp_path / "log")
    (path,) = (made.path / "fixes").iterdir()
    path.unlink()
    mended = log.mend(made.path, lambda event, raw: imported(2)[1])
    assert kinds(mended.after) == ["missing"]


def test_a_lost_or_altered_marker_is_written_anew(tmp_path):
    made = new_log(tmp_path / "log")
    for content in (None, b"{}", b"\xff"):
        (made.path / "oplog.json").unlink()
        if content is not None:
            (made.path / "oplog.json").write_bytes(content)
        assert len(meaning(log.open_log(made.path).events())) == 1
        assert log.check(made.path).damaged
        assert log.mend(made.path).after.findings == ()


# ---- the seal


def test_a_seal_holds_while_the_log_grows_is_merged_and_tidied(tmp_path, monkeypatch):
    made = with_import(tmp_path / "log")
    seal = made.seal()
    assert log.check(made.path).seal == seal
    assert len(seal) == 14
    made.append([note("later")])
    monkeypatch.setenv("OPLOG_CONFIG", str(tmp_path / "another user"))
    other = with_import(tmp_path / "other", 2)
    both = f"{seal} {other.seal()}"
    made.merge(other)
    made.tidy()
    assert log.check_seal(made.path, both).holds
    typed = both.upper().replace("-", " ").replace("0", "O").replace("1", "l")
    assert log.check_seal(made.path, typed).holds


def test_a_seal_tells_mistyped_from_not_contained(tmp_path):
    made = with_import(tmp_path / "log")
    seal = made.seal()
    for place, letter in enumerate(seal):
        if letter != "-":
            other = "2" if letter != "2" else "3"
            sealed = log.check_seal(made.path, seal[:place] + other + seal[place + 1 :])
            assert not sealed.holds
            assert len(sealed.mistyped) == 1
            assert sealed.absent == ()
    (made.path / "x").mkdir()
    elsewhere = chain.part("0123456789abcdef" * 2)
    assert log.check_seal(made.path, elsewhere).absent == (elsewhere,)
    assert not log.check_seal(made.path, "").holds


def test_a_seal_does_not_hold_once_anything_before_it_was_altered(tmp_path):
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    seal = made.seal()
    path = file_of(made, note("a").event_id)
    events = decode(path.read_bytes())
    path.unlink()
    forged = NoteWritten(note="z", stated_by="Ann", stated_at=events[0].stated_at, nonce="z")
    entry = next(e for e in events if isinstance(e, EntryWritten))
    rewritten = EntryWritten(
        writer=entry.writer,
        writer_name=entry.writer_name,
        number=entry.number,
        previous=entry.previous,
        events=(forged.event_id,),
        written_at=entry.written_at,
    )
    put(made, [rewritten, forged])
    assert not log.check_seal(made.path, seal).holds
    assert log.check_seal(made.path, made.seal()).holds


# ---- versions


def test_a_log_of_a_later_version_is_read_and_never_written_to(tmp_path, monkeypatch):
    made = with_import(tmp_path / "log")
    struck = measured(1)
    later = NoteWritten(note="from the future", supersedes=(struck.event_id,))
    with monkeypatch.context() as patched:
        patched.setattr(NoteWritten, "VERSION", 2)
        later.event_id  # noqa: B018 - take its id while it is of version 2
        made.append([later])
    assert events.TYPES["note.written"].VERSION == 1
    before = {p: p.read_bytes() for p in made.path.rglob("*") if p.is_file()}
    again = log.open_log(made.path)
    (unknown,) = [e for e in again.events() if isinstance(e, log.LaterEvent)]
    assert unknown.supersedes == (struck.event_id,)
    assert unknown.event_id == later.event_id
    assert "newer version" in str(again.problems[0])
    for act in (
        lambda: again.append([note("b")]),
        again.tidy,
        lambda: log.mend(made.path),
        lambda: new_log(tmp_path / "other").merge(again),
    ):
        with pytest.raises(CannotWrite, match="newer version"):
            act()
    assert {p: p.read_bytes() for p in made.path.rglob("*") if p.is_file()} == before
    report = log.check(made.path)
    assert kinds(report) == ["newer"]
    assert report.exit_code == DONE_WITH_PROBLEMS


def test_a_type_of_event_that_is_not_known_yet_is_read_past_and_said(tmp_path, capsys):
    """With a column of its own: what is older in the same file is read and shown."""

    @events.event_form
    class RainMeasured(events.Event):
        TYPE: ClassVar[str] = "rain.measured"
        rain_mm: float

    made = with_import(tmp_path / "log")
    with pytest.MonkeyPatch.context() as later:
        later.setitem(events.TYPES, RainMeasured.TYPE, RainMeasured)
        made.append([RainMeasured(rain_mm=3.5), note("in the same file")])
    before = {p: p.read_bytes() for p in made.path.rglob("*") if p.is_file()}
    again = log.open_log(made.path)
    held = again.events()
    assert [e.type for e in held if isinstance(e, log.LaterEvent)] == ["rain.measured"]
    assert [e.note for e in held if isinstance(e, NoteWritten)] == ["in the same file"]
    at = ("--log", str(made.path))
    assert main([*at, "notes"]) == 0
    said = capsys.readouterr()
    assert "in the same file" in said.out
    assert "newer version" in said.err
    period = ("--from", "2026-03-01T00:00", "--to", "2026-03-09T00:00")
    forget = ("forget", "--machine", "blue", *period, "--because", "x", "--yes")
    for words in (("note", "b"), forget):
        assert main([*at, *words]) == 1
        assert "newer version" in " ".join(capsys.readouterr().err.split())
    assert main([*at, "check"]) == DONE_WITH_PROBLEMS
    assert {p: p.read_bytes() for p in made.path.rglob("*") if p.is_file()} == before


def test_a_folder_of_a_later_layout_is_read_and_never_written_to(tmp_path):
    made = with_import(tmp_path / "log")
    (made.path / "oplog.json").write_text('{"oplog": "field-work log", "format": 2}')
    again = log.open_log(made.path)
    assert len(meaning(again.events())) == 3
    with pytest.raises(CannotWrite, match="newer version"):
        again.append([note("b")])
    assert kinds(log.check(made.path)) == ["newer"]


def test_names_of_kept_files_are_those_of_their_bytes(tmp_path):
    made = with_import(tmp_path / "log")
    for path in [*(made.path / "fixes").iterdir(), *(made.path / "raw").iterdir()]:
        assert kept.is_kept(path.name)
        assert kept.as_named(path.name, path.read_bytes())
        assert os.fspath(path.name).isascii()
