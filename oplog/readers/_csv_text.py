"""The text of a table, in whatever letters and line ends it is, without what is no text."""

from __future__ import annotations

import re

from oplog.readers._tally import Tally

_HEAD_BYTES = 1024
_ROWS_BEFORE = 20
_DIGIT, _LEAST_DIGITS = re.compile(r"\d"), 6
"""A row has a time and two numbers; headers and remarks are no rows."""
_BYTES_BEFORE = 20_000


def text_of(data: bytes, tally: Tally) -> str:
    """The text with \\n for every line's end.

    Lines that a hole of zero bytes cuts in two are spoiled by a letter that no number or time
    holds, as half a number is one too; a whole line behind it is read.
    """
    text = _decoded(data)
    if "\0" in text:
        first = text.index("\0")
        line = text.count("\n", 0, first) + 1
        tally.add("zero bytes in the text", line, text.count("\0"), "read round them")
        text = _round_holes(text.rstrip("\0"))
    if text.count("\r") != text.count("\r\n"):
        text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
    return text


def _decoded(data: bytes) -> str:
    head = data[:_HEAD_BYTES]
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    first, second = head[::2].count(0), head[1::2].count(0)
    if 3 * max(first, second) > len(head) and 4 * min(first, second) < max(first, second):
        # two bytes a letter, and the mark at the beginning lost
        return data.decode("utf-16-be" if first > second else "utf-16-le", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")


def _round_holes(text: str) -> str:
    before, *behind = re.split("\0+", text)
    out = [before]
    for part in behind:
        if before and not before.endswith("\n"):
            out.append("\ufffd\n")
        if len(part.partition("\n")[0]) < _shortest(before):
            out.append("\ufffd")
        out.append(part)
        before = part
    return "".join(out)


def _shortest(text: str) -> int:
    """How long a row is at the least, by the last whole ones of a text; 0 where there are too few.

    Where their lengths differ, the next may well be a letter shorter than any of them.
    """
    lines = text[-_BYTES_BEFORE:].rpartition("\n")[0].split("\n")[-_ROWS_BEFORE:]
    lengths = [len(line.rstrip()) for line in lines if len(_DIGIT.findall(line)) >= _LEAST_DIGITS]
    if len(lengths) < 2:
        return 0
    return min(lengths) - (min(lengths) < max(lengths))


def without_cut_line(text: str, tally: Tally) -> str:
    """The text without a last line that was cut short: one without its end that is shorter than
    those before it. Half a longitude is a place too, only another one."""
    if text.endswith("\n"):
        return text
    start = text.rfind("\n") + 1
    if not 0 < len(text[start:].rstrip()) < _shortest(text[max(0, start - _BYTES_BEFORE) : start]):
        return text
    tally.add("the last line is cut short", text.count("\n", 0, start) + 1, 1, "set aside")
    return text[:start]
