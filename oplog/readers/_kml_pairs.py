"""Which time of a KML track belongs to which place, also where one of them was lost."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from oplog.records import dataclass


@dataclass(frozen=True, slots=True)
class Item:
    """A `when` (is_time) or a `coord` of a track, with its line."""

    is_time: bool
    text: str
    line: int


def pairs(items: Sequence[Item], hole: int | None = None) -> list[tuple[Item, Item]]:
    """Times with their places, in order of the file.

    items: of one track. hole: how many of them come before a damage that took some away.
    The n-th time belongs to the n-th place. Where their numbers differ, or something is lost,
    neighbours belong together if they take turns, but for those round the damage; if all of one
    kind come first, they are counted from the end behind the damage, as only one kind lost some
    there.
    """
    times = [i for i in items if i.is_time]
    places = [i for i in items if not i.is_time]
    if len(times) == len(places) and hole is None:
        return list(zip(times, places, strict=True))
    time_first = sum(a.is_time and not b.is_time for a, b in pairwise(items))
    place_first = sum(b.is_time and not a.is_time for a, b in pairwise(items))
    if time_first + place_first > len(items) // 2:
        beside = [(a, b) for k, (a, b) in enumerate(pairwise(items), 1) if k != hole]
        if time_first >= place_first:
            return [(a, b) for a, b in beside if a.is_time and not b.is_time]
        return [(b, a) for a, b in beside if b.is_time and not a.is_time]
    count = min(len(times), len(places))
    before = _before(items, hole, fewer=len(times) < len(places))
    cut = min(before, count) if before is not None else count
    behind = count - cut
    return [
        *zip(times[:cut], places[:cut], strict=True),
        *zip(times[len(times) - behind :], places[len(places) - behind :], strict=True),
    ]


def _before(items: Sequence[Item], hole: int | None, fewer: bool) -> int | None:
    """How many of the kind that lost some lie before the damage. fewer: whether times did."""
    return None if hole is None else sum(i.is_time == fewer for i in items[:hole])
