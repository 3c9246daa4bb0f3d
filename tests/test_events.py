"""Events: ids that never change, rows there and back."""

import hashlib
import typing
from dataclasses import MISSING, fields, replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oplog import events
from oplog.events import TYPES, Event, Found, NoteWritten, Span, from_row, to_row

WHEN = datetime(2026, 4, 10, 8, 0, tzinfo=UTC)


def example(event_type: type[Event]) -> Event:
    """An event with every column filled."""
    filled = {
        str: "text",
        int: 7,
        float: 1.5,
        bool: True,
        bytes: b"\x01",
        datetime: WHEN,
        date: date(2026, 4, 10),
    }
    values = {}
    for name, hint in events.columns(event_type).items():
        if typing.get_origin(hint) is dict:
            values[name] = {"a": 1.0}
        elif typing.get_origin(hint) is tuple:
            inner = typing.get_args(hint)[0]
            item = {
                Span: Span(WHEN, WHEN + timedelta(seconds=1), "working", 1),
                Found: Found("a.gpx", 3, "odd", 2, "dropped"),
            }.get(inner, "item")
            values[name] = (item,)
        else:
            values[name] = filled[hint]
    return event_type(**values)


EXAMPLES = [example(event_type) for event_type in TYPES.values()]


@pytest.mark.parametrize("event", EXAMPLES, ids=lambda e: e.TYPE)
def test_a_row_gives_the_event_back(event):
    row = to_row(event)
    again = from_row(row | {"a column of another type": 1})
    assert again == event
    assert again.event_id == event.event_id == row["event_id"]


@pytest.mark.parametrize("event", EXAMPLES, ids=lambda e: e.TYPE)
def test_every_column_counts_in_the_id(event):
    for f in fields(event):
        if f.default is not MISSING and getattr(event, f.name) != f.default:
            assert replace(event, **{f.name: f.default}).event_id != event.event_id, f.name


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def test_ids_never_change():
    """Written out by hand: a log's ids rest on this form, on any machine, in any version."""
    note = NoteWritten(note="wet at the gäte", field="Long Acre", stated_by="Ann", stated_at=WHEN)
    assert note.event_id == digest(
        '{"field":"Long Acre","note":"wet at the g\\u00e4te","stated_at":"@1775808000000000",'
        '"stated_by":"Ann","type":"note.written","version":1}'
    )
    drawn = events.FieldDrawn(
        field="a", farm="b", geometry=b"wkb", boundary_m2=0.1, valid_from=date(2026, 4, 10),
        supersedes=("x", "y"),
    )  # fmt: skip
    geometry = hashlib.sha256(b"wkb").hexdigest()
    assert drawn.event_id == digest(
        f'{{"boundary_m2":"0x1.999999999999ap-4","farm":"b","field":"a","geometry":"{geometry}",'
        '"supersedes":["x","y"],"type":"field.drawn","valid_from":"2026-04-10","version":1}'
    )
    span = Span(WHEN, WHEN + timedelta(seconds=90), "working", 1)
    day = events.DayMeasured(
        machine="blue", day=date(2026, 4, 10), tracks=("t",), method="1", settings={"break_s": 1},
        measured=("m",), started_at=WHEN, ended_at=WHEN + timedelta(hours=1), tracked_s=3600.0,
        field_s=3000.0, road_s=600.0, elsewhere_s=0.0, road_m=2.0, spans=(span,),
    )  # fmt: skip
    assert day.event_id == digest(
        '{"day":"2026-04-10","elsewhere_s":"0x0.0p+0","ended_at":"@1775811600000000",'
        '"field_s":"0x1.7700000000000p+11","machine":"blue","measured":["m"],"method":"1",'
        '"road_m":"0x1.0000000000000p+1","road_s":"0x1.2c00000000000p+9",'
        '"settings":{"break_s":"0x1.0000000000000p+0"},'
        '"spans":[["@1775808000000000","@1775808090000000","working",1]],'
        '"started_at":"@1775808000000000","tracked_s":"0x1.c200000000000p+11","tracks":["t"],'
        '"type":"day.measured","version":1}'
    )


def test_visits_keep_their_handles():
    assert events.visit_id("blue", "Long Acre", WHEN) == "8ndhqpfy3ptkgvmph8mgg28xr7"
    assert events.visit_id("BLUE", "long acre", WHEN) == events.visit_id("blue", "Long Acre", WHEN)
    east = WHEN.astimezone(timezone(timedelta(hours=5, minutes=30)))
    assert events.visit_id("blue", "Long Acre", east) == events.visit_id("blue", "Long Acre", WHEN)


def test_a_column_that_holds_nothing_leaves_the_id_alone():
    """So that a later version with more columns gives old events their old ids."""
    assert NoteWritten(note="a").event_id == NoteWritten(note="a", field=None).event_id


def test_what_a_file_cannot_tell_apart_has_one_id():
    a = events.FieldDrawn(field="a", farm="b", geometry=b"", boundary_m2=3)
    assert a.event_id == replace(a, boundary_m2=3.0).event_id


def test_two_that_are_stated_alike_are_two():
    one = NoteWritten(note="filled up", stated_by="Ann", stated_at=WHEN, nonce="1")
    assert one.event_id != replace(one, nonce="2").event_id


def test_a_time_without_zone_is_refused():
    with pytest.raises(ValueError, match="without zone"):
        _ = NoteWritten(note="a", stated_at=datetime(2026, 4, 10)).event_id


def test_rows_from_elsewhere():
    with pytest.raises(ValueError, match="newer than this program"):
        from_row({"type": "note.written", "version": 99, "note": "a"})
    with pytest.raises(ValueError, match="note is missing"):
        from_row({"type": "note.written", "version": 1})
    with pytest.raises(KeyError):
        from_row({"type": "tea.brewed", "version": 1})


def test_types_are_fixed_strings():
    assert all(t == c.TYPE and t.count(".") == 1 for t, c in TYPES.items())
    assert len(set(TYPES)) == len(TYPES)


def test_a_column_means_the_same_in_every_type():
    """A log is read as one wide table: one name, one type of value."""
    kinds: dict[str, object] = {}
    for event_type in TYPES.values():
        for name, hint in events.columns(event_type).items():
            assert kinds.setdefault(name, hint) == hint, (event_type.TYPE, name)


@given(st.text(), st.text(), st.datetimes(min_value=datetime(1990, 1, 1)))
def test_handles_are_easy_to_type(machine, field, moment):
    handle = events.visit_id(machine, field, moment.replace(tzinfo=UTC))
    assert len(handle) == 26
    assert set(handle) <= set("0123456789abcdefghjkmnpqrstvwxyz")
