"""What the columns of a table say beside plain numbers, and what they must not be taken for."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from oplog.readers import read
from oplog.units import KNOT_M_S
from tests.test_readers_habits import FIXES, assert_right, came_in, iso
from tests.test_readers_tables import table


class TestOffsets:
    @pytest.mark.parametrize(
        ("name", "hours"),
        [
            ("Time (UTC+2)", 2),
            ("Time (UTC+02:00)", 2),
            ("Local time [GMT-5]", -5),
            ("UTC+2", 2),
            ("timestamp_utc+0530", 5.5),
            ("Time (+01:00)", 1),
            ("Time (UTC\u22123)", -3),
            ("Date/Time (UTC)", 0),
        ],
    )
    def test_a_name_says_how_far_from_utc_times_are(self, name, hours):
        track, said = came_in(
            table(
                f"{name},lat,lon",
                lambda t, a, o: f"{t + timedelta(hours=hours):%Y-%m-%d %H:%M:%S},{a:.9f},{o:.9f}",
            )
        )
        assert_right(track, 200)
        assert said == []

    def test_a_zone_in_the_cell_counts_for_more(self):
        track, _ = came_in(
            table("Time (UTC+2),lat,lon", lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f}")
        )
        assert_right(track, 200)

    def test_a_name_of_a_zone_alone_is_asked_for(self):
        text = table("Zeit (MESZ),lat,lon", lambda t, a, o: f"{t:%Y-%m-%d %H:%M:%S},{a},{o}")
        assert came_in(text)[1] == ["times are local times without a zone"]


@pytest.mark.parametrize("name", ["ns", "s", "we"])
def test_a_number_beside_the_place_is_no_hemisphere(name):
    """A count of satellites, a speed: its digit stood behind the last decimal of the place."""
    text = table(f"time,lat,lon,{name}", lambda t, a, o: f"{iso(t)},52.3,0.15,9")
    track, _ = came_in(text)
    assert set(track.lat.tolist()) == {52.3}
    assert set(track.lon.tolist()) == {0.15}


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("VALID", "SPS", "NO FIX"),
        ("valid", "true", "false"),
        ("valid", "t", "f"),
        ("GPS fix", "A", "V"),
        ("fix", "1", "0"),
        ("Fix Status", "3D", "invalid"),
        ("status", "A", "V"),
    ],
)
def test_a_place_that_the_receiver_only_remembers_is_no_fix(name, good, bad):
    text = table(
        f"time,lat,lon,{name}",
        lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f},{bad if t.second < 10 else good}",
    )
    track, problems = read(text.encode(), name="x")
    assert_right(track, 160)
    assert [(p.message, p.line, p.count) for p in problems] == [("the receiver had no fix", 2, 40)]


@pytest.mark.parametrize(
    ("name", "cell"),
    [("valid", "0"), ("fix", "{t.second}"), ("status", "{t.second}"), ("status", "V2")],
)
def test_a_column_that_says_something_else_denies_nothing(name, cell):
    text = table(
        f"time,lat,lon,{name}", lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f},{cell.format(t=t)}"
    )
    assert_right(came_in(text)[0], 200)


def test_columns_read_since_change_no_device():
    plain = table("time,lat,lon", lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f}")
    more = table("time,lat,lon,valid,status,location", lambda t, a, o: f"{iso(t)},{a},{o},1,A,Barn")
    assert came_in(plain)[0].device == came_in(more)[0].device


@pytest.mark.parametrize(
    "names", ["vehicle_lat,vehicle_lon", "Lati,Longi", "Enlem,Boylam", "纬度,经度", "緯度,経度"]
)
def test_names(names):
    text = table(f"time,{names}", lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f}")
    assert_right(came_in(text)[0], 200)


def test_the_unit_in_a_cell_counts_for_more_than_that_of_the_column():
    """It was left out, and the number taken for metres a second where little moves."""
    text = table("time,lat,lon,speed", lambda t, a, o: f"{iso(t)},52.3,0.15,4.0 kn")
    track, said = came_in(text)
    assert track.speed_m_s == pytest.approx(4 * KNOT_M_S)
    assert said == []


class TestJoined:
    def test_tables_with_their_columns_in_another_order(self):
        first = table("time,lat,lon", lambda t, a, o: f"{iso(t)},{a:.9f},{o:.9f}", FIXES[:100])
        second = table(
            "id,lon,speed,lat,time", lambda t, a, o: f"1,{o:.9f},2.5,{a:.9f},{iso(t)}", FIXES[100:]
        )
        for text in (first + second, first + "\n" + second):
            track, said = came_in(text)
            assert_right(track, 200)
            assert np.isnan(track.speed_m_s).sum() == 100
            assert said == []

    def test_one_with_fewer_columns(self):
        first = table(
            "id,x,lat,lon,time", lambda t, a, o: f"1,2,{a:.9f},{o:.9f},{iso(t)}", FIXES[:100]
        )
        second = table("lat,lon,time", lambda t, a, o: f"{a:.9f},{o:.9f},{iso(t)}", FIXES[100:])
        assert_right(came_in(first + second)[0], 200)


@pytest.mark.parametrize("header", ["time,lat,lon", "time,lon,lat"])
def test_rows_of_any_length_cost_only_themselves(header):
    """Where the latitude comes last a row that ends before it raised."""
    good = table(
        header,
        lambda t, a, o: (
            f"{iso(t)}," + (f"{a:.9f},{o:.9f}" if "lat,lon" in header else f"{o:.9f},{a:.9f}")
        ),
    )
    lines = good.splitlines()
    for short in ("2026-06-02T09:00:00Z", "2026-06-02T09:00:00Z,0.15", "x,y", "a,b,c,d"):
        track, said = came_in("\n".join([*lines[:100], short, *lines[100:], ""]))
        assert_right(track, 200)
        assert said == ["position is missing or not on earth"]


class TestPlacesInOneCell:
    @pytest.mark.parametrize(
        ("header", "cell"),
        [
            ("time;wkt", "POINT ({o:.9f} {a:.9f})"),
            ("time;the_geom", "SRID=4326\\;POINT Z({o:.9f} {a:.9f} 40)"),
            ("time;geometry", "Point({o:.9f}  {a:.9f})"),
            ("time;geometry", '"{{""type"":""Point"",""coordinates"":[{o:.9f},{a:.9f}]}}"'),
            ("time;Lat/Long", "{a:.9f},{o:.9f}"),
            ("time;LatLng", '"({a:.9f}, {o:.9f})"'),
            ("time;lon_lat", "{o:.9f} {a:.9f}"),
            ("time;Position", "{a:.9f}N {o:.9f}E"),
            ("time;Position", "E{o:.9f}, N{a:.9f}"),
        ],
    )
    def test_spellings(self, header, cell):
        if "\\;" in cell:
            header, cell = header.replace(";", "\t"), cell.replace("\\;", ";")
        parter = header[4]
        text = table(header, lambda t, a, o: iso(t) + parter + cell.format(a=a, o=o))
        track, said = came_in(text)
        assert_right(track, 200)
        assert said == []

    def test_two_bare_numbers_whose_order_nothing_tells_are_no_place(self):
        text = table("time;position", lambda t, a, o: f"{iso(t)};{a:.9f},{o:.9f}")
        assert len(came_in(text)[0]) == 0

    def test_places_on_another_grid_are_set_aside(self):
        text = table("time\twkt", lambda t, a, o: f"{iso(t)}\tSRID=27700;POINT ({o} {a})")
        assert len(came_in(text)[0]) == 0

    @pytest.mark.parametrize("between", ["\n", "\n  ", " "])
    def test_geojson_over_several_lines_is_no_table(self, between):
        points = ",\n".join(
            f'{{"type": "Feature", "properties": {{"time": "{iso(t)}"}}, "geometry":{between}'
            f'{{"type": "Point", "coordinates": [{o:.9f}, {a:.9f}]}}{between}}}'
            for t, a, o in FIXES
        )
        text = f'{{"features":\n[\n{points}\n]}}'.replace(', "geometry"', ',\n"geometry"')
        track, said = came_in(text)
        assert_right(track, 200)
        assert said == []

    def test_a_bad_cell_costs_only_itself(self):
        text = table(
            "time;wkt",
            lambda t, a, o: f"{iso(t)};" + ("POINT EMPTY" if t.second == 7 else f"POINT ({o} {a})"),
        )
        track, said = came_in(text)
        assert_right(track, 196)
        assert said == ["position is missing or not on earth"]


@pytest.mark.parametrize(
    ("cell", "degrees"),
    [
        ("52d18m30s", 52.308333333),
        ("52°18′30″S", -52.308333333),
        ("52 18 30 S", -52.308333333),
        ("S 52.5", -52.5),
        ("\u221252,5", -52.5),
        ("52.5 S", -52.5),
    ],
)
def test_places(cell, degrees):
    """The s of seconds was taken for the south."""
    track, _ = came_in(f"time;lat;lon\n2026-06-02T08:00:00Z;{cell};0.15\n")
    assert track.lat == pytest.approx([degrees])


@pytest.mark.parametrize(
    "spelled",
    [
        "{t:%d.%m.%Y, %H:%M:%S} Uhr",
        "{t:%d.%m.%Y.} {t:%H:%M:%S}",
        "{t.day}. Juni {t:%Y} um {t:%H:%M:%S}",
        "{t:%d} juin {t:%Y} à {t:%H:%M:%S}",
        "{t:%d}-giu-{t:%Y %H:%M:%S}",
        "{t.day} de junio de {t:%Y %H:%M:%S}",
        "{t.day} czerwca {t:%Y %H:%M:%S}",
        "{t.day}.{t.month}.{t.year} klo {t:%H.%M.%S}",
        "{t:%Y. %m. %d. %H:%M:%S}",
        "{t.year}年{t.month}月{t.day}日 {t:%H:%M:%S}",
        "{t:%Y-%m-%d %H.%M.%S}",
        "{t:%Y-%m-%d-%H-%M-%S}",
        "{t:%Y-%m-%d_%H:%M:%S}",
        "{t:%Y-%m-%d %H:%M:%S}:000",
        "{t:%Y-%m-%d} {t:%H}h{t:%M}m{t:%S}s",
        "[{t:%Y-%m-%d %H:%M:%S}]",
        "{t:%Y%m%d%H%M%S}000",
        "{t:%a %b %d %H:%M:%S %Y}",
        "{t:%a %b %d %H:%M:%S} GMT {t.year}",
        "{t:%a %b %d %Y %H:%M:%S} GMT+0000 (Greenwich Mean Time)",
        "{t:%Y-%m-%d %H:%M:%S} +0000 UTC",
        "{t:%Y-%m-%dT%H:%M:%S}Z[UTC]",
        "{t:%Y-%m-%dT%H:%M:%S}+00:00Z",
        "{s},000",
    ],
)
def test_times(spelled):
    text = table(
        "time;lat;lon",
        lambda t, a, o: f"{spelled.format(t=t, s=int(t.timestamp()))};{a:.9f};{o:.9f}",
    )
    track, problems = read(text.encode(), name="x", zone="UTC")
    assert_right(track, 200)
    assert problems == []


@pytest.mark.parametrize(("zone", "hours"), [("CEST", 2), ("CET", 1), ("BST", 1), ("MESZ", 2)])
def test_short_names_of_zones(zone, hours):
    text = table(
        "time;lat;lon",
        lambda t, a, o: f"{t + timedelta(hours=hours):%Y-%m-%d %H:%M:%S} {zone};{a:.9f};{o:.9f}",
    )
    assert_right(came_in(text)[0], 200)


def test_a_short_name_with_several_meanings_is_asked_for():
    text = table("time;lat;lon", lambda t, a, o: f"{t:%Y-%m-%d %H:%M:%S} CST;{a};{o}")
    assert came_in(text)[1] == ["times are local times without a zone"]


def test_twelve_digits_are_no_count_of_milliseconds():
    """They were one, of a day in 1970 where the year comes last."""
    track, said = came_in(
        table("time;lat;lon", lambda t, a, o: f"{t:%d%m%y%H%M%S};{a:.9f};{o:.9f}")
    )
    assert np.isnat(track.time).all()
    assert said[0].startswith("dates with a year of two digits")
