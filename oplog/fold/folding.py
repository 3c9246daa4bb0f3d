"""fold: from the set of events to the Farm."""

from __future__ import annotations

import gc
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields as columns_of
from dataclasses import replace
from datetime import date
from functools import cached_property
from typing import Any, TypeVar

from oplog.events import (
    CropStated,
    CustomerStated,
    DayMeasured,
    DeviceAssigned,
    DrillCalibrated,
    EntryStruck,
    EntryWritten,
    Event,
    FarmOpened,
    FieldDrawn,
    GroundFound,
    InputApplied,
    InputPlanned,
    JobClosed,
    JobPlanned,
    KitListed,
    NoteWritten,
    PriceStated,
    PrivatePlace,
    SequencePlanned,
    StretchForgotten,
    TrackImported,
    VisitSaid,
    WorkMeasured,
)
from oplog.fold.doubled import doubled, struck_apart
from oplog.fold.farm import Farm, Standing, Unsettled, handles
from oplog.fold.renamed import notes_now
from oplog.fold.rivals import brings_back, rivals
from oplog.fold.settle import Strike, at_place_of, by_place, known_to, settle
from oplog.fold.standing import crop_of_visits, job_of, jobs_by_work
from oplog.kit import KitItem
from oplog.land import Field

E = TypeVar("E", bound=Event)


def fold(events: Iterable[Event]) -> Farm:
    """What a set of events means.

    Order and doubles make no difference. Entries count always: they tell of writing, and
    nothing takes that back.
    """
    # Looking for cycles among the events, of which there are none, would take half the time.
    collecting = gc.isenabled()
    gc.disable()
    try:
        return _folded(events)
    finally:
        if collecting:
            gc.enable()


def _folded(events: Iterable[Event]) -> Farm:
    every = {e.event_id: e for e in events}
    gone = {name for e in every.values() for name in e.supersedes}
    now: dict[type[Event], list[Event]] = defaultdict(list)
    for event_id in sorted(every):
        if event_id not in gone:
            now[every[event_id].__class__].append(every[event_id])
    entries = [e for e in every.values() if isinstance(e, EntryWritten)]
    found = rivals(now, every)
    if found.out:
        now = {kind: [e for e in es if e.event_id not in found.out] for kind, es in now.items()}
    struck = [
        Strike(e, known_to(e, every)) for e in _all(now, EntryStruck) if not brings_back(e, every)
    ]
    apart = struck_apart(every, [s.event for s in struck], entries)
    farm = _farm(now, entries, struck, [*found.unsettled, *apart])
    return replace(farm, notes=notes_now(farm, every.values()))


def _farm(
    now: Mapping[type[Event], list[Event]],
    entries: list[EntryWritten],
    struck: Sequence[Strike],
    unsettled: Sequence[Unsettled],
) -> Farm:
    said = _all(now, VisitSaid)
    kit = _kit(_all(now, KitListed))
    works = {key: {i.operation for i in items if i.operation} for key, items in kit.items()}
    settled = settle(_all(now, WorkMeasured), _all(now, DayMeasured), said, struck, works)
    crops = _crops(_all(now, CropStated))
    jobs = {j.job.casefold(): j for j in reversed(_all(now, JobPlanned))}
    return Farm(
        **_opened(_all(now, FarmOpened)),
        fields=_fields(_all(now, FieldDrawn)),
        crops=crops,
        kit=kit,
        devices={d.device: d.machine for d in reversed(_all(now, DeviceAssigned))},
        tracks=tuple(sorted(_all(now, TrackImported), key=lambda t: (t.first_at, t.event_id))),
        jobs=jobs,
        closed=frozenset(j.job.casefold() for j in _all(now, JobClosed)),
        said=said,
        struck=tuple(s.event for s in struck),
        notes=_all(now, NoteWritten),
        inputs=_all(now, InputApplied),
        needs=_all(now, InputPlanned),
        calibrations=_all(now, DrillCalibrated),
        customers=_all(now, CustomerStated),
        prices=_all(now, PriceStated),
        sequences=_all(now, SequencePlanned),
        private=_all(now, PrivatePlace),
        forgotten=_all(now, StretchForgotten),
        visits=settled.visits,
        days=settled.days,
        found=_all(now, GroundFound),
        standing=_standing(settled.visits, crops, jobs, said),
        unsettled=(*settled.unsettled, *unsettled, *doubled(_all(now, TrackImported), entries)),
        entries=tuple(sorted(entries, key=lambda e: (e.writer, e.number, e.event_id))),
    )


def _all(now: Mapping[type[Event], list[Event]], kind: type[E]) -> tuple[E, ...]:
    """Current events of one type, in order of their ids."""
    return tuple(e for e in now.get(kind, []) if isinstance(e, kind))


def _opened(opened: Sequence[FarmOpened]) -> dict[str, Any]:
    """Two farms brought together are one farm; the name of smallest id holds."""
    if not opened:
        return {}
    first = opened[0]
    return {"name": first.farm_name, "zone": first.zone, "day_turns_at": first.day_turns_at}


def _fields(drawn: Sequence[FieldDrawn]) -> dict[str, list[Field]]:
    result: dict[str, list[Field]] = defaultdict(list)
    for d in sorted(drawn, key=lambda d: (d.valid_from or date.min, d.event_id)):
        result[d.field.casefold()].append(_Drawn(d))
    return dict(result)


class _Drawn(Field):
    """A field as it was drawn: the shape is made of its bytes when it is first asked for, as many
    a question needs none, nor the libraries that make them."""

    _wkb: bytes

    def __init__(self, drawn: FieldDrawn) -> None:
        self.__dict__.update(
            name=drawn.field,
            farm=drawn.farm,
            area_m2=drawn.boundary_m2,
            valid_from=drawn.valid_from,
            event_id=drawn.event_id,
            source=drawn.source_name or "",
            _wkb=drawn.geometry,
        )

    @cached_property
    def boundary(self) -> Any:
        import shapely

        return shapely.from_wkb(self._wkb)


def _kit(listed: Sequence[KitListed]) -> dict[str, list[KitItem]]:
    names = [c.name for c in columns_of(KitItem) if c.name != "event_id"]
    result: dict[str, list[KitItem]] = defaultdict(list)
    for k in sorted(listed, key=lambda k: (k.valid_from or date.min, k.event_id)):
        item = KitItem(**{n: getattr(k, n) for n in names}, event_id=k.event_id)
        result[k.name.casefold()].append(item)
    return dict(result)


def _crops(stated: Sequence[CropStated]) -> dict[str, list[CropStated]]:
    result: dict[str, list[CropStated]] = defaultdict(list)
    for c in sorted(
        stated, key=lambda c: (c.harvest_year, c.valid_from or date.min, c.crop, c.event_id)
    ):
        known = result[c.field.casefold()]
        if not any(_same_crop(c, k) for k in known):
            known.append(c)
    return dict(result)


def _same_crop(one: CropStated, other: CropStated) -> bool:
    """Stated twice, on two laptops, say: still one crop."""
    return (one.crop.casefold(), one.harvest_year, one.valid_from) == (
        other.crop.casefold(),
        other.harvest_year,
        other.valid_from,
    )


def _standing(
    visits: Sequence[WorkMeasured],
    crops: Mapping[str, Sequence[CropStated]],
    jobs: Mapping[str, JobPlanned],
    said: Sequence[VisitSaid],
) -> dict[str, Standing]:
    handle_of = handles([v.visit for v in visits])
    crop_of = crop_of_visits(visits, crops)
    said_at = by_place(said)
    planned = jobs_by_work(jobs.values())
    result = {}
    for v in visits:
        crop = crop_of.get(v.event_id)
        name, year = (crop.crop, crop.harvest_year) if crop else (None, None)
        job = v.job or None
        if planned or said_at:
            work = ((v.operation or "").casefold(), v.field.casefold())
            job = job_of(v, name, year, planned.get(work, ()), at_place_of(v, said_at))
        result[v.event_id] = Standing(handle_of[v.visit], name, year, job)
    return result
