"""Which time of a track belongs to which place, also where some of either were lost."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from itertools import accumulate, pairwise

from oplog.records import dataclass

Hole = tuple[int, int]
"""Where something may be lost among things of one kind: how many stand before it, and how many
with what the damage left of one."""


@dataclass(frozen=True, slots=True)
class Item:
    """A `when` (is_time) or a `coord` of a KML track, with its line."""

    is_time: bool
    text: str
    line: int


def ends(
    times: int, places: int, time_holes: Collection[Hole], place_holes: Collection[Hole]
) -> tuple[int, int]:
    """How many first and how many last times and places belong to each other for certain.

    times, places: how many there are, each in an order of its own.
    """
    fewer = min(times, places)
    front = min([fewer, *(before for before, _ in (*time_holes, *place_holes))])
    back = min(
        [
            fewer - front,
            *(times - with_it for _, with_it in time_holes),
            *(places - with_it for _, with_it in place_holes),
        ]
    )
    return front, back


def pairs(
    items: Sequence[Item], holes: Collection[int], readable: Callable[[Item], bool]
) -> list[tuple[Item, Item]]:
    """Times with their places, in order of the file.

    items: of one track. holes: before which of them a damage took some away.
    The n-th time belongs to the n-th place. Where their numbers differ, or something is lost,
    neighbours belong together if they take turns, but for those round a damage; if all of one
    kind come first, they are counted from both ends up to the damage. Where the damage left no
    other trace it is where something cannot be read, or is of more or fewer parts than the others.
    """
    times = [i for i in items if i.is_time]
    places = [i for i in items if not i.is_time]
    if len(times) == len(places) and not holes:
        return list(zip(times, places, strict=True))
    time_first = sum(a.is_time and not b.is_time for a, b in pairwise(items))
    place_first = sum(b.is_time and not a.is_time for a, b in pairwise(items))
    if time_first + place_first > len(items) // 2:
        beside = [(a, b) for k, (a, b) in enumerate(pairwise(items), 1) if k not in holes]
        if time_first >= place_first:
            return [(a, b) for a, b in beside if a.is_time and not b.is_time]
        return [(b, a) for a, b in beside if b.is_time and not a.is_time]
    front, back = ends(
        len(times),
        len(places),
        _holes_of(items, times, holes, readable),
        _holes_of(items, places, holes, readable),
    )
    return [
        *zip(times[:front], places[:front], strict=True),
        *zip(times[len(times) - back :], places[len(places) - back :], strict=True),
    ]


def _holes_of(
    items: Sequence[Item],
    own: Sequence[Item],
    holes: Collection[int],
    readable: Callable[[Item], bool],
) -> list[Hole]:
    """The holes among items of one kind. One between the kinds may have taken of either."""
    kind = own[0].is_time if own else None
    found = []
    before = [0, *accumulate(i.is_time == kind for i in items)]
    for hole in holes:
        if any(i.is_time == kind for i in items[max(hole - 1, 0) : hole + 1]):
            found.append((before[hole], before[hole]))
    usual = Counter(len(item.text.split()) for item in own).most_common(1)
    return found + [
        (k, k + 1)
        for k, item in enumerate(own)
        if not readable(item) or len(item.text.split()) != usual[0][0]
    ]
