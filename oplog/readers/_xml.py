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
_STRAY = re.compile("[\udc80-\udcff]+")
_BARE = re.compile(rb"&(?!(?:amp|lt|gt|quot|apos|#[0-9]{1,7}|#x[0-9a-fA-F]{1,6});)")
_CONTROLS = bytes([*range(1, 9), 11, 12, *range(14, 32)])
_CONTROL = re.compile(b"[%s]" % re.escape(_CONTROLS))
_BLANKED = bytes.maketrans(_CONTROLS, b" " * len(_CONTROLS))
_PIECE_BYTES = 1 << 20
_DECLARATION = re.compile(rb"<!(?:(--)|(\[CDATA\[)|DOCTYPE|ENTITY)", re.IGNORECASE)
_ENDS = (b"-->", b"]]>")


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
    if first := _BARE.search(data):
        line = data.count(b"\n", 0, first.start()) + 1
        data, count = _written_out(data)
        tally.add("a bare & in the text", line, count, "read round it")
    if first := _CONTROL.search(data):
        line = data.count(b"\n", 0, first.start()) + 1
        count = len(data) - len(data.translate(None, _CONTROLS))
        data = data.translate(_BLANKED)
        tally.add("a control character in the text", line, count, "read round it")
    return data


def _written_out(data: bytes) -> tuple[bytes, int]:
    """The text with its bare ampersands written out, and how many there were. In pieces: what
    stands between two of many would otherwise be held as a text of its own."""
    out, counted, at = [], 0, 0
    while at < len(data):
        stop = data.find(b"&", at + _PIECE_BYTES)
        stop = stop if stop >= 0 else len(data)
        piece, count = _BARE.subn(b"&amp;", data[at:stop])
        out.append(piece)
        counted += count
        at = stop
    return b"".join(out), counted


def refuse_tricks(data: bytes) -> None:
    """Document types and entities have no place in a track: refuse them wherever they stand, but
    for comments and text that is quoted as a whole."""
    # One letter is looked for thirty times as fast as two of which the first is everywhere.
    if b"!" not in data or b"<!" not in data:
        return
    at = 0
    ends = dict.fromkeys(_ENDS, True)  # whether there is another one: each is looked for once
    while found := _DECLARATION.search(data, at):
        at = found.end()
        if not (found[1] or found[2]):
            raise Refused(
                found.start(),
                "the file declares a document type or entities, which no track needs",
            )
        end = _ENDS[0] if found[1] else _ENDS[1]
        behind = data.find(end, at) if ends[end] else -1
        ends[end] = behind >= 0
        at = max(at, behind + len(end))


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


def feed(parser: expat.XMLParserType, text: bytes, start: int, stop: int) -> None:
    """Give a parser a stretch of text in pieces. Raises: expat.ExpatError.

    Of a tag without an end it looks through all it has at each piece: these grow until it ends.
    """
    at, size = start, CHUNK_BYTES
    while at < stop:
        before = parser.CurrentByteIndex
        parser.Parse(text[at : min(at + size, stop)], False)
        at += size
        size = 2 * size if parser.CurrentByteIndex == before else CHUNK_BYTES


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
    strays = 0

    def western(found: re.Match[str]) -> str:
        nonlocal strays
        strays += len(found[0])
        return found[0].encode("utf-8", "surrogateescape").decode("cp1252", "replace")

    text = _STRAY.sub(western, data.decode("utf-8", "surrogateescape"))
    tally.add("letters that are not UTF-8 as stated", line, strays, "taken as Western European")
    return text.encode()
