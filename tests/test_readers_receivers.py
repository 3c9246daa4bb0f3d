"""Sentences as receivers of several makes write them, and clocks that are no clocks."""

from __future__ import annotations

import numpy as np
import pytest

from oplog.readers import nmea, read
from oplog.units import KNOT_M_S
from tests.test_readers_nmea import gga, line, messages, rmc, times, zda

FIRST, SECOND = "5207.0000,N,00012.5000,E", "5207.0100,N,00012.5000,E"


class TestClocks:
    def test_a_time_of_day_that_cannot_be_costs_only_its_own_sentence(self):
        track, said = messages(
            rmc("080000.00", "07.0000")
            + rmc("256199.00", "09.9999")
            + gga("0800xx.00", "09.9999")
            + rmc("080001.00", "07.0100")
        )
        assert times(track) == ["2024-05-02T08:00:00.000", "2024-05-02T08:00:01.000"]
        assert track.lat == pytest.approx([52 + 7 / 60, 52 + 7.01 / 60], abs=1e-9)
        assert len(said) == 1
        assert "line 2" in said[0]
        assert "time cannot be read" in said[0]
        assert "(2 times)" in said[0]

    def test_a_void_sentence_with_such_a_time_denies_no_other_fix(self):
        track, _ = messages(rmc("080000.00") + rmc("256199.00", status="V"))
        assert len(track) == 1

    def test_a_place_without_any_time_does_not_move_the_fix_before(self):
        track, said = messages(rmc("080000.00") + gga("", "09.9999") + rmc("080001.00", "07.0100"))
        assert track.lat == pytest.approx([52 + 7 / 60, 52 + 7.01 / 60], abs=1e-9)
        assert any("time is missing" in s for s in said)

    def test_24_00_00_is_the_beginning_of_the_next_day(self):
        track, said = messages(
            rmc("235959.00", "07.0000")
            + rmc("240000.00", "07.0100")
            + rmc("000001.00", date="030524")
        )
        assert times(track) == [
            "2024-05-02T23:59:59.000",
            "2024-05-03T00:00:00.000",
            "2024-05-03T00:00:01.000",
        ]
        assert said == []

    def test_second_60_is_clamped_and_told(self):
        track, said = messages(rmc("235960.00", date="311216") + rmc("000000.00", date="010117"))
        assert times(track) == ["2016-12-31T23:59:59.999", "2017-01-01T00:00:00.000"]
        assert any("second 60" in s for s in said)


@pytest.mark.parametrize(
    ("letters", "kept"), [("MM", 0), ("SS", 0), ("SE", 0), ("SA", 1), ("N", 0)]
)
def test_places_typed_in_or_simulated_are_no_fixes_in_gns_either(letters, kept):
    sentence = line(f"GNGNS,080000.00,{FIRST},{letters},14,0.7,40.0,45.0,,")
    track, said = messages(sentence + zda("080000.00"))
    assert len(track) == kept
    assert bool(said) != bool(kept)


MAKERS = {
    "u-blox": "PUBX,00,{clock},{place},40.0,G3,2.1,2.0,9.0,90.00,0.007,,0.92,1.19,0.77,9,0,0",
    "Trimble": "PTNL,GGK,{clock},050224,{place},3,09,1.9,EHT150.790,M",
    "GGK": "GPGGK,{clock},050224,{place},3,09,1.9,EHT150.790,M",
    "Ashtech": "PASHR,POS,0,12,{clock},{place},40.0,,90.0,4.9,0.0,1.2,0.9,0.8,0.7,GA00",
    "SkyTraq": "PSTI,030,{clock},A,{place},40.0,2.50,0.00,0.01,020524,R,0.999,3.724",
    "Garmin": "PGRMF,380,115210,020524,{clock},18,{place},A,2,9,90,1,1",
}
UNDATED = ("u-blox", "Ashtech")


class TestMakersSentences:
    @pytest.mark.parametrize("maker", MAKERS)
    def test_they_are_read_where_there_are_no_others(self, maker):
        text = "".join(
            line(MAKERS[maker].format(clock=clock, place=place))
            for clock, place in (("080000.00", FIRST), ("080001.00", SECOND))
        )
        track, said = messages(text + zda("080001.00") if maker in UNDATED else text)
        assert times(track) == ["2024-05-02T08:00:00.000", "2024-05-02T08:00:01.000"]
        assert track.lat == pytest.approx([52 + 7 / 60, 52 + 7.01 / 60], abs=1e-9)
        assert track.lon == pytest.approx(12.5 / 60)
        assert said == []

    @pytest.mark.parametrize("maker", MAKERS)
    def test_beside_the_standard_ones_they_give_no_place(self, maker):
        other = line(MAKERS[maker].format(clock="080000.00", place=SECOND))
        track, _ = messages(other + rmc("080000.00") + gga("080000.00") + other)
        assert track.lat == pytest.approx([52 + 7 / 60], abs=1e-9)

    @pytest.mark.parametrize("maker", [m for m in MAKERS if m not in UNDATED])
    def test_but_the_date_where_no_other_is(self, maker):
        other = line(MAKERS[maker].format(clock="080000.00", place=SECOND))
        track, _ = messages(gga("080000.00") + other + gga("080001.00", "07.0100"))
        assert times(track) == ["2024-05-02T08:00:00.000", "2024-05-02T08:00:01.000"]
        assert track.lat == pytest.approx([52 + 7 / 60, 52 + 7.01 / 60], abs=1e-9)

    def test_the_date_of_pubx_04(self):
        track, _ = messages(gga("080000.00") + line("PUBX,04,080000.00,020524,113851.00,1196,15D"))
        assert times(track) == ["2024-05-02T08:00:00.000"]

    @pytest.mark.parametrize(
        ("maker", "old", "new"),
        [
            ("u-blox", ",G3,", ",NF,"),
            ("u-blox", ",G3,", ",DR,"),
            ("Trimble", ",3,09", ",0,09"),
            ("SkyTraq", ",A,", ",V,"),
            ("Garmin", ",A,2,", ",A,0,"),
        ],
    )
    def test_what_they_call_no_fix_is_none(self, maker, old, new):
        body = MAKERS[maker].format(clock="080000.00", place=FIRST).replace(old, new)
        track, said = messages(line(body) + zda("080000.00"))
        assert len(track) == 0
        assert said


def test_receivers_without_checksums_are_told_apart():
    def bare(text: str) -> str:
        return text.partition("*")[0] + "\r\n"

    old, plotter = (
        messages("".join(bare(sentence(f"0800{k:02d}.00")) for k in range(20)))[0]
        for sentence in (rmc, lambda clock: rmc(clock, talker="II"))
    )
    assert old.device != plotter.device


@pytest.mark.parametrize("order", ["utf-16-le", "utf-16-be"])
def test_two_bytes_a_letter_without_a_mark_at_the_beginning(order):
    text = rmc("080000.00") + gga("080000.00")
    assert len(read(text.encode(order))[0]) == 1


def test_a_block_without_a_single_comma(monkeypatch):
    monkeypatch.setattr(nmea, "BLOCK_BYTES", 512)
    filler = "# nothing to see here\r\n" * 40
    track, _ = messages(rmc("080000.00") + filler + "$GPRMCX\r\n" * 60 + filler + rmc("080001.00"))
    assert len(track) == 2
    assert np.isfinite(track.lat).all()


def quarters(days: int) -> list[str]:
    """Times of day every quarter of an hour, from six in the morning on for so many days."""
    return [f"{(6 + q // 4) % 24:02d}{q % 4 * 15:02d}00.00" for q in range(96 * days - 24)]


@pytest.mark.parametrize("dated", [0, 40, 255])
def test_one_date_does_for_days_on_end(dated):
    """The hours count on from it, and midnights are counted: not the nearest twelve hours."""
    text = ""
    for k, clock in enumerate(quarters(3)):
        day = 2 + (k + 24) // 96
        text += gga(clock, f"{k / 100:07.4f}") + zda(clock, f"{day:02d},05,2024") * (k == dated)
    track, said = messages(text)
    steps = np.diff(track.time) / np.timedelta64(1, "m")
    assert len(track) == 264
    assert set(steps.tolist()) == {15.0}
    assert str(track.time[0])[:16] == "2024-05-02T06:00"
    assert said == []


class TestSomeSentencesWithoutChecksum:
    """Some receivers write one to some of their sentences and none to others."""

    def test_a_kind_that_never_has_one_is_read(self):
        text = "".join(
            rmc(f"0800{k:02d}.00").partition("*")[0] + "\r\n" + gga(f"0800{k:02d}.00")
            for k in range(10)
        )
        track, said = messages(text)
        assert times(track)[0] == "2024-05-02T08:00:00.000"
        assert len(track) == 10
        assert said == []

    def test_a_kind_that_lost_it_is_not(self):
        text = "".join(gga(f"0800{k:02d}.00") + rmc(f"0800{k:02d}.00") for k in range(10))
        cut = rmc("080010.00").partition("*")[0] + "\r\n"
        track, said = messages(text + cut)
        assert len(track) == 10
        assert any("without checksum" in s for s in said)


def test_a_sentence_that_rounds_to_metres_is_not_preferred_for_coming_last():
    """Plotters and autopilots write two or three decimals of a minute: 18 m and 2 m."""
    text = ""
    for k in range(20):
        text += gga(f"0800{k:02d}.00", f"07.{k:04d}") + rmc(f"0800{k:02d}.00", "07.00")
    track, said = messages(text)
    assert track.lat == pytest.approx([52 + (7 + k / 1e4) / 60 for k in range(20)], abs=1e-9)
    assert said == []


def test_fields_may_be_padded_with_blanks():
    place = " 5207.0000,N,  00012.5000,E"
    track, said = messages(line(f"GPRMC, 080000.00,A,{place},  4.0, 90.0,020524,,,A"))
    assert track.lat == pytest.approx([52 + 7 / 60], abs=1e-9)
    assert track.speed_m_s == pytest.approx([4 * KNOT_M_S])
    assert said == []
    blanks = " " * 5000
    assert len(messages(rmc("080000.00") + line(f"GPRMC,{blanks},A,{blanks},N,{blanks}"))[0]) == 1


def test_a_date_may_have_its_whole_year():
    track, _ = messages(rmc("080000.00", date="02052024"))
    assert times(track) == ["2024-05-02T08:00:00.000"]
    assert len(messages(rmc("080000.00", date="02051024"))[1]) == 1


def test_places_before_the_first_time_are_counted():
    text = line(f"GPGLL,{FIRST},,A") * 3 + rmc("080000.00")
    track, said = messages(text)
    assert len(track) == 1
    assert said == ["x, line 1: time is missing (3 times); set aside"]


class TestDatesAtMidnight:
    """Some receivers write the date of the day before for a second or more after midnight."""

    CLOCKS = ("235957", "235958", "235959", "000000", "000001", "000002", "000003")

    def read(self, days: str) -> tuple[list[float], int, list[str]]:
        """Seconds since the first fix, how many segments, and what was said."""
        track, said = messages(
            "".join(
                rmc(f"{clock}.00", f"07.0{k}00", date=f"0{day}0524")
                for k, (clock, day) in enumerate(zip(self.CLOCKS, days, strict=True))
            )
        )
        seconds = (track.time - np.datetime64("2024-05-02T23:59:57")) / np.timedelta64(1, "s")
        return seconds.tolist(), int(track.segment.max()) + 1, said

    @pytest.mark.parametrize(
        ("days", "line", "count"), [("2222333", 4, 1), ("2222223", 4, 3), ("2233333", 3, 1)]
    )
    def test_one_that_its_neighbours_contradict_is_theirs(self, days, line, count):
        seconds, segments, said = self.read(days)
        assert (seconds, segments) == ([0, 1, 2, 3, 4, 5, 6], 1)
        assert len(said) == 1
        assert "contradict" in said[0]
        assert f"line {line}" in said[0]
        assert (f"({count} times)" in said[0]) == (count > 1)

    def test_one_that_is_right_is_left(self):
        assert self.read("2223333") == ([0, 1, 2, 3, 4, 5, 6], 1, [])

    def test_a_date_that_steps_back_for_good_is_left_and_told(self):
        seconds, segments, said = self.read("2222222")
        assert (seconds[-1], segments) == (6 - 86400, 2)
        assert "time steps backwards" in said[0]


def test_a_checksum_below_16_may_have_one_digit():
    """All sentences of such a receiver were dropped: the first digit hangs on their length."""
    body = "GNRMC,0800{:02d}.00,A,5207.0{:02d}0,N,00012.5000,E,4,90.0,020524,,"
    whole = "".join(line(body.format(k, k)) for k in range(20))
    assert whole.count("*0") == 20
    for text in (whole.replace("*0", "*"), whole.replace("*0", "*").rstrip()):
        track, said = messages(text)
        assert (len(track), said) == (20, [])
    assert len(messages(whole.replace("*0", "*1"))[0]) == 0


def test_degrees_with_decimals_are_no_minutes():
    """52.3 degrees were read as 52.3 minutes, in the sea off Ghana."""
    place = "52.300000,N,0.150000,E"
    track, said = messages(line(f"GPRMC,080000.00,A,{place},4.0,90.0,020524,,,A"))
    assert len(track) == 0
    assert "a position that cannot be one" in said[0]
    track, _ = messages(line("GPRMC,080000.00,A,0052.3000,N,00000.1500,E,4.0,90.0,020524,,,A"))
    assert track.lat == pytest.approx([52.3 / 60])


@pytest.mark.parametrize("date", ["060180", "010170"])
def test_a_clock_that_is_set_late_costs_no_fix_behind_it(date):
    """Where most were dated before there were receivers the rest was held back with them."""
    unset = [rmc(f"0000{k:02d}.00", f"06.0{k:02d}0", date=date) for k in range(40)]
    good = [rmc(f"0800{k:02d}.00", f"07.0{k:02d}0") for k in range(10)]
    track, said = messages("".join(unset + good))
    assert times(track) == [f"2024-05-02T08:00:0{k}.000" for k in range(10)]
    assert len(said) == 1
    assert "a clock that was not set" in said[0]
    assert "(40 times)" in said[0]
    assert len(messages("".join(unset))[0]) == 40


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_a_logger_that_leaves_out_the_dollar(end):
    """It reads up to that, and writes what follows."""
    whole = "".join(rmc(f"0800{k:02d}.00") + gga(f"0800{k:02d}.00") for k in range(20))
    bare = whole.replace("$", "").replace("\r\n", end)
    track, said = messages(bare)
    assert times(track) == [f"2024-05-02T08:00:{k:02d}.000" for k in range(20)]
    assert said == []
    track, said = messages(bare.replace("080005", "080006"))
    assert len(track) == 19
    assert "checksum does not match" in said[0]
    assert "line 11" in said[0]
