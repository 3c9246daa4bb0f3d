"""What a planned sequence of operations says comes next in each field."""

from __future__ import annotations

from collections.abc import Sequence

from oplog.events import CropStated, SequencePlanned
from oplog.fold import Farm
from oplog.records import dataclass


@dataclass(frozen=True)
class Stage:
    """How far a field is in the sequence of its crop.

    done: how many operations; next: the one that comes next, None at the end. behind: by how
    many operations the field is behind the farthest of the same crop and harvest.
    """

    field: str
    crop: str
    harvest_year: int
    operations: tuple[str, ...]
    done: int
    next: str | None
    behind: int


def stages(farm: Farm, harvest_year: int | None = None) -> list[Stage]:
    """Where the fields of every crop with a planned sequence are, by crop, year and field.

    An operation of the sequence counts as done once the field had it for that crop and harvest, in
    the order of the sequence; one that was left out is passed by when a later one was done.
    """
    found = []
    for stated in farm.crops.values():
        for crop in stated:
            planned = sequence_of(farm, crop.crop, crop.harvest_year)
            if planned is not None and harvest_year in (None, crop.harvest_year):
                found.append(_stage(farm, crop, planned.operations))
    farthest: dict[tuple[str, int], int] = {}
    for s in found:
        key = (s.crop.casefold(), s.harvest_year)
        farthest[key] = max(farthest.get(key, 0), s.done)
    ranked = [
        Stage(
            s.field, s.crop, s.harvest_year, s.operations, s.done, s.next,
            farthest[s.crop.casefold(), s.harvest_year] - s.done,
        )
        for s in found
    ]  # fmt: skip
    return sorted(ranked, key=lambda s: (s.harvest_year, s.crop.casefold(), s.field.casefold()))


def sequence_of(farm: Farm, crop: str, harvest_year: int) -> SequencePlanned | None:
    """The sequence planned for a crop: that of its year before that of any year."""
    able = [s for s in farm.sequences if s.crop.casefold() == crop.casefold()]
    own = [s for s in able if s.harvest_year == harvest_year]
    return next(iter(own or [s for s in able if s.harvest_year is None]), None)


def _stage(farm: Farm, crop: CropStated, operations: Sequence[str]) -> Stage:
    work = [
        (v.operation or "").casefold()
        for v in farm.visits
        if v.field.casefold() == crop.field.casefold()
        and v.working_s > 0
        and farm.standing[v.event_id].harvest_year == crop.harvest_year
        and (farm.standing[v.event_id].crop or "").casefold() == crop.crop.casefold()
    ]
    done = 0
    wanted = [o.casefold() for o in operations]
    for operation in _without_repeats(work):
        if operation in wanted[done:]:
            done = wanted.index(operation, done) + 1
    return Stage(
        crop.field, crop.crop, crop.harvest_year, tuple(operations), done,
        operations[done] if done < len(operations) else None, 0,
    )  # fmt: skip


def _without_repeats(work: Sequence[str]) -> list[str]:
    """The operations in order; one that goes on over several visits counts once."""
    return [o for i, o in enumerate(work) if i == 0 or o != work[i - 1]]
