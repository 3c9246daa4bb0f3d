"""Ids, rows and versions of events. The ids are pinned: a log written today must be the same log
in ten years."""

from __future__ import annotations

import dataclasses
import typing
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog.events import (
    ENVELOPE,
    TYPES,
    EntryWritten,
    Event,
    FarmOpened,
    FieldDrawn,
    Found,
    NoteWritten,
    Span,
    WorkMeasured,
    columns,
    event_id,
    from_row,
    text,
    to_row,
    visit_id,
)

AT = datetime(2026, 3, 1, 8, 30, 0, 250_000, tzinfo=UTC)

SAMPLE: dict[Any, Any] = {
    str: "Lädchen",
    int: 7,
    float: 0.1,
    bool: True,
    bytes: b"\x01\x00\xff",
    date: date(2026, 3, 1),
    datetime: AT,
    Span: Span(AT, AT + timedelta(seconds=1), "working", 2),
    Found: Found("a.gpx", None, "cut off", 1, "kept"),
}


def value(hint: Any) -> Any:
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is tuple:
        return (SAMPLE[arguments[0]], SAMPLE[arguments[0]])
    if origin is dict:
        return {"b": 2.0, "a": 1.5}
    return SAMPLE[hint]


def full(event_type: type[Event]) -> Event:
    """An event with every column stated."""
    return event_type(**{name: value(hint) for name, hint in columns(event_type).items()})


def least(event_type: type[Event]) -> Event:
    """An event with nothing stated that need not be."""
    must = [f.name for f in dataclasses.fields(event_type) if f.default is dataclasses.MISSING]
    return event_type(**{name: value(columns(event_type)[name]) for name in must})


def drawn(**more: Any) -> FieldDrawn:
    return FieldDrawn(**({"field": "a", "farm": "b", "geometry": b"", "boundary_m2": 1.0} | more))


def test_ids_are_pinned():
    pinned = {
        "farm": event_id(FarmOpened(farm_name="Hollow Farm", zone="Europe/London")),
        "field": full(FieldDrawn).event_id,
        # A column added since leaves the ids of events without it as they were.
        "work": dataclasses.replace(  # type: ignore[type-var]
            full(WorkMeasured), ground=None, unseen_m2=None, unseen=None
        ).event_id,
        "entry": dataclasses.replace(full(EntryWritten), stored=()).event_id,
        "note": least(NoteWritten).event_id,
    }
    assert pinned == PINNED


PINNED = {
    "farm": "9e498cbf233b839e584508ed6e314082",
    "field": "b4ae657c4c5e81351e2caa4b688b3010",
    "work": "de9dac89233d61e32cef03e83459ca4b",
    "entry": "5e92962aeb7dcc3bea2377b697d4ab25",
    "note": "bdf0eacb1e7b85ca24e95823366cda40",
}


def test_a_column_means_the_same_in_every_type():
    meant: dict[str, Any] = {}
    for event_type in TYPES.values():
        for name, hint in columns(event_type).items():
            assert meant.setdefault(name, hint) == hint, (event_type, name)
    assert not meant.keys() & {"event_id", "type", "version"}


@pytest.mark.parametrize("event_type", TYPES.values(), ids=TYPES)
def test_a_row_gives_back_its_event(event_type):
    for event in (full(event_type), least(event_type)):
        row = to_row(event)
        assert from_row(row) == event
        assert from_row(row | {"a column of another type": 1}).event_id == event.event_id


def test_what_is_not_stated_does_not_count():
    plain = NoteWritten(note="a")
    assert plain.event_id == NoteWritten(note="a", supersedes=(), because=None, day=None).event_id
    for name in ENVELOPE:
        stated = NoteWritten(note="a", **{name: value(columns(NoteWritten)[name])})
        assert stated.event_id != plain.event_id


def test_every_column_counts():
    for event_type in TYPES.values():
        event = full(event_type)
        other = {str: "x", int: 8, float: 0.2, bool: False, bytes: b"", date: date(2026, 3, 2)}
        for name, hint in columns(event_type).items():
            change = other.get(hint, AT + timedelta(microseconds=1) if hint is datetime else None)
            if change is None:
                change = {"a": 1.5} if typing.get_origin(hint) is dict else value(hint)[:1]
            assert dataclasses.replace(event, **{name: change}).event_id != event.event_id, name


@settings(deadline=None)
@given(st.floats(allow_nan=False), st.floats(allow_nan=False))
def test_floats_count_to_the_last_bit(a, b):
    same = a.hex() == b.hex()
    assert (drawn(boundary_m2=a).event_id == drawn(boundary_m2=b).event_id) == same


def test_what_a_file_cannot_tell_apart_counts_as_the_same():
    assert drawn(boundary_m2=1).event_id == drawn(boundary_m2=1.0).event_id
    assert drawn(boundary_m2=np.float64(1)).event_id == drawn(boundary_m2=1.0).event_id
    elsewhere = AT.astimezone(timezone(timedelta(hours=2)))
    assert note_at(elsewhere).event_id == note_at(AT).event_id
    assert NoteWritten(note="\udcff").event_id == NoteWritten(note="?").event_id
    assert text("ü") == "ü"


def note_at(moment: datetime) -> NoteWritten:
    return NoteWritten(note="a", stated_at=moment)


def test_the_order_of_settings_does_not_count():
    event = full(WorkMeasured)
    turned = dataclasses.replace(event, settings=dict(reversed(event.settings.items())))
    assert turned.event_id == event.event_id


def test_a_time_without_zone_is_refused():
    with pytest.raises(ValueError, match="without zone"):
        event_id(note_at(datetime(2026, 3, 1)))


def test_a_changed_copy_has_an_id_of_its_own():
    event = NoteWritten(note="a")
    first = event.event_id
    assert dataclasses.replace(event, note="b").event_id != first
    assert dataclasses.replace(event, note="a").event_id == first


def test_rows_that_cannot_be_read_say_why():
    row = to_row(NoteWritten(note="a"))
    with pytest.raises(KeyError):
        from_row(row | {"type": "moon.landed"})
    with pytest.raises(ValueError, match="newer than this program"):
        from_row(row | {"version": 2})
    with pytest.raises(ValueError, match="note is missing"):
        from_row(row | {"note": None})


def test_a_visit_is_the_same_on_every_laptop():
    identity = visit_id("Blue", "Long Ground", AT)
    assert identity == visit_id("blue", "LONG GROUND", AT.astimezone(timezone(timedelta(hours=1))))
    assert identity != visit_id("blue", "Long Ground", AT + timedelta(seconds=1))
    assert len(identity) == 26
    assert not set(identity) & set("ilou")


def test_an_event_takes_its_own_columns_and_keeps_them():
    event = FarmOpened(farm_name="F", zone="UTC")
    assert (event.day_turns_at, event.supersedes, event.nonce) == ("04:00", (), None)
    for wrong in ({"farm_name": "F"}, {"farm_name": "F", "zone": "UTC", "more": 1}):
        with pytest.raises(TypeError, match=r"zone|more"):
            FarmOpened(**wrong)
    with pytest.raises(dataclasses.FrozenInstanceError):
        event.zone = "Europe/London"  # type: ignore[misc]
    with pytest.raises(dataclasses.FrozenInstanceError):
        del event.zone
