"""Tables and speeds as other makes and spreadsheets spell them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime

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
