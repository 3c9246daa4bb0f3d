"""Files that were taken in for two machines: one receiver was not on both.

Two people who take one file in on two copies of a log, and say different machines, have its work
twice once the copies are brought together. Both count until a person chooses: which of them was
there, no clock knows. Where one of them strikes it out for the one machine and another, on a copy
of his own, for the other, it counts for neither, and that is for a person to choose too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from oplog.events import EntryStruck, EntryWritten, Event, TrackImported
from oplog.fold.farm import Unsettled

SHORT = 8
"""Digits of a file's digest that are shown."""


def doubled(
    imports: Iterable[TrackImported],
    strikes: Iterable[EntryStruck],
    every: Mapping[str, Event],
    entries: Iterable[EntryWritten],
) -> list[Unsettled]:
    """Files, or fixes, that count for more than one machine, or were struck out for each apart.

    imports, strikes: those that count; every: all events by id.
    """
    counting = _groups(imports)
    groups: dict[tuple[Event, ...], str] = {g: "counts" for g in counting if _machines(g) > 1}
    groups |= dict.fromkeys(_struck_apart(strikes, every, counting), "struck")
    if not groups:
        return []
    names: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        for event in entry.events if len(entry.files) == 1 else ():
            names[event].update(entry.files)
    return [Unsettled(_told(group, how, names), group) for group, how in groups.items()]


def _groups(imports: Iterable[TrackImported]) -> dict[tuple[TrackImported, ...], None]:
    """Imports of one file, or of the same fixes, in order of their ids."""
    by_content: dict[str, list[TrackImported]] = defaultdict(list)
    for one in imports:
        by_content[one.file_digest].append(one)
        by_content[one.fixes].append(one)
    return {
        tuple(sorted(held, key=lambda t: t.event_id)): None
        for _, held in sorted(by_content.items())
    }


def _machines(group: Iterable[TrackImported]) -> int:
    return len({t.machine.casefold() for t in group})


def _struck_apart(
    strikes: Iterable[EntryStruck],
    every: Mapping[str, Event],
    counting: Iterable[Sequence[TrackImported]],
) -> list[tuple[Event, ...]]:
    """Imports of one file for several machines of which none counts, since each was struck by a
    strike that knew nothing of the others; those strikes after them."""
    struck: dict[str, list[EntryStruck]] = defaultdict(list)
    for strike in strikes:
        for i in strike.supersedes:
            if isinstance(every.get(i), TrackImported):
                struck[i].append(strike)
    alive = {c for group in counting for t in group for c in (t.file_digest, t.fixes)}
    found = []
    for group in _groups(t for i in struck if isinstance(t := every[i], TrackImported)):
        by = {s.event_id: s for t in group for s in struck[t.event_id]}
        apart = len(by) > 1 and not any(
            {t.event_id for t in group} <= set(s.supersedes) for s in by.values()
        )
        if _machines(group) > 1 and apart and not {t.file_digest for t in group} & alive:
            found.append((*group, *(by[i] for i in sorted(by))))
    return found


def _told(group: Sequence[Event], how: str, names: dict[str, set[str]]) -> str:
    imports = [t for t in group if isinstance(t, TrackImported)]
    files = sorted({n for t in imports for n in names.get(t.event_id, ())})
    digests = sorted({t.file_digest[:SHORT] for t in imports})
    machines = sorted({t.machine for t in imports}, key=str.casefold)
    times = "twice" if len(machines) == 2 else f"{len(machines)} times"
    neither = "both" if len(machines) == 2 else "each"
    became = {
        "counts": f": its work counts {times}.",
        "struck": f", and struck out for {neither} by people who did not know of each other: its "
        "work counts for none.",
    }
    return (
        f"One file ({', '.join([*files, *digests])}) was taken in for "
        f"{', '.join(machines[:-1])} and {machines[-1]}{became[how]}"
    )
