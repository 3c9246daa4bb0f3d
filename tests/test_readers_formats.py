"""CSV, GeoJSON, KML, archives, sniffing, and dates 1024 weeks off."""

from __future__ import annotations

import base64
import gzip
import io
import json
import zipfile
from datetime import UTC, date, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog.readers import _containers, _times, csv, formats, read
from oplog.readers.rollover import suspect_rollover
from oplog.track import Track
from oplog.units import KMH_M_S, KNOT_M_S, MPH_M_S

GPX = (
    b'<gpx creator="c"><trk><trkseg><trkpt lat="1" lon="2"><time>2024-05-02T06:00:00Z</time>'
    b"</trkpt></trkseg></trk></gpx>"
)
NMEA = b"$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B\r\n"


def messages(data: str | bytes, **more: str) -> tuple[Track, list[str]]:
    track, problems = read(data.encode() if isinstance(data, str) else data, name="x", **more)
    return track, [str(p) for p in problems]


SPELLINGS = [
    "\n".join([head, row.replace("?", "0"), row.replace("?", "1")])
    for head, row in (
        ("time|lat|lon", "2024-05-13T06:30:0?Z|52.1|-0.2"),
        ("time lat lon", "2024-05-13T06:30:0?Z  52.1 -0.2"),
        ("sep=;\ntime;lat;lon", "20240513T06300?Z;52,1;-0,2"),
        ('"time","lat","lon"', '"2024-05-13 06:30:0?","52,1","-0,2"'),
        ("time,lat,lon", "2024051306300?,52.1,-0.2"),
        ("UTC,LATITUDE,N/S,LONGITUDE,E/W", "2024-05-13 06:30:0?,52.1,N,0.2,W"),
        ("Datum;Uhrzeit;Breitengrad;Längengrad", "13.05.2024;06:30:0?;52,1;-0,2"),
        ("Date;Heure;Latitude;Longitude", "13/05/2024;06:30:0?;52,1;-0,2"),
        ("Fix time,Lat.,Long.", "13-May-2024 06:30:0?,52.1,-0.2"),
        ("Time,Lat,Lon", '"May 13, 2024 6:30:0? AM",52.1,-0.2'),
        ("created_at,Position.lat,Position.lng", "2024-05-13 06:30:0?+00,52.1,-0.2"),
        ("date,time,lat_wgs84,lon_wgs84", "20240513,06300?,52.1,-0.2"),
        ("timestamp_ms,x,y", "171558180?000,-0.2,52.1"),
        ("epoch,lat,lon", "171558180?.0,52.1,-0.2"),
        ("time,lat,lon", "2024-05-13T06:30:0?Z,52°06'00.0\"N,0° 12.0' W"),
        ("time\tlat\tlon", "5/13/2024 6:30:0? am\t52.1° N\tW 0.2"),
    )
]
SPELLINGS.append(SPELLINGS[0].replace("\n", "\r"))


class TestCsv:
    @pytest.mark.parametrize(
        "header",
        [
            "time,lat,lon",
            "Timestamp,Latitude,Longitude",
            "UTC_time,LAT,LONG",
            "# time, lat, lng",
            "gps_time,gps_latitude,gps_longitude",
            "DateTime (UTC),Latitude (deg),Longitude (deg)",
            "\ufefftime,lat,lon",
        ],
    )
    def test_common_spellings(self, header):
        track, said = messages(
            header + "\n2024-05-02T06:00:00Z,52.1,0.2\n2024-05-02T06:00:01Z,52.2,0.3\n"
        )
        assert said == []
        assert (track.lat.tolist(), track.lon.tolist()) == ([52.1, 52.2], [0.2, 0.3])
        assert str(track.time[1]) == "2024-05-02T06:00:01.000000"

    @pytest.mark.parametrize("text", SPELLINGS)
    def test_spellings_of_times_and_places(self, text):
        """Each says twice: half past six in the morning UTC, 52.1 N, 0.2 W; then a second on."""
        track, said = messages(text, zone="UTC")
        assert (track.lat.tolist(), track.lon.tolist()) == ([52.1, 52.1], [-0.2, -0.2])
        assert [str(t)[11:19] for t in track.time] == ["06:30:00", "06:30:01"]
        assert {str(t)[:10] for t in track.time} == {"2024-05-13"}
        assert not [s for s in said if "local" not in s and "zone" not in s]

    def test_utc_in_the_header_is_a_zone(self):
        for head in ("UTC Date,UTC Time", "Date,Time (UTC)", "date,time_utc"):
            track, said = messages(f"{head},lat,lon\n2024-05-01,06:30:00,1,2\n")
            assert (said, str(track.time[0])[11:19]) == ([], "06:30:00")

    def test_a_whole_stamp_beside_a_date(self):
        text = "date,timestamp,lat,lon\n2024-05-01,2024-05-01T06:30:00Z,1,2\n"
        assert str(messages(text)[0].time[0])[:19] == "2024-05-01T06:30:00"

    def test_day_first_is_told_for_the_whole_file(self, monkeypatch):
        monkeypatch.setattr(csv, "_ROWS_AT_ONCE", 2)
        rows = [f"{d:02d}/04/2024 06:00:00Z,1,2" for d in range(1, 21)]
        track, said = messages("time,lat,lon\n" + "\n".join(rows))
        assert said == []
        assert [str(t)[:10] for t in track.time] == [f"2024-04-{d:02d}" for d in range(1, 21)]

    def test_a_hole_of_zero_bytes(self):
        row = "2024-05-01T06:30:0{}Z,1,2\n"
        track, said = messages("time,lat,lon\n" + row.format(0) + "\0" * 99 + row.format(1))
        assert len(track) == 2
        assert said == ["x, line 3: zero bytes in the text (99 times); read round them"]

    def test_a_table_of_several_machines_is_refused_by_name(self):
        rows = [f"2024-05-01T06:30:0{k}Z,1,2,{'Blue' if k < 3 else 'Green'}" for k in range(6)]
        track, said = messages("time,lat,lon,vehicle\n" + "\n".join(rows))
        assert len(track) == 0
        assert said == [
            "x, line 2: a table of 2 machines in one file (Blue, Green); export each by itself"
        ]
        assert len(messages("time,lat,lon,vehicle\n" + "\n".join(rows[:3]))[0]) == 3

    @pytest.mark.parametrize("parter", [";", "\t"])
    def test_decimal_comma(self, parter):
        rows = [
            ["Zeit", "Breite", "Länge", "Geschwindigkeit (km/h)"],
            ["2024-05-02T06:00:00Z", "52,1", "0,25", "7,2"],
        ]
        text = "\r\n".join(parter.join(r) for r in rows)
        for data in (text.encode(), text.encode("cp1252"), text.encode("utf-16")):
            track, said = messages(data)
            assert said == []
            assert (track.lat[0], track.lon[0]) == (52.1, 0.25)
            assert track.speed_m_s[0] == pytest.approx(2.0)

    @pytest.mark.parametrize(
        ("name", "factor"),
        [
            ("speed", 1),
            ("speed_m_s", 1),
            ("Speed (m/s)", 1),
            ("speed_kmh", KMH_M_S),
            ("Speed [km/h]", KMH_M_S),
            ("speed mph", MPH_M_S),
            ("Speed (knots)", KNOT_M_S),
        ],
    )
    def test_units_of_speed(self, name, factor):
        track, _ = messages(f"time,lat,lon,{name}\n2024-05-02T06:00:00Z,1,2,3\n")
        assert track.speed_m_s[0] == pytest.approx(3 * factor)

    @pytest.mark.parametrize(
        "stamp",
        [
            "1714629600",
            "1714629600.0",
            "1714629600000",
            "1714629600000000",
            "02.05.2024 06:00:00Z",
            "25.04.2024",
        ],
    )
    def test_other_times(self, stamp):
        track, _ = messages(f"time;lat;lon\n{stamp};1;2\n", zone="UTC")
        expected = "2024-05-02T06:00:00.000000"
        assert str(track.time[0]) == (
            expected if stamp != "25.04.2024" else "2024-04-25T00:00:00.000000"
        )

    def test_fractions_of_unix_seconds(self):
        track, _ = messages("time,lat,lon\n1714629600.25,1,2\n1714629600.5,1,2\n")
        assert (np.diff(track.time).astype(int)).tolist() == [250_000]

    def test_date_and_time_in_two_columns(self):
        track, said = messages("date,time,lat,lon\n2024-05-02,06:00:00,1,2\n", zone="Europe/London")
        assert (str(track.time[0]), said) == ("2024-05-02T05:00:00.000000", [])

    @pytest.mark.parametrize(
        ("stamps", "first"),
        [
            (["03/04/2024 06:00:00Z", "13/04/2024 06:00:00Z"], "2024-04-03"),
            (["03/04/2024 06:00:00Z", "03/14/2024 06:00:00Z"], "2024-03-04"),
        ],
    )
    def test_day_or_month_first_is_told_by_a_number_above_12(self, stamps, first):
        track, said = messages("time,lat,lon\n" + "".join(f"{s},1,2\n" for s in stamps))
        assert str(track.time[0])[:10] == first
        assert not any("two ways" in s for s in said)

    def test_day_or_month_first_is_not_guessed(self):
        track, said = messages("time,lat,lon\n03/04/2024 06:00:00Z,1,2\n")
        assert np.isnat(track.time).all()
        assert "day first or month first" in said[0]

    def test_bad_rows_cost_nothing_good(self):
        text = (
            "time,lat,lon\n2024-05-02T06:00:00Z,1,2\ngarbage\n2024-05-02T06:00:01Z,x,2\n\n"
            "2024-05-02T06:00:02Z,1,2"
        )
        track, said = messages(text)
        assert len(track) == 2
        assert said == ["x, line 3: position is missing or not on earth (2 times); set aside"]

    def test_hemispheres(self):
        track, _ = messages("time,lat,lon\n2024-05-02T06:00:00Z,12.5S,W 3.25\n")
        assert (track.lat[0], track.lon[0]) == (-12.5, -3.25)

    def test_header_only_and_no_time(self):
        assert "no lines below" in messages("time,lat,lon\n")[1][0]
        track, said = messages("lat,lon\n1,2\n3,4\n")
        assert np.isnat(track.time).all()
        assert "time is missing" in said[0]

    def test_prose_that_names_columns_is_no_table(self):
        text = "Each report holds\ntime, lat, lon, speed, course (in the units that\nare said).\n"
        assert messages(text)[1] == [
            "x: text without any position in a form known here; nothing to read"
        ]

    def test_other_tables_are_not_tracks(self):
        track, said = messages("name,age\nx,3\n")
        assert (len(track), len(said)) == (0, 1)


def feature(geometry: dict, **properties: object) -> dict:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


class TestGeoJson:
    LINE = {"type": "LineString", "coordinates": [[2, 1, 9.0], [2.5, 1.5]]}  # noqa: RUF012
    TIMES = ["2024-05-02T06:00:00Z", "2024-05-02T06:00:01Z"]  # noqa: RUF012

    def test_line_with_coord_times(self):
        for properties in (
            {"coordTimes": self.TIMES},
            {"coordinateProperties": {"times": self.TIMES}},
        ):
            track, said = messages(json.dumps(feature(self.LINE, **properties)))
            assert said == []
            assert track.lat.tolist() == [1, 1.5]
            assert str(track.time[1]) == "2024-05-02T06:00:01.000000"

    def test_points(self):
        points = [
            feature({"type": "Point", "coordinates": [2, 1 + k]}, time=t)
            for k, t in enumerate(self.TIMES)
        ]
        track, said = messages(json.dumps({"type": "FeatureCollection", "features": points}))
        assert (len(track), said, track.segment.tolist()) == (2, [], [0, 0])

    def test_lines_are_segments(self):
        lines = {"type": "MultiLineString", "coordinates": [self.LINE["coordinates"]] * 2}
        later = ["2024-05-02T07:00:00Z", "2024-05-02T07:00:01Z"]
        track, _ = messages(json.dumps(feature(lines, coordTimes=[self.TIMES, later])))
        assert track.segment.tolist() == [0, 0, 1, 1]

    def test_seconds_and_milliseconds(self):
        for stamp in (1714629600, 1714629600000):
            track, _ = messages(
                json.dumps(feature({"type": "Point", "coordinates": [2, 1]}, timestamp=stamp))
            )
            assert str(track.time[0]) == "2024-05-02T06:00:00.000000"

    def test_without_times_the_places_are_kept(self):
        track, said = messages(json.dumps(feature(self.LINE)))
        assert np.isnat(track.time).all()
        assert "time is missing" in said[0]

    def test_boundaries_are_said_to_be_none(self):
        ring = [[[0, 0], [1, 0], [1, 1], [0, 0]]]
        track, said = messages(json.dumps(feature({"type": "Polygon", "coordinates": ring})))
        assert len(track) == 0
        assert "oplog land add" in said[0]

    def test_damage(self):
        whole = json.dumps(feature(self.LINE, coordTimes=self.TIMES))
        for cut in range(40, len(whole)):
            track, said = messages(whole[:cut])
            assert 1 <= len(said) <= 2
            times = [str(t)[:19] + "Z" for t in track.time if not np.isnat(t)]
            assert times == self.TIMES[: len(times)], cut
            assert track.lat.tolist() == [1, 1.5][: len(track)], cut
        odd = feature(
            {"type": "LineString", "coordinates": [[1], None, "x", [True, 2], [1, 10**400], [2, 1]]}
        )
        assert len(messages(json.dumps(odd))[0]) == 1


KML = """<?xml version="1.0"?>
<kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="urn:g"><Document>
<Placemark><gx:MultiTrack><gx:Track>
<when>2024-05-02T06:00:00Z</when><when>2024-05-02T06:00:01Z</when>
<gx:coord>2 1 9</gx:coord><gx:coord>2.5 1.5 9</gx:coord></gx:Track>
<gx:Track><when>2024-05-02T07:00:00Z</when><gx:coord>3 1</gx:coord></gx:Track>
</gx:MultiTrack></Placemark></Document></kml>"""


class TestKml:
    def test_tracks(self):
        track, said = messages(KML)
        assert said == []
        assert (track.lat.tolist(), track.lon.tolist()) == ([1, 1.5, 1], [2, 2.5, 3])
        assert track.segment.tolist() == [0, 0, 1]
        assert str(track.time[2]) == "2024-05-02T07:00:00.000000"

    def test_unpaired_and_empty_places(self):
        text = KML.replace("<gx:coord>3 1</gx:coord>", "").replace("2.5 1.5 9", "")
        track, said = messages(text)
        assert len(track) == 1
        assert "do not pair up" in said[0]

    def test_cut_off(self):
        track, said = messages(KML[: KML.index("</gx:MultiTrack>") - 30])
        assert len(track) == 2
        assert "cut off or damaged" in said[0]

    def test_refused_and_other_kml(self):
        assert "document type" in messages(KML.replace("<kml", "<!DOCTYPE kml><kml"))[1][0]
        line = "<LineString><coordinates>1,2</coordinates></LineString>"
        other = f"<kml><Placemark>{line}</Placemark></kml>"
        assert messages(other)[1] == [
            "x: KML without a gx:Track or points with times (lines without times); nothing to read"
        ]


def zipped(**members: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("__", "/").replace("_", "."), data)
    return out.getvalue()


class TestArchives:
    def test_gzip_and_zip_and_zip_in_zip(self):
        for data in (
            gzip.compress(GPX),
            zipped(a_gpx=GPX),
            zipped(b_zip=zipped(a_gpx=GPX)),
            gzip.compress(zipped(a_gpx=gzip.compress(GPX))),
        ):
            assert len(messages(data)[0]) == 1

    def test_members_come_in_order_of_time(self):
        later = GPX.replace(b"06:00:00", b"07:00:00")
        track, _ = messages(zipped(a_gpx=later, b_gpx=GPX))
        assert np.diff(track.time).astype(int)[0] > 0
        assert track.segment.tolist() == [0, 1]

    def test_members_of_two_devices_leave_the_device_unknown(self):
        other = GPX.replace(b'"c"', b'"d"')
        assert messages(zipped(a_gpx=GPX, b_gpx=GPX))[0].device == "c"
        assert messages(zipped(a_gpx=GPX, b_gpx=other))[0].device == ""

    def test_problems_name_the_member(self):
        track, said = messages(zipped(a_gpx=GPX, readme_txt=b"hello"))
        assert len(track) == 1
        assert said == [
            "x:readme.txt: text without any position in a form known here; nothing to read"
        ]

    def test_names_that_climb_are_only_names(self):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("../../up.gpx", GPX[:-40])
        track, said = messages(out.getvalue())
        assert said[0].startswith("x:up.gpx")
        assert len(track) == 1 - ("</trkpt>" not in GPX[:-40].decode())

    def test_bombs(self):
        bomb = b"\0" * (60 << 20)
        for data in (gzip.compress(bomb), zipped(a_gpx=bomb)):
            track, said = messages(data)
            assert len(track) == 0
            assert "unpacks to a size no track has; refused" in said[0]

    def test_what_is_larger_than_is_held_at_once_has_to_be_unpacked_first(self, monkeypatch):
        monkeypatch.setattr(_containers, "LARGEST_MEMBER_BYTES", len(GPX) - 1)
        for data in (gzip.compress(GPX), zipped(a_gpx=GPX)):
            track, said = messages(data)
            assert len(track) == 0
            assert "unpacks to over 0 MB; unpack it and import that" in said[0]

    def test_bombs_in_bombs_count_together(self):
        inner = zipped(**{f"f{k}_txt": b"\0" * 500_000 for k in range(20)})
        data = zipped(**{f"z{k}_zip": inner for k in range(20)})
        track, said = messages(data)
        assert len(track) == 0
        assert any("unpacks to a size no track has; refused" in s for s in said)

    def test_nesting_ends(self):
        data = GPX
        for _ in range(10):
            data = zipped(a_zip=data)
        assert "archives in archives" in messages(data)[1][0]

    def test_damaged_archives(self):
        whole = gzip.compress(GPX * 50)
        _, said = messages(whole[: len(whole) - 20])
        assert any("compressed file is cut off" in s for s in said)
        whole = zipped(a_gpx=GPX)
        assert "zip file is cut off" in messages(whole[:-30])[1][0]
        broken = whole.replace(whole[40:60], b"\xff" * 20)
        assert messages(broken)[1]

    def test_a_member_without_a_name(self):
        """Found by a coverage-guided run."""
        data = base64.b64decode(
            "UEsDBBQAAAAIsQ3SBxurD7TNDgBQSwECFAMUAAAACAA0R3ldq1zTC1kAAABzAAAABQAAAAAAAAAAAAAAgAEA"
            "AHMAAABncHhQSwUGAAAAAAEAAQAzAAAAfAAAAAAAeg=="
        )
        track, said = messages(data)
        assert len(track) == 0
        assert "is cut off or damaged" in said[0]

    def test_an_empty_archive(self):
        assert messages(zipped())[1] == ["x: the archive is empty; nothing to read"]

    @settings(max_examples=60, deadline=None)
    @given(st.integers(0, 400), st.binary(min_size=1, max_size=6), st.booleans())
    def test_any_damage_is_answered(self, at, piece, as_zip):
        data = bytearray(zipped(a_gpx=GPX, b_nmea=NMEA) if as_zip else gzip.compress(GPX))
        data[at : at + len(piece)] = piece
        track, problems = read(bytes(data))
        assert len(track) or problems


class TestOtherFiles:
    @pytest.mark.parametrize(
        ("data", "what"),
        [
            (b"", "the file is empty"),
            (b" \r\n", "the file is empty"),
            (b"\0" * 5000, "nothing but zero bytes"),
            (b"<!DOCTYPE html><html></html>", "a web page"),
            (b"<html><body>", "a web page"),
            (b"%PDF-1.4", "a PDF document"),
            (b"\x89PNG\r\n\x1a\n", "a picture"),
            (b"\x0e\x10\x00\x00\x00\x00\x00\x00.FIT", "a FIT file"),
            (bytes(range(256)), "a binary file"),
            (b"Dear all, see you at the yard.", "text without any position"),
            (b'{"a": 1}', "JSON without timed positions"),
            (b"<?xml version='1.0'?><a/>", "an XML file of a kind"),
        ],
    )
    def test_are_named(self, data, what):
        track, said = messages(data)
        assert len(track) == 0
        assert len(said) == 1
        assert what in said[0]

    def test_formats_are_found_by_their_place(self):
        assert [m.__name__.rpartition(".")[2] for m in formats()] == [
            "cleared",
            "csv",
            "geojson",
            "gpx",
            "kml",
            "nmea",
        ]

    def test_each_format_is_told_by_its_content_alone(self):
        csv = b"time,lat,lon\n2024-05-02T06:00:00Z,1,2\n"
        point = json.dumps(feature({"type": "Point", "coordinates": [2, 1]})).encode()
        for data, name in (
            (GPX, "gpx"),
            (NMEA, "nmea"),
            (csv, "csv"),
            (point, "geojson"),
            (KML.encode(), "kml"),
        ):
            assert [m.__name__.rpartition(".")[2] for m in formats() if m.sniff(data)] == [name]

    @settings(max_examples=150, deadline=None)
    @given(
        st.sampled_from(
            [
                b"",
                b"time,lat,lon\n",
                b'{"coordinates":',
                b"<kml><gx:Track>",
                b"\x1f\x8b",
                b"PK\x03\x04",
            ]
        ),
        st.binary(max_size=200),
    )
    def test_any_bytes_are_answered(self, start, data):
        track, problems = read(start + data)
        assert len(track) or problems


class TestRollover:
    """Source: GPS.gov on the week number rollover; 1024 weeks = 7168 days."""

    TODAY = date(2026, 5, 1)

    def test_the_published_case(self):
        """2021-10-24 could turn into March 2002 (GPS.gov)."""
        assert suspect_rollover(datetime(2002, 3, 10, tzinfo=UTC), date(2021, 10, 24)) == 7168

    @pytest.mark.parametrize("days", [0, 1, 400, 7000])
    def test_dates_that_can_be_right(self, days):
        first = np.datetime64(self.TODAY) - days
        assert suspect_rollover(first, self.TODAY) is None

    def test_a_day_ahead_is_a_matter_of_zones(self):
        assert suspect_rollover(np.datetime64("2026-05-02T01:00:00"), self.TODAY) is None

    def test_dates_ahead(self):
        assert suspect_rollover(np.datetime64("2034-11-01T17:19:26"), self.TODAY) == -7168

    def test_twice_round(self):
        assert suspect_rollover(np.datetime64("1986-01-01"), self.TODAY) == 14336

    def test_no_date(self):
        assert suspect_rollover(np.datetime64("NaT"), self.TODAY) is None

    @given(st.integers(-3, 3), st.integers(-1, 7166))
    def test_corrected_dates_lie_in_the_last_1024_weeks(self, cycles, days):
        right = np.datetime64(self.TODAY) - days
        offset = suspect_rollover(right - cycles * 7168, self.TODAY) or 0
        assert offset == cycles * 7168


@given(st.datetimes(datetime(1901, 1, 1), datetime(2199, 12, 31)))
def test_civil_times_are_those_of_datetime(moment):
    expected = int(np.datetime64(moment, "us").astype(np.int64))
    assert _times.parse([moment.isoformat() + "Z"])[0][0] == expected
    assert _times.parse_one(moment.isoformat() + "+00:00") == (expected, _times.GOOD)


@settings(max_examples=300, deadline=None)
@given(
    st.tuples(*(st.integers(0, m) for m in (2300, 14, 33, 26, 62, 62))),
    st.sampled_from(["", ".5", ".1234567"]),
    st.sampled_from(
        ["Z", "", "+00:00", "-04:30", "+1:00", "+01", "+0130", "+01:0", "+01:00Z", "z"]
    ),
)
def test_many_at_a_time_is_as_one_by_one(parts, fraction, zone):
    text = "{:04d}-{:02d}-{:02d}T{:02d}:{:02d}:{:02d}".format(*parts) + fraction + zone
    micros, became = _times.parse([text, text])
    assert (micros[0], became[0]) == _times.parse_one(text)


@settings(max_examples=50, deadline=None)
@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2030, 12, 31)),
    st.sampled_from(["Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata"]),
)
def test_local_times_are_those_of_zoneinfo(moment, zone):
    from zoneinfo import ZoneInfo

    moment = moment.replace(fold=0)  # a lone time of the hour that comes twice is the first
    utc = moment.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC).replace(tzinfo=None)
    local = np.array([np.datetime64(moment, "us").astype(np.int64)])
    assert _times.to_utc(local, zone)[0] == np.datetime64(utc, "us").astype(np.int64)
