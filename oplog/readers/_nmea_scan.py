"""Finding the sentences in a receiver's log, many at a time: where they are and what they hold.

Works on bytes as arrays. A sentence runs from `$` to `*` and two hexadecimal digits (the
exclusive or of what lies between) or, in receivers that write no checksum, to the line's end.
Whatever stands before the `$` (tag blocks, a logger's own stamp, binary data) is not looked at.

Source: NMEA 0183 as described in "NMEA Revealed" (E. S. Raymond).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oplog.readers._digits import whole, windows
from oplog.records import dataclass

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
States = NDArray[np.int8]

DOLLAR, STAR, COMMA, RETURN, NEWLINE, HASH, BLANK = 36, 42, 44, 13, 10, 35, 32
MATCHES, DIFFERS, ABSENT, CUT = 0, 1, 2, 3
"""What the checksum of a sentence does; CUT: another sentence or the file's end came first."""

LONGEST_FIELD = 20
_HEX = np.full(256, 255, np.uint8)
_HEX[np.frombuffer(b"0123456789ABCDEFabcdef", np.uint8)] = [*range(16), *range(10, 16)]


@dataclass
class Sentences:
    """Sentences of one block of bytes. start: after the `$`; end: before the `*`. Shape (n,)."""

    block: Bytes
    commas: Ints
    start: Ints
    end: Ints
    checksum: States
    first_comma: Ints
    field_count: Ints
    in_comment: Mask

    def take(self, rows: Mask | Ints) -> Sentences:
        """The sentences that a mask or index array selects."""
        return Sentences(
            self.block,
            self.commas,
            self.start[rows],
            self.end[rows],
            self.checksum[rows],
            self.first_comma[rows],
            self.field_count[rows],
            self.in_comment[rows],
        )

    def __len__(self) -> int:
        return len(self.start)

    def field(self, number: int) -> tuple[Ints, Ints]:
        """Where field `number` (1 is the first after the name) begins and ends.

        A field that is not there is empty.
        """
        if not len(self.commas):
            return self.end, self.end
        last = len(self.commas) - 1
        before = np.minimum(self.first_comma + number - 1, last)
        after = np.minimum(self.first_comma + number, last)
        begin = np.minimum(self.commas[before] + 1, self.end)
        end = np.where(self.field_count > number, self.commas[after], self.end)
        there = self.field_count >= number
        return np.where(there, begin, self.end), np.where(there, end, self.end)


def scan(block: Bytes) -> Sentences:
    """All sentences of a block, in order, with their checksums worked out."""
    marks = np.flatnonzero(
        (block == DOLLAR) | (block == STAR) | (block == NEWLINE) | (block == RETURN)
    )
    kinds = block[marks]
    at = np.flatnonzero(kinds == DOLLAR)
    after = np.append(marks, len(block))[at + 1]
    after_kind = np.append(kinds, 0)[at + 1]
    start, end = marks[at] + 1, after
    checksum = np.full(len(at), CUT, np.int8)
    checksum[(after_kind == NEWLINE) | (after_kind == RETURN)] = ABSENT
    starred = after_kind == STAR
    checksum[starred] = np.where(_adds_up(block, start[starred], end[starred]), MATCHES, DIFFERS)
    checksum[starred & _bare(block, end)] = ABSENT
    commas = np.flatnonzero(block == COMMA)
    first_comma = np.searchsorted(commas, start)
    field_count = np.searchsorted(commas, end) - first_comma
    in_comment = _in_comment(block, marks, kinds)[at]
    return Sentences(block, commas, start, end, checksum, first_comma, field_count, in_comment)


def _in_comment(block: Bytes, marks: Ints, kinds: Bytes) -> Mask:
    """Whether the line that each mark stands in begins with `#`."""
    if not (block == HASH).any():
        return np.zeros(len(marks), bool)
    line_ends = (kinds == NEWLINE) | (kinds == RETURN)
    line_start = np.maximum.accumulate(np.where(line_ends, marks + 1, 0))
    commented: Mask = block[np.minimum(line_start, len(block) - 1)] == HASH
    return commented


def _adds_up(block: Bytes, start: Ints, end: Ints) -> Mask:
    """Whether the two digits behind the star are the exclusive or of the bytes before it."""
    if not len(start):
        return np.zeros(0, bool)
    summed = exclusive_or(block, start, end)
    padded = np.minimum(np.stack([end + 1, end + 2]), len(block) - 1)
    high, low = _HEX[block[padded]]
    there = (end + 2 < len(block)) & (high < 16) & (low < 16)
    adds_up: Mask = there & (high * 16 + low == summed)
    # Some write a sum below 16 with one digit.
    alone = np.flatnonzero(~there & (high < 16) & (high == summed))
    behind = block[padded[1, alone]]
    adds_up[alone] = (behind == RETURN) | (behind == NEWLINE) | (end[alone] + 2 >= len(block))
    return adds_up


def exclusive_or(block: Bytes, start: Ints, end: Ints) -> Bytes:
    """The exclusive or of the bytes of each stretch, eight at a time: (n,)"""
    whole_words = len(block) // 8
    words = np.zeros(whole_words + 1, "<u8")
    words.view(np.uint8)[: len(block)] = block
    before = np.zeros(whole_words + 2, np.uint64)
    np.bitwise_xor.accumulate(words, out=before[1:])
    ahead = (np.uint64(1) << np.arange(0, 64, 8, dtype=np.uint64)) - np.uint64(1)
    summed = np.zeros(len(start), np.uint64)
    for at in (start, end):
        word = at >> 3
        # Of the word that a stretch begins or ends in, the bytes before that.
        summed ^= before[word] ^ (words[word] & ahead[at & 7])
    for half in (32, 16, 8):
        summed ^= summed >> np.uint64(half)
    return summed.astype(np.uint8)


def _bare(block: Bytes, end: Ints) -> Mask:
    """Whether the line ends right behind the star: the sentence is whole, without a checksum."""
    behind = block[np.minimum(end + 1, len(block) - 1)] if len(block) else block[:0]
    ends: Mask = (end + 1 < len(block)) & ((behind == RETURN) | (behind == NEWLINE))
    return ends


def numbers(block: Bytes, begin: Ints, end: Ints) -> tuple[Ints, Ints, Mask]:
    """Unsigned decimal fields as digits and number of decimals (see _digits.whole).

    Blanks that they are padded with in front are left out.
    """
    width = end - begin
    longest = int(width.max()) if len(width) else 0
    shown = min(max(longest, 1), LONGEST_FIELD)
    columns = windows(block, begin, shown)
    for _ in range(LONGEST_FIELD):
        padded = (columns[:, 0] == BLANK) & (width > 0)
        if not padded.any():
            break
        begin, width = begin + padded, width - padded
        columns = windows(block, begin, shown)
    return whole(np.ascontiguousarray(columns.T), width)


def letter(block: Bytes, begin: Ints, end: Ints) -> Bytes:
    """Fields of one letter; 0 where empty or longer."""
    if not len(block):
        return np.zeros(len(begin), np.uint8)
    return np.where(end - begin == 1, block[np.minimum(begin, len(block) - 1)], 0)
