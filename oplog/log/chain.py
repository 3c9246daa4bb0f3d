"""Each writer's chain of entries: which end is the newest, what is missing, and the seal. Pure.

An entry names the writer's entry before it and the ids of its events, and an id is the digest of
what it names. Whoever holds the id of the newest entry holds a promise about all before it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from oplog.events import EntryWritten

Chains = dict[str, list[EntryWritten]]


def chains(entries: Iterable[EntryWritten]) -> Chains:
    """The entries of each writer, in order of their numbers."""
    by_writer: Chains = defaultdict(list)
    for entry in entries:
        by_writer[entry.writer].append(entry)
    return {
        w: sorted(es, key=lambda e: (e.number, e.event_id)) for w, es in sorted(by_writer.items())
    }


def newest(chain: list[EntryWritten]) -> EntryWritten | None:
    """The end of a chain; None where it is empty or ends in more than one (a fork)."""
    named = {e.previous for e in chain}
    ends = [e for e in chain if e.event_id not in named]
    return ends[0] if len(ends) == 1 else None
