"""A farm as its log tells it, and how its things are found by name."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, MutableMapping
from dataclasses import field as column
from datetime import date
from typing import NamedTuple

from oplog import kit as kits
from oplog import land
from oplog.errors import OplogError, UnknownName
from oplog.events import (
    CropStated,
    CustomerStated,
    DayMeasured,
    DrillCalibrated,
    EntryStruck,
    EntryWritten,
    Event,
    GroundFound,
    InputApplied,
    InputPlanned,
    JobPlanned,
    NoteWritten,
    PriceStated,
    PrivatePlace,
    SequencePlanned,
    StretchForgotten,
    TrackImported,
    VisitSaid,
    WorkMeasured,
)
from oplog.records import dataclass

HANDLE_LENGTH = 5
"""Characters of the shortest handle."""


class Standing(NamedTuple):
    """What a visit counts to, as worked out from the whole log.

    handle: shortest beginning of the visit's id, 5 characters or more, that no other visit has.
    crop, harvest_year: None for stubble or bare soil. job: as said, else the planned one it fits.
    """

    handle: str
    crop: str | None = None
    harvest_year: int | None = None
    job: str | None = None


@dataclass(frozen=True)
class Unsettled:
    """Facts that know nothing of each other, so that a person (or a new measurement) decides.

    what: a sentence. machine, day: set where measuring that machine's day again settles it.
    events: all facts concerned, those kept for now included.
    """

    what: str
    events: tuple[Event, ...]
    machine: str | None = None
    day: date | None = None


@dataclass(frozen=True, eq=False)
class Farm:
    """What counts, of all that the log holds. Keys of the dictionaries are casefolded names.

    fields: drawings of each field; kit: versions of each machine and implement (see land.on and
    kit.on for the one that holds on a day). crops: what was stated for each field, in order of
    harvest year. devices: device -> machine. jobs: planned ones; closed: keys of those closed.
    visits, days: current measurements in order of start; each instant of a machine once.
    found: ground found that lies in no field on file, all that nothing supersedes; it counts
    while a visit that counts lies in it (see oplog.ground.waiting).
    private: places cut from every track. forgotten: stretches that were taken out for good.
    standing: by event id of the visit. entries: every entry ever written. memory: where what is
    slow to work out is kept, under names that say from what; it holds nothing of the farm itself.
    """

    name: str = ""
    zone: str = "UTC"
    day_turns_at: str = "04:00"
    fields: Mapping[str, list[land.Field]] = column(default_factory=dict)
    crops: Mapping[str, list[CropStated]] = column(default_factory=dict)
    kit: Mapping[str, list[kits.KitItem]] = column(default_factory=dict)
    devices: Mapping[str, str] = column(default_factory=dict)
    tracks: tuple[TrackImported, ...] = ()
    jobs: Mapping[str, JobPlanned] = column(default_factory=dict)
    closed: frozenset[str] = frozenset()
    said: tuple[VisitSaid, ...] = ()
    struck: tuple[EntryStruck, ...] = ()
    notes: tuple[NoteWritten, ...] = ()
    inputs: tuple[InputApplied, ...] = ()
    needs: tuple[InputPlanned, ...] = ()
    calibrations: tuple[DrillCalibrated, ...] = ()
    customers: tuple[CustomerStated, ...] = ()
    prices: tuple[PriceStated, ...] = ()
    sequences: tuple[SequencePlanned, ...] = ()
    private: tuple[PrivatePlace, ...] = ()
    forgotten: tuple[StretchForgotten, ...] = ()
    visits: tuple[WorkMeasured, ...] = ()
    days: tuple[DayMeasured, ...] = ()
    found: tuple[GroundFound, ...] = ()
    standing: Mapping[str, Standing] = column(default_factory=dict)
    unsettled: tuple[Unsettled, ...] = ()
    entries: tuple[EntryWritten, ...] = ()
    memory: MutableMapping[str, bytes] = column(default_factory=dict, compare=False)

    def field(self, name: str, day: date = date.max) -> land.Field:
        """The drawing of a field that holds on a day (the newest where no day is given).

        Raises: UnknownName.
        """
        drawn = land.on(self.fields.get(name.casefold(), []), day)
        if drawn is None:
            raise UnknownName(
                "field",
                name,
                (d[-1].name for d in self.fields.values()),
                "Add its boundary with: oplog land add FILE.",
            )
        return drawn

    def kit_item(
        self, name: str, day: date = date.max, *, machine: bool | None = None
    ) -> kits.KitItem:
        """The version of a machine or implement that holds on a day (newest where not given).

        machine: True for machines only, False for implements only.
        Raises: UnknownName.
        """
        item = kits.on(self.kit.get(name.casefold(), []), day)
        if item is None or machine not in (None, item.is_machine):
            kind = {True: "machine", False: "implement", None: "machine or implement"}[machine]
            known = (v[-1] for v in self.kit.values())
            raise UnknownName(
                kind,
                name,
                (i.name for i in known if machine in (None, i.is_machine)),
                "Add it with: oplog kit add NAME --kind KIND.",
            )
        return item

    def job(self, name: str) -> JobPlanned:
        """A planned job. Raises: UnknownName."""
        job = self.jobs.get(name.casefold())
        if job is None:
            raise UnknownName("job", name, (j.job for j in self.jobs.values()))
        return job

    def visit(self, handle: str) -> WorkMeasured:
        """The visit whose id begins with a handle.

        Raises: UnknownName; OplogError for a handle too short or one that several visits share.
        """
        typed = handle.strip().casefold()
        found = [v for v in self.visits if typed and v.visit.startswith(typed)]
        if len(found) == 1 and len(typed) >= HANDLE_LENGTH:
            return found[0]
        if not found:
            handles = (s.handle for s in self.standing.values())
            raise UnknownName("visit", handle, handles, "oplog ask visits lists them all.")
        if len(typed) < HANDLE_LENGTH:
            raise OplogError(
                f"{handle!r} is too short to name a visit: type the first {HANDLE_LENGTH} "
                f"characters, such as {self.standing[found[0].event_id].handle}."
            )
        shared = "; ".join(self._in_words(v) for v in found[:6])
        raise OplogError(f"{handle!r} could be any of {len(found)} visits: {shared}.")

    def _in_words(self, visit: WorkMeasured) -> str:
        handle = self.standing[visit.event_id].handle
        return f"{handle} ({visit.day.isoformat()}, {visit.machine} in {visit.field})"


def handles(visit_ids: Iterable[str]) -> dict[str, str]:
    """Handle of each visit id: the shortest beginning of 5 characters or more that is its own."""
    ordered = sorted(set(visit_ids))
    short = [this[:HANDLE_LENGTH] for this in ordered]
    found = dict(zip(ordered, short, strict=True))
    for k in [k for k, (a, b) in enumerate(itertools.pairwise(short)) if a == b]:
        one, other = ordered[k], ordered[k + 1]
        own = _shared(one, other) + 1
        found[one] = max(found[one], one[:own], key=len)
        found[other] = other[:own]
    return found


def _shared(one: str, other: str) -> int:
    length = 0
    for a, b in zip(one, other, strict=False):
        if a != b:
            break
        length += 1
    return length
