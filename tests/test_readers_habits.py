"""What other makes write: KML, GeoJSON and times in the spellings and damages that were met."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from functools import reduce
from operator import xor

import numpy as np
import pytest

from oplog.readers import _times, read
from oplog.track import Track

START = datetime(2026, 6, 2, 8, 0, tzinfo=UTC)
FIXES = [(START + timedelta(seconds=k), 52.3 + k * 1e-5, 0.15 + k * 2e-5) for k in range(200)]


def iso(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"


def came_in(data: str | bytes) -> tuple[Track, list[str]]:
    track, problems = read(data.encode() if isinstance(data, str) else data, name="x")
    return track, [p.message for p in problems]


def assert_right(track: Track, count: int) -> None:
    """So many fixes, each with its own time and place."""
    second = (track.time - np.datetime64(START.replace(tzinfo=None))) / np.timedelta64(1, "s")
    assert len(track) == count
    assert not np.isnat(track.time).any()
    assert track.lat == pytest.approx(52.3 + second * 1e-5, abs=1e-9)
    assert track.lon == pytest.approx(0.15 + second * 2e-5, abs=1e-9)


WHENS = [f"<when>{iso(t)}</when>\n" for t, _, _ in FIXES]
COORDS = [f"<gx:coord>{lon:.9f} {lat:.9f} 40</gx:coord>\n" for _, lat, lon in FIXES]
TURNS = [w + c for w, c in zip(WHENS, COORDS, strict=True)]


def kml(body: str) -> str:
    return (
        '<?xml version="1.0"?>\n<kml xmlns="http://www.opengis.net/kml/2.2" '
        'xmlns:gx="http://www.google.com/kml/ext/2.2"><Document><Placemark><gx:Track>\n'
        f"{body}</gx:Track></Placemark></Document></kml>"
    )


def without(items: list[str], *lost: int) -> str:
    return "".join(item for k, item in enumerate(items) if k not in lost)


class TestKml:
    @pytest.mark.parametrize("lost", [WHENS[90], COORDS[90]])
    @pytest.mark.parametrize("coord_first", [False, True])
    def test_where_times_and_places_take_turns_a_lost_one_costs_only_its_fix(
        self, lost, coord_first
    ):
        turns = [c + w if coord_first else w + c for w, c in zip(WHENS, COORDS, strict=True)]
        track, said = came_in(kml("".join(turns).replace(lost, "")))
        assert_right(track, 199)
        assert said == ["times and places of a track do not pair up"]

    def test_damage_is_stepped_over(self):
        whole = kml("".join(TURNS))
        for damaged in (
            whole.replace("<when>2026-06-02T08:01:00", "<when 2026-06-02T08:01:00"),
            whole.replace("08:01:00Z</when>", "08:01:00Z</whe"),
            whole.replace(COORDS[60], "\0" * len(COORDS[60])),
        ):
            track, said = came_in(damaged)
            assert_right(track, 199)
            assert "damaged XML" in said

    @pytest.mark.parametrize("first", [40, 180])
    def test_a_hole_in_the_times_or_the_places_costs_what_lay_in_it(self, first):
        lost = range(first, first + 7)
        for items, others in ((WHENS, COORDS), (COORDS, WHENS)):
            hole = without(items[: lost.start]) + "\0" * 99 + without(items[lost.stop :])
            lists = (hole, "".join(others)) if items is WHENS else ("".join(others), hole)
            track, said = came_in(kml("".join(lists)))
            assert_right(track, 193)
            assert said == ["damaged XML", "times and places of a track do not pair up"]

    def test_several_tracks_of_which_one_is_damaged(self):
        parts = ["".join(TURNS[:80]), "".join(TURNS[80:140]), "".join(TURNS[140:])]
        cut = parts[1][:-40]
        between = "</gx:Track></Placemark><Placemark><gx:Track>"
        track, said = came_in(kml(between.join((parts[0], cut, parts[2]))))
        assert_right(track, 199)
        assert track.segment.tolist() == [0] * 80 + [1] * 59 + [2] * 60
        assert said[0] == "damaged XML"

    def test_lines_are_those_of_the_file(self):
        bad = kml("".join(TURNS)).replace("0.153980000", "none").replace("</when>", "</whe", 1)
        _, problems = read(bad.encode(), name="x")
        lines = {p.message: p.line for p in problems}
        assert lines["damaged XML"] == 4
        assert lines["position is missing or not on earth"] == 2 + 2 * 200

    def test_placemarks_with_a_point_and_its_time(self):
        points = "".join(
            f"<Placemark><TimeStamp><when>{iso(t)}</when></TimeStamp><Point><coordinates>"
            f"{lon:.9f},{lat:.9f},40</coordinates></Point></Placemark>"
            for t, lat, lon in FIXES
        )
        track, said = came_in(f"<kml><Document>{points}<Placemark/></Document></kml>")
        assert_right(track, 200)
        assert said == []
        beside = kml("".join(TURNS)).replace("<Document>", f"<Document>{points}")
        assert came_in(beside)[1] == []
        assert len(came_in(beside)[0]) == 200


PLACES = [[lon, lat, 40.0] for _, lat, lon in FIXES]
STAMPS = [iso(t) for t, _, _ in FIXES]
SECONDS = [t.timestamp() for t, _, _ in FIXES]


def feature(kind: str, coordinates: object, **properties: object) -> dict[str, object]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def collection(*features: object) -> str:
    return json.dumps({"type": "FeatureCollection", "features": features})


POINTS = [feature("Point", p, time=s) for p, s in zip(PLACES, STAMPS, strict=True)]


class TestGeoJson:
    @pytest.mark.parametrize(
        "text",
        [
            collection(feature("MultiPoint", PLACES, times=STAMPS)),
            collection(feature("MultiLineString", [PLACES[:90], PLACES[90:]], times=STAMPS)),
            collection(feature("LineString", PLACES, Coord_Times=[f"{s:.0f}" for s in SECONDS])),
            collection(
                feature("LineString", [[*p, s] for p, s in zip(PLACES, SECONDS, strict=True)])
            ),
            collection(
                *(feature("Point", p, **{"Time UTC": STAMPS[k]}) for k, p in enumerate(PLACES))
            ),
            "\n".join(json.dumps(p) for p in POINTS),
            "".join(f"\x1e{json.dumps(p)}\n" for p in POINTS),
            collection(*POINTS).encode("utf-16"),
            collection(*POINTS).encode("utf-16-le"),
        ],
        ids=["points", "times in one", "text", "fourth", "names", "lines", "sequence", "16", "le"],
    )  # fmt: skip
    def test_spellings(self, text):
        track, said = came_in(text)
        assert_right(track, 200)
        assert said == []

    def test_a_fourth_number_that_is_no_time_is_none(self):
        track, _ = came_in(collection(feature("LineString", [[*p, 1234.5] for p in PLACES])))
        assert np.isnat(track.time).all()

    def test_zero_bytes_at_the_end(self):
        track, said = came_in(collection(*POINTS).encode() + b"\0" * 400)
        assert_right(track, 200)
        assert said == ["the file ends in zero bytes"]

    def test_damage_costs_the_feature_it_is_in(self):
        whole = collection(*POINTS)
        at = whole.index("08:01:00")
        for damaged in (
            whole[:at] + '"' + whole[at + 1 :],
            whole[:at] + "\0" * 20 + whole[at + 20 :],
        ):
            track, said = came_in(damaged)
            assert_right(track, 199)
            assert said == ["the JSON is cut off or damaged"]

    @pytest.mark.parametrize("share", [0.3, 0.7, 0.99])
    def test_what_lies_before_the_cut_is_read(self, share):
        for whole, least in (
            (collection(*POINTS), share * 200 - 3),
            ("\n".join(json.dumps(p) for p in POINTS), share * 200 - 3),
            (collection(feature("LineString", PLACES, times=STAMPS)), (share - 0.5) * 300),
        ):
            track, said = came_in(whole[: int(len(whole) * share)])
            assert_right(track, len(track))
            assert least <= len(track) < 200
            assert said[0] == "the JSON is cut off or damaged"


@pytest.mark.parametrize(
    "text",
    [
        "20260602T080000Z",
        "2026-06-02T080000Z",
        "2026-06-02 10:00:00 GMT+0200",
        "20260602T100000+02",
    ],
)
def test_spellings_of_times(text):
    assert _times.parse_one(text) == (int(START.timestamp()) * 1_000_000, _times.GOOD)


@pytest.mark.parametrize("text", ["2026-06-02T12345Z", "2026-06-02T08000000Z", "2026-06-02T0800Z"])
def test_digits_that_are_no_clock(text):
    assert _times.parse_one(text)[1] == _times.BAD


def points(fixes: list[tuple[datetime, float, float]]) -> str:
    inside = "".join(
        f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"><time>{iso(t)}</time></trkpt>\n'
        for t, lat, lon in fixes
    )
    return f"<gpx><trk><trkseg>{inside}</trkseg></trk></gpx>"


class TestAstray:
    @pytest.mark.parametrize("year", [1970, 1980, 2000, 2080])
    def test_a_clock_that_was_not_set_yet_costs_its_own_fixes(self, year):
        early = [(t.replace(year=year, month=1, day=6), lat, lon) for t, lat, lon in FIXES[:9]]
        track, problems = read(points(early + FIXES[9:]).encode(), name="x")
        assert_right(track, 191)
        assert [(p.count, p.done) for p in problems] == [(9, "set aside")]
        assert "ten years from the rest" in problems[0].message

    def test_a_longer_part_is_not_judged(self):
        early = [(t.replace(year=2000), lat, lon) for t, lat, lon in FIXES[:90]]
        track, said = came_in(points(early + FIXES[90:]))
        assert (len(track), said) == (200, [])

    def test_what_is_1024_weeks_off_is_told_as_that(self):
        early = [(t - timedelta(weeks=1024), lat, lon) for t, lat, lon in FIXES[:9]]
        track, said = came_in(points(early + FIXES[9:]))
        assert len(track) == 200
        assert said == ["dates jump by 1024 weeks (the receiver's week counter ran over)"]


def sentences(end: str) -> str:
    """RMC with the rest of the line as some receivers leave it: %02X is the checksum."""
    out = ""
    for t, lat, lon in FIXES:
        a, o = f"52{lat % 1 * 60:011.8f},N", f"000{lon % 1 * 60:011.8f},E"
        body = f"GPRMC,{t:%H%M%S}.00,A,{a},{o},4.0,90.0,{t:%d%m%y},,,A"
        out += f"${body}" + (end % reduce(xor, body.encode()) if "%" in end else end)
    return out


@pytest.mark.parametrize("end", ["*\r\n", "*\n", "\r", "*%02x\r", "\r\n", "*%02X \r\n", "*%02X"])
def test_ends_of_sentences(end):
    track, said = came_in(sentences(end))
    assert_right(track, 200)
    assert said == []


def test_a_star_without_checksum_is_dropped_where_others_have_one():
    text = sentences("*%02X\r\n")
    bad = text.replace(text[text.index("*") : text.index("*") + 3], "*", 1)
    track, said = came_in(bad)
    assert_right(track, 199)
    assert said == ["a sentence without checksum, in a log that has them"]


FEATURES = [
    {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [lon, lat]},
        "properties": {"time": iso(t)},
    }
    for t, lat, lon in FIXES
]


class TestGeoJsonFromElsewhere:
    def test_times_of_a_whole_day_before_the_places(self):
        line = {
            "type": "Feature",
            "properties": {"note": "x" * 300_000, "coordTimes": [iso(t) for t, _, _ in FIXES]},
            "geometry": {"type": "LineString", "coordinates": [[o, a] for _, a, o in FIXES]},
        }
        track, said = came_in(json.dumps(line))
        assert_right(track, 200)
        assert said == []

    @pytest.mark.parametrize("lost", [None, {"type": "Point", "coordinates": None}])
    def test_points_without_a_place_are_counted(self, lost):
        features = [p | {"geometry": lost} if k % 50 == 7 else p for k, p in enumerate(FEATURES)]
        text = json.dumps({"type": "FeatureCollection", "features": features})
        track, problems = read(text.encode(), name="x")
        assert_right(track, 196)
        assert [(p.message, p.count) for p in problems] == [
            ("position is missing or not on earth", 4)
        ]

    @pytest.mark.parametrize("end", [-1, -30, -170])
    def test_the_order_of_keys_makes_no_difference_to_what_is_whole(self, end):
        text = json.dumps({"features": FEATURES, "type": "FeatureCollection"}, sort_keys=True)
        track, said = came_in(text[:end])
        assert len(track) >= 198
        assert "the JSON is cut off or damaged" in said

    def test_nor_where_the_damage_is(self):
        text = json.dumps({"features": FEATURES, "type": "FeatureCollection"}, sort_keys=True)
        track, _ = came_in(text[:9000] + "#" * 40 + text[9040:])
        assert len(track) >= 198

    def test_one_a_line_with_one_line_damaged(self):
        lines = [json.dumps(p, sort_keys=True) for p in FEATURES]
        lines[80] = lines[80][:40]
        track, problems = read("\n".join(lines).encode(), name="x")
        assert_right(track, 199)
        assert [(p.message, p.line) for p in problems] == [("the JSON is cut off or damaged", 81)]

    @pytest.mark.parametrize("kind", ["LineString", "MultiLineString"])
    def test_times_without_places_are_counted(self, kind):
        places = [[o, a] for _, a, o in FIXES[:190]]
        shape = {"type": kind, "coordinates": [places] if kind[0] == "M" else places}
        line = {
            "type": "Feature",
            "properties": {"coordTimes": [iso(t) for t, _, _ in FIXES]},
            "geometry": shape,
        }
        track, problems = read(json.dumps(line).encode(), name="x")
        assert_right(track, 190)
        (problem,) = problems
        assert problem.message.startswith("times and places of a line do not pair up")
        assert problem.count == 10

    def test_metres_on_a_grid_are_called_so(self):
        features = [
            p | {"geometry": {"type": "Point", "coordinates": [550_000 + k, 250_000]}}
            for k, p in enumerate(FEATURES)
        ]
        track, said = came_in(json.dumps({"type": "FeatureCollection", "features": features}))
        assert len(track) == 0
        assert said == ["positions are metres on a map grid, not degrees: export it as WGS 84"]


class TestKmlFromElsewhere:
    def test_cut_off_before_the_first_place(self):
        text = kml("".join(WHENS) + "".join(COORDS))
        track, said = came_in(text[: text.index("<gx:coord>") + 4])
        assert len(track) == 0
        assert "KML that is cut off before the places of its track" in said

    def test_timed_points_beside_a_track_are_counted(self):
        extra = "</gx:Track></Placemark>" + "".join(
            f"<Placemark><TimeStamp>{w.replace('2026', '2025')}</TimeStamp>"
            "<Point><coordinates>0.1,52.3</coordinates></Point></Placemark>"
            for w in WHENS[:3]
        )
        text = kml("".join(TURNS) + extra + "<Placemark><gx:Track>")
        track, problems = read(text.encode(), name="x")
        assert_right(track, 200)
        assert [(p.message, p.count) for p in problems] == [("points with times beside a track", 3)]


@pytest.mark.parametrize("coord_first", [False, True])
@pytest.mark.parametrize("at", range(0, 120, 4))
def test_a_hole_in_a_kml_pairs_no_time_with_the_place_of_another(coord_first, at):
    turns = [c + w for w, c in zip(WHENS, COORDS, strict=True)] if coord_first else TURNS
    text = kml("".join(turns)).encode()
    start = 6000 + at
    track, problems = read(text[:start] + b"\0" * 64 + text[start + 64 :], name="x")
    assert len(track) >= 197
    assert_right(track, len(track))
    assert problems


@pytest.mark.parametrize("cut", [0, 3, 9])
def test_a_kml_that_is_cut_between_its_elements_is_told(cut):
    text = kml("".join(TURNS))
    track, said = came_in(text[: text.index(TURNS[100]) + len(WHENS[100]) * (cut == 9)])
    assert_right(track, 100)
    assert "cut off or damaged XML" in said
    assert came_in(text.removesuffix("</kml>") + " </kml > \n")[1] == []
