"""NMEA 0183: what receivers and loggers write, sentence by sentence.

Sentences that carry the same time of day are one epoch and give one fix. The date comes from RMC
or ZDA, and counts for the epochs around it, before and after, across midnight. Sentences whose
checksum does not match are dropped; so are sentences without one, of kinds that have them.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Iterator

import numpy as np

from oplog.errors import Problem
from oplog.readers import _nmea_epochs as epochs
from oplog.readers import _nmea_fields as nf
from oplog.readers import _nmea_makers as makers
from oplog.readers import _nmea_scan as scan
from oplog.readers._nmea_fields import Said
from oplog.readers._nmea_scan import Mask, Sentences
from oplog.readers._rows import finish
from oplog.readers._tally import Tally
from oplog.track import Track, empty

BLOCK_BYTES = 1 << 22
_BINARY_GAP_BYTES = 32
_LEAST_BINARY_BYTES = 4
_HARDLY, _REGULAR = 9, 5
_SENTENCE = re.compile(rb"[$!][A-Z]{2}[A-Z0-9]{2,3},")
_BARE = re.compile(rb"^[A-Z]{2}(?:RMC|GGA|GLL|GNS|VTG|ZDA),(?=[\d.]*,)", re.MULTILINE)
"""A sentence without its `$`: some loggers read up to that, and write what follows."""
_WIDE_DOLLAR = re.compile(rb"\0\$\0[A-Z]\0|\$\0[A-Z]\0")
_DATUM = re.compile(rb"\$(?:..DTM|PGRMM),([A-Za-z0-9 _/.-]{2,20})[,*]")
_WGS_84 = (b"W84", b"WGS 84", b"WGS84", b"WGS-84")
_KIND_CODE = {(n[0] << 16) | (n[1] << 8) | n[2]: kind for kind, n in enumerate(nf.NAMES)}
_STANDARD = frozenset(
    re.findall(
        r"\w+",
        """AAM ABM ALM APB BBM BEC BOD BWC BWR BWW DBK DBT DPT DTM FSI GBS GNS GRC GRS GSA GST
        GSV GTD GXA HDG HDM HDT HSC HVD HVM ITS LCD MOB MSK MSS MTW MWV RMA RMB ROT RPM RSA
        RTE TXT THS VBW VDM VDO VDR VHW VLW VPW VTD WCV WPL XDR XTE XTR ZFO ZTG""",
    )
)
"""Sentences of the standard that say nothing of the position: left out without a word."""


def sniff(data: bytes) -> bool:
    """A sentence somewhere near the beginning."""
    head = _one_byte(data[: 1 << 20])
    return bool(_SENTENCE.search(head) or _BARE.search(head))


def read(data: bytes, name: str, zone: str | None) -> tuple[Track, list[Problem]]:
    """One fix an epoch. Never raises for bad data."""
    data = _with_dollars(_one_byte(data))
    tally = Tally(name, lambda place: data.count(b"\n", 0, place) + 1)
    names: Counter[bytes] = Counter()
    parts: list[Said] = []
    checks: list[scan.States] = []
    for offset, block in _blocks(data):
        _count_binary(block, offset, tally)
        found = scan.scan(block)
        part, check = _columns(found, offset, names, tally)
        parts.append(part)
        checks.append(check)
    said = makers.where_needed(_with_checksum(nf.join(parts), np.concatenate(checks), tally))
    used = frozenset(nf.NAMES) | makers.suffixes(said)
    _say_ignored(names, used, tally)
    _say_datum(data, names, tally)
    rows = epochs.merge(said, tally)
    if not len(rows):
        if not tally.found or not len(said):
            tally.add("NMEA sentences, but none with a position", done="nothing to read")
        return empty(), tally.problems()
    return finish(rows, tally, zone, _device(names, used, len(rows))), tally.problems()


def _one_byte(data: bytes) -> bytes:
    """The same in one byte a letter: some consoles save what they capture in UTF-16."""
    code = "utf-16" if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) else _two_bytes(data)
    return data.decode(code, "replace").encode("latin-1", "replace") if code else data


def _with_dollars(data: bytes) -> bytes:
    """The same with a `$` before each sentence, where none near the beginning has one."""
    head = data[: 1 << 20]
    if _SENTENCE.search(head):
        return data
    data = b"\n" + data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    for name in sorted(set(_BARE.findall(head))):
        data = data.replace(b"\n" + name, b"\n$" + name)
    return data[1:]


def _two_bytes(data: bytes) -> str:
    """Which UTF-16 it is where the mark at the beginning is lost; empty if it is none."""
    head = data[:1024]
    if 3 * head.count(0) < len(head) or not (found := _WIDE_DOLLAR.search(head)):
        return ""
    return "utf-16-be" if found.start() % 2 == 0 and found[0][:1] == b"\0" else "utf-16-le"


def _blocks(data: bytes) -> Iterator[tuple[int, scan.Bytes]]:
    """Pieces that end at line ends, with their place in the file."""
    at = 0
    while at < len(data):
        end = min(at + BLOCK_BYTES, len(data))
        if end < len(data):
            cut = max(data.rfind(b"\n", at, end), data.rfind(b"\r", at, end))
            end = cut + 1 if cut > at else end
        yield at, np.frombuffer(data, np.uint8, end - at, at)
        at = end


def _count_binary(block: scan.Bytes, offset: int, tally: Tally) -> None:
    """Count stretches of bytes that are no text (messages of the receiver's own protocol)."""
    bytes_at = np.flatnonzero((block > 126) | (block < 9))
    if len(bytes_at):
        begins = np.flatnonzero(np.r_[True, np.diff(bytes_at) > _BINARY_GAP_BYTES])
        # an accented letter in a comment is no message
        enough = np.diff(np.append(begins, len(bytes_at))) >= _LEAST_BINARY_BYTES
        where = bytes_at[begins] + offset
        tally.add_rows("binary data between the sentences", enough, where, "skipped")


def _columns(
    found: Sentences, offset: int, names: Counter[bytes], tally: Tally
) -> tuple[Said, scan.States]:
    """What the position sentences of a block say, in the order of the file."""
    found = found.take(_sentences(found))
    found_whole = (found.checksum == scan.MATCHES) | (found.checksum == scan.ABSENT)
    names.update(_names(found, found_whole))
    for state, message in (
        (scan.DIFFERS, "checksum does not match"),
        (scan.CUT, "a sentence is cut short"),
    ):
        tally.add_rows(message, found.checksum == state, found.start - 1 + offset, "dropped")
    found = found.take(found_whole)
    code = _code(found, 2)
    code[found.block[found.start] == ord("P")] = 0
    unknown = np.ones(len(found), bool)
    parts, order = [], []
    for wanted, kind in _KIND_CODE.items():
        rows = np.flatnonzero(code == wanted)
        unknown[rows] = False
        parts.append(nf.said(kind, found.take(rows), offset))
        order.append(rows)
    of_makers, rows = makers.said(found, np.flatnonzero(unknown), offset)
    parts.append(of_makers)
    order.append(rows)
    in_order = np.concatenate(order)
    back = np.argsort(in_order, kind="stable")
    said, check = nf.join(parts).take(back), found.checksum[in_order[back]]
    if (spoken := said.anything()).all():
        return said, check
    return said.take(spoken), check[spoken]


def _sentences(found: Sentences) -> Mask:
    """Real sentences: four or five letters or digits after the `$`, not in a comment line."""
    block = found.block
    named = found.end - found.start >= 6
    at = np.where(named, found.start, 0)
    for k in range(5):
        byte = block[np.minimum(at + k, len(block) - 1)]
        letters = (byte >= 65) & (byte <= 90)
        digits = (byte >= 48) & (byte <= 57)
        named &= letters | (digits & (k > 1)) | ((byte == scan.COMMA) & (k == 4))
    return named & ~found.in_comment


def _code(found: Sentences, skip: int) -> scan.Ints:
    block, at = found.block, found.start + skip
    if not len(at):
        return np.zeros(0, np.int64)
    return (
        (block[at].astype(np.int64) << 16) | (block[at + 1].astype(np.int64) << 8) | block[at + 2]
    )


def _names(found: Sentences, good: Mask) -> dict[bytes, int]:
    """How often each five-letter sentence name occurs."""
    found = found.take(good)
    if not len(found):
        return {}
    whole = np.zeros(len(found), np.int64)
    for k in range(5):
        whole = (whole << 8) | found.block[found.start + k]
    values, counts = np.unique(whole, return_counts=True)
    return {int(v).to_bytes(5, "big"): int(c) for v, c in zip(values, counts, strict=True)}


def _with_checksum(said: Said, check: scan.States, tally: Tally) -> Said:
    """Leave out those that lost their checksum: where the log or the kind has hardly any, none."""
    absent = check == scan.ABSENT
    if not absent.any() or absent.sum() > _HARDLY * (~absent).sum():
        return said
    lost = absent.copy()
    names = said.kind.astype(np.int64) << 16 | said.talker
    for name in np.unique(names[absent]):
        own = names == name
        without = int((absent & own).sum())
        if without >= _REGULAR and without > _HARDLY * int((~absent & own).sum()):
            lost &= ~own
    tally.add_rows(
        "a sentence without checksum, in a log that has them", lost, said.place, "dropped"
    )
    return said.take(~lost)


def _say_ignored(names: Counter[bytes], used: frozenset[bytes], tally: Tally) -> None:
    other = {
        n: c
        for n, c in names.items()
        if n[2:] not in used and (n[:1] == b"P" or n[2:].decode() not in _STANDARD)
    }
    if other:
        listed = ", ".join(n.decode().rstrip(",") for n in sorted(other)[:6])
        tally.add(f"sentences of other kinds ({listed})", None, sum(other.values()), "ignored")


def _say_datum(data: bytes, names: Counter[bytes], tally: Tally) -> None:
    """Tell of positions that the receiver was set to give in another datum."""
    if not any(n[2:] == b"DTM" or n == b"PGRMM" for n in names):
        return
    found = (m for m in _DATUM.finditer(data) if m[1].upper() not in _WGS_84)
    if first := next(found, None):
        tally.add(
            f"the receiver gives positions in a datum other than WGS 84 ({first[1].decode()})",
            data.count(b"\n", 0, first.start()) + 1,
            1 + sum(1 for _ in found),
            "taken as they stand: off by a metre, or by hundreds; set the receiver to WGS 84",
        )


def _device(names: Counter[bytes], used: frozenset[bytes], fixes: int) -> str:
    """The position sentences that the receiver writes regularly."""
    regular = sorted(
        n.decode().rstrip(",") for n, c in names.items() if n[2:] in used and 4 * c >= fixes
    )
    return "NMEA " + " ".join(regular) if regular else "NMEA"
