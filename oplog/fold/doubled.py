"""Files that were taken in for two machines: one receiver was not on both.

Two people who take one file in on two copies of a log, and say different machines, have its work
twice once the copies are brought together. Both count until a person chooses: which of them was
there, no clock knows. Where one strikes it for the one machine and another, who does not know of
it, for the other, neither counts until a person chooses; what one chose and another struck counts.
A strike that knew of another names it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from oplog.events import EntryStruck, EntryWritten, Event, TrackImported
from oplog.fold.farm import Unsettled

SHORT = 8
"""Digits of a file's digest that are shown."""


def doubled(imports: Iterable[TrackImported], entries: Iterable[EntryWritten]) -> list[Unsettled]:
    """Files, or fixes, that count for more than one machine. imports: those that count."""
    groups = [g for g in _of_one_file(imports) if len(_machines(g)) > 1]
    names = _names(entries) if groups else {}
    return [Unsettled(_told(group, names), group) for group in groups]


def struck_apart(
    every: Mapping[str, Event], strikes: Iterable[EntryStruck], entries: Iterable[EntryWritten]
) -> list[Unsettled]:
    """Files that people who did not know of each other struck for one machine and for another, or
    chose for one and struck. every: all events by id; strikes: those that hold."""
    struck = {
        s: [e for i in s.supersedes if isinstance(e := every.get(i), TrackImported)]
        for s in strikes
    }
    struck = {s: held for s, held in struck.items() if held}
    if not struck:
        return []
    imports = [e for e in every.values() if isinstance(e, TrackImported)]
    gone = {i for e in every.values() for i in e.supersedes}
    names = _names(entries)
    found: dict[frozenset[str], Unsettled] = {}
    for group in _of_one_file(imports):
        ids = {t.event_id for t in group}
        own = {s: held for s, held in struck.items() if not ids.isdisjoint(s.supersedes)}
        left = [t for t in group if t.event_id not in gone]
        matter = _chosen_and_struck(left, own, every, names) if left else _both(own, names)
        if matter is not None:
            found.setdefault(frozenset(e.event_id for e in matter.events), matter)
    return list(found.values())


def same_file(one: TrackImported, other: TrackImported) -> bool:
    """Whether two imports are of one file, or of one track."""
    return one.file_digest == other.file_digest or one.fixes == other.fixes


Struck = Mapping[EntryStruck, Sequence[TrackImported]]
"""Strikes, and the imports that each took away."""


def _both(struck: Struck, names: Mapping[str, set[str]]) -> Unsettled | None:
    """Of a file that counts for nobody: whether several strikes came to that."""
    imports = _in_order(t for held in struck.values() for t in held)
    if len(struck) < 2 or len(_machines(imports)) < 2:
        return None
    machines = _machines(imports)
    what = (
        f"{_file(imports, names)} was taken in for {_and(machines)}, and struck out for "
        f"{'both' if len(machines) == 2 else 'each'} by people who did not know of each other: its "
        "work counts for none."
    )
    return Unsettled(what, (*imports, *sorted(struck, key=lambda s: s.event_id)))


def _chosen_and_struck(
    left: Sequence[TrackImported], struck: Struck, every: Mapping[str, Event],
    names: Mapping[str, set[str]],
) -> Unsettled | None:  # fmt: skip
    """Of a file that counts: whether someone struck what it was chosen in place of."""
    for t in left:
        before = _earlier(t, every)
        by = [
            s
            for s, held in struck.items()
            if any(e.event_id in before and _machines([e, t]) == [t.machine] for e in held)
        ]
        if by:
            what = (
                f"{_file([t], names)} was taken in for {t.machine} by one and struck out by "
                "another: its work counts."
            )
            return Unsettled(what, (t, *sorted(by, key=lambda s: s.event_id)))
    return None


def _earlier(event: TrackImported, every: Mapping[str, Event]) -> set[str]:
    """Ids of all that an import took the place of, by and by."""
    found: set[str] = set()
    ahead = list(event.supersedes)
    while ahead:
        one = every.get(ahead.pop())
        if isinstance(one, TrackImported) and one.event_id not in found:
            found.add(one.event_id)
            ahead += one.supersedes
    return found


def _of_one_file(imports: Iterable[TrackImported]) -> list[tuple[TrackImported, ...]]:
    by_content: dict[str, list[TrackImported]] = defaultdict(list)
    for one in imports:
        by_content[one.file_digest].append(one)
        by_content[one.fixes].append(one)
    return list(dict.fromkeys(_in_order(held) for _, held in sorted(by_content.items())))


def _in_order(imports: Iterable[TrackImported]) -> tuple[TrackImported, ...]:
    return tuple(sorted({t.event_id: t for t in imports}.values(), key=lambda t: t.event_id))


def _machines(imports: Iterable[TrackImported]) -> list[str]:
    """Machines, each once."""
    names = {t.machine.casefold(): t.machine for t in imports}
    return [names[key] for key in sorted(names)]


def _names(entries: Iterable[EntryWritten]) -> dict[str, set[str]]:
    """Of what files the events of an entry are, where it was one."""
    names: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        for event in entry.events if len(entry.files) == 1 else ():
            names[event].update(entry.files)
    return names


def _told(group: Sequence[TrackImported], names: Mapping[str, set[str]]) -> str:
    machines = _machines(group)
    times = "twice" if len(machines) == 2 else f"{len(machines)} times"
    return f"{_file(group, names)} was taken in for {_and(machines)}: its work counts {times}."


def _file(group: Sequence[TrackImported], names: Mapping[str, set[str]]) -> str:
    files = sorted({n for t in group for n in names.get(t.event_id, ())})
    digests = sorted({t.file_digest[:SHORT] for t in group})
    return f"One file ({', '.join([*files, *digests])})"


def _and(machines: Sequence[str]) -> str:
    return f"{', '.join(machines[:-1])} and {machines[-1]}"
