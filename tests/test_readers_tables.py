"""Tables and speeds as other makes and spreadsheets spell them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from time import process_time

import pytest

from oplog import flow, log
from oplog.flow import Told
from oplog.readers import read
from oplog.units import KMH_M_S, KNOT_M_S, MPH_M_S
from tests.test_readers_habits import FIXES, assert_right, came_in, iso

Row = Callable[[datetime, float, float], str]
MOVES_M_S = 1.757
"""How fast the fixes of FIXES follow one another."""


def table(header: str, row: Row, fixes: Iterable[tuple[datetime, float, float]] = FIXES) -> str:
    return "\n".join([header, *(row(*f) for f in fixes)]) + "\n"


SPELLED: dict[str, tuple[str, Row]] = {
    "blanks before quotes": ("time, lat, lon", lambda t, a, o: f'"{iso(t)}", "{a:.9f}", "{o:.9f}"'),
    "single quotes": ("'time','lat','lon'", lambda t, a, o: f"'{iso(t)}','{a:.9f}','{o:.9f}'"),
    "kept as text": ("time,lat,lon", lambda t, a, o: f"'{iso(t)},{a:.9f},{o:.9f}"),
    "a formula": ("time,lat,lon", lambda t, a, o: f'="{iso(t)}",{a:.9f},{o:.9f}'),
    "colons in the date": ("UTC,lat,lon", lambda t, a, o: f"{t:%Y:%m:%d %H:%M:%S},{a:.9f},{o:.9f}"),
    "weekday and month": (
        "time,lat,lon",
        lambda t, a, o: f'"{t:%a, %d %b %Y %H:%M:%S} GMT",{a:.9f},{o:.9f}',
    ),
    "weekday, month first": (
        "time,lat,lon",
        lambda t, a, o: f"{t:%a %b %d %Y %H:%M:%S} GMT+0000,{a:.9f},{o:.9f}",
    ),
    "Polish": (
        "Czas;Szerokość geograficzna;Długość geograficzna",
        lambda t, a, o: f"{iso(t)};{a:.9f};{o:.9f}".replace(".", ","),
    ),
    "Danish": ("Tid;Breddegrad;Længdegrad", lambda t, a, o: f"{iso(t)};{a:.9f};{o:.9f}"),
    "minutes as NMEA has them": (
        "utc,latitude,n/s,longitude,e/w",
        lambda t, a, o: f"{iso(t)},52{a % 1 * 60:011.8f},N,000{o % 1 * 60:011.8f},E",
    ),
    "a note with a comma": (
        "time,lat,lon,note",
        lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f},gate{', shut' * (t.second == 7)}",
    ),
}  # fmt: skip


@pytest.mark.parametrize("how", SPELLED)
def test_spellings(how):
    track, said = came_in(table(*SPELLED[how]))
    assert_right(track, 200)
    assert said == []


def test_decimal_commas_between_commas_are_no_places(farm: log.Log):
    """52,0000123 would be read as 52 degrees north, 123 degrees east."""
    data = table(
        "time,lat,lon", lambda t, a, _: f"{iso(t)},{52 + a / 1e7:.7f},0,1".replace(".", ",")
    )
    (file,) = flow.import_files(farm, [("f.csv", data.encode())], Told(machine="blue")).files
    assert "decimal commas in a table parted by commas?) (200 times)" in file.refused


@pytest.mark.parametrize("date", ["%y%m%d", "%d%m%y", "%d.%m.%y", "%y-%m-%d"])
def test_years_of_two_digits_are_asked_for(farm: log.Log, date: str):
    """260602 is the second of June, or the 26th."""
    data = table("DATE,TIME,LAT,LON", lambda t, a, o: f"{t:{date}},{t:%H%M%S},{a:.9f},{o:.9f}")
    told = Told(machine="blue", zone="UTC")
    (file,) = flow.import_files(farm, [("f.csv", data.encode())], told).files
    assert "a year of two digits, that can be read year first or day first" in file.refused
    assert "Export it with the whole year first" in file.refused


@pytest.mark.parametrize(
    ("unit", "name"), [(KMH_M_S, "km/h"), (KNOT_M_S, "knots"), (MPH_M_S, "miles an hour")]
)
def test_the_unit_of_a_speed_shows_by_the_way(unit, name):
    stated = MOVES_M_S / unit
    for text in (
        table("time,lat,lon,speed", lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f},{stated:.3f}"),
        points(lambda k: f'<extensions><speed unit="{name}">{stated:.3f}</speed></extensions>'),
    ):
        track, said = came_in(text)
        assert track.speed_m_s == pytest.approx(MOVES_M_S, rel=0.01)
        assert said == [f"speeds are in {name}, by the way from fix to fix"]


def points(more: Callable[[int], str]) -> str:
    inside = "".join(
        f'<trkpt lat="{a:.9f}" lon="{o:.9f}"><time>{iso(t)}</time>{more(k)}</trkpt>\n'
        for k, (t, a, o) in enumerate(FIXES)
    )
    return f"<gpx><trk><trkseg>{inside}</trkseg></trk></gpx>"


def test_a_speed_in_metres_a_second_or_of_no_unit_that_fits_is_left():
    for stated in (MOVES_M_S, 0.9 * MOVES_M_S, 2.6 * MOVES_M_S, 0.0):
        track, said = came_in(points(lambda _, v=stated: f"<speed>{v:.3f}</speed>"))
        assert track.speed_m_s == pytest.approx(stated, abs=1e-3)
        assert said == []


def test_a_cell_may_hold_its_unit():
    stated = f"{MOVES_M_S / KMH_M_S:.3f}"
    for cell in (f"{stated} km/h", stated.replace(".", ",") + " km/h"):
        track, _ = came_in(
            table("time;lat;lon;speed", lambda t, a, o, v=cell: f"{iso(t)};{a:.9f};{o:.9f};{v}")
        )
        assert track.speed_m_s == pytest.approx(MOVES_M_S, rel=0.01)


def test_a_document_type_in_a_comment_or_in_quoted_text_is_none():
    for inside in ("<!-- <!DOCTYPE gpx> -->", "<desc><![CDATA[<!DOCTYPE html><p>]]></desc>"):
        track, said = came_in(points(lambda k, t=inside: t * (k == 3)))
        assert_right(track, 200)
        assert said == []
    for unclosed in ("<!-- <!DOCTYPE gpx>", "<desc><![CDATA[<!ENTITY"):
        track, problems = read(f"<gpx>{unclosed}".encode(), name="x")
        assert len(track) == 0
        assert "document type" in problems[0].message


def serial(moment: datetime) -> float:
    """Days since the end of 1899, as spreadsheets count them."""
    return (moment - datetime(1899, 12, 30, tzinfo=moment.tzinfo)).total_seconds() / 86_400


def bare_clock(moment: datetime) -> str:
    return f"{moment.hour}:{moment.minute}:{moment.second}"


UTC_SPELLED: dict[str, tuple[str, Row]] = {
    "a spreadsheet's days": ("UTC,lat,lon", lambda t, a, o: f"{serial(t):.9f},{a:.9f},{o:.9f}"),
    "with a decimal comma": (
        "UTC;lat;lon",
        lambda t, a, o: f"{serial(t):.9f};{a:.9f};{o:.9f}".replace(".", ","),
    ),
    "a spreadsheet's day, and its part": (
        "date utc,time utc,lat,lon",
        lambda t, a, o: f"{int(serial(t))},{serial(t) % 1:.9f},{a:.9f},{o:.9f}",
    ),
    "a column for each": (
        "Year,Month,Day,Hour (UTC),Minute,Second,lat,lon",
        lambda t, a, o: (
            f"{t.year},{t.month},{t.day},{t.hour},{t.minute},{t.second},{a:.9f},{o:.9f}"
        ),
    ),
    "a column for each part of the date": (
        "year,month,day,time utc,lat,lon",
        lambda t, a, o: f"{t.year},{t.month},{t.day},{t:%H:%M:%S},{a:.9f},{o:.9f}",
    ),
    "no leading zeros": (
        "utc,lat,lon",
        lambda t, a, o: f"{t.year}-{t.month}-{t.day} {bare_clock(t)},{a:.9f},{o:.9f}",
    ),
    "weeks": ("utc,lat,lon", lambda t, a, o: f"{t:%G-W%V-%uT%H:%M:%SZ},{a:.9f},{o:.9f}"),
    "days of the year": ("utc,lat,lon", lambda t, a, o: f"{t:%Y-%jT%H:%M:%SZ},{a:.9f},{o:.9f}"),
    "days, packed": ("utc,lat,lon", lambda t, a, o: f"{t:%Y%jT%H%M%SZ},{a:.9f},{o:.9f}"),
    "date utc, time utc": (
        "date utc,time utc,lat,lon",
        lambda t, a, o: f"{t:%Y-%m-%d},{t:%H:%M:%S},{a:.9f},{o:.9f}",
    ),
    "a line of units": (
        "time,lat,lon",
        lambda t, a, o: "UTC,°,°\n" * (t == FIXES[0][0]) + f"{iso(t)},{a:.9f},{o:.9f}",
    ),
    "the header again": (
        "time,lat,lon",
        lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f}" + "\ntime,lat,lon" * (t.second == 30),
    ),
    "forty lines before": (
        "key: value, more\n" * 40 + "time,lat,lon",
        lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f}",
    ),
    "more cells than names": ("time,lat,lon", lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f},2.5"),
    "minutes with a sign": (
        "time,lat,lon",
        lambda t, a, o: f"{iso(t)},+52{a % 1 * 60:011.8f},+000{o % 1 * 60:011.8f}",
    ),
}  # fmt: skip


@pytest.mark.parametrize("how", UTC_SPELLED)
def test_more_spellings(how):
    track, said = came_in(table(*UTC_SPELLED[how]))
    assert_right(track, 200)
    assert said == []


@pytest.mark.parametrize("time", ["2026-124", "2026124", "2026-0504", "202654", "2026-5"])
def test_no_other_day_is_made_of_digits(time):
    """2026-124 is the 124th day, not the fourth of December."""
    track, _ = came_in(f"utc,lat,lon\n{time}T08:00:00Z,52.1,0.2\n")
    assert [str(t)[:10] for t in track.time] in ([], ["NaT"], ["2026-05-04"])


def test_milliseconds_in_a_column_of_their_own():
    stamps = [("08:00:00", 0), ("08:00:00", 100), ("08:00:00", 900), ("08:00:01", 5)]
    rows = "".join(f"2026-05-04 {c},{ms},52.{k},0.2\n" for k, (c, ms) in enumerate(stamps, 1))
    track, _ = came_in("utc,ms,lat,lon\n" + rows)
    assert [str(t)[17:23] for t in track.time] == ["00.000", "00.100", "00.900", "01.005"]
    counted = rows.replace(",900,", ",90000,")  # since the device was switched on
    track, _ = came_in("utc,ms,lat,lon\n" + counted)
    assert [str(t)[17:23] for t in track.time] == ["00.000", "00.000", "00.000", "01.000"]


def test_seconds_of_the_day_are_no_days():
    rows = "".join(f"{40_000 + k}.0,52.{k},0.2\n" for k in range(1, 9))
    track, said = came_in("utc,lat,lon\n" + rows)
    assert len(track) == 0
    assert said


class TestQuotes:
    ROWS = tuple(f"{iso(t)},{a:.9f},{o:.9f}," for t, a, o in FIXES)

    def text(self, *notes: tuple[int, str]) -> str:
        rows = [row + dict(notes).get(k, "ok") for k, row in enumerate(self.ROWS)]
        return "time,lat,lon,note\n" + "\n".join(rows) + "\n"

    def test_one_that_is_not_closed_swallows_nothing(self):
        for notes in (((5, '"6 in'),), ((5, '"6 in'), (90, '"8 in')), ((199, '"6 in'),)):
            track, problems = read(self.text(*notes).encode(), name="x")
            assert_right(track, 200)
            found = [(p.line, p.message) for p in problems]
            assert found in ([], [(7, "a quotation mark that is not closed")])
            assert found or notes[0][0] == 199

    def test_nor_in_a_long_file(self):
        text = self.text((5, '"6 in')) + "\n".join(r + "x" * 2000 for r in self.ROWS[1:]) + "\n"
        track, said = came_in(text)
        assert_right(track, 200)
        assert "a quotation mark that is not closed" in said

    def test_a_very_long_note_costs_nothing(self):
        track, said = came_in(self.text((5, "x" * 200_000)))
        assert_right(track, 200)
        assert said == []

    def test_a_note_may_have_lines_of_its_own(self):
        track, said = came_in(self.text((5, '"gate shut,\nstones, mended"')))
        assert_right(track, 200)
        assert said == []


def test_a_table_without_names_is_told_what_it_lacks():
    track, problems = read(b"2026-05-04T08:00:00Z,52.1,0.2\n2026-05-04T08:00:01Z,52.1,0.2\n")
    assert len(track) == 0
    assert "no line that names its columns" in problems[0].message
    assert "time,lat,lon" in problems[0].message


HEADERS = """Datum und Uhrzeit (UTC);geographische Breite;geographische Länge
Date et heure UTC;Latitude;Longitude
Fecha y hora UTC;latitud;longitud
Data e ora UTC;Latitudine;Longitudine
data i czas UTC;szerokość;długość
Datum a čas UTC;zeměpisná šířka;zeměpisná délka
Dato tid UTC;Breddegrad;Længdegrad
Päivä ja aika UTC;leveysaste;pituusaste
дата и время UTC;широта;долгота
Sample Time UTC;decimalLatitude;decimalLongitude
measured_at_utc;coords.latitude;coords.longitude
UTC;POINT_Y;POINT_X
position time (UTC);nav_lat;nav_lon"""


@pytest.mark.parametrize("header", HEADERS.splitlines())
def test_headers(header):
    track, said = came_in(table(header, lambda t, a, o: f"{t:%Y-%m-%d %H:%M:%S};{a:.9f};{o:.9f}"))
    assert_right(track, 200)
    assert said == []


@pytest.mark.parametrize(
    "name",
    ["velocidad km/h", "velocità (km/h)", "hastighet km/h", "snelheid km/h", "km/h", "spd_kmh"],
)
def test_speeds_by_other_names(name):
    stated = f"{MOVES_M_S / KMH_M_S:.3f}"
    track, said = came_in(
        table(f"time;lat;lon;{name}", lambda t, a, o: f"{iso(t)};{a:.9f};{o:.9f};{stated}")
    )
    assert track.speed_m_s == pytest.approx(MOVES_M_S, rel=0.01)
    assert said == []


def test_no_header_takes_long():
    """Words that can be taken apart in two ways would double the time with each."""
    words = ("timesecs", "latdegsdeg", "lonew", "sampled", "date", "datum", "utc", "seconds", "ns")
    begun = process_time()
    for word in words:
        for start in ("", "time", "lat", "lon"):
            came_in(f"{start}{word * 200}x,lat,lon\n1,2,3\n")
            came_in(f"{start}{(word * 20)[:70]}x,lat,lon\n1,2,3\n")
    assert process_time() - begun < 5


@pytest.mark.parametrize("ends", [("\n", "\r"), ("\r\n", "\n"), ("\r\r\n",), ("\r\n", "\r", "\n")])
def test_line_ends_of_any_kind_in_one_file(ends):
    rows = ["time,lat,lon", *(f"{iso(t)},{a:.9f},{o:.9f}" for t, a, o in FIXES)]
    text = "".join(row + ends[k % len(ends)] for k, row in enumerate(rows))
    track, said = came_in(text)
    assert_right(track, 200)
    assert said == []
    bad = text.replace(f"{FIXES[9][1]:.9f}", "x", 1)
    assert read(bad.encode(), name="x")[1][0].line == 11


class TestDamagedTables:
    ROWS = tuple(f"{iso(t)},{a:.9f},{o:.9f}" for t, a, o in FIXES)
    WHOLE = "time,lat,lon\n" + "\n".join(ROWS) + "\n"

    @pytest.mark.parametrize("cut", range(2, 40, 3))
    @pytest.mark.parametrize("tail", [b"", b"\0" * 700])
    def test_a_line_that_is_cut_short_is_no_fix(self, cut, tail):
        """Half a longitude is a place too, only another one."""
        track, problems = read(self.WHOLE.encode()[:-cut] + tail, name="x")
        assert_right(track, 199)
        assert "the last line is cut short" in [p.message for p in problems]

    def test_so_it_is_in_a_file_of_few_lines(self):
        text = "# remark\n" + "\n".join(self.WHOLE.splitlines()[:5])
        track, said = came_in(text[:-4])
        assert_right(track, 3)
        assert said == ["the last line is cut short"]

    def test_a_last_line_without_its_end_is_one(self):
        track, said = came_in(self.WHOLE.rstrip())
        assert_right(track, 200)
        assert said == []

    def test_nor_is_one_cut_that_is_as_long_as_numbers_happen_to_be(self):
        """Where zeros at the end of numbers are left out, rows differ by a digit now and then."""
        rows = [f"{iso(t)},{52.31 + k * 1e-4:.4f}1,0.15" for k, (t, _, _) in enumerate(FIXES)]
        rows[60] = rows[60] + "7"
        text = "time,lat,lon\n" + "\n".join(rows[:70])
        assert len(came_in(text[:-1])[0]) == 70
        assert len(came_in(text[:-3])[0]) == 69

    @pytest.mark.parametrize("instead", ["", "\xff", " "])
    def test_a_lost_line_end_is_told(self, instead):
        """The second of two rows went without a word."""
        rows = table("time,lat,lon,speed", lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f},2.5")
        track, said = came_in(
            rows.replace("2.5\n2026-06-02T08:01", f"2.5{instead}2026-06-02T08:01", 1)
        )
        assert_right(track, 199)
        assert said == ["another row in the same line, as its line end was lost"]

    @pytest.mark.parametrize("at", range(3000, 3060, 3))
    def test_a_hole_never_joins_two_halves_of_numbers(self, at):
        data = self.WHOLE.encode()
        track, problems = read(data[:at] + b"\0" * 100 + data[at + 100 :], name="x")
        assert 196 <= len(track) < 200
        assert_right(track, len(track))
        assert "zero bytes in the text" in [p.message for p in problems]

    @pytest.mark.parametrize("code", ["utf-16", "utf-16-le", "utf-16-be"])
    @pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
    def test_two_bytes_a_letter(self, code, end):
        text = self.WHOLE.replace("time", "Länge der Fahrt,time", 1).replace("\n2026", "\n,2026")
        track, problems = read(text.replace("\n", end).encode(code), name="x")
        assert_right(track, 200)
        assert problems == []
