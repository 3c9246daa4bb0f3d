"""Lengths and areas against published figures and an independent library; the local plane."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Point, Polygon, box

from oplog import geodesy
from tests.corpus import corpus

EARTH = Geodesic.WGS84


def length_m(lat1, lon1, lat2, lon2):
    return float(geodesy.lengths_m(np.array([lon1, lon2]), np.array([lat1, lat2]))[0])


def from_lat_lon(*corners):
    return Polygon([(lon, lat) for lat, lon in corners])


# --- Karney's test set -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def karney():
    """C. F. F. Karney, "Test set for geodesics" (2010), first 100 lines: lat1 lon1 azi1 lat2 lon2
    azi2 s12 a12 m12 S12."""
    return np.loadtxt(corpus("geodesic", "GeodTest-100.dat"))


def test_lengths_of_karneys_set(karney):
    assert len(karney) == 100
    for lat1, lon1, _, lat2, lon2, _, s12, *_ in karney:
        assert length_m(lat1, lon1, lat2, lon2) == pytest.approx(s12, abs=1e-6)


def test_areas_of_karneys_set(karney):
    """S12 is the area between a geodesic, the equator and the meridians of its ends: a polygon of
    four geodesics, as long as the equator is the shortest way between the lower corners."""
    tested = 0
    for lat1, lon1, _, lat2, lon2, *_, area_m2 in karney:
        if lon2 < 179.0 and lat1 * lat2 > 0:
            polygon = from_lat_lon((lat1, lon1), (lat2, lon2), (0, lon2), (0, lon1))
            assert abs(geodesy.area_m2(polygon)) == pytest.approx(abs(area_m2), abs=0.2)
            tested += 1
    assert tested == 28, "lines of the set that make such a polygon"


# --- published figures -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ends", "published_m", "tolerance_m", "source"),
    [
        (
            (-41.32, 174.81, 40.96, -5.50),
            19959679.267,
            0.001,
            "GeographicLib Python documentation, examples: Wellington to Salamanca",
        ),
        (
            (
                *(40 + 38 / 60 + 23 / 3600, -(73 + 46 / 60 + 44 / 3600)),
                *(1 + 21 / 60 + 33 / 3600, 103 + 59 / 60 + 22 / 3600),
            ),
            15347628.0,
            0.5,
            "GeodSolve manual page, examples: JFK to Singapore",
        ),
    ],
)
def test_published_lengths(ends, published_m, tolerance_m, source):
    assert length_m(*ends) == pytest.approx(published_m, abs=tolerance_m), source


@pytest.mark.parametrize(
    ("polygon", "published_m2", "tolerance_m2", "source"),
    [
        (
            from_lat_lon((2, 1), (1, 2), (3, 3)),
            18454562325.45119,
            0.5,
            "GeographicLib Python test suite, PlanimeterTest: triangle",
        ),
        (
            from_lat_lon((0, -1), (-1, 0), (0, 1), (1, 0)),
            24619419146.0,
            1.0,
            "GeographicLib Python test suite, PlanimeterTest: diamond at the equator",
        ),
        (
            box(0, 0, 1, 1),
            12308778361.469452,
            0.001,
            "geographiclib-rs documentation, PolygonArea: cell of one degree at the equator",
        ),
    ],
)
def test_published_areas(polygon, published_m2, tolerance_m2, source):
    assert geodesy.area_m2(polygon) == pytest.approx(published_m2, abs=tolerance_m2), source


def test_a_square_of_known_side():
    """GeographicLib Python test suite, PlanimeterTest: edges of 1000 m from (0, 0), 1000000 m2."""
    corners, lat, lon = [], 0.0, 0.0
    for azimuth in (90, 0, -90):
        corners.append((lat, lon))
        end = EARTH.Direct(lat, lon, azimuth, 1000.0)
        lat, lon = end["lat2"], end["lon2"]
    assert geodesy.area_m2(from_lat_lon(*corners, (lat, lon))) == pytest.approx(1e6, abs=0.01)


def test_a_square_of_a_map_grid():
    """Planimeter manual page, examples: UTM 18N, 500000 to 600000 E, 4400000 to 4500000 N: area
    10007388597.2 m2, perimeter 400139.532959 m."""
    east = np.array([5.0, 6.0, 6.0, 5.0, 5.0]) * 1e5
    north = np.array([4.4, 4.4, 4.5, 4.5, 4.4]) * 1e6
    lon, lat = geodesy.System("EPSG:32618").lonlat(east, north)
    area_m2 = geodesy.area_m2(Polygon(np.column_stack([lon, lat])))
    assert area_m2 == pytest.approx(10007388597.2, abs=0.1)
    assert geodesy.lengths_m(lon, lat).sum() == pytest.approx(400139.532959, abs=1e-5)


OUTER = [(1, 1), (10, 1), (10, 10), (1, 10)]
HOLE = [(1, 2), (3, 4), (5, 2)]


@pytest.mark.parametrize("outer", [OUTER, OUTER[::-1]], ids=["ccw", "cw"])
@pytest.mark.parametrize("hole", [HOLE, HOLE[::-1]], ids=["hole cw", "hole ccw"])
def test_a_hole_is_taken_out_however_the_rings_run(outer, hole):
    """pyproj 3.7.2, Geod.geometry_area_perimeter: 944373881400 m2 for this polygon, its rings run
    opposite ways. Rings that run the same way would add up to 1042749262335 there."""
    assert geodesy.area_m2(Polygon(outer, [hole])) == pytest.approx(944373881400, abs=1)


def test_parts_add_up():
    parts = [box(0, 50, 0.01, 50.01), Polygon(box(1, 50, 1.01, 50.01).exterior.coords[::-1])]
    assert geodesy.area_m2(MultiPolygon(parts)) == pytest.approx(
        2 * geodesy.area_m2(parts[0]), rel=1e-12
    )
    assert geodesy.area_m2(Polygon()) == 0.0
    assert geodesy.area_m2(MultiPolygon()) == 0.0


def test_lengths_of_nothing():
    assert len(geodesy.lengths_m(np.array([]), np.array([]))) == 0
    assert len(geodesy.lengths_m(np.array([1.0]), np.array([2.0]))) == 0


def test_an_unknown_system_says_so():
    with pytest.raises(ValueError, match="'our own grid' is not known"):
        geodesy.System("our own grid")


def test_a_point_outside_its_system_says_so():
    with pytest.raises(ValueError, match="outside its coordinate system"):
        geodesy.System("EPSG:27700").lonlat(np.array([1e30]), np.array([1e30]))


# --- the plane -------------------------------------------------------------------------------


def around(lat0, lon0, radius_m, seed):
    """Corners of a four-sided field about a point, by an independent library."""
    random = np.random.default_rng(seed)
    ends = [
        EARTH.Direct(lat0, lon0, 90 * k + random.uniform(0, 60), random.uniform(0.3, 1) * radius_m)
        for k in range(4)
    ]
    return np.array([e["lon2"] for e in ends]), np.array([e["lat2"] for e in ends])


@pytest.mark.parametrize("lat0", [-78.0, -45.0, -17.0, 0.0, 1.0, 30.0, 52.0, 60.0, 70.0, 80.0])
@pytest.mark.parametrize("lon0", [20.0, 179.9999, -180.0])
@pytest.mark.parametrize(("radius_m", "share"), [(2_000.0, 1e-7), (20_000.0, 5e-6)])
def test_the_plane_keeps_lengths_and_areas(lat0, lon0, radius_m, share):
    plane = geodesy.Plane(lon0, lat0)
    for seed in range(5):
        lon, lat = around(lat0, lon0, radius_m, seed)
        x, y = plane.xy(lon, lat)
        for i, j in ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2)):
            true_m = EARTH.Inverse(lat[i], lon[i], lat[j], lon[j])["s12"]
            assert np.hypot(x[i] - x[j], y[i] - y[j]) == pytest.approx(true_m, rel=share)
        polygon = EARTH.Polygon()
        for one_lat, one_lon in zip(lat, lon, strict=True):
            polygon.AddPoint(one_lat, one_lon)
        assert Polygon(np.column_stack([x, y])).area == pytest.approx(
            abs(polygon.Compute()[2]), rel=share
        )


@pytest.mark.parametrize("lat0", [-60.0, 0.0, 52.0])
def test_east_is_x_and_north_is_y(lat0):
    plane = geodesy.Plane(10.0, lat0)
    north, east = EARTH.Direct(lat0, 10.0, 0, 100.0), EARTH.Direct(lat0, 10.0, 90, 100.0)
    x, y = plane.xy(
        np.array([10.0, north["lon2"], east["lon2"]]), np.array([lat0, north["lat2"], east["lat2"]])
    )
    assert x == pytest.approx([0.0, 0.0, 100.0], abs=1e-5)
    assert y == pytest.approx([0.0, 100.0, 0.0], abs=1e-5)


@given(
    lon0=st.floats(-180, 180),
    lat0=st.floats(-80, 80),
    x=st.floats(-20_000, 20_000),
    y=st.floats(-20_000, 20_000),
)
@settings(max_examples=300)
def test_to_the_earth_and_back(lon0, lat0, x, y):
    plane = geodesy.Plane(lon0, lat0)
    lon, lat = plane.lonlat(np.array([x]), np.array([y]))
    assert -180 <= lon[0] < 180
    back_x, back_y = plane.xy(lon, lat)
    assert back_x[0] == pytest.approx(x, abs=1e-5)
    assert back_y[0] == pytest.approx(y, abs=1e-5)


@given(lon=st.floats(-180, 179.999), lat=st.floats(-80, 80), turns=st.integers(-1, 1))
def test_whole_turns_of_longitude_make_no_difference(lon, lat, turns):
    plane = geodesy.Plane(lon, lat)
    x, y = plane.xy(np.array([lon + 360.0 * turns]), np.array([lat]))
    assert abs(x[0]) < 1e-6
    assert abs(y[0]) < 1e-6


def test_a_field_across_the_date_line_stays_whole():
    field = box(179.99, -17.0, 180.01, -16.99)
    plane = geodesy.plane_of(field)
    flat = plane.project(field)
    assert flat.area == pytest.approx(geodesy.area_m2(field), rel=1e-6)
    again = plane.unproject(flat)
    assert again.is_valid
    assert again.equals_exact(field, 1e-9)
    # A fix of a receiver, whose longitude never passes 180, lies in the same plane.
    x, y = plane.xy(np.array([-179.995]), np.array([-16.995]))
    assert flat.contains(Point(x[0], y[0]))


def test_geometries_there_and_back_keep_their_holes():
    field = Polygon(box(5, 50, 5.01, 50.01).exterior, [box(5.002, 50.002, 5.004, 50.004).exterior])
    plane = geodesy.plane_of(field)
    assert plane.unproject(plane.project(field)).equals_exact(field, 1e-11)
