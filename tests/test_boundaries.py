"""Boundary files of every shape, sound and damaged."""

import gzip
import io
import json
import math
import zipfile

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box, mapping

from oplog import geodesy
from oplog.errors import Problem
from oplog.readers.boundaries import Drawing, read_boundaries
from tests.corpus import corpus

SQUARE = [[0.0, 52.0], [0.01, 52.0], [0.01, 52.01], [0.0, 52.01], [0.0, 52.0]]
HOLE = [[0.002, 52.002], [0.004, 52.002], [0.004, 52.004], [0.002, 52.004], [0.002, 52.002]]


def feature(rings, kind="Polygon", **properties):
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": kind, "coordinates": rings},
    }


def collection(*features, **members):
    return {"type": "FeatureCollection", "features": list(features), **members}


def read(document, **options):
    return read_boundaries(json.dumps(document).encode(), name="land.geojson", **options)


def one(document, **options) -> tuple[Drawing, list[Problem]]:
    drawings, problems = read(document, **options)
    assert len(drawings) == 1, problems
    return drawings[0], problems


def ha(drawing):
    return geodesy.area_m2(drawing.geometry) / 1e4


def shifted(ring, dlon=0.0, dlat=0.0):
    return [[x + dlon, y + dlat] for x, y in ring]


# --- what is sound -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "document",
    [
        collection(feature([SQUARE], name="Long Acre")),
        feature([SQUARE], name="Long Acre"),
        {"type": "Polygon", "coordinates": [SQUARE]},
        {"type": "MultiPolygon", "coordinates": [[SQUARE]]},
        {
            "type": "GeometryCollection",
            "geometries": [{"type": "Polygon", "coordinates": [SQUARE]}],
        },
        collection(feature([[[*p, 71.5] for p in SQUARE]], name="with heights")),
    ],
    ids=["collection", "feature", "polygon", "multipolygon", "geometries", "heights"],
)
def test_every_form_of_geojson(document):
    drawing, problems = one(document)
    assert drawing.geometry.equals(Polygon(SQUARE))
    assert not problems


def test_holes_are_taken_out_whichever_way_their_rings_run():
    whole, hole = geodesy.area_m2(Polygon(SQUARE)), geodesy.area_m2(Polygon(HOLE))
    for outer in (SQUARE, SQUARE[::-1]):
        for inner in (HOLE, HOLE[::-1]):
            drawing, problems = one(feature([outer, inner], name="a"))
            assert not problems
            assert geodesy.area_m2(drawing.geometry) == pytest.approx(whole - hole, rel=1e-12)
            assert drawing.geometry.exterior.is_ccw
            assert not drawing.geometry.interiors[0].is_ccw


def test_parts_of_one_field_stay_parts():
    far = shifted(SQUARE, 0.1)
    drawing, problems = one(feature([[SQUARE], [far]], "MultiPolygon", name="both"))
    assert not problems
    assert drawing.geometry.geom_type == "MultiPolygon"
    assert ha(drawing) == pytest.approx(2 * geodesy.area_m2(Polygon(SQUARE)) / 1e4, rel=1e-9)


def test_gzip_and_zip_are_opened():
    plain = json.dumps(collection(feature([SQUARE], name="a"))).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("folder/land.geojson", plain)
        archive.writestr("folder/readme.txt", "not a boundary")
    for data in (gzip.compress(plain), out.getvalue(), b"\xef\xbb\xbf" + plain):
        drawings, problems = read_boundaries(data, name="land")
        assert [d.name for d in drawings] == ["a"]
        assert not problems


def test_recorded_boundaries():
    """The file states its own areas, worked out by whoever made it."""
    path = corpus("fieldwork", "fields.geojson")
    drawings, problems = read_boundaries(path.read_bytes(), name=path.name)
    assert not problems
    assert [d.name for d in drawings] == ["sec1east", "sec1west"]
    for drawing in drawings:
        assert ha(drawing) == pytest.approx(drawing.properties["area_ha"], rel=1e-9)


@pytest.mark.parametrize(
    ("folder", "count"), [("forage_harvester_isobus", 10), ("section_logs_ofpe", 2)]
)
def test_more_recorded_boundaries(folder, count):
    path = corpus(folder, "fields.geojson")
    drawings, problems = read_boundaries(path.read_bytes(), name=path.name)
    assert len(drawings) == count
    assert not problems
    assert all(d.geometry.is_valid and d.named_by == "property 'field'" for d in drawings)


# --- names -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("properties", "name", "named_by"),
    [
        ({"Name": "Long Acre", "owner": "x"}, "Long Acre", "property 'Name'"),
        ({"owner": "x", "FIELD_NAME": " Long\n Acre "}, "Long Acre", "property 'FIELD_NAME'"),
        ({"Schlag": 12.0}, "12", "property 'Schlag'"),
        ({"what": "Long Acre", "ha": 12.5}, "Long Acre", "property 'what'"),
        ({"what": "Long Acre", "farm": "Hill"}, "Long Acre", "property 'what'"),
        ({"name": "", "title": "Long Acre"}, "Long Acre", "property 'title'"),
        ({"ha": 12.5}, "land", "the name of the file"),
        ({"a": "x", "b": "y"}, "land", "the name of the file"),
    ],
)
def test_names_are_found(properties, name, named_by):
    drawing, _ = one(feature([SQUARE], **properties))
    assert (drawing.name, drawing.named_by) == (name, named_by)


def test_a_named_property_is_used_and_no_other():
    drawing, _ = one(feature([SQUARE], name="wrong", Plot_No="7b"), name_property="plot no")
    assert drawing.name == "7b"
    drawings, problems = read(feature([SQUARE], name="a", ha=1), name_property="plot")
    assert drawings == []
    assert "no property 'plot': it has 'name', 'ha'" in str(problems[0])


def test_ids_and_numbers_name_what_has_no_name():
    features = [feature([shifted(SQUARE, 0.1 * i)]) for i in range(3)]
    drawings, _ = read(collection(*features))
    assert [d.name for d in drawings] == ["land 1", "land 2", "land 3"]
    for number, each in enumerate(features):
        each["id"] = 40 + number
    drawings, _ = read(collection(*features))
    assert next((d.name, d.named_by) for d in drawings) == ("40", "the features' ids")


def test_shapes_of_one_name_are_one_field_and_said_so():
    drawing, problems = one(
        collection(feature([SQUARE], name="A"), feature([shifted(SQUARE, 0.1)], name="a"))
    )
    assert drawing.geometry.geom_type == "MultiPolygon"
    assert [str(p) for p in problems] == ["land.geojson: 2 shapes are called 'A'; one field"]


def test_one_name_in_two_farms_is_two_fields():
    drawings, problems = read(
        collection(
            feature([SQUARE], name="Home", farm="Hill"),
            feature([shifted(SQUARE, 0.1)], name="Home", farm="Dale"),
            feature([shifted(SQUARE, 0.2)], name="Bank", farm="Dale"),
        )
    )
    assert [(d.name, d.farm) for d in drawings] == [
        ("Home (Hill)", "Hill"),
        ("Home (Dale)", "Dale"),
        ("Bank", "Dale"),
    ]
    assert len(problems) == 2


# --- rings that are not sound --------------------------------------------------------------


def spoken(problems):
    return " | ".join(str(p) for p in problems)


def test_an_open_ring_is_closed():
    drawing, problems = one(feature([SQUARE[:-1]], name="a"))
    assert drawing.geometry.equals(Polygon(SQUARE))
    assert spoken(problems) == "land.geojson: field 'a', outer ring is not closed; closed"


def test_a_ring_that_crosses_itself_is_mended_and_the_change_told():
    bow_tie = [[0.0, 52.0], [0.01, 52.01], [0.01, 52.0], [0.0, 52.01], [0.0, 52.0]]
    drawing, problems = one(feature([bow_tie], name="a"))
    assert drawing.geometry.is_valid
    assert ha(drawing) == pytest.approx(geodesy.area_m2(Polygon(SQUARE)) / 2e4, rel=1e-3)
    assert "outer ring crosses or touches itself near 0.005" in spoken(problems)
    assert "its area went from 0.0000 ha to 38.2" in spoken(problems)


def test_a_small_loop_of_a_walked_boundary_hardly_changes_it():
    loop = [*SQUARE[:4], [0.0, 52.00001], [0.00001, 51.99999], [-0.00001, 51.99999], [0.0, 52.0]]
    drawing, problems = one(feature([loop], name="a"))
    assert ha(drawing) == pytest.approx(geodesy.area_m2(Polygon(SQUARE)) / 1e4, rel=1e-4)
    assert len(problems) == 1
    assert "repaired" in spoken(problems)


@pytest.mark.parametrize(
    ("ring", "why"),
    [
        ([], "holds no points"),
        ([[0.0, 52.0], [0.01, 52.0]], "too few points (2, at least 3 are needed)"),
        ([[0.0, 52.0]] * 5, "too few points (1, at least 3 are needed)"),
        ([[0.0, 52.0], [0.01, 52.01], [0.02, 52.02], [0.0, 52.0]], "encloses no ground"),
        ([[0.0, 52.0], [0.0, 95.0], [100.0, 52.0], [0.0, 52.0]], "off the earth (0, 95)"),
        ([[0.0, 52.0], [None, 52.0], [0.01, 52.01], [0.0, 52.0]], "that is no number"),
        ([[0.0, 52.0], "a", [0.01, 52.01], [0.0, 52.0]], "something other than coordinates"),
        ([[0.0], [0.01], [0.01], [0.0]], "incomplete coordinates"),
        ("ring", "something other than coordinates"),
        (None, "something other than coordinates"),
        ([[0, 80], [90, 80], [180, 80], [270, 80], [0, 80]], "goes round a pole"),
    ],
)
def test_a_bad_ring_is_named_and_its_neighbours_kept(ring, why):
    drawings, problems = read(
        collection(feature([ring], name="bad"), feature([shifted(SQUARE, 1)], name="good"))
    )
    assert [d.name for d in drawings] == ["good"]
    assert "field 'bad', outer ring" in spoken(problems)
    assert why in spoken(problems)
    assert "left out" in spoken(problems)


def test_a_bad_part_costs_only_itself():
    drawing, problems = one(
        feature([[SQUARE], [[[0.1, 52.0], [0.2, 52.0]]]], "MultiPolygon", name="a")
    )
    assert drawing.geometry.equals(Polygon(SQUARE))
    assert "part 2, outer ring has too few points" in spoken(problems)


def test_a_hole_outside_is_left_out():
    drawing, problems = one(feature([SQUARE, shifted(HOLE, 0.5)], name="a"))
    assert drawing.geometry.equals(Polygon(SQUARE))
    assert "hole 1 lies outside the outer ring; left out" in spoken(problems)


def test_a_hole_over_the_edge_is_cut_off():
    drawing, problems = one(feature([SQUARE, shifted(HOLE, -0.003)], name="a"))
    half = geodesy.area_m2(Polygon(HOLE)) / 2
    whole = geodesy.area_m2(Polygon(SQUARE))
    assert geodesy.area_m2(drawing.geometry) == pytest.approx(whole - half, rel=1e-6)
    assert "hole 1 reaches over the outer ring" in spoken(problems)


def test_overlapping_holes_take_their_ground_out_once():
    drawing, _ = one(feature([SQUARE, HOLE, shifted(HOLE, 0.001)], name="a"))
    holes = geodesy.area_m2(Polygon(HOLE)) * 1.5
    whole = geodesy.area_m2(Polygon(SQUARE))
    assert drawing.geometry.is_valid
    assert geodesy.area_m2(drawing.geometry) == pytest.approx(whole - holes, rel=1e-6)


def test_a_field_that_is_all_hole():
    drawings, problems = read(feature([SQUARE, SQUARE], name="a"))
    assert drawings == []
    assert "outer ring is all hole; left out" in spoken(problems)


def test_overlapping_parts_count_once_and_it_is_told():
    drawing, problems = one(feature([[SQUARE], [shifted(SQUARE, 0.005)]], "MultiPolygon", name="a"))
    assert ha(drawing) == pytest.approx(geodesy.area_m2(Polygon(SQUARE)) * 1.5e-4, rel=1e-6)
    assert "its parts overlap" in spoken(problems)


# --- the date line, swapped and gridded coordinates ----------------------------------------


def test_a_field_across_the_date_line_is_whole():
    width, height = 0.02, 0.01
    crossing = [[179.99, -17], [-179.99, -17], [-179.99, -16.99], [179.99, -16.99], [179.99, -17]]
    cut = [
        [[[179.99, -17], [180, -17], [180, -16.99], [179.99, -16.99], [179.99, -17]]],
        [[[-180, -17], [-179.99, -17], [-179.99, -16.99], [-180, -16.99], [-180, -17]]],
    ]
    at_home = geodesy.area_m2(box(10, -17, 10 + width, -17 + height))
    for document in (feature([crossing], name="a"), feature(cut, "MultiPolygon", name="a")):
        drawing, problems = one(document)
        assert not problems
        assert drawing.geometry.geom_type == "Polygon"
        assert geodesy.area_m2(drawing.geometry) == pytest.approx(at_home, rel=1e-8)
        west, _, east, _ = drawing.geometry.bounds
        assert east - west == pytest.approx(width)
        plane = geodesy.plane_of(drawing.geometry)
        assert plane.project(drawing.geometry).area == pytest.approx(at_home, rel=1e-6)


@given(
    st.floats(179.9, 179.9999), st.floats(-60, 60), st.floats(0.0002, 0.3), st.floats(0.001, 0.1)
)
@settings(max_examples=100, deadline=None)
def test_any_field_across_the_date_line(west, south, width, height):
    corners = [(0, 0), (width, 0), (width, height), (0, height), (0, 0)]
    ring = [[(west + x + 180.0) % 360.0 - 180.0, south + y] for x, y in corners]
    drawing, problems = one(feature([ring], name="a"))
    assert not problems
    at_home = geodesy.area_m2(box(10, south, 10 + width, south + height))
    assert geodesy.area_m2(drawing.geometry) == pytest.approx(at_home, rel=1e-6)


def test_coordinates_the_wrong_way_round_are_swapped_where_that_is_certain():
    ring = shifted(SQUARE, 148.0, -86.0)
    drawing, problems = one(feature([[[y, x] for x, y in ring]], name="a"))
    assert drawing.geometry.equals(Polygon(ring))
    assert "latitude is written before longitude; swapped" in spoken(problems)


def test_metres_without_a_coordinate_system_are_refused():
    ring = [[651400, 313100], [651500, 313100], [651500, 313200], [651400, 313100]]
    drawings, problems = read(feature([ring], name="a"))
    assert drawings == []
    assert "look like metres on a map grid" in spoken(problems)


def airy_to_wgs84(lat_deg, lon_deg):
    """OSGB36 to WGS 84 by the seven parameters of Ordnance Survey, "A guide to coordinate systems
    in Great Britain", section 6.6 and annexe B: independent of PROJ."""
    a, b = 6377563.396, 6356256.909
    e2 = 1 - (b / a) ** 2
    phi, lam = math.radians(lat_deg), math.radians(lon_deg)
    nu = a / math.sqrt(1 - e2 * math.sin(phi) ** 2)
    p = np.array(
        [
            nu * math.cos(phi) * math.cos(lam),
            nu * math.cos(phi) * math.sin(lam),
            nu * (1 - e2) * math.sin(phi),
        ]
    )
    rx, ry, rz = (math.radians(s / 3600) for s in (0.1502, 0.2470, 0.8421))
    turn = np.array([[1, -rz, ry], [rz, 1, -rx], [-ry, rx, 1]])
    x, y, z = np.array([446.448, -125.157, 542.060]) + (1 - 20.4894e-6) * turn @ p
    a, f = 6378137.0, 1 / 298.257223563
    e2, level = f * (2 - f), math.hypot(x, y)
    phi = math.atan2(z, level * (1 - e2))
    for _ in range(8):
        nu = a / math.sqrt(1 - e2 * math.sin(phi) ** 2)
        phi = math.atan2(z + e2 * nu * math.sin(phi), level)
    return math.degrees(phi), math.degrees(math.atan2(y, x))


# Ordnance Survey, "A guide to coordinate systems in Great Britain", annexe C, worked example:
# 52 39 27.2531 N, 1 43 4.5177 E on Airy 1830 is E 651409.903 N 313177.270.
GRID = (651409.903, 313177.270)
AIRY = (52 + 39 / 60 + 27.2531 / 3600, 1 + 43 / 60 + 4.5177 / 3600)


@pytest.mark.parametrize(
    "crs",
    [
        {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::27700"}},
        {"type": "name", "properties": {"name": "EPSG:27700"}},
        {"type": "EPSG", "properties": {"code": 27700}},
    ],
)
def test_the_national_grid_named_by_an_old_geojson(crs):
    east, north = GRID
    ring = [[east, north], [east + 100, north], [east + 100, north + 100], [east, north + 100]]
    drawing, problems = one(collection(feature([[*ring, ring[0]]], name="a"), crs=crs))
    lat, lon = airy_to_wgs84(*AIRY)
    corner = min(
        drawing.geometry.exterior.coords[:-1], key=lambda c: abs(c[0] - lon) + abs(c[1] - lat)
    )
    off_m = geodesy.lengths_m(np.array([lon, corner[0]]), np.array([lat, corner[1]]))[0]
    assert off_m < 0.03, "parameters of the guide are rounded to 0.1 mas"
    # Scale of the grid there, from the same guide's projection: the square is 0.03 % off true.
    assert ha(drawing) == pytest.approx(1.0, rel=1e-3)
    assert "may be off by up to 2 m" in spoken(problems)


def test_longitude_and_latitude_by_any_name_are_taken_as_they_stand():
    for name in ("urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326", "urn:ogc:def:crs:EPSG::4326"):
        crs = {"type": "name", "properties": {"name": name}}
        drawing, problems = one(collection(feature([SQUARE], name="a"), crs=crs))
        assert drawing.geometry.equals_exact(Polygon(SQUARE), 1e-12)
        assert not problems


@pytest.mark.parametrize(
    "crs",
    [
        {"type": "link", "properties": {"href": "crs.prj", "type": "ogcwkt"}},
        {"type": "name", "properties": {"name": "our own grid"}},
        "EPSG:27700",
    ],
)
def test_a_coordinate_system_that_cannot_be_followed_is_refused(crs):
    drawings, problems = read(collection(feature([SQUARE], name="a"), crs=crs))
    assert drawings == []
    assert "longitude and latitude (WGS 84)" in spoken(problems)


# --- no boundaries at all ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "the file is empty"),
        (b" \n\0", "the file is empty"),
        (b"<!DOCTYPE html><html></html>", "is a web page"),
        (b"<?xml version='1.0'?><gpx></gpx>", "is a track (GPX)"),
        (b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", "(NMEA)"),
        (b"\0\0\x27\x0a" + bytes(96), "one file of a shapefile"),
        (b"\x89PNG\r\n\x1a\n", "is not a boundary file known here"),
        (b"{", "is not sound JSON"),
        (b'{"type": "FeatureCollection",\n"features": [}', "line 2: is not sound JSON"),
        (b"[" * 100_000, "JSON"),
        (b"[1, 2]", "JSON, but not GeoJSON"),
        (b'{"fields": []}', "JSON, but not GeoJSON"),
        (b'{"type": "FeatureCollection", "features": []}', "holds no polygon"),
        (b'{"type": "FeatureCollection", "features": 3}', "holds no polygon"),
        (b'{"type": "Topology", "objects": {}}', "holds no polygon"),
        (gzip.compress(b"hello", mtime=0), "is not a boundary file known here"),
        (b"PK\x03\x04 and no more", "damaged"),
    ],
)
def test_what_holds_no_boundary_says_what_it_is(data, says):
    drawings, problems = read_boundaries(data, name="land")
    assert drawings == []
    assert says in spoken(problems)


def test_whole_fields_of_a_cut_off_file_are_kept():
    features = [feature([shifted(SQUARE, 0.1 * i)], name=f"F{i}") for i in range(3)]
    text = json.dumps(collection(*features), indent=1)
    drawings, problems = read_boundaries(text[:-200].encode(), name="land.geojson")
    assert [d.name for d in drawings] == ["F0", "F1"]
    assert "is not sound JSON" in spoken(problems)
    assert "2 whole shapes were read" in spoken(problems)


def test_a_cut_off_file_in_a_grid_is_not_taken_for_degrees():
    crs = {"type": "name", "properties": {"name": "our own grid"}}
    document = {"type": "FeatureCollection", "crs": crs, "features": [feature([SQUARE], name="a")]}
    drawings, problems = read_boundaries(json.dumps(document)[:-1].encode(), name="land")
    assert drawings == []
    assert "is not known" in spoken(problems)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_names_survive_the_usual_encodings(encoding):
    text = json.dumps(collection(feature([SQUARE], name="Müllers Höhe")), ensure_ascii=False)
    drawings, problems = read_boundaries(text.encode(encoding), name="land")
    assert [d.name for d in drawings] == ["Müllers Höhe"]
    assert not problems


def test_points_and_lines_are_counted():
    drawings, problems = read(
        collection(
            {
                "type": "Feature",
                "properties": {},
                "geometry": {"type": "Point", "coordinates": [0, 1]},
            },
            {"type": "Feature", "properties": {}, "geometry": mapping(Polygon(SQUARE).exterior)},
            {"type": "Feature", "properties": {}, "geometry": None},
            "feature",
        )
    )
    assert drawings == []
    said = spoken(problems)
    for text in (
        "a point",
        "a geometry of no known kind",
        "without a geometry",
        "no GeoJSON feature",
    ):
        assert text in said
    assert "holds no polygon" in said


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=12,
)


@given(JSON, JSON, st.sampled_from(["Polygon", "MultiPolygon", "GeometryCollection"]))
@settings(max_examples=75, deadline=None)
def test_no_document_is_too_strange(coordinates, properties, kind):
    document = collection(
        {
            "type": "Feature",
            "properties": properties,
            "geometry": {"type": kind, "coordinates": coordinates},
        },
        feature([SQUARE], name="good"),
    )
    drawings, _ = read(document)
    assert any(d.geometry.equals(Polygon(SQUARE)) for d in drawings)


CORNERS = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=9)


@given(CORNERS, st.lists(CORNERS, max_size=2))
@example([(0, 0), (0, 1), (1, 0)], [[(10, 8), (0, 3), (0, 0), (2, 4), (3, 7)]])
@settings(max_examples=150, deadline=None)
def test_any_rings_give_sound_ground_or_a_reason(outer, holes):
    rings = [[[x * 1e-3, 52 + y * 1e-3] for x, y in ring] for ring in (outer, *holes)]
    drawings, problems = read(feature(rings, name="a"))
    assert drawings or problems
    for drawing in drawings:
        assert drawing.geometry.is_valid
        assert geodesy.area_m2(drawing.geometry) >= 1.0
        assert drawing.geometry.within(box(-1e-9, 52 - 1e-9, 0.012 + 1e-9, 52.012 + 1e-9))
        parts = getattr(drawing.geometry, "geoms", [drawing.geometry])
        assert all(p.exterior.is_ccw for p in parts)


# --- through pyogrio -----------------------------------------------------------------------


def written(driver, suffix, crs, tmp_path, rings=(SQUARE,), names=("Long Acre",)):
    """A boundary file of another format, written by GDAL."""
    import pyogrio
    import shapely

    path = tmp_path / f"land{suffix}"
    pyogrio.raw.write(
        path,
        geometry=np.array([shapely.to_wkb(Polygon(r)) for r in rings], dtype=object),
        field_data=[np.array(names, dtype=object)],
        fields=np.array(["Name"]),
        geometry_type="Polygon",
        crs=crs,
        driver=driver,
    )
    return path


@pytest.mark.parametrize(
    ("driver", "suffix"), [("GPKG", ".gpkg"), ("KML", ".kml"), ("FlatGeobuf", ".fgb")]
)
def test_other_formats(driver, suffix, tmp_path):
    path = written(driver, suffix, "EPSG:4326", tmp_path)
    drawings, problems = read_boundaries(path.read_bytes(), name=path.name)
    assert not problems
    assert [(d.name, d.named_by) for d in drawings] == [("Long Acre", "property 'Name'")]
    assert drawings[0].geometry.equals_exact(Polygon(SQUARE).normalize(), 1e-8) or (
        geodesy.area_m2(drawings[0].geometry.symmetric_difference(Polygon(SQUARE))) < 1.0
    )


@pytest.mark.parametrize("form", ["GPKG", "ESRI Shapefile", "GeoJSON"])
@pytest.mark.parametrize("code", [32631, 25831, 2154, 3857, 3035, 4258])
def test_any_coordinate_system_in_any_form(form, code, tmp_path):
    """The way there by pyproj alone: UTM, Lambert 93, web and equal-area maps, ETRS89 degrees."""
    import pyproj

    there = pyproj.Transformer.from_crs(4326, code, always_xy=True)
    ring = [there.transform(*c) for c in SQUARE]
    if form == "GeoJSON":
        crs = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{code}"}}
        data = collection(feature([[list(c) for c in ring]], name="Long Acre"), crs=crs)
        data = data if isinstance(data, bytes) else json.dumps(data).encode()
    elif form == "GPKG":
        data = written(form, ".gpkg", f"EPSG:{code}", tmp_path, (ring,)).read_bytes()
    else:
        written(form, ".shp", f"EPSG:{code}", tmp_path, (ring,))
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            for file in sorted(tmp_path.iterdir()):
                archive.write(file, file.name)
        data = out.getvalue()
    (drawing,), _ = read_boundaries(data, name="land")
    assert drawing.name == "Long Acre"
    missed = drawing.geometry.symmetric_difference(Polygon(SQUARE))
    assert geodesy.area_m2(missed) < 0.01 * geodesy.area_m2(Polygon(SQUARE)) / 100


def test_a_zipped_shapefile_in_the_national_grid(tmp_path):
    east, north = GRID
    ring = [(east, north), (east, north + 100), (east + 100, north + 100), (east + 100, north)]
    written("ESRI Shapefile", ".shp", "EPSG:27700", tmp_path, (ring,))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for file in sorted(tmp_path.iterdir()):
            archive.write(file, f"some folder/{file.name}")
    drawings, problems = read_boundaries(out.getvalue(), name="land.zip")
    assert [d.name for d in drawings] == ["Long Acre"]
    lat, lon = airy_to_wgs84(*AIRY)
    west, south, _, _ = drawings[0].geometry.bounds
    assert ha(drawings[0]) == pytest.approx(1.0, rel=1e-3)
    assert abs(west - lon) < 1e-4
    assert abs(south - lat) < 1e-4
    assert "may be off by up to 2 m" in spoken(problems)


@pytest.mark.parametrize("lost", [".shx", ".dbf"])
def test_a_shapefile_of_which_a_file_was_forgotten(lost, tmp_path):
    written(
        "ESRI Shapefile", ".shp", "EPSG:4326", tmp_path, (SQUARE, shifted(SQUARE, 0.1)), ("a", "b")
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for file in sorted(tmp_path.iterdir()):
            if file.suffix != lost:
                archive.write(file, file.name)
    drawings, _ = read_boundaries(out.getvalue(), name="land.zip")
    assert [d.name for d in drawings] == (["a", "b"] if lost == ".shx" else ["land 1", "land 2"])
    assert ha(drawings[1]) == pytest.approx(ha(drawings[0]), rel=1e-3)


def test_a_kml_whose_document_has_no_name():
    ring = " ".join(f"{lon},{lat},0" for lon, lat in SQUARE)
    kml = (
        "<?xml version='1.0'?><kml xmlns='http://www.opengis.net/kml/2.2'><Document><Placemark>"
        "<name>Mill</name><Polygon><outerBoundaryIs><LinearRing><coordinates>"
        f"{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
    )
    drawings, problems = read_boundaries(kml.encode(), name="land.kml")
    assert ([d.name for d in drawings], problems) == (["Mill"], [])


def test_without_the_extra_the_message_names_it(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyogrio", None)
    kml = b"<?xml version='1.0'?><kml xmlns='http://www.opengis.net/kml/2.2'></kml>"
    drawings, problems = read_boundaries(kml, name="land.kml")
    assert drawings == []
    assert "needs the extra 'boundaries'" in spoken(problems)
    assert "pip install pyogrio" in spoken(problems)


@pytest.mark.parametrize(
    "data",
    [b"SQLite format 3\0" + bytes(200), b"fgb\x03fgb\x00" + bytes(20), b"<?xml?><kml><Placemark>"],
)
def test_damaged_files_of_other_formats(data):
    drawings, problems = read_boundaries(data, name="land")
    assert drawings == []
    assert problems


def placemark(name, ring):
    corners = " ".join(f"{lon},{lat},0" for lon, lat in ring)
    return (
        f"<Placemark><name>{name}</name><description><![CDATA[a<br>b]]></description><Polygon>"
        f"<outerBoundaryIs><LinearRing><coordinates>{corners}</coordinates></LinearRing>"
        "</outerBoundaryIs></Polygon></Placemark>\n"
    )


@pytest.mark.parametrize("lost", [10, 150, 240])
def test_a_kml_that_is_cut_off_gives_its_whole_fields(lost):
    kml = (
        "<?xml version='1.0'?>\n<kml xmlns='http://www.opengis.net/kml/2.2'><Document><Folder>\n"
        f"{placemark('Mill', SQUARE)}{placemark('Moor', shifted(SQUARE, 0.1))}"
        "</Folder></Document></kml>"
    )
    drawings, problems = read_boundaries(kml.encode()[:-lost], name="land.kml")
    assert [d.name for d in drawings] == (["Mill", "Moor"] if lost == 10 else ["Mill"])
    (problem,) = problems
    assert problem.line is not None
    assert problem.message == "is cut off or damaged"
    assert problem.done == ("2 whole shapes were read" if lost == 10 else "1 whole shape was read")


@pytest.mark.parametrize("data", [b"SQLite format 3\0" + bytes(200), b"<?xml?><kml><Placemark>"])
def test_of_damage_no_librarys_words_are_told(data):
    _, problems = read_boundaries(data, name="land")
    assert "cut off or damaged, so that nothing of it can be read" in spoken(problems)
    assert "vsimem" not in spoken(problems)


@pytest.mark.parametrize("said", ["utf-8", "cp1252"])
def test_names_in_a_shapefile_that_does_not_say_its_letters(said, tmp_path):
    """The .cpg file is forgotten as often as the others; the letters show which they are."""
    path = written("ESRI Shapefile", ".shp", "EPSG:4326", tmp_path, (SQUARE,), ("Äckerchen süd",))
    path.with_suffix(".cpg").unlink()
    table = path.with_suffix(".dbf")
    table.write_bytes(
        table.read_bytes()
        .replace(b"\xc3\x84", "Ä".encode(said))
        .replace(b"\xc3\xbc", "ü".encode(said))
        if said == "utf-8"
        else table.read_bytes().replace(b"\xc3\x84ckerchen s\xc3\xbcd", b"\xc4ckerchen s\xfcd  ")
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for file in sorted(tmp_path.iterdir()):
            archive.write(file, file.name)
    (drawing,), _ = read_boundaries(out.getvalue(), name="land.zip")
    assert drawing.name == "Äckerchen süd"


def test_a_forgotten_prj_file_is_named(tmp_path):
    east, north = GRID
    ring = [(east, north), (east, north + 100), (east + 100, north + 100), (east + 100, north)]
    written("ESRI Shapefile", ".shp", "EPSG:27700", tmp_path, (ring,))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for file in sorted(tmp_path.iterdir()):
            if file.suffix != ".prj":
                archive.write(file, file.name)
    _, problems = read_boundaries(out.getvalue(), name="land.zip")
    assert "its .prj file says which: give that in the zip too" in spoken(problems)
