"""Which implement, operation and driver a stretch of a machine's day had.

What was said of a visit comes before what was said with the import, and that before the
implement which the machine usually carries. Where nothing is known the visit stays open.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from typing import TypeVar

from oplog import kit
from oplog.events import TrackImported, VisitSaid
from oplog.fold import Farm
from oplog.fold.settle import said_of
from oplog.kit import KitItem, Rig
from oplog.records import dataclass

T = TypeVar("T")
RigFor = Callable[[str, datetime, datetime], Rig]


@dataclass(frozen=True)
class Statement:
    """What holds for a stretch of time; None where nobody said. said: the events it rests on."""

    implement: str | None = None
    operation: str | None = None
    driver: str | None = None
    job: str | None = None
    said: tuple[str, ...] = ()


def rig_for(farm: Farm, machine: str, day: date, tracks: tuple[str, ...]) -> RigFor:
    """The rig of any stretch of a machine's day, by field name, start and end."""
    puller = kit.on(farm.kit.get(machine.casefold(), []), day)

    def resolve(field: str, started_at: datetime, ended_at: datetime) -> Rig:
        told = statement(farm, machine, tracks, field, started_at, ended_at)
        return kit.rig(puller, implement_of(farm, puller, told, day), told.operation, told.driver)

    return resolve


def statement(
    farm: Farm,
    machine: str,
    tracks: tuple[str, ...],
    field: str,
    started_at: datetime,
    ended_at: datetime,
) -> Statement:
    """What was said of a stretch in a field, of the visit itself before the whole import."""
    said = said_of(
        started_at,
        ended_at,
        (
            v
            for v in farm.said
            # What was said of ground without a name holds for what it was called since.
            if _same(v.machine, machine) and (_same(v.field, field) or not v.field)
        ),
    )
    track = _most(
        [
            (t.first_at, t.last_at, t.event_id, t)
            for t in farm.tracks
            if _same(t.machine, machine) and t.fixes in tracks
        ],
        started_at,
        ended_at,
    )
    return _combined(said, track)


def implement_of(farm: Farm, machine: KitItem | None, told: Statement, day: date) -> KitItem | None:
    """The implement that a statement means, or the usual one where it fits the operation."""
    if told.implement is not None:
        return kit.on(farm.kit.get(told.implement.casefold(), []), day)
    if machine is None or machine.carries is None:
        return None
    usual = kit.on(farm.kit.get(machine.carries.casefold(), []), day)
    fits = usual is not None and told.operation in (None, usual.operation)
    return usual if fits else None


def _combined(said: Sequence[VisitSaid], track: TrackImported | None) -> Statement:
    """said: of the visit, the one that holds first; others fill what it leaves open."""
    implement, operation, driver = (
        (track.implement, track.operation, track.driver) if track else (None, None, None)
    )
    pulled = next((s for s in said if s.implement is not None), None)
    done = next((s.operation for s in said if s.operation is not None), None)
    if pulled is not None:
        # The operation said with the import, or apart from the implement, went with another one.
        implement, operation = pulled.implement, pulled.operation
    elif done is not None:
        implement, operation = (implement if done == operation else None), done
    return Statement(
        implement,
        operation,
        next((s.driver for s in said if s.driver is not None), driver),
        next((s.job for s in said if s.job is not None), None),
        tuple(sorted(s.event_id for s in said)),
    )


def _most(
    found: list[tuple[datetime, datetime, str, T]], started_at: datetime, ended_at: datetime
) -> T | None:
    """The one that shares most time with a period; None where none shares any."""
    shared = [
        (min(end, ended_at) - max(start, started_at), event_id, one)
        for start, end, event_id, one in found
    ]
    shared = [s for s in shared if s[0] > timedelta(0)]
    return max(shared, key=lambda s: (s[0], s[1]))[2] if shared else None


def _same(one: str, other: str) -> bool:
    return one.casefold() == other.casefold()
