"""Files that were taken in for two machines: one receiver was not on both.

Two people who take one file in on two copies of a log, and say different machines, have its work
twice once the copies are brought together. Both count until a person chooses: which of them was
there, no clock knows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from oplog.events import EntryWritten, TrackImported
from oplog.fold.farm import Unsettled

SHORT = 8
"""Digits of a file's digest that are shown."""


def doubled(imports: Iterable[TrackImported], entries: Iterable[EntryWritten]) -> list[Unsettled]:
    """Files, or fixes, that count for more than one machine. imports: those that count."""
    by_content: dict[str, list[TrackImported]] = defaultdict(list)
    for one in imports:
        by_content[one.file_digest].append(one)
        by_content[one.fixes].append(one)
    groups = {
        tuple(sorted(held, key=lambda t: t.event_id)): None
        for _, held in sorted(by_content.items())
        if len({t.machine.casefold() for t in held}) > 1
    }
    if not groups:
        return []
    names: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        for event in entry.events if len(entry.files) == 1 else ():
            names[event].update(entry.files)
    return [Unsettled(_told(group, names), group) for group in groups]


def _told(group: Sequence[TrackImported], names: dict[str, set[str]]) -> str:
    files = sorted({n for t in group for n in names.get(t.event_id, ())})
    digests = sorted({t.file_digest[:SHORT] for t in group})
    machines = sorted({t.machine for t in group}, key=str.casefold)
    times = "twice" if len(machines) == 2 else f"{len(machines)} times"
    return (
        f"One file ({', '.join([*files, *digests])}) was taken in for "
        f"{', '.join(machines[:-1])} and {machines[-1]}: its work counts {times}."
    )
