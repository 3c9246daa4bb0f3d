"""XML as devices write it: encodings put right, damage stepped over, tricks refused."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable
from xml.parsers import expat

from oplog.readers._tally import Tally

DEEPEST = 64
CHUNK_BYTES = 1 << 16

_DECLARED = re.compile(rb"""^\s*<\?xml[^>]*?encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")
_ONE_BYTE = re.compile(r"iso-?_?8859|latin-?\d|windows-?125|cp-?\d|koi8|mac|gb|big5|shift|euc")
_STRAY = re.compile("[\udc80-\udcff]")
_BARE = re.compile(rb"&(?!(?:amp|lt|gt|quot|apos|#[0-9]{1,7}|#x[0-9a-fA-F]{1,6});)")
_CONTROL = re.compile(rb"[\x01-\x08\x0b\x0c\x0e-\x1f]")
_TRICK = re.compile(
    rb"<!--.*?-->|<!\[CDATA\[.*?\]\]>|(<!(?:DOCTYPE|ENTITY))", re.IGNORECASE | re.DOTALL
)


class Refused(Exception):
    """A file that is not read any further: where in its text, and why."""

    def __init__(self, place: int, message: str) -> None:
        super().__init__(message)
        self.place = place
        self.message = message


def as_utf8(data: bytes, tally: Tally) -> bytes:
    """The document in UTF-8 without byte order mark; lines stay where they are."""
    if data.startswith(codecs.BOM_UTF8):
        data = data[3:]
    wide = _wide_encoding(data)
    if wide:
        return data.decode(wide, "replace").lstrip("\ufeff").encode()
    if data.isascii():
        return data
    declared = _DECLARED.search(data[:200])
    name = declared[1].decode().lower() if declared else "utf-8"
    if _ONE_BYTE.match(name):
        try:
            return data.decode(name, "replace").encode()
        except LookupError:
            pass
    return _valid_utf8(data, tally)


def repaired(data: bytes, tally: Tally) -> bytes:
    """Bare ampersands written out and control characters blanked, both counted."""
    for pattern, instead, message in (
        (_BARE, b"&amp;", "a bare & in the text"),
        (_CONTROL, b" ", "a control character in the text"),
    ):
        first = pattern.search(data)
        if first:
            line = data.count(b"\n", 0, first.start()) + 1
            data, count = pattern.subn(instead, data)
            tally.add(message, line, count, "read round it")
    return data


def refuse_tricks(data: bytes) -> None:
    """Document types and entities have no place in a track: refuse them wherever they stand, but
    for comments and text that is quoted as a whole."""
    # One letter is looked for thirty times as fast as two of which the first is everywhere.
    if b"!" not in data or b"<!" not in data:
        return
    found = next((m for m in _TRICK.finditer(data) if m[1]), None)
    if found:
        raise Refused(
            found.start(),
            "the file declares a document type or entities, which no track needs",
        )


def new_parser(
    on_start: Callable[[str, dict[str, str]], None],
    on_end: Callable[[str], None],
    on_text: Callable[[str], None],
) -> expat.XMLParserType:
    """A parser that knows nothing of namespaces, fetches nothing and joins up its text."""
    parser = expat.ParserCreate("utf-8")
    parser.buffer_text = True
    if hasattr(parser, "SetReparseDeferralEnabled"):  # each piece is to be parsed at once
        parser.SetReparseDeferralEnabled(False)
    parser.StartElementHandler = on_start
    parser.EndElementHandler = on_end
    parser.CharacterDataHandler = on_text
    return parser


def _wide_encoding(data: bytes) -> str | None:
    if data[:4] in (codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE):
        return "utf-32"
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return "utf-16"
    if data[:4] == b"<\0?\0" or data[:4] == b"<\0g\0" or data[:4] == b"<\0k\0":
        return "utf-16-le"
    if data[:4] == b"\0<\0?" or data[:4] == b"\0<\0g" or data[:4] == b"\0<\0k":
        return "utf-16-be"
    return None


def _valid_utf8(data: bytes, tally: Tally) -> bytes:
    """Bytes that are no UTF-8 are taken as Windows-1252, as old exports write it."""
    try:
        data.decode()
        return data
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
    text, strays = _STRAY.subn(
        lambda m: bytes([ord(m[0]) - 0xDC00]).decode("cp1252", "replace"),
        data.decode("utf-8", "surrogateescape"),
    )
    tally.add("letters that are not UTF-8 as stated", line, strays, "taken as Western European")
    return text.encode()
