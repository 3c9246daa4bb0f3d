"""What must be survived, as the person sees it: how many fixes come in, and what is said.

One row a kind of file, of a quarter of an hour's drive. The readers' own tests hold the details.
"""

from __future__ import annotations

import gzip
import io
import zipfile
from datetime import datetime, timedelta
from functools import cache

import pytest

from oplog import flow, log
from oplog.flow import Told
from oplog.flow.importing import Imported
from oplog.flow.tracing import trace
from oplog.sheets import history
from tests.evening import DAY, DRILLED
from tests.test_readers_nmea import line
from tests.tracks import PLACE, gpx

DROVE = DRILLED[:900]
WHOLE = gpx(DROVE)
HALF = WHOLE.rindex(b"<time>", 0, len(WHOLE) // 2) + 9
HALF_COUNT = WHOLE.count(b"</trkpt>", 0, HALF)


@cache
def place(x: float, y: float) -> str:
    lon, lat = PLACE.lonlat([x], [y])
    a, o = float(lat[0]), float(lon[0])
    return f"{int(a):02d}{a % 1 * 60:08.5f},N,{int(o):03d}{o % 1 * 60:08.5f},E"


def rmc(t: datetime, x: float, y: float, status: str = "A", mode: str = "A", more: str = "") -> str:
    body = f"GPRMC,{t:%H%M%S}.00,{status},{place(x, y)},4.0,90.0,{t:%d%m%y},,,{mode}{more}"
    return line(body)


def gga(t: datetime, x: float, y: float, quality: int = 1) -> str:
    return line(f"GPGGA,{t:%H%M%S}.00,{place(x, y)},{quality},09,0.8,40,M,46,M,,")


def gll(t: datetime, x: float, y: float) -> str:
    return line(f"GPGLL,{place(x, y)},{t:%H%M%S}.00,A,A")


def zda(t: datetime) -> str:
    return line(f"GPZDA,{t:%H%M%S}.00,{t:%d,%m,%Y},00,00")


def zipped(name: str, data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, data)
    return out.getvalue()


def stamps(*changes: tuple[int, str]) -> bytes:
    """The drive with the stamps of some fixes written otherwise."""
    data = WHOLE
    for second, stamp in changes:
        data = data.replace(f"2024-03-25T08:00:{second:02d}Z".encode(), stamp.encode(), 1)
    return data


def prefixed() -> bytes:
    data = WHOLE.replace(b" xmlns=", b" xmlns:gpx=")
    for tag in (b"gpx", b"trkseg", b"trkpt", b"time"):
        data = data.replace(b"<" + tag, b"<gpx:" + tag).replace(b"</" + tag, b"</gpx:" + tag)
    return data.replace(b"<trk>", b"<gpx:trk>").replace(b"</trk>", b"</gpx:trk>")


SENTENCES = "".join(rmc(*f) + gga(*f) for f in DROVE)
MIDDLE = SENTENCES.index("$GPRMC", 5000)
HOSTILE = b'<!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/passwd">]>\n<gpx '
DEEP = b"<extensions>" + b"<a>" * 70 + b"</a>" * 70 + b"</extensions><trk>"
TAGGED = "".join(
    (f"\\s:x,c:123*00\\{s}" if k % 2 else f"12:00:01.2 {s}")
    for k, s in enumerate(SENTENCES.splitlines(keepends=True))
)

READ: dict[str, tuple[bytes, int, tuple[str, ...]]] = {
    "cut off in mid-point": (WHOLE[:HALF], HALF_COUNT, ("cut off; all complete points before",)),
    "zero bytes at the end": (WHOLE[:HALF] + b"\0" * 999, HALF_COUNT, ("ends in zero bytes",)),
    "two documents": (gpx(DROVE[:400]) + gpx(DROVE[400:]), 900, ("another document follows",)),
    "bare ampersand": (
        WHOLE.replace(b"field logger", b"A & B \x03"),
        900,
        ("a bare & in the text", "a control character"),
    ),
    "UTF-16": (WHOLE.decode().encode("utf-16"), 900, ()),
    "Latin-1 stated as UTF-8": (
        WHOLE.replace(b'"1.0"?', b'"1.0" encoding="UTF-8"?').replace(b"field", b"M\xfchle"),
        900,
        ("not UTF-8 as stated; taken as Western European",),
    ),
    "byte order mark": (b"\xef\xbb\xbf" + WHOLE, 900, ()),
    "prefixed namespace": (prefixed(), 900, ()),
    "no namespace": (WHOLE.replace(b'xmlns="http://www.topografix.com/GPX/1/1"', b""), 900, ()),
    "24:00:00 is the next day": (
        gpx([*DROVE, (DROVE[0][0], 9.0, 9.0)]).replace(
            b"T08:00:00Z</time></trkpt></trkseg>", b"T24:00:00Z</time></trkpt></trkseg>"
        ),
        901,
        (),
    ),
    "second 60": (stamps((59, "2024-03-25T08:00:60Z")), 900, ("second 60; taken as the last",)),
    "no such day, no time at all": (
        stamps((3, "2024-02-30T08:00:03Z"), (4, "garbage")),
        898,
        ("there is no such day (2 times); set aside",),
    ),
    "times run backwards": (
        gpx(DROVE[400:] + DROVE[:450]),
        900,
        ("time steps backwards; a new segment", "same time and place again (50 times); kept once"),
    ),
    "places that cannot be": (
        WHOLE.replace(b'lat="52', b'lat="91', 1)
        .replace(b'lat="52.', b'lat="NaN', 1)
        .replace(b'lat="52.', b'lat="52,', 1),
        897,
        ("position is missing or not on earth (3 times); set aside",),
    ),
    "wrong checksum": (
        SENTENCES.replace("*", "*0", 2).encode(), 899, ("checksum does not match (2 times)",)
    ),
    "cut line, glued line": (
        (SENTENCES[:30] + SENTENCES.replace("\r\n$GPGGA", "$GPGGA", 1)).encode(),
        900,
        ("a sentence is cut short; dropped",),
    ),
    "binary between": (
        SENTENCES[:MIDDLE].encode() + b"\xb5b\x01\x07" + bytes(range(128, 250)) + b"\n"
        + SENTENCES[MIDDLE:].encode(),
        900,
        ("binary data between the sentences; skipped",),
    ),
    "tag blocks and prefixes": (TAGGED.encode(), 900, ()),
    "proprietary sentences": (
        (SENTENCES + line("PUBX,00,1") * 3).encode(),
        900,
        ("other kinds (PUBX) (3 times); ignored",),
    ),
    "RMC 4.1 with status V": ("".join(rmc(*f, more=",V") for f in DROVE).encode(), 900, ()),
    "the first date comes late": (
        ("".join(gga(*f) for f in DROVE[:450]) + "".join(rmc(*f) for f in DROVE[450:])).encode(),
        900,
        (),
    ),
    "the date only in ZDA": ("".join(gga(*f) + zda(f[0]) for f in DROVE).encode(), 900, ()),
    "times only in GLL": (
        ("".join(gll(*f) for f in DROVE) + zda(DROVE[-1][0])).encode(), 900, ()
    ),
    "gzip": (gzip.compress(WHOLE), 900, ()),
    "zip with a name that climbs": (zipped("../../day.gpx", WHOLE), 900, ()),
    "zip in zip": (zipped("in.zip", zipped("day.gpx", WHOLE)), 900, ()),
}  # fmt: skip


def take(farm: log.Log, data: bytes, **told: object) -> Imported:
    return flow.import_files(farm, [("f", data)], Told(machine="blue", **told), today=DAY)  # type: ignore[arg-type]


@pytest.mark.parametrize("what", READ)
def test_good_fixes_are_read_and_damage_is_named(farm: log.Log, what: str) -> None:
    data, count, phrases = READ[what]
    (file,) = take(farm, data).files
    said = [str(p) for p in file.problems]
    assert (file.refused, file.new) == ("", count)
    assert all(any(p in s for s in said) for p in phrases), said
    assert len(said) == len(phrases), said
    kept = [e.found for e in farm.events() if e.TYPE == "track.imported"]  # type: ignore[attr-defined]
    assert [f.message for f in kept[0]] == [p.message for p in file.problems]


REFUSED = {
    "DOCTYPE": (WHOLE.replace(b"<gpx ", HOSTILE), "declares a document type or entities"),
    "depth over 64": (WHOLE.replace(b"<trk>", DEEP), "nested more than 64 deep (line 1)"),
    "local time": (WHOLE.replace(b"Z</time>", b"</time>"), "for example --zone Europe/London"),
    "waypoints": (b'<gpx><wpt lat="1" lon="2"/></gpx>', "1 waypoint but no track"),
    "web page": (b"<!DOCTYPE html><html>x</html>", "a web page, not a track"),
    "empty": (b"", "the file is empty"),
    "RMC V": ("".join(rmc(*f, "V", "N") for f in DROVE).encode(), "had no fix (900 times)"),
    "quality 0": ("".join(gga(*f, 0) + zda(f[0]) for f in DROVE).encode(), "had no fix (900"),
    "quality 6": ("".join(gga(*f, 6) + zda(f[0]) for f in DROVE).encode(), "was not measured"),
    "no date anywhere": (
        "".join(gga(*f) for f in DROVE).encode(),
        "no date anywhere in the file. That shows where, but not when, so that no work can be "
        "worked out from it. Have the receiver write RMC or ZDA as well: they hold the date.",
    ),
    "bomb": (gzip.compress(bytes(1 << 22)) * 64, "unpacks to a size no track has"),
    "1024 weeks off": (
        gpx([(t - timedelta(days=7168), x, y) for t, x, y in DROVE]),
        "it could be 2024-03-25. If so, import it with --add-days 7168",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_be_taken_is_refused_with_the_reason(farm: log.Log, what: str) -> None:
    data, phrase = REFUSED[what]
    before = {e.event_id for e in farm.events()}
    (file,) = take(farm, data).files
    assert phrase in file.refused
    assert file.refused.endswith("Nothing was added.")
    assert {e.event_id for e in farm.events()} == before


def test_local_times_are_taken_with_their_zone(farm: log.Log) -> None:
    (file,) = take(farm, REFUSED["local time"][0], zone="Europe/London").files
    assert (file.refused, file.new) == ("", 900)


def test_overlapping_exports_add_only_what_is_new(farm: log.Log) -> None:
    first = take(farm, gpx(DROVE[:600])).files[0]
    second = take(farm, gpx(DROVE[300:], creator="other export")).files[0]
    again = take(farm, WHOLE).files[0]
    assert (first.new, second.new, second.known) == (600, 300, 300)
    assert (again.new, again.known) == (0, 900)


def test_what_was_wrong_in_a_file_is_told_from_the_log_later(farm: log.Log) -> None:
    take(farm, stamps((3, "2024-02-30T08:00:03Z"), (4, "garbage")))
    told = [history.told(s.event, s.entry) for s in trace(farm, str(DAY))]
    assert any(
        "found in it: time cannot be read, or there is no such day (2 times) from line 4, set aside"
        in t
        for t in told
    )
