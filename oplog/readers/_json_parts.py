"""JSON that is cut off, damaged, or one document a line: what of it is whole."""

from __future__ import annotations

import codecs
import json
import re
from typing import Any

from oplog.readers._tally import Tally

_FEATURE = re.compile(r'\{\s*"(?:type"\s*:\s*"Feature"\s*[,}]|(?:geometry|properties)"\s*:)')
"""How a feature begins, whatever the order of its keys."""
DAMAGED = "the JSON is cut off or damaged"
_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|[\[\]{}"]', re.DOTALL)


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
        return [json.loads(body)]
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
                value = json.loads(line)
            except json.JSONDecodeError:
                value = None
            if isinstance(value, dict | list):
                found.append(value)
            else:
                broken.append(number)
    return found, broken


def _whole(text: str, damage: int) -> list[Any]:
    """Features before and behind the damage, and the beginning of the one it is in."""
    found: list[Any] = []
    at = 0
    for start in (m.start() for m in _FEATURE.finditer(text)):
        if start >= at:
            try:
                value, at = json.JSONDecoder().raw_decode(text, start)
            except json.JSONDecodeError as error:
                at = max(error.pos, start + 1)
                value = _closed(text[start:at])
            found += [] if value is None else [value]
    if not found and (value := _closed(text[:damage])) is not None:
        found.append(value)
    return found


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
        return json.loads(text[:last] + behind)
    except json.JSONDecodeError:
        return None
