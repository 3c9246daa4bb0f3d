"""Statements of one thing that know nothing of each other: which there are, and which hold for now.

Two kinds are told. Statements about the same thing for the same time that say different things
(two widths of a drill from one day on); and versions that each took the place of the same earlier
one (an input corrected on two laptops, or corrected on one and struck on the other). What a strike
took away stays away until a person has chosen. Of the rest one is kept by its id, where only one
can hold; a clock never decides.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import fields as columns_of
from typing import Any

from oplog.events import (
    CropStated,
    CustomerStated,
    DeviceAssigned,
    DrillCalibrated,
    EntryStruck,
    Event,
    FarmOpened,
    FieldDrawn,
    InputApplied,
    InputPlanned,
    JobPlanned,
    KitListed,
    NoteWritten,
    PriceStated,
    SequencePlanned,
)
from oplog.fold.farm import Unsettled
from oplog.records import dataclass

UNSAID = frozenset(c.name for c in columns_of(Event)) | {"source_name"}
"""Columns that say nothing of the thing itself."""


@dataclass(frozen=True)
class _About:
    """What makes two statements of a type be about one thing; what to say where they differ.

    one: whether only one of them is kept for now.
    """

    key: Callable[[Any], Hashable]
    sentence: str
    one: bool = False


ABOUT: dict[type[Event], _About] = {
    FarmOpened: _About(lambda e: 0, "The log was opened more than once"),
    FieldDrawn: _About(
        lambda e: (e.field.casefold(), e.valid_from),
        "The boundary of {0.field} was drawn more than once for the same time",
    ),
    KitListed: _About(
        lambda e: (e.name.casefold(), e.valid_from),
        "{0.name} is listed more than once for the same time",
    ),
    CropStated: _About(
        lambda e: (e.field.casefold(), e.harvest_year, e.valid_from),
        "{0.field} has more than one crop for harvest {0.harvest_year}",
    ),
    DeviceAssigned: _About(
        lambda e: e.device, "The device {0.device} belongs to more than one machine"
    ),
    JobPlanned: _About(
        lambda e: e.job.casefold(), "The job {0.job} was planned more than once", one=True
    ),
    InputPlanned: _About(
        lambda e: (e.job.casefold(), e.product.casefold()),
        "What {0.job} is to get of {0.product} was stated more than once",
        one=True,
    ),
    CustomerStated: _About(
        lambda e: e.customer.casefold(),
        "The ground of {0.customer} was stated more than once",
        one=True,
    ),
    PriceStated: _About(
        lambda e: (e.operation.casefold(), (e.customer or "").casefold(), e.valid_from),
        "The price of {0.operation} was stated more than once",
        one=True,
    ),
    SequencePlanned: _About(
        lambda e: (e.crop.casefold(), e.harvest_year),
        "The operations of {0.crop} were planned more than once",
        one=True,
    ),
}

CORRECTED: tuple[type[Event], ...] = (InputApplied, NoteWritten, DrillCalibrated, *ABOUT)
"""Types of statements that can be corrected or struck."""


@dataclass(frozen=True)
class Rivals:
    """unsettled: what a person has to choose. out: ids of statements not counted for now."""

    unsettled: tuple[Unsettled, ...]
    out: frozenset[str]


def rivals(now: Mapping[type[Event], Sequence[Event]], every: Mapping[str, Event]) -> Rivals:
    """The statements, among those that nothing supersedes, that contradict each other.

    every: all events by id.
    """
    groups = list(_of_one_thing(now))
    listed = {e.event_id for _, group in groups for e in group}
    forked = list(_forked(now, every))
    # A fork with a strike in it tells more than the same statements side by side.
    with_strike = {e.event_id for g in forked for e in g if any(map(_is_strike, g))}
    groups = [(s, g) for s, g in groups if not {e.event_id for e in g} & with_strike]
    for group in forked:
        if any(map(_is_strike, group)) or not {e.event_id for e in group} <= listed:
            groups.append((_told_of(group), group))
    unsettled = tuple(Unsettled(f"{s}.", tuple(g)) for s, g in groups)
    return Rivals(unsettled, frozenset(i for _, g in groups for i in _not_for_now(g)))


def differ(events: Iterable[Event]) -> bool:
    """Whether statements say different things."""
    return len({_content(e) for e in events}) > 1


def brings_back(event: Event, every: Mapping[str, Event]) -> bool:
    """Whether a strike strikes nothing but strikes, and so brings back what they struck."""
    struck = [every[i] for i in event.supersedes if i in every]
    return _is_strike(event) and bool(struck) and all(map(_is_strike, struck))


def _of_one_thing(
    now: Mapping[type[Event], Sequence[Event]],
) -> Iterable[tuple[str, list[Event]]]:
    for kind, about in ABOUT.items():
        groups: dict[Hashable, list[Event]] = defaultdict(list)
        for e in now.get(kind, ()):
            groups[about.key(e)].append(e)
        for group in groups.values():
            if len(group) > 1 and differ(group):
                yield about.sentence.format(group[0]), group


def _forked(
    now: Mapping[type[Event], Sequence[Event]], every: Mapping[str, Event]
) -> Iterable[list[Event]]:
    """Versions that took the place of the same earlier one and say different things."""
    tips = [e for kind in CORRECTED for e in now.get(kind, ()) if e.supersedes]
    tips += [
        e
        for e in now.get(EntryStruck, ())
        if _is_strike(e) and e.machine is None and not brings_back(e, every)  # type: ignore[attr-defined]
    ]
    of_root: dict[str, list[Event]] = defaultdict(list)
    for tip in tips:
        for root in _earlier(tip, every):
            of_root[root].append(tip)
    seen: set[frozenset[str]] = set()
    for group in of_root.values():
        ids = frozenset(e.event_id for e in group)
        if len(ids) > 1 and ids not in seen and differ(group):
            seen.add(ids)
            yield sorted(group, key=lambda e: e.event_id)


def _earlier(event: Event, every: Mapping[str, Event]) -> set[str]:
    """Ids of the statements that a version took the place of, by and by."""
    found: set[str] = set()
    ahead = list(event.supersedes)
    while ahead:
        one = every.get(ahead.pop())
        if one is not None and isinstance(one, CORRECTED) and one.event_id not in found:
            found.add(one.event_id)
            ahead += one.supersedes
    return found


def _not_for_now(group: Sequence[Event]) -> list[str]:
    """Ids of those of a group that are not counted until one is chosen."""
    statements = sorted(e.event_id for e in group if not _is_strike(e))
    if any(map(_is_strike, group)):
        return statements
    about = ABOUT.get(type(group[0]))
    return statements[1:] if about is None or about.one else []


def _told_of(group: Sequence[Event]) -> str:
    e: Any = next(e for e in group if not _is_strike(e))
    words: dict[type[Event], Callable[[], str]] = {
        InputApplied: lambda: f"{e.product}, {e.amount:g} {e.unit},",
        NoteWritten: lambda: f'The note "{e.note}"',
        DrillCalibrated: lambda: f"How {e.implement} was set for {e.product}",
        JobPlanned: lambda: f"The job {e.job}",
        KitListed: lambda: str(e.name),
        FieldDrawn: lambda: f"The boundary of {e.field}",
        CropStated: lambda: f"The crop of {e.field} for harvest {e.harvest_year}",
        CustomerStated: lambda: f"The ground of {e.customer}",
        PriceStated: lambda: f"The price of {e.operation}",
        SequencePlanned: lambda: f"The sequence of {e.crop}",
        InputPlanned: lambda: f"What {e.job} is to get of {e.product}",
    }
    what = words.get(e.__class__, lambda: str(e.TYPE))()
    struck = any(map(_is_strike, group))
    return f"{what} was {'struck out and ' if struck else ''}corrected apart"


def _is_strike(event: Event) -> bool:
    return isinstance(event, EntryStruck)


def _content(event: Event) -> tuple[object, ...]:
    """What an event says, without who said it, when, from which file, and in place of what."""
    return tuple(getattr(event, c.name) for c in columns_of(event) if c.name not in UNSAID)
