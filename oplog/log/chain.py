"""Each writer's chain of entries, what is missing from it, and the seal. Pure.

An entry names the writer's entry before it and the ids of its events, and an id is the digest of
what it names. Whoever holds the id of a writer's newest entry holds a promise about all before it.

The seal is those ids in a form that can be typed: for each writer twelve letters and digits, of
which the last guards against mistyping. 55 bits of the id are enough against chance; against a
forger with means they say "hard", not "impossible".
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable

from oplog.events import EntryWritten
from oplog.records import dataclass

Chains = dict[str, list[EntryWritten]]

DIGITS = "0123456789abcdefghjkmnpqrstvwxyz"
"""The digits of a seal: none that is easily taken for another."""

_HEX = 14
_LENGTH = 11
_MISREAD = str.maketrans({"o": "0", "i": "1", "l": "1"})


def chains(entries: Iterable[EntryWritten]) -> Chains:
    """The entries of each writer, in order of their numbers."""
    by_writer: Chains = defaultdict(list)
    for entry in entries:
        by_writer[entry.writer].append(entry)
    return {
        w: sorted(es, key=lambda e: (e.number, e.event_id)) for w, es in sorted(by_writer.items())
    }


def ends(chain: Collection[EntryWritten]) -> list[EntryWritten]:
    """The entries of a chain that no other one follows: one, or more where it forked."""
    named = {e.previous for e in chain}
    return [e for e in chain if e.event_id not in named]


def newest(chain: Collection[EntryWritten]) -> EntryWritten | None:
    """The end of a chain; None where it is empty or its highest number is there twice."""
    last = max((e.number for e in chain), default=0)
    found = [e for e in chain if e.number == last]
    return found[0] if len(found) == 1 else None


def seal(entries: Iterable[EntryWritten]) -> str:
    """The seal of a log: one part for each end of each writer's chain, in order of writers."""
    return " ".join(part(e.event_id) for es in chains(entries).values() for e in ends(es))


def part(entry_id: str) -> str:
    """The short form of an entry's id: three groups of four."""
    number = int(entry_id[:_HEX], 16) >> (4 * _HEX - 5 * _LENGTH)
    text = "".join(DIGITS[number >> 5 * k & 31] for k in reversed(range(_LENGTH)))
    text += _guard(text)
    return "-".join(text[k : k + 4] for k in range(0, len(text), 4))


@dataclass(frozen=True)
class Sealed:
    """What became of a seal: parts found whole, parts not found, and parts mistyped."""

    found: tuple[str, ...]
    absent: tuple[str, ...]
    mistyped: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether the log still contains all that the seal speaks of."""
        return bool(self.found) and not self.absent and not self.mistyped


def check_seal(text: str, entries: Collection[EntryWritten], whole: Collection[str]) -> Sealed:
    """Look for what a seal speaks of.

    text: the seal as typed. entries: those in the log. whole: ids of all events in the log that
    are what their id says.
    """
    by_id = {e.event_id: e for e in entries}
    by_part = {part(i): e for i, e in by_id.items()}
    parts, mistyped = _parts(text)
    found = [p for p in parts if p in by_part and _stands(by_part[p], by_id, set(whole))]
    absent = [p for p in parts if p not in found]
    return Sealed(tuple(found), tuple(absent), tuple(mistyped))


def _stands(entry: EntryWritten, by_id: dict[str, EntryWritten], whole: set[str]) -> bool:
    step: EntryWritten | None = entry
    while step is not None:
        if step.event_id not in whole or not whole.issuperset(step.events):
            return False
        if step.previous is None:
            return True
        step = by_id.get(step.previous)
    return False


def _parts(text: str) -> tuple[list[str], list[str]]:
    typed = text.strip().lower().removeprefix("seal:")  # as the line is printed
    plain = "".join(c for c in typed if c.isalnum()).translate(_MISREAD)
    pieces = [plain[k : k + _LENGTH + 1] for k in range(0, len(plain), _LENGTH + 1)]
    good = [p for p in pieces if len(p) == _LENGTH + 1 and _guarded(p)]
    cut = ["-".join(p[k : k + 4] for k in range(0, len(p), 4)) for p in good]
    return cut, [p for p in pieces if p not in good]


def _guarded(piece: str) -> bool:
    return set(piece) <= set(DIGITS) and _guard(piece[:-1]) == piece[-1]


def _guard(text: str) -> str:
    # Weights are odd and all different modulo 32, so that one wrong digit always shows, and two
    # neighbours that changed places nearly always do.
    return DIGITS[sum((2 * k + 1) * DIGITS.index(c) for k, c in enumerate(text)) % 32]
