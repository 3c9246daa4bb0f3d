"""NMEA 0183: what it says, what it survives."""

from __future__ import annotations

import re
from functools import cache, reduce
from operator import xor

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from oplog.readers import nmea, read
from oplog.readers._nmea_scan import exclusive_or
from oplog.track import COLUMNS, Track
from oplog.units import KNOT_M_S


def line(body: str) -> str:
    return f"${body}*{reduce(xor, body.encode()):02X}\r\n"


def rmc(
    clock: str,
    minutes: str = "07.0000",
    status: str = "A",
    date: str = "020524",
    more: str = ",,A",
    talker: str = "GP",
    lon: str = "00012.5000,E",
) -> str:
    return line(f"{talker}RMC,{clock},{status},52{minutes},N,{lon},4.0,90.0,{date}{more}")


def gga(clock: str, minutes: str = "07.0000", quality: str = "1", talker: str = "GP") -> str:
    return line(f"{talker}GGA,{clock},52{minutes},N,00012.5000,E,{quality},09,0.8,40,M,46,M,,")


def gll(clock: str, minutes: str = "07.0000", status: str = "A") -> str:
    return line(f"GPGLL,52{minutes},N,00012.5000,E,{clock},{status},A")


def zda(clock: str, date: str = "02,05,2024") -> str:
    return line(f"GPZDA,{clock},{date},00,00")


def messages(text: str | bytes) -> tuple[Track, list[str]]:
    data = text if isinstance(text, bytes) else text.encode("latin-1")
    track, problems = read(data, name="x")
    return track, [str(p) for p in problems]


def times(track: Track) -> list[str]:
    return [str(t)[:23] for t in track.time]


def clocks(n: int) -> list[str]:
    return [f"0600{k:02d}.00" for k in range(n)]


class TestPublished:
    """Sentences and decodes of shared/reference/notes/nmea_gpx_time.md.

    Sources: NMEA Revealed (E. S. Raymond, GPSD project) and the tests of pynmea2.
    """

    DATED = "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B"

    def fix(self, *sentences: str) -> tuple[Track, list[str]]:
        return messages("\r\n".join(sentences) + "\r\n")

    def test_gga_that_ends_two_fields_early(self):
        track, said = self.fix(
            self.DATED, "$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M*47"
        )
        assert said == []
        assert track.lat[1] == pytest.approx(44.069006, abs=1e-7)
        assert track.lon[1] == pytest.approx(-121.31432683, abs=1e-7)
        assert times(track)[1] == "2017-01-10T00:10:43.000"
        assert (track.quality[1], track.hdop[1]) == (1, 0.98)

    def test_rmc(self):
        track, _ = self.fix(self.DATED)
        assert track.speed_m_s[0] == pytest.approx(0.2704 / 3.6, abs=1e-4)
        assert np.isnan(track.course_deg[0])
        assert times(track) == ["2017-01-10T00:10:31.000"]

    def test_rmc_of_the_last_century(self):
        track, _ = self.fix("$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68")
        assert (track.lat[0], track.lon[0]) == pytest.approx((49.274167, -123.185333), abs=5e-7)
        assert times(track) == ["1994-11-19T22:54:46.000"]
        assert track.speed_m_s[0] == 0.5 * KNOT_M_S
        assert track.course_deg[0] == 54.7

    def test_gll_and_zda(self):
        track, _ = self.fix(
            "$GNGLL,4404.14012,N,12118.85993,W,001037.00,A,A*67",
            "$GPZDA,160012.71,11,03,2004,-1,00*7D",
        )
        assert track.lat[0] == pytest.approx(44.069002, abs=1e-7)
        assert times(track) == ["2004-03-12T00:10:37.000"]  # the nearest midnight to 16:00:12

    def test_vtg(self):
        track, _ = self.fix(
            "$GPGGA,160012.71,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*60".replace(
                "*60", ""
            ),
            "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
        )
        assert len(track) == 0  # no checksum, in a log that has them
        body = "GPGGA,160012.71,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
        track, _ = self.fix(
            line(body).strip(),
            "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
            "$GPZDA,160012.71,11,03,2004,-1,00*7D",
        )
        assert track.speed_m_s[0] == pytest.approx(4.7226 / 3.6, abs=1e-6)
        assert track.course_deg[0] == 220.86

    @pytest.mark.parametrize(
        ("sentence", "lat", "lon"),
        [
            (
                "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
                48.1173,
                11.516667,
            ),
            (
                "$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
                -19.484083,
                24.1751,
            ),
        ],
    )
    def test_gga_without_any_date(self, sentence, lat, lon):
        track, said = self.fix(sentence)
        assert (track.lat[0], track.lon[0]) == pytest.approx((lat, lon), abs=5e-7)
        assert np.isnat(track.time[0])
        assert "no date anywhere" in said[0]

    def test_a_published_line_whose_checksum_is_wrong(self):
        track, said = self.fix(
            "$GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703, ,200417, , ,A*64", self.DATED
        )
        assert len(track) == 1
        assert said[0] == "x, line 1: checksum does not match; dropped"


class TestDamage:
    def test_wrong_checksum(self):
        good = [rmc(c) for c in clocks(5)]
        text = "".join(good).replace("060002.00,A,5207", "060002.00,A,5208")
        track, said = messages(text)
        assert len(track) == 4
        assert said == ["x, line 3: checksum does not match; dropped"]

    def test_lower_case_checksum(self):
        assert (
            len(messages("$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7b\n")[0])
            == 1
        )

    def test_cut_and_glued_lines(self):
        a, b, c = (rmc(x) for x in clocks(3))
        track, said = messages(a[:30] + b.strip() + c)
        assert times(track) == ["2024-05-02T06:00:01.000", "2024-05-02T06:00:02.000"]
        assert said == ["x, line 1: a sentence is cut short; dropped"]

    def test_cut_at_the_end_of_the_file(self):
        whole = "".join(rmc(x) for x in clocks(3))
        for length in range(len(whole) - len(rmc("060000.00")) + 8, len(whole) - 2):
            track, said = messages(whole[:length])
            assert len(track) == 2
            assert len(said) == 1

    def test_a_line_without_checksum_in_a_log_that_has_them(self):
        track, said = messages(
            "".join(rmc(c) for c in clocks(3)) + rmc("060009.00").split("*")[0] + "\r\n"
        )
        assert len(track) == 3
        assert "without checksum" in said[0]

    def test_a_log_without_any_checksum(self):
        track, said = messages("".join(rmc(c).split("*")[0] + "\r\n" for c in clocks(5)))
        assert (len(track), said) == (5, [])

    @pytest.mark.parametrize(
        "place",
        [
            "5207.0000,,00012.5000,E",
            "5207.0000,N,00012.5000,",
            "5260.0000,N,00012.5000,E",
            "5207.0000,N,00072.5000,E",
            "9107.0000,N,00012.5000,E",
            "5207.0000,N,18112.5000,E",
            "52.07.00,N,00012.5000,E",
            "5207.0000,E,00012.5000,N",
            "5207.0000,N,,",
            "-5207.0,N,00012.5,E",
        ],
    )
    def test_places_that_cannot_be(self, place):
        bad = line(f"GPRMC,060001.00,A,{place},4.0,90.0,020524,,,A")
        track, said = messages(rmc("060000.00") + bad + rmc("060002.00"))
        assert len(track) == 2
        assert said[0].startswith("x, line 2: a position that cannot be one")

    def test_binary_between(self):
        ubx = b"\xb5\x62\x01\x07\x5c\x00" + bytes(range(90)) + b"\x12\x34"
        rtcm = b"\xd3\x00\x13" + bytes(range(128, 150)) + b"$\n\r*"
        parts = [rmc(c).encode() for c in clocks(4)]
        track, said = messages(parts[0] + ubx + parts[1] + rtcm + parts[2] + ubx + parts[3])
        assert len(track) == 4
        assert any("binary data between" in s for s in said)

    def test_tag_blocks_and_logger_prefixes(self):
        text = (
            "\\s:r003669945,c:1120959341*73\\"
            + rmc("060000.00")
            + "2024-05-02 06:00:01.123: "
            + rmc("060001.00")
            + "[INFO] nmea> "
            + rmc("060002.00")
        )
        track, said = messages(text)
        assert (len(track), said) == (3, [])

    def test_sentences_in_comments_are_no_fixes(self):
        track, _ = messages("# like " + rmc("050000.00") + rmc("060000.00"))
        assert times(track) == ["2024-05-02T06:00:00.000"]

    def test_unknown_and_proprietary_sentences_are_counted(self):
        text = rmc("060000.00") + line("PUBX,00,1") * 3 + line("GPXYZ,1") + line("GPGSV,1,1,00")
        track, said = messages(text)
        assert len(track) == 1
        assert said == ["x: sentences of other kinds (GPXYZ, PUBX) (4 times); ignored"]

    @pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
    def test_line_ends(self, end):
        assert len(messages("".join(rmc(c) for c in clocks(4)).replace("\r\n", end))[0]) == 4

    def test_a_console_capture_in_utf_16(self):
        text = "".join(rmc(c) for c in clocks(4))
        track, said = messages(text.encode("utf-16"))
        assert (len(track), said) == (4, [])

    def test_no_sentence_with_a_place(self):
        track, said = messages(line("GPGSV,1,1,00") + line("GPVTG,,T,,M,0.0,N,0.0,K"))
        assert len(track) == 0
        assert said == ["x: NMEA sentences, but none with a position; nothing to read"]

    def test_no_fix_at_all_is_said_without_losing_the_count(self):
        track, said = messages("".join(rmc(c, status="V") for c in clocks(3)))
        assert len(track) == 0
        assert said == ["x, line 1: the receiver had no fix (3 times); set aside"]


class TestFixes:
    def test_void_is_no_fix(self):
        track, said = messages(rmc("060000.00", status="V") + rmc("060001.00"))
        assert times(track) == ["2024-05-02T06:00:01.000"]
        assert said == ["x, line 1: the receiver had no fix; set aside"]

    @pytest.mark.parametrize("quality", "678")
    def test_not_measured(self, quality):
        text = gga("060000.00", quality=quality) + rmc("060001.00")
        track, said = messages(text)
        assert len(track) == 1
        assert "not measured" in said[0]

    def test_quality_0_is_no_fix(self):
        track, said = messages(gga("060000.00", quality="0") + rmc("060001.00"))
        assert len(track) == 1
        assert "no fix" in said[0]

    @pytest.mark.parametrize("quality", "123459")
    def test_qualities_kept(self, quality):
        track, _ = messages(gga("060000.00", quality=quality) + rmc("060000.00"))
        assert track.quality.tolist() == [int(quality)]

    def test_rmc_4_1_with_navigational_status_v_is_a_fix(self):
        track, said = messages(rmc("060000.00", more=",,,A,V"))
        assert (len(track), said) == (1, [])
        assert track.quality[0] == 1

    @pytest.mark.parametrize(
        ("mode", "quality"), [("A", 1), ("D", 2), ("P", 3), ("R", 4), ("F", 5)]
    )
    def test_quality_from_the_mode(self, mode, quality):
        assert messages(rmc("060000.00", more=f",,,{mode}"))[0].quality[0] == quality

    @pytest.mark.parametrize("mode", "EMSN")
    def test_modes_that_are_not_measured(self, mode):
        assert len(messages(rmc("060000.00", more=f",,,{mode}"))[0]) == 0

    def test_talkers_of_one_epoch_are_one_fix(self):
        text = "".join(
            rmc(c, talker="GN")
            + gga(c, talker="GP")
            + gga(c, talker="GL")
            + gll(c)
            + line("GNVTG,90.0,T,,M,4.0,N,7.4,K,A")
            for c in clocks(3)
        )
        track, said = messages(text)
        assert (len(track), said) == (3, [])
        assert track.hdop.tolist() == [0.8] * 3
        assert track.device == "NMEA GLGGA GNRMC GNVTG GPGGA GPGLL"

    def test_a_place_said_after_the_epoch_is_closed_is_another_fix(self):
        """As a plotter writes it that goes on within the second its clock shows."""
        early = "".join(rmc(c) + gga(c) + gll(c) for c in clocks(12))
        turned = gga("060012.00") + gll("060012.00") + rmc("060012.00", "07.0002")
        track, said = messages(early + turned)
        assert times(track)[-3:] == ["2024-05-02T06:00:11.000"] + 2 * ["2024-05-02T06:00:12.000"]
        assert (track.lat[-2:] - 52) * 60 == pytest.approx([7.0, 7.0002])
        assert said == ["x, line 39: a second place for the same moment; kept behind the first"]

    def test_a_place_rounded_further_is_no_other_fix(self):
        early = "".join(rmc(c) + gga(c) + gll(c) for c in clocks(12))
        turned = gga("060012.00") + gll("060012.00", "07.12346") + rmc("060012.00", "07.1234")
        assert len(messages(early + turned)[0]) == 13

    def test_two_receivers_of_one_name_are_both_read(self):
        """Which makes it seen, further on, that a file is of two machines."""
        text = "".join(rmc(c, "07.0000") + rmc(c, "08.0000") for c in clocks(5))
        assert len(messages(text)[0]) == 10

    def test_two_receivers_of_different_names_are_both_read_where_far_apart(self):
        text = "".join(rmc(c, "07.0000") + rmc(c, "07.5000", talker="GN") for c in clocks(5))
        assert len(messages(text)[0]) == 10

    @pytest.mark.parametrize(
        ("sentence", "told"),
        [
            ("GPDTM,W84,,0.0,N,0.0,E,0.0,W84", ""),
            ("PGRMM,WGS 84", ""),
            ("GPDTM,999,,0.08,N,0.07,E,-47.7,W84", "WGS 84 (999) (3 times)"),
            ("PGRMM,NAD83", "WGS 84 (NAD83) (3 times)"),
        ],
    )
    def test_another_datum_is_told(self, sentence, told):
        track, said = messages("".join(rmc(c) + line(sentence) for c in clocks(3)))
        assert len(track) == 3
        said = [s for s in said if "ignored" not in s]
        assert [told in s for s in said] == [True] * bool(told)

    @pytest.mark.parametrize("talker", ["GP", "GN", "GL", "GA", "GB", "GQ", "BD", "GI"])
    def test_talkers(self, talker):
        assert len(messages(rmc("060000.00", talker=talker))[0]) == 1

    def test_the_finest_place_is_taken_where_the_fix_is_corrected(self):
        text = gga("060000.00", "07.1234567", quality="4") + rmc("060000.00", "07.1235")
        assert messages(text)[0].lat[0] == pytest.approx(52 + 7.1234567 / 60, abs=1e-12)

    @pytest.mark.parametrize(
        ("modes", "quality"), [("AN", 1), ("DA", 2), ("RR", 4), ("NF", 5), ("NN", 0), ("AAAAAA", 1)]
    )
    def test_gns(self, modes, quality):
        body = f"GNGNS,060000.00,5207.0000,N,00012.5000,E,{modes},09,0.8,40,46,,"
        track, _ = messages(line(body) + zda("060000.00"))
        assert track.quality.tolist() == ([quality] if quality else [])

    def test_the_older_vtg(self):
        track, _ = messages(
            rmc("060000.00").replace("4.0,90.0", "4.0,90.0")
            + gga("060001.00")
            + line("GPVTG,45.0,44.0,10.0,18.5")
        )
        assert track.speed_m_s[1] == pytest.approx(10 * KNOT_M_S)
        assert track.course_deg[1] == 45


class TestDates:
    def test_before_the_first_date(self):
        text = gga("060000.00") + gga("060001.00") + rmc("060002.00")
        assert times(messages(text)[0]) == [f"2024-05-02T06:00:0{k}.000" for k in range(3)]

    def test_only_in_zda(self):
        text = "".join(gga(c) + zda(c) for c in clocks(3))
        assert times(messages(text)[0]) == [f"2024-05-02T06:00:0{k}.000" for k in range(3)]

    def test_times_only_in_gll(self):
        text = "".join(gll(c) for c in clocks(3)) + zda("060003.00")
        assert len(messages(text)[0]) == 3

    def test_midnight_between_gga_and_rmc(self):
        text = (
            rmc("235958.00", date="311223")
            + gga("235959.00")
            + rmc("000000.00", date="010124")
            + gga("000001.00")
        )
        assert times(messages(text)[0]) == [
            "2023-12-31T23:59:58.000",
            "2023-12-31T23:59:59.000",
            "2024-01-01T00:00:00.000",
            "2024-01-01T00:00:01.000",
        ]

    def test_first_date_after_midnight_dates_the_evening_before(self):
        text = gga("235959.00") + rmc("000000.00", date="010124")
        assert times(messages(text)[0])[0] == "2023-12-31T23:59:59.000"

    def test_a_factory_date_without_fix_dates_nothing(self):
        text = rmc("060000.00", status="V", date="060180") + gga("060001.00") + rmc("060002.00")
        assert times(messages(text)[0]) == ["2024-05-02T06:00:01.000", "2024-05-02T06:00:02.000"]

    @pytest.mark.parametrize("date", ["300224", "000024", "311324", "2024", "abcdef", ""])
    def test_no_such_date(self, date):
        track, _ = messages(rmc("060000.00", date=date) + rmc("060001.00"))
        assert times(track)[0] == "2024-05-02T06:00:00.000"

    @pytest.mark.parametrize("clock", ["066000.00", "060061.00", "6000", "06000x", ""])
    def test_no_such_time(self, clock):
        track, _ = messages(rmc(clock) + rmc("060001.00"))
        assert times(track) == ["2024-05-02T06:00:01.000"]

    def test_second_60(self):
        track, _ = messages(rmc("235960.00", date="311216"))
        assert str(track.time[0]) == "2016-12-31T23:59:59.999999"

    @pytest.mark.parametrize("hertz", [5, 10, 20, 25])
    def test_fast_receivers(self, hertz):
        ticks = [f"0600{k // hertz:02d}.{round(k % hertz * 100 / hertz):02d}" for k in range(100)]
        track, said = messages("".join(rmc(c) + gga(c) for c in ticks))
        assert (len(track), said) == (100, [])
        assert set(np.diff(track.time).astype(int)) == {1_000_000 // hertz}

    def test_one_instant_rounded_in_two_ways_is_one_fix(self):
        text = "".join(
            gll(f"0600{k:02d}.758") + gga(f"0600{k:02d}.76") + rmc(f"0600{k:02d}.76")
            for k in range(5)
        )
        track, said = messages(text)
        assert (len(track), said) == (5, [])

    def test_a_sentence_that_comes_late_belongs_to_its_own_epoch(self):
        text = "".join(
            rmc(f"0600{k:02d}.00") + (gll(f"0600{k - 1:02d}.00") if k else "") for k in range(20)
        )
        track, said = messages(text)
        assert (len(track), said) == (20, [])
        assert (track.segment == 0).all()

    def test_a_zda_that_runs_ahead_moves_nothing(self):
        text = "".join(
            gga(f"0600{k:02d}.00") + rmc(f"0600{k:02d}.00") + zda(f"0600{k + 2:02d}.00")
            for k in range(10)
        )
        track, said = messages(text)
        assert (len(track), said) == (10, [])

    def test_a_step_backwards_cuts(self):
        text = "".join(rmc(c) for c in ["060010.00", "060011.00", "050000.00", "050001.00"])
        track, said = messages(text)
        assert track.segment.tolist() == [0, 0, 1, 1]
        assert said == ["x, line 3: time steps backwards; a new segment begins there"]

    def test_the_same_fixes_twice_are_kept_once(self):
        text = "".join(rmc(c) for c in clocks(5))
        track, said = messages(text + text)
        assert len(track) == 5
        assert said == ["x, line 6: the same time and place again (5 times); kept once"]

    def test_a_gap_is_no_break(self):
        track, _ = messages(rmc("060000.00") + rmc("070000.00"))
        assert track.segment.tolist() == [0, 0]


def test_blocks_make_no_difference(monkeypatch):
    text = "".join(rmc(c) + gga(c) for c in clocks(60)).encode()
    whole = read(text)
    monkeypatch.setattr(nmea, "BLOCK_BYTES", 300)
    parts = read(text)
    for column in COLUMNS:
        np.testing.assert_array_equal(getattr(whole[0], column), getattr(parts[0], column))
    assert whole[1] == parts[1]


LOG = "".join(rmc(c) + gga(c) + gll(c) + zda(c) for c in clocks(12)).encode()


@st.composite
def mutilated(draw: st.DrawFn) -> bytes:
    data = bytearray(LOG)
    pieces = [
        b"$",
        b"*",
        b"\n",
        b",",
        b"$GPRMC,",
        b"\0",
        b"*00\r\n",
        b"\xb5b\x01\x07",
        b"-",
        b"#",
        b"99",
    ]
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(0, len(data) - 1))
        stop = at + draw(st.sampled_from([0, 0, 1, 10, 200]))
        data[at:stop] = draw(st.one_of(st.sampled_from(pieces), st.binary(max_size=8)))
    return bytes(data)


def forged(data: bytes) -> bool:
    """Whether a damaged sentence adds up by chance (a doubled digit is enough)."""
    pairs = re.findall(rb"\$([^$*\r\n]*)\*([0-9A-Fa-f]{2})", data)
    return any(
        reduce(xor, body, 0) == int(check, 16) and b"$" + body + b"*" not in LOG
        for body, check in pairs
    )


@cache
def fixes_of_the_whole_log() -> set[tuple[str, float, float]]:
    whole, _ = read(LOG)
    return {(str(t), a, o) for t, a, o in zip(whole.time, whole.lat, whole.lon, strict=True)}


@settings(max_examples=100, deadline=None)
@given(mutilated())
def test_damage_never_makes_a_fix_that_was_not_there(data):
    assume(not forged(data))
    track, problems = read(data)
    again, problems_again = read(data)
    assert problems == problems_again
    for column in COLUMNS:
        np.testing.assert_array_equal(getattr(track, column), getattr(again, column))
    known = fixes_of_the_whole_log()
    found = {(str(t), a, o) for t, a, o in zip(track.time, track.lat, track.lon, strict=True)}
    assert found <= known


@settings(max_examples=100, deadline=None)
@given(
    st.binary(max_size=400), st.sampled_from([b"", b"$GPRMC,1,A,", b"$GPGGA,", b"$GPZDA,060000,"])
)
def test_any_bytes_are_answered(data, start):
    read(start + data + b"\n" + start)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 86_399_99),
            st.floats(-89.9, 89.9).filter(lambda x: abs(x) > 1e-4),
            st.floats(-179.9, 179.9),
        ),
        min_size=1,
        max_size=20,
        unique_by=lambda x: x[0],
    )
)
def test_what_is_written_is_read(fixes):
    text, lats, lons = "", [], []
    for centi, lat, lon in sorted(fixes):
        second, hundredth = divmod(centi, 100)
        clock = f"{second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}.{hundredth:02d}"
        a, o = degrees_minutes(lat, 2), degrees_minutes(lon, 3)
        text += line(f"GPRMC,{clock},A,{a},{'NS'[lat < 0]},{o},{'EW'[lon < 0]},1.0,2.0,020524,,,A")
        lats.append(lat)
        lons.append(lon)
    track, said = messages(text)
    np.testing.assert_allclose(track.lat, lats, atol=1e-9)
    np.testing.assert_allclose(track.lon, lons, atol=1e-9)
    assert (track.time.astype(np.int64) // 10_000 % 8_640_000).tolist() == sorted(
        f[0] for f in fixes
    )
    assert said == []


def degrees_minutes(value: float, width: int) -> str:
    whole, minutes = divmod(round(abs(value) * 60e8), 60 * 10**8)
    return f"{whole:0{width}d}{minutes // 10**8:02d}.{minutes % 10**8:08d}"


@given(st.binary(min_size=1, max_size=80), st.data())
def test_checksums_eight_bytes_at_a_time_are_those_byte_by_byte(
    data: bytes, draw: st.DataObject
) -> None:
    at = draw.draw(st.lists(st.tuples(*[st.integers(0, len(data))] * 2), min_size=1))
    start, end = np.sort(np.array(at), axis=1).T
    found = exclusive_or(np.frombuffer(data, np.uint8), start, end)
    assert found.tolist() == [reduce(xor, data[a:b], 0) for a, b in zip(start, end, strict=True)]
