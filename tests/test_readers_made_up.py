"""Odd but valid files, made up by chance, read as gpxpy and pynmea2 read them."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import gpxpy
import numpy as np
import pynmea2
import pytest

from oplog.readers import read
from oplog.units import KNOT_M_S
from tests.test_readers_nmea import line

BEGUN = datetime(2026, 6, 2, 8, tzinfo=UTC)
HEADS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n',
    "<?xml version='1.0' standalone='no' ?>\r\n",
    "",
)
BESIDE = (
    "",
    "<sym>a &lt; b</sym>",
    "<extensions><a:hr>1</a:hr></extensions>",
    "<extensions><b:time>2001-01-01T00:00:00Z</b:time></extensions>",
    "<!-- <hdop>9</hdop> -->",
)


def gpx_document(chance: random.Random) -> str:
    """GPX 1.0 or 1.1 with waypoints, routes, tracks, and points spelled in many ways."""
    version = chance.choice(["1.0", "1.1"])
    out = [chance.choice(HEADS), f'<gpx version="{version}" creator="x" xmlns="http://www.']
    out.append(f'topografix.com/GPX/{version.replace(".", "/")}" xmlns:a="a" xmlns:b="b">')
    out.append(chance.choice(["", '<wpt lat="1" lon="2"><time>2021-01-01T00:00:00Z</time></wpt>']))
    out.append(chance.choice(["", '<rte><rtept lat="5" lon="6"><name>a</name></rtept></rte>']))
    moment, lat, lon = BEGUN, chance.uniform(-89, 89), chance.uniform(-179, 179)
    for _ in range(chance.randint(1, 3)):
        out.append("<trk>" + chance.choice(["", "<name><![CDATA[a<b]]></name>", "<!-- <trkpt -->"]))
        for _ in range(chance.randint(1, 3)):
            between = chance.choice(["", "\n", "\r\n\t"])
            quote = chance.choice('""\'')
            out.append(f"<trkseg>{between}")
            for _ in range(chance.randint(0, 40)):
                moment += timedelta(milliseconds=chance.choice([50, 1000, 1500]))
                lat += chance.uniform(-1e-5, 1e-5)
                lon += chance.uniform(-1e-5, 1e-5)
                digits = chance.choice([6, 9, 15])
                place = [
                    f"lat={quote}{lat:.{digits}f}{quote}",
                    f"lon={quote}{lon:.{digits}f}{quote}",
                ]
                chance.shuffle(place)
                stamp = chance.choice(
                    [
                        f"{moment:%Y-%m-%dT%H:%M:%S.%f}Z",
                        f"{moment + timedelta(hours=2):%Y-%m-%dT%H:%M:%S.%f}+02:00",
                    ]
                )
                values = [f"<ele>{chance.uniform(-9, 99):.1f}</ele>", f"<time>{stamp}</time>"]
                values.append(f"<hdop>{chance.uniform(0.5, 3):.2f}</hdop>" * chance.randint(0, 1))
                values.append(chance.choice(BESIDE))
                point = between.join([f"<trkpt {' '.join(place)}>", *values, "</trkpt>", ""])
                out.append(point)
            out.append("</trkseg>")
        out.append("</trk>")
    return "".join([*out, "</gpx>", chance.choice(["", "\n", "\n<!-- end -->"])])


@pytest.mark.parametrize("seed", range(40))
def test_gpx_as_gpxpy_reads_it(seed):
    text = gpx_document(random.Random(seed))
    segments = [s for t in gpxpy.parse(text).tracks for s in t.segments if s.points]
    points = [p for s in segments for p in s.points]
    track, _ = read(text.encode())
    assert track.lat.tolist() == [p.latitude for p in points]
    assert track.lon.tolist() == [p.longitude for p in points]
    assert track.time.tolist() == [p.time.astimezone(UTC).replace(tzinfo=None) for p in points]
    hdop = [np.nan if (v := p.horizontal_dilution) is None else v for p in points]
    assert np.array_equal(track.hdop, hdop, equal_nan=True)
    assert track.segment.tolist() == [k for k, s in enumerate(segments) for _ in s.points]


def minutes(value: float, width: int, digits: int) -> str:
    """Degrees and minutes, as short of the next degree as it is."""
    whole, part = divmod(round(abs(value) * 60 * 10**digits), 60 * 10**digits)
    return f"{whole:0{width}d}{part // 10**digits:02d}.{part % 10**digits:0{digits}d}"


KINDS = (
    ("RMC",),
    ("RMC", "GGA"),
    ("GGA", "ZDA"),
    ("GLL", "ZDA"),
    ("GNS", "ZDA"),
    ("RMC", "GGA", "GLL", "ZDA"),
)


def log_of_sentences(chance: random.Random) -> tuple[str, list[datetime]]:
    """A log of any talker, of NMEA 0183 2.0 to 4.1, and the moments of its fixes."""
    talker = chance.choice(["GP", "GN", "GL", "GA", "GB", "BD", "GQ", "II"])
    kinds, digits, version = chance.choice(KINDS), chance.choice([4, 5, 7]), chance.randint(0, 3)
    moment, lat, lon = BEGUN, chance.uniform(-89, 89), chance.uniform(-179, 179)
    out, moments = [], []
    for _ in range(chance.randint(1, 30)):
        moment += timedelta(milliseconds=chance.choice([100, 1000, 5000]))
        lat, lon = lat + chance.uniform(-1e-5, 1e-5), lon + chance.uniform(-1e-5, 1e-5)
        clock = f"{moment:%H%M%S}.{moment.microsecond // 1000:03d}"
        place = (
            f"{minutes(lat, 2, digits)},{'NS'[lat < 0]},{minutes(lon, 3, digits)},{'EW'[lon < 0]}"
        )
        speed = chance.choice(["", f"{chance.uniform(0, 20):.2f}"])
        mode = ("", ",A", ",D", ",A,V")[version]
        texts = {
            "RMC": f"{clock},A,{place},{speed},,{moment:%d%m%y},,{mode}",
            "GGA": f"{clock},{place},{chance.choice([1, 2, 4, 5])},09,0.8,40.1,M,46.9,M,,0120",
            "GLL": f"{place},{clock},A{mode[:2]}",
            "GNS": f"{clock},{place},{chance.choice(['AA', 'RNN', 'DAAA'])},14,0.7,40.1,46.9,,",
            "ZDA": f"{clock},{moment:%d,%m,%Y},00,00",
        }
        out += [line(f"{talker}{kind},{texts[kind]}") for kind in kinds]
        out += [line("GPGSV,3,1,11,01,40,083,46"), line("PMTK010,001")][: chance.randint(0, 2)]
        moments.append(moment.replace(tzinfo=None))
    return "".join(out), moments


@pytest.mark.parametrize("seed", range(60))
def test_nmea_as_pynmea2_reads_it(seed):
    text, moments = log_of_sentences(random.Random(seed))
    said = [pynmea2.parse(s, check=True) for s in text.splitlines()]
    track, _ = read(text.encode())
    assert track.time.tolist() == moments
    for k, moment in enumerate(moments):
        own = [s for s in said if getattr(s, "timestamp", None) is not None]
        own = [s for s in own if s.timestamp.replace(tzinfo=None) == moment.time()]
        place = next(s for s in own if hasattr(s, "latitude"))
        assert track.lat[k] == pytest.approx(place.latitude, abs=1e-11)
        assert track.lon[k] == pytest.approx(place.longitude, abs=1e-11)
        quality = [s.gps_qual for s in own if isinstance(s, pynmea2.GGA)]
        assert quality in ([], [track.quality[k]])
        knots = [s.spd_over_grnd for s in own if isinstance(s, pynmea2.RMC)]
        if knots and knots[0] is not None:
            assert track.speed_m_s[k] == pytest.approx(float(knots[0]) * KNOT_M_S)
        else:
            assert np.isnan(track.speed_m_s[k])
