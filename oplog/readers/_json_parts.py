"""JSON that is cut off, damaged, or one document a line: what of it is whole."""

from __future__ import annotations

import codecs
import json
import re
from typing import Any

from oplog.readers._pairs import Hole, ends
from oplog.readers._tally import Tally

LINE_TIMES = ("coordtimes", "times", "timestamps", "time", "coordinatetimes")
"""What the times of a line are called, case and punctuation aside, the likeliest first."""

_FEATURE = re.compile(r'\{\s*"(?:type"\s*:\s*"Feature"\s*[,}]|(?:geometry|properties)"\s*:)')
"""How a feature begins, whatever the order of its keys."""
DAMAGED = "the JSON is cut off or damaged"
_NUMBER = r"-?(?:0|[1-9]\d{0,19})(?:\.\d{1,20})?(?:[eE][+-]?\d{1,2})?"
_BLANKS = r"[ \t\r\n]*"
_POSITION = re.compile(
    rf"\[{_BLANKS}{_NUMBER}{_BLANKS}(?:,{_BLANKS}{_NUMBER}{_BLANKS}){{1,3}}\]", re.ASCII
)
_STAMP = re.compile(r'"[^"\\,\[\]{}]{8,40}"|(?<![\d."-])[1-9]\d{9,12}(?:\.\d+)?(?![\d.])', re.ASCII)
_KEY = re.compile(r'"([^"\\\n]{1,40})"\s*:')
_PLACES_BEGIN = re.compile(r'"coordinates"\s*:\s*\[\s*(?=\[\s*-?\d)')
_LONGEST_WHOLE = 400
_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|[\[\]{}"]', re.DOTALL)


def plain(key: str) -> str:
    """A name without case and punctuation."""
    return re.sub(r"[\W_]", "", key.casefold())


def _whole_number(digits: str) -> int | float:
    """Python refuses whole numbers of some thousand digits."""
    return int(digits) if len(digits) < _LONGEST_WHOLE else float(digits)


_DECODER = json.JSONDecoder(parse_int=_whole_number, strict=False)
"""Takes line ends and the like in texts."""


def text_of(data: bytes) -> str:
    """The text of a JSON file in whatever encoding it is, without byte order mark."""
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return data.decode("utf-16", "replace")
    return data.decode(json.detect_encoding(data[:4]), "replace").removeprefix("\ufeff")


def documents(text: str, tally: Tally) -> list[Any]:
    """The document; one a line (RFC 8142, or without its separators); or what is whole of it.

    Raises: RecursionError.
    """
    body = text.rstrip("\0 \t\r\n")
    if "\0" in text[len(body) :]:
        line = text.count("\n", 0, len(body)) + 1
        tally.add("the file ends in zero bytes", line, 1, "all before is read")
    try:
        return [_DECODER.decode(body)]
    except json.JSONDecodeError as error:
        found, broken = _one_a_line(body)
        line = broken[0] if broken else error.lineno
        if len(broken) > len(found):
            found, broken, line = _whole(body, error.pos), [error.lineno], error.lineno
        done = "what is whole is read" if found else "nothing to read"
        tally.add(DAMAGED, line, len(broken), done)
        return found


def _one_a_line(text: str) -> tuple[list[Any], list[int]]:
    """The documents of the lines, and the numbers of the lines that are none."""
    found, broken = [], []
    for number, line in enumerate(text.replace("\x1e", "").split("\n"), 1):
        if line.strip():
            try:
                value = _DECODER.decode(line)
            except json.JSONDecodeError:
                value = None
            if isinstance(value, dict | list):
                found.append(value)
            else:
                broken.append(number)
    return found, broken


def _whole(text: str, damage: int) -> list[Any]:
    """Features before and behind the damage, and what is left of the one it is in."""
    found: list[Any] = []
    at = 0
    starts = [m.start() for m in _FEATURE.finditer(text)]
    for start, stop in zip(starts, [*starts[1:], len(text)], strict=False):
        if start >= at:
            # A piece by itself: to tell of an error the library counts all lines before it.
            piece = text[start:stop]
            try:
                value, end = _DECODER.raw_decode(piece)
                at = start + end
            except json.JSONDecodeError as error:
                found += _damaged_line(piece) or _not_none(_closed(piece[: error.pos]))
            else:
                found.append(value)
    return found or _not_none(_closed(text[:damage]))


def _not_none(value: Any) -> list[Any]:
    return [] if value is None else [value]


def _damaged_line(text: str) -> list[Any]:
    """A line with a time for each place in which something is damaged, as features: what comes
    before all damage, what comes behind, and the places between without times. Empty if it is
    something else."""
    begin = _PLACES_BEGIN.search(text)
    times = next((k for k in _KEY.finditer(text) if plain(k[1]) in LINE_TIMES), None)
    if begin is None or times is None:
        return []
    places, place_holes = _listed(_POSITION, text, begin.end())
    stamps, stamp_holes = _listed(_STAMP, text, times.end())
    front, back = ends(len(stamps), len(places), stamp_holes, place_holes)
    parts: tuple[tuple[list[Any], list[Any]], ...] = (
        (places[:front], stamps[:front]),
        (places[front : len(places) - back], []),
        (places[len(places) - back :], stamps[len(stamps) - back :]),
    )
    return [
        {
            "geometry": {"type": "LineString", "coordinates": of_part},
            "properties": {times[1]: at_part},
        }
        for of_part, at_part in parts
        if of_part
    ]


def _listed(item: re.Pattern[str], text: str, begin: int) -> tuple[list[Any], list[Hole]]:
    """What of a list is whole, from a place on to the next key, and where something is missing."""
    key = _KEY.search(text, begin)
    stop = key.start() if key else len(text)
    values: list[Any] = []
    holes: list[Hole] = []
    at = begin
    for found in item.finditer(text, begin, stop):
        between = text[at : found.start()].strip()
        if between not in (("", "[") if not values else (",",)):
            holes.append((len(values), len(values)))
        values.append(_DECODER.decode(found[0]))
        at = found.end()
    if not text[at:stop].lstrip().startswith("]"):
        holes.append((len(values), len(values)))
    return values, holes


def _closed(text: str) -> Any:
    """The JSON that a text begins, up to the last whole part of it; None if there is none."""
    closing: list[str] = []
    last, behind = 0, ""
    for token in _TOKEN.finditer(text):
        mark = token[0]
        if mark in ("[", "{"):
            closing.append("]" if mark == "[" else "}")
            continue
        if mark in ("]", "}") and closing:
            closing.pop()
        elif len(mark) == 1 or closing[-1:] != ["]"]:
            continue
        last, behind = token.end(), "".join(reversed(closing))
    try:
        return _DECODER.decode(text[:last] + behind)
    except json.JSONDecodeError:
        return None
