"""Positions in sentences of the makers' own, of receivers that were set to write no others.

Read where the log holds no standard sentence with a place; where it holds no other date, theirs
counts all the same.

Source: the makers' manuals: u-blox (PUBX,00 and 04), Trimble (PTNL,GGK and GGK), Ashtech
(PASHR,POS), SkyTraq (PSTI,030) and Garmin (PGRMF).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from oplog.readers import _nmea_fields as nf
from oplog.readers import _nmea_scan as scan
from oplog.readers._digits import windows
from oplog.readers._nmea_fields import NOT_SAID, UNKNOWN, Said
from oplog.readers._nmea_scan import Mask, Sentences
from oplog.units import KNOT_M_S, from_kmh

_NONE, _ALONE, _CORRECTED, _FIXED, _FLOAT, _RECKONED = 0, 1, 2, 4, 5, 6
"""Codes of quality as GGA has them."""
_PUBX_QUALITY = {
    b"NF": _NONE,
    b"DR": _RECKONED,
    **dict.fromkeys((b"G2", b"G3", b"RK", b"TT"), _ALONE),
    **dict.fromkeys((b"D2", b"D3"), _CORRECTED),
}
_GGK_QUALITY = (_NONE, _ALONE, _FLOAT, _FIXED, *[_CORRECTED] * 2, _FLOAT, _FIXED, *[_CORRECTED] * 2)
_POS_QUALITY = (_ALONE, _CORRECTED, _FLOAT, _FIXED)
_GARMIN_QUALITY = (_NONE, _ALONE, _ALONE)


def _pubx_00(out: Said, s: Sentences) -> None:
    nf.set_clock(out, s, 2)
    nf.set_position(out, s, 3)
    begin, end = s.field(8)
    word = windows(s.block, begin, 2)
    for letters, quality in _PUBX_QUALITY.items():
        said = (end - begin == 2) & (word == np.frombuffer(letters, np.uint8)).all(axis=1)
        out.quality[said] = quality
    out.speed_m_s = from_kmh(nf.decimal(s, 11))
    out.course_deg = nf.decimal(s, 12)


def _pubx_04(out: Said, s: Sentences) -> None:
    nf.set_clock(out, s, 2)
    out.day = nf.date(s, 3)


def _ggk(out: Said, s: Sentences, after: int) -> None:
    nf.set_clock(out, s, after + 1)
    out.day = nf.date(s, after + 2, month_first=True)
    nf.set_position(out, s, after + 3)
    _set_quality(out, s, after + 7, _GGK_QUALITY)


def _ptnl_ggk(out: Said, s: Sentences) -> None:
    _ggk(out, s, 1)


def _bare_ggk(out: Said, s: Sentences) -> None:
    _ggk(out, s, 0)


def _pashr_pos(out: Said, s: Sentences) -> None:
    nf.set_clock(out, s, 4)
    nf.set_position(out, s, 5)
    _set_quality(out, s, 2, _POS_QUALITY)
    out.course_deg = nf.decimal(s, 11)
    out.speed_m_s = nf.decimal(s, 12) * KNOT_M_S
    out.hdop = nf.decimal(s, 15)


def _psti_030(out: Said, s: Sentences) -> None:
    nf.set_clock(out, s, 2)
    out.status = nf.status(s, 3)
    nf.set_position(out, s, 4)
    out.speed_m_s = np.hypot(nf.decimal(s, 9), nf.decimal(s, 10))
    out.day = nf.date(s, 12)
    out.mode = nf.letter(s, 13)


def _pgrmf(out: Said, s: Sentences) -> None:
    out.day = nf.date(s, 3)
    nf.set_clock(out, s, 4)
    nf.set_position(out, s, 6)
    _set_quality(out, s, 11, _GARMIN_QUALITY)
    out.speed_m_s = from_kmh(nf.decimal(s, 12))
    out.course_deg = nf.decimal(s, 13)


_KINDS: tuple[tuple[bytes, Callable[[Said, Sentences], None]], ...] = (
    (b"PUBX,00,", _pubx_00),
    (b"PUBX,04,", _pubx_04),
    (b"PTNL,GGK,", _ptnl_ggk),
    (b"PASHR,POS,", _pashr_pos),
    (b"PSTI,030,", _psti_030),
    (b"PGRMF,", _pgrmf),
    (b"??GGK,", _bare_ggk),
)
"""How the sentences begin; any letter for `?`."""


def said(found: Sentences, unknown: scan.Ints, offset: int) -> tuple[Said, scan.Ints]:
    """What such sentences say, and which of those found they are.

    unknown: those that are no standard sentence with a place; offset: place of their block.
    """
    parts, rows = [nf.blank(nf.MAKER, found.take(unknown[:0]), offset)], []
    third = found.block[found.start[unknown] + 2]
    likely = unknown[(found.block[found.start[unknown]] == ord("P")) | (third == ord("G"))]
    for begin, read in _KINDS if len(likely) else ():
        at = likely[_begins(found, likely, begin)]
        if len(at):
            mine = found.take(at)
            part = nf.blank(nf.MAKER, mine, offset)
            read(part, mine)
            parts.append(part)
            rows.append(at)
    return nf.join(parts), np.concatenate(rows) if rows else np.zeros(0, np.int64)


def _begins(found: Sentences, rows: scan.Ints, begin: bytes) -> Mask:
    text = np.frombuffer(begin, np.uint8)
    same = windows(found.block, found.start[rows], len(begin)) == text
    begins: Mask = (same | (text == ord("?"))).all(axis=1)
    return begins


def _set_quality(out: Said, s: Sentences, number: int, codes: tuple[int, ...]) -> None:
    """The code of quality that a digit stands for."""
    digit = nf.letter(s, number).astype(np.int16) - ord("0")
    known = (digit >= 0) & (digit < len(codes))
    out.quality = np.where(known, np.array(codes)[np.where(known, digit, 0)], NOT_SAID).astype(
        np.int8
    )


def suffixes(used: Said) -> frozenset[bytes]:
    """What the makers' names have behind their first two letters, if any are used."""
    used_any = bool((used.kind == nf.MAKER).any())
    return frozenset(begin[2:5] for begin, _ in _KINDS) if used_any else frozenset()


def where_needed(all_said: Said) -> Said:
    """Without the makers' sentences where standard ones give places; and only their date is kept
    where those give none."""
    theirs = all_said.kind == nf.MAKER
    if not theirs.any() or np.isnan(all_said.lat[~theirs]).all():
        return all_said
    dated = all_said.day != UNKNOWN
    all_said = all_said.take(~theirs if dated[~theirs].any() else ~theirs | dated)
    theirs = all_said.kind == nf.MAKER
    for column, unsaid in (
        ("lat", np.nan),
        ("lon", np.nan),
        ("speed_m_s", np.nan),
        ("course_deg", np.nan),
        ("hdop", np.nan),
        ("status", NOT_SAID),
        ("quality", NOT_SAID),
        ("mode", 0),
        ("broken", 0),
    ):
        getattr(all_said, column)[theirs] = unsaid
    return all_said
