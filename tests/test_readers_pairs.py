"""Times and places that stand apart from each other in a file, and damage between them."""

from __future__ import annotations

import json
import random

import numpy as np
import pytest

from oplog.track import Track
from tests.test_readers_habits import (
    COORDS,
    FIXES,
    PLACES,
    STAMPS,
    START,
    TURNS,
    WHENS,
    assert_right,
    came_in,
    collection,
    feature,
    iso,
    kml,
)

UNPAIRED = "times and places of a track do not pair up"
LAYOUTS = {
    "taking turns": kml("".join(TURNS)),
    "times first": kml("".join(WHENS + COORDS)),
    "places first": kml("".join(COORDS + WHENS)),
    "several tracks": kml(
        "</gx:Track><gx:Track>".join(
            "".join(WHENS[k : k + 50] + COORDS[k : k + 50]) for k in range(0, 200, 50)
        )
    ),
}


def wrong(track: Track) -> int:
    """How many fixes have the time of another, or half a number for a place."""
    second = (track.time - np.datetime64(START.replace(tzinfo=None))) / np.timedelta64(1, "s")
    far = np.abs(track.lat - (52.3 + second * 1e-5)) + np.abs(track.lon - (0.15 + second * 2e-5))
    return int((far > 2e-6).sum())


def damaged(text: str, chance: random.Random) -> str:
    size = chance.choice([1, 2, 3, 7, 20, 60, 150])
    at = chance.randrange(300, len(text) - size - 100)
    return text[:at] + text[at + size :]


class TestKml:
    @pytest.mark.parametrize("layout", LAYOUTS)
    def test_bytes_lost_in_the_middle_shift_no_fix(self, layout):
        """A digit that is lost leaves another number, and costs no more than its own fix. Where
        what is left of two places looks like one, nothing tells where it is: that is told."""
        chance = random.Random(layout)
        lost = []
        for _ in range(60):
            track, said = came_in(damaged(LAYOUTS[layout], chance))
            if "damaged XML" in said or UNPAIRED not in said:
                assert wrong(track) <= 2, said
            lost.append(200 - len(track))
        assert sorted(lost)[30] <= 4

    def test_two_damages_in_one_track(self):
        """What lies between them may belong to any time, and is set aside."""
        whole = LAYOUTS["times first"]
        for first, second in ((WHENS[40], WHENS[90]), (WHENS[90], COORDS[60])):
            text = whole.replace(first, first[:-9]).replace(second, second[:-9])
            track, said = came_in(text)
            assert wrong(track) == 0
            assert 100 <= len(track) < 199
            assert "damaged XML" in said

    @pytest.mark.parametrize("layout", ["taking turns", "times first", "several tracks"])
    @pytest.mark.parametrize("cut", ["</wh", "</", "<", "</when"])
    def test_an_end_tag_that_is_cut_costs_its_own_fix(self, layout, cut):
        """The element behind it was taken for a part of the damage."""
        text = LAYOUTS[layout].replace("08:01:10Z</when>", f"08:01:10Z{cut}")
        track, said = came_in(text)
        assert_right(track, 199)
        assert said[0] == "damaged XML"

    @pytest.mark.parametrize("end", ["</when>", "</gx:coord>"])
    def test_an_end_that_is_missing_costs_its_own_fix(self, end):
        """All behind it lay inside that time or place, and none of it was read."""
        whole = kml("".join(TURNS))
        at = whole.index(end, len(whole) // 2)
        track, said = came_in(whole[:at] + whole[at + len(end) :])
        assert_right(track, 199)
        assert said[0] == "damaged XML"

    def test_the_time_of_a_view_is_not_that_of_a_point(self):
        view = "<LookAt><TimeStamp><when>2020-01-01T00:00:00Z</when></TimeStamp></LookAt>"
        points = "".join(
            f"<Placemark>{view * (k % 2)}<TimeStamp><when>{iso(t)}</when></TimeStamp><Point>"
            f"<coordinates>{o:.9f},{a:.9f}</coordinates></Point>{view}</Placemark>"
            for k, (t, a, o) in enumerate(FIXES)
        )
        assert_right(came_in(f"<kml><Document>{points}</Document></kml>")[0], 200)

    def test_spans_of_time_and_points_without_any(self):
        points = "".join(
            f"<Placemark>{f'<TimeSpan><begin>{iso(t)}</begin></TimeSpan>' * (k < 150)}<Point>"
            f"<coordinates>{o:.9f},{a:.9f}</coordinates></Point></Placemark>"
            for k, (t, a, o) in enumerate(FIXES)
        )
        track, said = came_in(f"<kml><Document>{points}</Document></kml>")
        assert_right(track, 150)
        assert said == ["points without a time among those with one"]


LINE = feature("LineString", PLACES)
EACH = [{"time": s, "heart": 60} for s in STAMPS]


class TestGeoJson:
    @pytest.mark.parametrize(
        "track",
        [
            feature("LineString", PLACES, coordinateProperties=EACH),
            feature("LineString", PLACES, coordinateProperties={"heart": [1]}, coordTimes=STAMPS),
            feature(
                "MultiLineString",
                [PLACES[:90], PLACES[90:]],
                coordinateProperties=[EACH[:90], EACH[90:]],
            ),
            feature("LineString", PLACES, coordTimes=json.dumps(STAMPS)),
            {**LINE, "coordinateProperties": {"times": STAMPS}},
            {**LINE, "geometry": {**LINE["geometry"], "coordTimes": STAMPS}},  # type: ignore[dict-item]
            {
                "type": "Feature",
                "properties": {"coordTimes": STAMPS},
                "geometry": {"type": "GeometryCollection", "geometries": [LINE["geometry"]]},
            },
            feature("LineString", [[str(v) for v in p] for p in PLACES], coordTimes=STAMPS),
            {"status": "ok", "data": {"track": feature("LineString", PLACES, times=STAMPS)}},
        ],
        ids=["each", "others", "lines", "text", "beside", "inside", "several", "texts", "wrapped"],
    )  # fmt: skip
    def test_where_times_are_kept(self, track):
        found, said = came_in(json.dumps(track))
        assert_right(found, 200)
        assert said == []

    @pytest.mark.parametrize("times_first", [False, True])
    def test_bytes_lost_in_the_middle_of_a_line_cost_what_lay_there(self, times_first):
        """All times behind the damage were lost with it, or all places."""
        geometry = {"type": "LineString", "coordinates": PLACES}
        parts = {"properties": {"coordTimes": STAMPS}, "geometry": geometry}
        if not times_first:
            parts = dict(reversed(parts.items()))
        whole = json.dumps({"type": "Feature", **parts})
        for text in ('"2026-06-02T08:01:40Z", "2026', f"{PLACES[100][1]}, 40.0], ["):
            at = whole.index(text)
            track, said = came_in(whole[:at] + whole[at + len(text) :])
            timed = track.take(~np.isnat(track.time))
            assert wrong(timed) == 0
            assert len(timed) >= 197
            assert said

    def test_a_stamp_made_of_two_shifts_none_behind_it(self):
        stamps = [*STAMPS[:90], STAMPS[90][:12] + STAMPS[97][9:], *STAMPS[98:]]
        track, said = came_in(json.dumps(feature("LineString", PLACES, coordTimes=stamps)))
        timed = track.take(~np.isnat(track.time))
        assert_right(timed, 192)
        assert "time is missing" in said

    def test_a_feature_that_lost_its_geometry_is_counted(self):
        points = [feature("Point", p, time=s) for p, s in zip(PLACES, STAMPS, strict=True)]
        text = collection(*points)
        for lost, instead in (('"geometry"', '"gtry"'), ('"Point"', '"Pt"')):
            track, said = came_in(text.replace(lost, instead, 1))
            assert_right(track, 199)
            assert said == ["position is missing or not on earth"]

    def test_a_date_beside_the_time_of_a_point(self):
        points = (
            feature("Point", p, date=f"{t:%Y-%m-%d}", time=f"{t:%H:%M:%S}Z")
            for p, (t, _, _) in zip(PLACES, FIXES, strict=True)
        )
        track, said = came_in(collection(*points))
        assert_right(track, 200)
        assert said == []

    def test_a_line_end_in_a_text_costs_nothing(self):
        points = [
            feature("Point", p, time=s, note="a#b") for p, s in zip(PLACES, STAMPS, strict=True)
        ]
        track, said = came_in(collection(*points).replace("#", "\n"))
        assert_right(track, 200)
        assert said == []


ROWS = "time,lat,lon,speed\n" + "".join(f"{iso(t)},{a:.9f},{o:.9f},2.5\n" for t, a, o in FIXES)
POINTS = "".join(
    f'<trkpt lat="{a:.9f}" lon="{o:.9f}"><ele>1</ele><time>{iso(t)}</time></trkpt>\n'
    for t, a, o in FIXES
)


@pytest.mark.parametrize("text", [ROWS, f"<gpx><trk><trkseg>{POINTS}</trkseg></trk></gpx>"])
def test_a_hole_of_erased_memory_joins_nothing_and_is_told(text):
    """Its bytes are letters in some encodings: a place had the time of the next, and whole rows
    were lost without a word."""
    whole, chance = text.encode(), random.Random(3)
    for _ in range(60):
        at, size = chance.randrange(300, len(whole) - 300), chance.choice([4, 5, 30, 90, 270])
        track, said = came_in(whole[:at] + b"\xff" * size + whole[at + size :])
        assert wrong(track) == 0
        assert 192 <= len(track) <= 200
        assert "zero bytes" in said[0]
