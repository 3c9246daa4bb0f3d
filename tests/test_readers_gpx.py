"""GPX: what it says, what it survives, and that its two ways of reading agree."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog.readers import _gpx_fast, read
from oplog.track import COLUMNS, Track

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="Made Up 1" xmlns="http://www.topografix.com/GPX/1/1">\n'


def point(k: int, inside: str = "", stamp: str | None = None) -> str:
    stamp = stamp or f"2024-05-02T06:{k // 60 % 60:02d}:{k % 60:02d}Z"
    return f'<trkpt lat="52.{k:06d}" lon="0.{k:06d}"><time>{stamp}</time>{inside}</trkpt>\n'


def gpx(*points: str, head: str = HEAD) -> bytes:
    return (head + "<trk><trkseg>\n" + "".join(points) + "</trkseg></trk></gpx>\n").encode()


def messages(data: bytes, **more: str) -> tuple[Track, list[str]]:
    track, problems = read(data, name="x", **more)
    return track, [str(p) for p in problems]


def same(a: Track, b: Track) -> None:
    for column in COLUMNS:
        np.testing.assert_array_equal(getattr(a, column), getattr(b, column), column)
    assert a.device == b.device


TEN = [point(k) for k in range(10)]


def test_a_plain_file():
    track, said = messages(gpx(*TEN))
    assert said == []
    assert track.device == "Made Up 1"
    assert track.lat[3] == 52.000003
    assert track.lon[3] == 0.000003
    assert track.time[3] == np.datetime64("2024-05-02T06:00:03", "us")
    assert track.time.dtype == np.dtype("datetime64[us]")
    assert (track.segment == 0).all()
    assert np.isnan(track.speed_m_s).all()
    assert (track.quality == -1).all()


class TestDamage:
    """Each row of what must be survived; complete points are read and the damage is named."""

    def test_cut_off_in_mid_point(self):
        whole = gpx(*TEN)
        for cut in range(
            whole.index(b"52.000007"), whole.index(b'</trkpt>\n<trkpt lat="52.000008')
        ):
            track, said = messages(whole[:cut])
            assert len(track) == 7
            assert said == ["x, line 11: the file is cut off; all complete points before are read"]

    def test_zero_bytes_at_the_end(self):
        track, said = messages(gpx(*TEN)[:-100] + b"\0" * 4096)
        assert len(track) == 9
        assert "ends in zero bytes" in said[0]

    def test_a_hole_in_mid_file(self):
        data = gpx(*TEN)
        at = data.index(b"52.000004")
        track, said = messages(data[:at] + b"\0" * 60 + data[at + 60 :])
        assert sorted(np.round(track.lat % 1 * 1e6)) == [0, 1, 2, 3, 5, 6, 7, 8, 9]
        assert len(said) == 1
        assert "a hole of zero bytes" in said[0]
        assert "with the point that it begins in" in said[0]
        assert track.segment[4] == track.segment[3] + 1  # no line across the hole

    def test_a_hole_never_joins_the_place_of_one_point_to_the_time_of_another(self):
        data = gpx(*TEN)
        first = data.index(b'lon="0.000002"') + len('lon="0.000002">')
        second = data.index(b"<time>", data.index(b"52.000006"))
        track, _ = messages(data[:first] + b"\0" * (second - first) + data[second:])
        seconds = (track.time - np.datetime64("2024-05-02T06:00:00")).astype("timedelta64[s]")
        assert np.array_equal(np.round(track.lat % 1 * 1e6), seconds.astype(float))

    def test_two_documents_joined(self):
        track, said = messages(gpx(*TEN[:5]) + gpx(*TEN[5:]))
        assert len(track) == 10
        assert "another document follows" in said[0]
        assert track.segment[5] == track.segment[4] + 1

    def test_other_text_behind_the_end_is_not_called_a_cut(self):
        track, said = messages(gpx(*TEN) + b"$GPGGA,060000\r\nand more\r\n")
        assert len(track) == 10
        assert said == [
            "x, line 15: text behind the end of the document; left out, all points before are read"
        ]

    def test_bare_ampersand_and_control_characters(self):
        track, said = messages(
            gpx(point(0, "<name>Hill & Dale</name>"), point(1, "<cmt>\x0b</cmt>"))
        )
        assert len(track) == 2
        assert "a bare &" in said[0]
        assert "line 4" in said[0]
        assert "a control character" in said[1]

    @pytest.mark.parametrize("codec", ["utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "utf-32"])
    def test_other_encodings(self, codec):
        text = gpx(*TEN, head=HEAD.replace("Made Up 1", "Gerät"))
        track, said = messages(text.decode().encode(codec))
        assert (len(track), said, track.device) == (10, [], "Gerät")

    def test_latin_1_bytes_under_a_utf_8_header(self):
        data = gpx(*TEN, head=HEAD.replace("Made Up 1", "Gerät"))
        track, said = messages(data.decode().encode("latin-1"))
        assert (len(track), track.device) == (10, "Gerät")
        assert said == [
            "x, line 2: letters that are not UTF-8 as stated; taken as Western European"
        ]

    def test_latin_1_as_declared(self):
        head = HEAD.replace("UTF-8", "ISO-8859-1").replace("Made Up 1", "Gerät")
        track, said = messages(gpx(*TEN, head=head).decode().encode("latin-1"))
        assert (len(track), track.device, said) == (10, "Gerät", [])

    def test_a_missing_end_tag_costs_one_point(self):
        data = gpx(*TEN).replace(
            b'</time></trkpt>\n<trkpt lat="52.000005', b'</time><trkpt lat="52.000005'
        )
        track, _ = messages(data)
        assert {0, 1, 2, 3, 5} <= set(np.round(track.lat % 1 * 1e6))
        assert 4 not in np.round(track.lat % 1 * 1e6)

    def test_a_point_in_the_first_bytes_of_rubbish(self):
        """Found by a coverage-guided run: it never came to an end."""
        for before in range(12):
            track, said = messages(b"x" * before + b'<trkpt lat="1" lon="2">t\0p\0')
            assert len(track) == 0
            assert said


class TestShapes:
    def test_prefixed_namespace(self):
        data = gpx(*TEN).decode()
        for tag in ("gpx", "trk", "trkseg", "trkpt", "time"):
            data = data.replace(f"<{tag}", f"<g:{tag}").replace(f"</{tag}", f"</g:{tag}")
        data = data.replace("g:trkg:seg", "g:trkseg").replace("g:trkg:pt", "g:trkpt")
        data = data.replace("xmlns=", "xmlns:g=")
        assert "<g:trkpt" in data
        track, said = messages(data.encode())
        assert (len(track), said) == (10, [])
        cut = data.encode()[:-150]
        assert len(messages(cut)[0]) >= 8

    def test_no_namespace_and_gpx_1_0_elements(self):
        inside = (
            "<course>90.5</course><speed>2.5</speed><fix>dgps</fix><sat>9</sat><hdop>0.8</hdop>"
        )
        track, said = messages(gpx(point(0, inside), head='<gpx version="1.0" creator="c">'))
        assert said == []
        assert (track.speed_m_s[0], track.course_deg[0], track.hdop[0]) == (2.5, 90.5, 0.8)
        assert track.quality[0] == 2

    def test_values_in_any_extension(self):
        inside = (
            "<extensions><a:b><a:speed>1.25</a:speed><a:course>10</a:course></a:b>"
            "<hdop>0.7</hdop></extensions>"
        )
        track, _ = messages(gpx(point(0, inside), head='<gpx creator="c" xmlns:a="urn:a">'))
        assert (track.speed_m_s[0], track.course_deg[0], track.hdop[0]) == (1.25, 10, 0.7)

    def test_tracks_and_segments_break(self):
        body = (
            f"<trk><name>A</name><trkseg>{TEN[0]}{TEN[1]}</trkseg><trkseg>{TEN[2]}</trkseg></trk>"
            f"<trk><trkseg/><trkseg>{TEN[3]}</trkseg></trk>"
        )
        track, said = messages((HEAD + body + "</gpx>").encode())
        assert track.segment.tolist() == [0, 0, 1, 2]
        assert said == []

    def test_device_takes_in_what_the_track_says_of_its_source(self):
        track, _ = messages(
            (HEAD + f"<trk><src>unit 7</src><trkseg>{TEN[0]}</trkseg></trk></gpx>").encode()
        )
        assert track.device == "Made Up 1 | unit 7"
        track, _ = messages(
            (HEAD + f"<trk><name>BLUE_0007</name><trkseg>{TEN[0]}</trkseg></trk></gpx>").encode()
        )
        assert track.device == "Made Up 1 | BLUE"

    def test_no_fix_is_set_aside(self):
        track, said = messages(gpx(point(0, "<fix>none</fix>"), point(1, "<fix>3d</fix>")))
        assert len(track) == 1
        assert said == ["x, line 4: the receiver had no fix; set aside"]

    def test_only_waypoints_or_routes_is_said(self):
        track, said = messages(
            (HEAD + '<wpt lat="1" lon="2"/><rte><rtept lat="1" lon="2"/></rte></gpx>').encode()
        )
        assert len(track) == 0
        assert "1 waypoint and 1 route point but no track" in said[0]


class TestRefused:
    @pytest.mark.parametrize(
        "trick",
        [
            '<!DOCTYPE gpx SYSTEM "http://example.org/gpx.dtd">\n',
            '<!DOCTYPE gpx [<!ENTITY a "b">]>\n',
            '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hostname">]>\n',
        ],
    )
    def test_document_types_and_entities(self, trick):
        data = gpx(*TEN).replace(b"<gpx ", trick.encode() + b"<gpx ", 1)
        track, said = messages(data)
        assert len(track) == 0
        assert said[0].startswith("x, line 2: the file declares a document type")

    def test_depth(self):
        deep = "<a>" * 62 + "</a>" * 62
        track, said = messages(gpx(point(0, deep)))
        assert len(track) == 0
        assert "line 4: elements are nested more than 64 deep" in said[0]
        assert len(messages(gpx(point(0, "<a>" * 60 + "</a>" * 60)))[0]) == 1


class TestTimes:
    def one(self, stamp: str, **more: str) -> tuple[Track, list[str]]:
        return messages(gpx(point(0, stamp=stamp)), **more)

    @pytest.mark.parametrize(
        ("stamp", "utc"),
        [
            ("2024-02-29T24:00:00Z", "2024-03-01T00:00:00"),
            ("2024-05-02T06:00:00.1Z", "2024-05-02T06:00:00.100"),
            ("2024-05-02T06:00:00.123456789Z", "2024-05-02T06:00:00.123456"),
            ("2024-05-02T08:00:00+02:00", "2024-05-02T06:00:00"),
            ("2024-05-02T01:30:00.5-04:30", "2024-05-02T06:00:00.500"),
            ("2024-05-02 06:00:00Z", "2024-05-02T06:00:00"),
            (" 2024-05-02T06:00:00Z ", "2024-05-02T06:00:00"),
        ],
    )
    def test_read(self, stamp, utc):
        track, said = self.one(stamp)
        assert track.time.tolist() == np.array([utc], "datetime64[us]").tolist()
        assert said == []

    def test_second_60_is_clamped_and_flagged(self):
        track, said = self.one("2016-12-31T23:59:60Z")
        assert track.time[0] == np.datetime64("2016-12-31T23:59:59.999999")
        assert "second 60" in said[0]

    @pytest.mark.parametrize(
        "stamp",
        [
            "2024-02-30T06:00:00Z",
            "2023-02-29T06:00:00Z",
            "yesterday",
            "2024-13-01T06:00:00Z",
            "2024-05-02T25:00:00Z",
            "2024-05-02T24:00:01Z",
            "2024-05-02T06:60:00Z",
        ],
    )
    def test_set_aside(self, stamp):
        track, said = self.one(stamp)
        assert len(track) == 0
        assert said[-1] == "x, line 4: time cannot be read, or there is no such day; set aside"

    def test_local_time_needs_a_zone(self):
        track, said = self.one("2024-05-02T08:00:00")
        assert np.isnat(track.time).all()
        assert "--zone" in said[0]
        track, said = self.one("2024-05-02T08:00:00", zone="Europe/Berlin")
        assert track.time[0] == np.datetime64("2024-05-02T06:00:00")
        assert said == []
        track, said = self.one("2024-05-02T08:00:00", zone="No/Such")
        assert np.isnat(track.time).all()

    def test_the_hour_that_the_clock_repeats(self):
        stamps = ["02:30:00", "02:59:59", "02:00:00", "02:30:00", "03:00:00"]
        points = [point(k, stamp=f"2024-10-27T{s}") for k, s in enumerate(stamps)]
        track, said = messages(gpx(*points), zone="Europe/Berlin")
        assert [str(t)[11:19] for t in track.time] == [
            "00:30:00",
            "00:59:59",
            "01:00:00",
            "01:30:00",
            "02:00:00",
        ]
        assert said == []

    def test_without_time_the_place_is_kept(self):
        track, said = messages(gpx('<trkpt lat="1" lon="2"/>', point(1)))
        assert np.isnat(track.time).tolist() == [True, False]
        assert "time is missing" in said[0]

    def test_a_step_backwards_cuts_and_is_not_sorted(self):
        order = [5, 6, 7, 1, 2, 8]
        track, said = messages(gpx(*(point(k) for k in order)))
        assert np.round(track.lat % 1 * 1e6).tolist() == order
        assert track.segment.tolist() == [0, 0, 0, 1, 1, 1]
        assert said == ["x, line 7: time steps backwards; a new segment begins there"]

    def test_a_week_counter_that_runs_over_within_a_file_is_noticed(self):
        stamps = ["2004-09-16T06:00:00Z", "2004-09-16T06:00:01Z", "2024-05-02T06:00:02Z"]
        track, said = messages(gpx(*(point(k, stamp=s) for k, s in enumerate(stamps))))
        assert track.segment.tolist() == [0, 0, 1]
        assert said[0].startswith("x, line 6: dates jump by 1024 weeks")
        track, said = messages(gpx(*(point(k, stamp=s) for k, s in enumerate(stamps[::-1]))))
        assert [s for s in said if "1024" in s]

    def test_times_in_extensions_are_not_the_points_own(self):
        inside = "<extensions><q:time>2001-01-01T00:00:00Z</q:time></extensions>"
        own = "<time>2024-05-02T06:00:00Z</time>"
        track, _ = messages(gpx(f'<trkpt lat="1" lon="2">{inside}{own}</trkpt>'))
        assert str(track.time[0]) == "2024-05-02T06:00:00.000000"
        many = [f'<trkpt lat="1" lon="{k / 10}">{inside}{own}</trkpt>\n' for k in range(300)]
        assert set(messages(gpx(*many))[0].time.tolist()) == set(track.time.tolist())

    def test_repeats_are_kept_once(self):
        track, said = messages(gpx(*TEN[:3], TEN[2], TEN[2], TEN[0], TEN[3]))
        assert len(track) == 4
        assert (track.segment == 0).all()
        assert said == ["x, line 7: the same time and place again (3 times); kept once"]

    def test_20_hz_stamps_in_microseconds(self):
        stamps = [f"2024-05-02T06:00:{k // 20:02d}.{k % 20 * 5:02d}Z" for k in range(100)]
        track, said = messages(gpx(*(point(k, stamp=s) for k, s in enumerate(stamps))))
        assert set(np.diff(track.time).astype(int)) == {50_000}
        assert said == []


class TestPlaces:
    @pytest.mark.parametrize("lat", ["91", "-90.1", "nan", "inf", "50,5", "", "1_0", "abc"])
    def test_set_aside_one_point_each(self, lat):
        bad = f'<trkpt lat="{lat}" lon="2"><time>2024-05-02T06:00:00Z</time></trkpt>\n'
        track, said = messages(gpx(TEN[0], bad, TEN[1]))
        assert len(track) == 2
        assert said == ["x, line 5: position is missing or not on earth; set aside"]

    def test_null_island(self):
        bad = '<trkpt lat="0.0" lon="0"><time>2024-05-02T06:00:00Z</time></trkpt>\n'
        track, said = messages(gpx(TEN[1], bad, bad))
        assert len(track) == 1
        assert said == [
            "x, line 5: position is 0, 0 (a receiver without a fix) (2 times); set aside"
        ]

    def test_the_edges_of_the_earth_are_on_it(self):
        edge = '<trkpt lat="90.0" lon="-180"><time>2024-05-02T06:00:00Z</time></trkpt>\n'
        assert messages(gpx(edge))[1] == []


def slowly(data: bytes, monkeypatch: pytest.MonkeyPatch) -> tuple[Track, list[str]]:
    with monkeypatch.context() as patch:
        patch.setattr(_gpx_fast, "rows", lambda *_: None)
        return messages(data)


def fast_calls(data: bytes, monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether the fast way took each stretch that it was offered."""
    taken: list[bool] = []
    rows = _gpx_fast.rows

    def counted(*given):
        found = rows(*given)
        taken.append(found is not None)
        return found

    with monkeypatch.context() as patch:
        patch.setattr(_gpx_fast, "rows", counted)
        read(data)
    return taken


MANY = [point(k) for k in range(400)]
MIXED = [
    point(
        k,
        [
            "",
            "<ele>4</ele>",
            "<speed>1.5</speed>",
            "<extensions><q:course>9</q:course></extensions>",
        ][k % 4],
    )
    for k in range(400)
]


class TestFastWay:
    @pytest.mark.parametrize("points", [MANY, MIXED], ids=["alike", "mixed"])
    def test_takes_plain_files_and_agrees_with_the_stream(self, points, monkeypatch):
        data = gpx(*points)
        assert fast_calls(data, monkeypatch) == [True]
        quick, slow = messages(data), slowly(data, monkeypatch)
        same(quick[0], slow[0])
        assert quick[1] == slow[1] == []

    @pytest.mark.parametrize(
        "odd",
        [
            "<!-- <trkpt lat='1' lon='2'/> -->",
            '<!-- <trkpt lat="1" lon="2"><time>2024-05-02T06:00:00Z</time></trkpt> -->',
            '<name><![CDATA[<trkpt lat="1" lon="2">]]></name>',
            "<name>a &amp; b</name>",
            "<name>Möhre</name>",
            "<?pi x?>",
            "<empty/>",
            '<b x="1">2</b>',
        ],
    )
    def test_refuses_what_it_does_not_understand(self, odd, monkeypatch):
        points = list(MANY)
        points[200] = point(200, odd)
        data = gpx(*points)
        assert not any(fast_calls(data, monkeypatch))
        same(messages(data)[0], slowly(data, monkeypatch)[0])
        assert len(messages(data)[0]) == 400

    @pytest.mark.parametrize(
        "opening",
        [
            '<trkpt lon="0.1" lat="52.1">',
            "<trkpt lat='52.1' lon='0.1'>",
            '<trkpt lat="52.1" lon="0.1" x="1">',
            '<trkpt  lat="52.1" lon="0.1">',
            '<trkpt lat="52.1" lon="0.1" >',
            '<trkpt lat = "52.1" lon="0.1">',
            '<trkpt lat="52.1"\nlon="0.1">',
        ],
    )
    def test_points_written_otherwise_are_left_to_the_stream(self, opening, monkeypatch):
        points = list(MANY)
        points[7] = opening + "<time>2024-05-02T06:00:07Z</time></trkpt>"
        data = gpx(*points)
        track, said = messages(data)
        assert (len(track), said) == (400, [])
        assert track.lat[7] == 52.1
        same(track, slowly(data, monkeypatch)[0])

    def test_longitude_first_is_as_good(self, monkeypatch):
        turned = [re.sub(r'lat="(.*?)" lon="(.*?)"', r'lon="\2" lat="\1"', p) for p in MIXED]
        data = gpx(*turned)
        assert fast_calls(data, monkeypatch) == [True]
        same(messages(data)[0], messages(gpx(*MIXED))[0])

    @pytest.mark.parametrize(
        "between",
        [
            "</trkseg><trkseg>",
            "</trkseg>\n <trkseg>\n</trkseg><trkseg>",
            "</trkseg></trk><trk><name>B</name><trkseg>",
            "</trkseg><trkseg/><trkseg>",
            "</trkseg><extensions><a>1</a></extensions><trkseg>",
        ],
    )
    def test_breaks_between_segments(self, between, monkeypatch):
        points = [p + (between if k in (100, 101, 250) else "") for k, p in enumerate(MIXED)]
        data = gpx(*points)
        quick, slow = messages(data), slowly(data, monkeypatch)
        same(quick[0], slow[0])
        assert quick[1] == slow[1] == []
        assert (np.flatnonzero(np.diff(quick[0].segment)) + 1).tolist() == [101, 102, 251]

    def test_points_in_a_comment_before_the_track_are_not_read(self, monkeypatch):
        commented = "<!-- <trk><trkseg>" + "".join(MANY).replace("--", "") + "</trkseg></trk> -->"
        data = gpx(*TEN, head=HEAD + commented)
        assert len(messages(data)[0]) == 10
        inside = gpx("<!--" + "".join(MANY) + "-->", *TEN)
        assert len(messages(inside)[0]) == 10

    @pytest.mark.parametrize("inside", ["<?a?>", "<!-", "]]>", "<![CDATA[x]]>", "<?a", "?>"])
    def test_nor_those_in_one_that_holds_other_markup(self, inside, monkeypatch):
        """What closes other markup does not close a comment, nor the other way round."""
        monkeypatch.setattr("oplog.readers.gpx._SMALL_BYTES", 64)
        few, more = "".join(TEN[:5]), "".join(TEN[5:])
        for opens, closes in (("<!-- ", " -->"), ("<?a ", " ?>"), ("<![CDATA[", "]]>")):
            if closes.strip() not in inside:
                data = gpx(few, opens, inside, "</trkseg></trk>", more, closes)
                track, _ = messages(data)
                assert len(track) == 5, (opens, inside)
                same(track, slowly(data, monkeypatch)[0])

    def test_odd_values_are_read_as_the_stream_reads_them(self, monkeypatch):
        points = list(MANY)
        odd = [
            "1e-3",
            "+5",
            " 7 ",
            "",
            "-",
            ".",
            "-.5",
            "5.",
            "1.2.3",
            "0x1",
            "12345678901234567890",
            "1.2345678901234567",
            "46.123456789012345678901234",
            "1_0",
            "--1",
            "9007199254740993",
        ]
        for k, value in enumerate(odd):
            points[k] = point(k, f"<speed>{value}</speed>")
            points[k + 50] = point(k).replace("52.0000", value + "52.0000"[:0])
            points[k + 100] = point(k, stamp=value)
        data = gpx(*points)
        assert fast_calls(data, monkeypatch) == [True]
        quick, slow = messages(data), slowly(data, monkeypatch)
        same(quick[0], slow[0])
        assert quick[1] == slow[1]

    def test_several_segments_and_a_cut_end(self, monkeypatch):
        body = "".join(
            "<trkseg>" + "".join(point(k) for k in range(a, a + 300)) + "</trkseg>\n"
            for a in (0, 300, 600)
        )
        data = (HEAD + "<trk>" + body).encode()[:-200]
        assert fast_calls(data, monkeypatch) == [True]
        quick, slow = messages(data), slowly(data, monkeypatch)
        same(quick[0], slow[0])
        assert quick[1] == slow[1]
        assert quick[0].segment[-1] == 2


@st.composite
def mutilated(draw: st.DrawFn) -> bytes:
    """A file with a few bytes overwritten, cut out, doubled or put in."""
    data = bytearray(gpx(*draw(st.sampled_from([MANY, MIXED]))))
    pieces = [
        b"\0" * 50,
        b"<",
        b">",
        b"&",
        b'"',
        b"</trkpt>",
        b"<trkpt",
        b"<!--",
        b"-->",
        b"<![CDATA[",
        b"]]>",
        b"<?",
        b"\xff",
        b"</trkseg><trkseg>",
        b"</gpx>",
        b"-",
        b"9",
        b".",
        b" ",
        b"/",
    ]
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data) - 1))
        stop = at + draw(st.sampled_from([0, 0, 1, 5, 300]))
        data[at:stop] = draw(st.one_of(st.sampled_from(pieces), st.binary(max_size=8)))
    return bytes(data[: draw(st.integers(0, len(data)))]) if draw(st.booleans()) else bytes(data)


class TestProperties:
    @settings(max_examples=150, deadline=None)
    @given(mutilated())
    def test_both_ways_agree_on_damage_and_never_raise(self, data):
        with pytest.MonkeyPatch.context() as patch:
            slow = slowly(data, patch)
        quick = messages(data)
        same(quick[0], slow[0])
        assert quick[1] == slow[1]
        check_track(quick[0])

    @settings(max_examples=100, deadline=None)
    @given(st.binary(max_size=300), st.booleans())
    def test_any_bytes_are_answered(self, data, framed):
        data = gpx(*TEN[:2])[:-30] + data if framed else data
        track, problems = read(data)
        assert len(track) or problems
        check_track(track)
        again, problems_again = read(data)
        same(track, again)
        assert problems == problems_again

    @settings(max_examples=60, deadline=None)
    @given(st.integers(0, 9), st.integers(0, 200))
    def test_one_hole_costs_the_points_it_touches(self, first, length):
        data = gpx(*TEN)
        at = data.index(b"<trkpt", data.index(f"52.{first:06d}".encode()) - 20)
        stop = min(at + length, data.index(b"</trkseg>"))
        track, _ = messages(data[:at] + b"\0" * (stop - at) + data[stop:])
        touched = {k for k in range(10) if span(data, k)[0] < stop and span(data, k)[1] > at}
        kept = set(np.round(track.lat % 1 * 1e6).astype(int).tolist())
        assert kept == set(range(10)) - touched


def span(data: bytes, k: int) -> tuple[int, int]:
    begin = data.index(b"<trkpt", data.index(f"52.{k:06d}".encode()) - 20)
    return begin, data.index(b"</trkpt>", begin) + 8


def check_track(track: Track) -> None:
    """What holds for every track that a reader gives."""
    assert (np.abs(track.lat) <= 90).all()
    assert (np.abs(track.lon) <= 180).all()
    assert {len(getattr(track, c)) for c in COLUMNS} == {len(track)}
    if len(track):
        assert track.segment[0] == 0
        assert set(np.diff(track.segment)) <= {0, 1}
    timed = ~np.isnat(track.time)
    within = np.diff(track.segment[timed]) == 0
    assert (np.diff(track.time[timed])[within] >= np.timedelta64(0)).all()
