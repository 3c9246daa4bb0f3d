"""Events: past-tense facts that are never changed. What the log is made of.

Every event has an envelope (id, type, version, what it supersedes and why, who stated it) and
the columns of its type. Column names mean the same thing in every type, so that a log can be
read as one wide table.

Ids. A *derived* event (a track imported, work measured) has nothing of writer or clock in it: its
id is the digest of its content, so the same import gives the same event on every laptop. A
*stated* event (a note, a correction, a fill of fuel) takes in who stated it, when, and a random
value: two equal fills are two.

Supersession is flat: an event counts unless another event names it in `supersedes`. A correction
names every version it replaces. A strike that is struck states the struck event anew.

Units in names: SI, WGS 84 degrees, UTC.
"""

from __future__ import annotations

import hashlib
import json
import types
import typing
from collections.abc import Callable
from dataclasses import MISSING, FrozenInstanceError, dataclass, fields
from datetime import UTC, date, datetime
from functools import cache, cached_property
from typing import Any, ClassVar, NamedTuple, TypeVar, cast, dataclass_transform

from oplog import records

_T = TypeVar("_T")


@dataclass_transform(frozen_default=True, kw_only_default=True, eq_default=False)
def event_form(cls: type[_T]) -> type[_T]:
    """A frozen dataclass with what `Event` has in place of methods of its own: a class is made
    whenever the tool starts, and every method of thirty of them takes a part of a millisecond."""
    return dataclass(init=False, kw_only=True, eq=False, repr=False)(cls)


@event_form
class Event:
    """The envelope. A derived event leaves the last three at None.

    supersedes: ids of the events that this one replaces.
    because: the reason given, for corrections and strikes.
    stated_by: name of the writer who stated it; stated_at: when (UTC); nonce: a random value.
    """

    TYPE: ClassVar[str] = ""
    VERSION: ClassVar[int] = 1

    supersedes: tuple[str, ...] = ()
    because: str | None = None
    stated_by: str | None = None
    stated_at: datetime | None = None
    nonce: str | None = None

    def __init__(self, **given: Any) -> None:
        made: Any = type(self)
        held = self.__dict__
        held.update(_defaults(made), **given)
        if held.keys() != _names(made):
            wrong = ", ".join(sorted(held.keys() ^ _names(made)))
            raise TypeError(f"{made.__qualname__}: missing or unknown: {wrong}")

    def __setattr__(self, name: str, value: object) -> None:
        raise FrozenInstanceError(f"cannot assign to field {name!r}")

    def __delattr__(self, name: str) -> None:
        raise FrozenInstanceError(f"cannot delete field {name!r}")

    def __eq__(self, other: object) -> bool:
        if other.__class__ is not self.__class__:
            return NotImplemented
        return _cells(self) == _cells(other)

    def __hash__(self) -> int:
        return hash(_cells(self))

    def __repr__(self) -> str:
        names = (f.name for f in fields(self))
        held = ", ".join(f"{n}={getattr(self, n)!r}" for n in names)
        return f"{self.__class__.__qualname__}({held})"

    @cached_property
    def event_id(self) -> str:
        """Digest of type, version and content: 32 hexadecimal digits. The log sets it when it
        reads an event whose bytes it has verified."""
        return event_id(self)


@cache
def _names(event_type: type[Any]) -> frozenset[str]:
    return frozenset(f.name for f in fields(event_type))


@cache
def _defaults(event_type: type[Any]) -> dict[str, Any]:
    """What columns hold that are not given."""
    return {f.name: f.default for f in fields(event_type) if f.default is not MISSING}


def _cells(event: Any) -> tuple[Any, ...]:
    return tuple(getattr(event, f.name) for f in fields(event))


class Span(NamedTuple):
    """A stretch of time in one state. A tuple, because a season has a million of them.

    state: working, turning, filling, standing, travelling, unrecorded, road or elsewhere.
    bout: number of the bout within the visit, from 1; 0 outside bouts.
    """

    started_at: datetime
    ended_at: datetime
    state: str
    bout: int = 0


@records.dataclass(frozen=True)
class Found:
    """A problem found in a file, as kept with its import (see errors.Problem)."""

    source: str
    line: int | None
    message: str
    count: int
    done: str


@event_form
class FarmOpened(Event):
    """A log was started. day_turns_at: local time at which one working day becomes the next."""

    TYPE: ClassVar[str] = "farm.opened"
    farm_name: str
    zone: str
    day_turns_at: str = "04:00"


@event_form
class FieldDrawn(Event):
    """A boundary was drawn (again). geometry: WKB, lon/lat, Polygon or MultiPolygon."""

    TYPE: ClassVar[str] = "field.drawn"
    field: str
    farm: str
    geometry: bytes
    boundary_m2: float
    valid_from: date | None = None
    source_name: str | None = None


@event_form
class CropStated(Event):
    """A crop stands or will stand in a field. valid_from: first day whose work counts to it."""

    TYPE: ClassVar[str] = "crop.stated"
    field: str
    crop: str
    harvest_year: int
    variety: str | None = None
    valid_from: date | None = None


@event_form
class KitListed(Event):
    """A machine or implement was listed, or listed anew from a day on (see kit.KitItem)."""

    TYPE: ClassVar[str] = "kit.listed"
    name: str
    kind: str
    is_machine: bool
    operation: str | None = None
    width_m: float | None = None
    antenna_right_m: float | None = None
    hitch_m: float | None = None
    carries: str | None = None
    behind_m: float | None = None
    ahead_m: float | None = None
    trailed: bool | None = None
    holds: float | None = None
    holds_unit: str | None = None
    sections: int | None = None
    valid_from: date | None = None


@event_form
class DeviceAssigned(Event):
    """Files that this device writes belong to this machine."""

    TYPE: ClassVar[str] = "device.assigned"
    device: str
    machine: str


@event_form
class TrackImported(Event):
    """The new fixes of one file were taken in. Derived.

    fixes: digest of the fixes kept (see Track.digest), the name of their file in the log.
    file_digest: sha256 of the file's bytes as imported. known_fixes: fixes that an earlier
    import already held. implement, operation, driver: as said with the import.
    """

    TYPE: ClassVar[str] = "track.imported"
    machine: str
    fixes: str
    file_digest: str
    fix_count: int
    known_fixes: int
    first_at: datetime
    last_at: datetime
    device: str | None = None
    implement: str | None = None
    operation: str | None = None
    driver: str | None = None
    found: tuple[Found, ...] = ()
    kept: str | None = None


@event_form
class WorkMeasured(Event):
    """What one machine did in one stay in one field. Derived. One per visit.

    visit: identity of the visit (machine, field and start; see visit_id).
    day: working day in the farm's zone. tracks: digests of the machine's fixes it rests on.
    worked_m2: ground covered, once, inside the boundary; low and high: 90 % range. worked_m2 is
    None where no width is known. gross_m2: distance worked x width. outside_m2: covered ground
    outside the boundary. applied_m2: with sections, ground plus at most one section's overlap.
    *_s: seconds; they add up to the time in the field. break_s: long breaks, part of
    standing_s. speed_m_s: mean over the time working; speed_low/high: middle half.
    bout_width_m: spacing of neighbouring bouts. geometry: ground worked; missed, overlap, bouts:
    WKB, lon/lat. doubts: what the figures leave unsure, as sentences. boundary, kit, said:
    events that it rests on (boundary None: no field on file). settings: every threshold.
    ground: for work in no field on file, whose field is "", the GroundFound it lies in.
    unseen: ground in the field that a private place hides, not counted as missed.
    """

    TYPE: ClassVar[str] = "work.measured"
    visit: str
    machine: str
    field: str
    day: date
    started_at: datetime
    ended_at: datetime
    tracks: tuple[str, ...]
    method: str
    settings: dict[str, float]
    boundary: str | None = None
    kit: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    implement: str | None = None
    operation: str | None = None
    driver: str | None = None
    job: str | None = None
    width_m: float | None = None
    width_used_m: float | None = None
    bout_width_m: float | None = None
    bout_width_sd_m: float | None = None
    boundary_m2: float | None = None
    worked_m2: float | None = None
    worked_low_m2: float | None = None
    worked_high_m2: float | None = None
    gross_m2: float | None = None
    overlap_m2: float | None = None
    outside_m2: float | None = None
    missed_m2: float | None = None
    applied_m2: float | None = None
    working_s: float
    turning_s: float
    filling_s: float
    standing_s: float
    travelling_s: float
    unrecorded_s: float
    break_s: float
    working_low_s: float | None = None
    working_high_s: float | None = None
    working_m: float
    speed_m_s: float | None = None
    speed_low_m_s: float | None = None
    speed_high_m_s: float | None = None
    noise_m: float | None = None
    interval_s: float | None = None
    line_m: float | None = None
    right_m: float | None = None
    doubts: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    geometry: bytes | None = None
    missed: bytes | None = None
    overlap: bytes | None = None
    bouts: bytes | None = None
    ground: str | None = None
    unseen_m2: float | None = None
    unseen: bytes | None = None


@event_form
class GroundFound(Event):
    """Ground was worked that lies in no field on file. Derived. One per piece and machine's day.

    geometry: the boundary that the work speaks for, WKB, lon/lat; ground_m2: its area. It holds
    until the day is measured with a field there.
    """

    TYPE: ClassVar[str] = "ground.found"
    machine: str
    day: date
    started_at: datetime
    ended_at: datetime
    tracks: tuple[str, ...]
    method: str
    settings: dict[str, float]
    ground_m2: float
    geometry: bytes


@event_form
class DayMeasured(Event):
    """One machine's whole working day, fields and roads. Derived.

    visits: ids of its work.measured events. tracked_s = field_s + road_s + elsewhere_s.
    elsewhere: standing or moving about off the fields and off the road (yard, unrecorded).
    nearest_m: distance to the nearest field where no field was touched.
    """

    TYPE: ClassVar[str] = "day.measured"
    machine: str
    day: date
    tracks: tuple[str, ...]
    method: str
    settings: dict[str, float]
    measured: tuple[str, ...]
    started_at: datetime
    ended_at: datetime
    tracked_s: float
    field_s: float
    road_s: float
    elsewhere_s: float
    road_m: float
    nearest_m: float | None = None
    nearest_field: str | None = None
    doubts: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()


@event_form
class WorkReplaced(Event):
    """Measurements were replaced by later ones of the same day with more fixes. Derived."""

    TYPE: ClassVar[str] = "work.replaced"
    machine: str
    day: date
    measured: tuple[str, ...]


@event_form
class VisitSaid(Event):
    """Someone said what a visit was. Named columns override what was known before.

    The period, not the visit's id, is what holds: a day that is measured again with more fixes
    may begin the visit earlier.
    """

    TYPE: ClassVar[str] = "visit.said"
    visit: str
    machine: str
    field: str
    day: date
    started_at: datetime
    ended_at: datetime
    implement: str | None = None
    operation: str | None = None
    driver: str | None = None
    job: str | None = None


@event_form
class EntryStruck(Event):
    """Events were struck out, for a reason; `supersedes` names them.

    For a struck visit, machine, field and period keep it struck when its day is measured again.
    """

    TYPE: ClassVar[str] = "entry.struck"
    visit: str | None = None
    machine: str | None = None
    field: str | None = None
    started_at: datetime | None = None
    ended_at: datetime | None = None


@event_form
class JobPlanned(Event):
    """A job: an operation over some fields for a crop and harvest year. by: deadline."""

    TYPE: ClassVar[str] = "job.planned"
    job: str
    operation: str
    fields: tuple[str, ...]
    crop: str | None = None
    harvest_year: int | None = None
    by: date | None = None


@event_form
class JobClosed(Event):
    """A job was closed, done or not."""

    TYPE: ClassVar[str] = "job.closed"
    job: str


@event_form
class NoteWritten(Event):
    """A note on a day, a field, a machine or a visit."""

    TYPE: ClassVar[str] = "note.written"
    note: str
    day: date | None = None
    field: str | None = None
    machine: str | None = None
    visit: str | None = None


@event_form
class InputPlanned(Event):
    """What a job is to get of a product. per_ha: amount a hectare, in `unit` (kg or l)."""

    TYPE: ClassVar[str] = "input.planned"
    job: str
    product: str
    kind: str
    per_ha: float
    unit: str


@event_form
class InputApplied(Event):
    """Seed, spray, fertiliser, fuel or water went out.

    kind: see work.agronomy.KINDS. amount: all that was filled in, in `unit` (kg or l); left_over
    came back. To what: every visit that fits all of job, visit (with its period), field, day,
    machine and operation, where they are not None. per_ha: dose as stated. The rest is what an
    electronic record of plant protection asks for; eppo: EPPO code of the crop; wind_force:
    Beaufort; started: local time of day.
    """

    TYPE: ClassVar[str] = "input.applied"
    product: str
    kind: str
    amount: float
    unit: str
    job: str | None = None
    visit: str | None = None
    field: str | None = None
    day: date | None = None
    machine: str | None = None
    operation: str | None = None
    started_at: datetime | None = None
    ended_at: datetime | None = None
    left_over: float | None = None
    loads: float | None = None
    per_ha: float | None = None
    water_l_ha: float | None = None
    nozzle_m: float | None = None
    authorisation: str | None = None
    started: str | None = None
    eppo: str | None = None
    bbch: str | None = None
    operator: str | None = None
    wind_force: float | None = None
    wind_from: str | None = None
    use: str | None = None


@event_form
class DrillCalibrated(Event):
    """A drill was set for a product: what it is to sow, and what it gave over a known area.

    rate_kg_ha: wanted. calibrated_m2, caught_kg: area that was turned, and what fell.
    """

    TYPE: ClassVar[str] = "drill.calibrated"
    implement: str
    product: str
    day: date
    rate_kg_ha: float
    plants_m2: float | None = None
    thousand_grain_g: float | None = None
    establishment: float | None = None
    calibrated_m2: float | None = None
    caught_kg: float | None = None


@event_form
class CustomerStated(Event):
    """Work in these fields, and in the fields of these farms, is done for a customer."""

    TYPE: ClassVar[str] = "customer.stated"
    customer: str
    farms: tuple[str, ...] = ()
    fields: tuple[str, ...] = ()


@event_form
class PriceStated(Event):
    """What an operation costs. per: "ha" or "h". basis: the area that is charged: field, net or
    gross; hours for per h. customer: None for every customer without a price of his own."""

    TYPE: ClassVar[str] = "price.stated"
    operation: str
    price: float
    currency: str
    per: str
    basis: str
    customer: str | None = None
    valid_from: date | None = None


@event_form
class SequencePlanned(Event):
    """The operations that a crop is to get, in order."""

    TYPE: ClassVar[str] = "sequence.planned"
    crop: str
    operations: tuple[str, ...]
    harvest_year: int | None = None


@event_form
class PrivatePlace(Event):
    """What machines do here is nobody's business: cut from tracks before anything is stored.

    geometry: WKB, lon/lat, Polygon or MultiPolygon. radius_m: of a circle about its middle.
    It has to be in the log to hold on every computer; it is in no sheet and no export.
    """

    TYPE: ClassVar[str] = "place.private"
    place: str
    geometry: bytes
    radius_m: float | None = None


@event_form
class StretchForgotten(Event):
    """Fixes of a machine were taken out of the log for good, by whom, when and why.

    stretches: of time, ends included, in state "forgotten"; what the machine recorded
    then does not come back by import or merge. tracks: digests of the imports it was part of;
    files: of the imported files whose bytes went with it. forgotten: digest of the fixes taken
    out. place: the private place that it was forgotten for.
    """

    TYPE: ClassVar[str] = "stretch.forgotten"
    machine: str
    stretches: tuple[Span, ...]
    tracks: tuple[str, ...]
    files: tuple[str, ...]
    fix_count: int
    forgotten: str
    place: str | None = None


@event_form
class TrackCut(Event):
    """What is left of an import of which something was forgotten. Derived.

    fixes, file_digest: as in its track.imported. rest: digest of the fixes that are left; None
    where none of its own were taken out. The file's own bytes are gone in either case.
    """

    TYPE: ClassVar[str] = "track.cut"
    fixes: str
    file_digest: str
    rest: str | None = None


@event_form
class EntryWritten(Event):
    """One entry of one writer: what it holds, and the writer's entry before it (a hash chain).

    writer: random id of this user on this computer; number: 1, 2, 3, ...; previous: id of the
    writer's entry before. Member of the set like any event, so that it survives tidying.
    stored: names, without ending, of the files of fixes and raw that were written with it.
    """

    TYPE: ClassVar[str] = "entry.written"
    writer: str
    writer_name: str
    number: int
    previous: str | None
    events: tuple[str, ...]
    written_at: datetime
    command: str = ""
    files: tuple[str, ...] = ()
    stored: tuple[str, ...] = ()


def _event_types(base: type[Event] = Event) -> dict[str, type[Event]]:
    return {c.TYPE: c for c in base.__subclasses__()}


TYPES: dict[str, type[Event]] = _event_types()
"""Event classes by their fixed type string."""

ENVELOPE = tuple(f.name for f in fields(Event))


def columns(event_type: type[Event]) -> dict[str, Any]:
    """Column names of an event type and their Python types, `| None` removed, envelope first."""
    return _columns(event_type.TYPE)


@cache
def _columns(type_string: str) -> dict[str, Any]:
    return {f.name: _type_of(str(f.type)) for f in fields(TYPES[type_string])}


@cache
def _type_of(annotation: str) -> Any:
    """The type that a column is annotated with, `| None` removed. Columns share a dozen of them,
    which `typing.get_type_hints` would compile anew for every one."""
    return without_none(eval(annotation, globals()))


def event_id(event: Event) -> str:
    """Digest of type, version and content: 32 hexadecimal digits.

    Columns that hold nothing are left out, so that a later version with more columns gives the
    old events their old ids. What a file cannot tell apart counts as the same: whole numbers in
    a column of floats, a time in another zone, text with unpaired surrogates (see `text`).
    """
    content: dict[str, Any] = {"type": event.TYPE, "version": event.VERSION}
    for name, hint in columns(type(event)).items():
        value = getattr(event, name)
        if value is not None and not (isinstance(value, tuple | list | dict) and not value):
            content[name] = _canonical(hint)(value)
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def canonical_json(hint: Any, value: Any) -> str | None:
    """A column's value as it goes into an id; None for one that holds nothing."""
    if value is None or (isinstance(value, tuple | list | dict) and not value):
        return None
    made = _canonical(hint)(value)
    return json.dumps(made, sort_keys=True, separators=(",", ":"), ensure_ascii=True)


def text(value: str) -> str:
    """Text as a file can hold it: unpaired surrogates (file names that are not UTF-8) become ?."""
    return value if value.isascii() else value.encode("utf-8", "replace").decode("utf-8")


def stored(value: Any, hint: Any) -> Any:
    """A column's value as it will come back from the log: plain Python of the column's type."""
    return None if value is None else _storer(hint)(value)


@cache
def _storer(hint: Any) -> Callable[[Any], Any]:
    if hint is str:
        return lambda v: text(str(v))
    if hint in (float, int, bool):
        return cast(Callable[[Any], Any], hint)
    if hint is datetime:
        return lambda v: v.astimezone(UTC)
    if typing.get_origin(hint) is dict:
        return lambda v: {text(str(k)): float(x) for k, x in v.items()}
    if typing.get_origin(hint) is tuple:
        item = _storer(typing.get_args(hint)[0])
        return lambda v: tuple([item(x) for x in v])
    if hint in (Span, Found):
        return _struct_storer(hint)
    return lambda v: v


def _struct_storer(made: Any) -> Callable[[Any], Any]:
    parts = [(name, _storer(hint)) for name, hint in struct(made)]
    return lambda v: made(
        *[None if (x := getattr(v, name)) is None else part(x) for name, part in parts]
    )


@cache
def struct(made: Any) -> list[tuple[str, Any]]:
    """Names and types, `| None` removed, of what a Span or Found is made of."""
    return [(name, without_none(hint)) for name, hint in typing.get_type_hints(made).items()]


def to_row(event: Event) -> dict[str, Any]:
    """One flat row: event_id, type, version, then the event's columns."""
    row = {"event_id": event.event_id, "type": event.TYPE, "version": event.VERSION}
    return row | {name: getattr(event, name) for name in columns(type(event))}


def from_row(row: dict[str, Any]) -> Event:
    """The event of a row as `to_row` gives it or as a table of mixed types holds it.

    Columns of other types are ignored; missing ones take their default.
    Raises: KeyError for an unknown type, ValueError for a version newer than this program's or
    a column that is missing though it has no default.
    """
    event_type = TYPES[row["type"]]
    if row["version"] > event_type.VERSION:
        raise ValueError(f"{row['type']} of version {row['version']} is newer than this program")
    values: dict[str, Any] = {}
    for f in fields(event_type):
        value = row.get(f.name)
        if value is None:
            if f.default is MISSING and not _may_be_none(f.type):
                raise ValueError(f"{row['type']} {row.get('event_id')}: {f.name} is missing")
            values[f.name] = None if f.default is MISSING else f.default
        else:
            values[f.name] = restored(value, columns(event_type)[f.name])
    return event_type(**values)


def visit_id(machine: str, field: str, started_at: datetime) -> str:
    """Identity of a visit: 26 letters and digits that are hard to confuse; its first 5 are the
    handle that a person types. The same on every laptop."""
    text = f"{machine.casefold()}\n{field.casefold()}\n{_microseconds(started_at)}"
    number = int.from_bytes(hashlib.sha256(text.encode()).digest()[:16], "big")
    digits = []
    for _ in range(26):
        number, digit = divmod(number, 32)
        digits.append("0123456789abcdefghjkmnpqrstvwxyz"[digit])
    return "".join(digits)


@cache
def _canonical(hint: Any) -> Callable[[Any], Any]:
    """How a value of a column's type goes into the digest: as JSON, floats to the last bit."""
    if hint is float:
        return lambda v: float(v).hex()
    if hint is datetime:
        return lambda v: f"@{_microseconds(v)}"
    if hint is date:
        return lambda v: v.isoformat()
    if hint is bytes:
        return lambda v: hashlib.sha256(v).hexdigest()
    if typing.get_origin(hint) is dict:
        return lambda v: {text(str(k)): float(x).hex() for k, x in v.items()}
    if typing.get_origin(hint) is tuple:
        item = _canonical(typing.get_args(hint)[0])
        return lambda v: [item(x) for x in v]
    if hint in (Span, Found):
        parts = [(name, _canonical(inner)) for name, inner in struct(hint)]
        return lambda v: [
            None if (x := getattr(v, name)) is None else part(x) for name, part in parts
        ]
    return _storer(hint)


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _microseconds(moment: datetime) -> int:
    if moment.tzinfo is None:
        raise ValueError("a time without zone in an event")
    delta = moment - _EPOCH
    return (delta.days * 86_400 + delta.seconds) * 1_000_000 + delta.microseconds


def without_none(hint: Any) -> Any:
    """A type without its `| None`."""
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        rest = [a for a in typing.get_args(hint) if a is not type(None)]
        return rest[0]
    return hint


def _may_be_none(annotation: Any) -> bool:
    return "None" in str(annotation)


def restored(value: Any, hint: Any) -> Any:
    """A column's value out of plain Python: lists as tuples, times without a zone as UTC, Spans and
    Found out of dictionaries."""
    if value is None:
        return None
    origin = typing.get_origin(hint)
    if origin is tuple:
        item = typing.get_args(hint)[0]
        return tuple(restored(v, item) for v in value)
    if origin is dict:
        return dict(value)
    if hint is float:
        return float(value)
    if hint is datetime and value.tzinfo is None:
        return value.replace(tzinfo=UTC)
    if hint in (Span, Found) and isinstance(value, dict):
        inner = dict(struct(hint))
        return hint(**{k: restored(v, inner[k]) for k, v in value.items()})
    return value
