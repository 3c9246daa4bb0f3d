"""Private places: nothing that lies in one is kept, whatever the file and how it leads there."""

from __future__ import annotations

import gzip
import io
import json
import re
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from oplog import flow, log, readers
from oplog.errors import OplogError, UnknownName
from oplog.events import PrivatePlace, TrackImported
from oplog.flow import cutting, private
from oplog.flow.history import read
from oplog.flow.restoring import fixes_again
from oplog.flow.taking import Told
from oplog.log import kept
from oplog.track import Track, track
from tests.evening import DRILLED, every, farm, farm_log, own_configuration
from tests.tracks import PLACE, START, gpx, walk

__all__ = ["farm", "own_configuration"]

GEOD = pyproj.Geod(ellps="WGS84")
"""Distances of the tests come from here, not from the program's own planes."""

Fix = tuple[datetime, float, float]
HOME_M = (1500.0, 100.0)
"""Home, in metres east and north of the fields' corner."""


def lonlat(x_m: float, y_m: float) -> tuple[float, float]:
    lon, lat = PLACE.lonlat([x_m], [y_m])
    return float(lon[0]), float(lat[0])


HOME = lonlat(*HOME_M)


def from_home_m(lon: object, lat: object) -> np.ndarray:
    lon, lat = np.atleast_1d(lon), np.atleast_1d(lat)
    return GEOD.inv(np.full(len(lon), HOME[0]), np.full(len(lat), HOME[1]), lon, lat)[2]


def degrees(fixes: list[Fix]) -> list[tuple[datetime, float, float]]:
    lon, lat = PLACE.lonlat([f[1] for f in fixes], [f[2] for f in fixes])
    return [(f[0], float(a), float(b)) for f, a, b in zip(fixes, lat, lon, strict=True)]


# -- the same drive in every format -------------------------------------------------------------


def as_gpx(fixes: list[Fix]) -> bytes:
    lon, lat = HOME
    extra = (
        f'<metadata><bounds minlat="{lat:.6f}" minlon="{lon:.6f}" maxlat="{lat + 1:.6f}" '
        f'maxlon="{lon + 1:.6f}"/></metadata><wpt lat="{lat:.6f}" lon="{lon:.6f}">'
        "<name>home</name></wpt>"
    )
    return gpx(fixes).replace(b"<trk>", extra.encode() + b"<trk>")


def as_csv(fixes: list[Fix]) -> bytes:
    rows = [f"{t:%Y-%m-%dT%H:%M:%SZ},{a:.8f},{o:.8f},x" for t, a, o in degrees(fixes)]
    return "\n".join(["time,lat,lon,note", *rows]).encode()


def as_geojson(fixes: list[Fix]) -> bytes:
    where = degrees(fixes)
    return json.dumps(
        {
            "type": "Feature",
            "properties": {"coordTimes": [f"{t:%Y-%m-%dT%H:%M:%SZ}" for t, _, _ in where]},
            "geometry": {"type": "LineString", "coordinates": [[o, a] for _, a, o in where]},
        }
    ).encode()


def as_kml(fixes: list[Fix]) -> bytes:
    where = degrees(fixes)
    whens = "".join(f"<when>{t:%Y-%m-%dT%H:%M:%SZ}</when>" for t, _, _ in where)
    coords = "".join(f"<gx:coord>{o:.8f} {a:.8f} 0</gx:coord>" for _, a, o in where)
    return (
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2" '
        'xmlns:gx="http://www.google.com/kml/ext/2.2"><Document><Placemark><gx:Track>'
        f"{whens}{coords}</gx:Track></Placemark></Document></kml>"
    ).encode()


def _sentence(body: str) -> str:
    total = 0
    for c in body.encode():
        total ^= c
    return f"${body}*{total:02X}\r\n"


def as_nmea(fixes: list[Fix]) -> bytes:
    out = ""
    for t, lat, lon in degrees(fixes):
        a = f"{int(lat):02d}{(lat - int(lat)) * 60:08.5f}"
        o = f"{int(lon):03d}{(lon - int(lon)) * 60:08.5f}"
        out += _sentence(f"GPGGA,{t:%H%M%S}.00,{a},N,{o},E,1,09,0.8,40,M,46,M,,")
        out += _sentence(f"GPRMC,{t:%H%M%S}.00,A,{a},N,{o},E,4.0,90.0,{t:%d%m%y},,,A")
    return out.encode()


def as_zip(data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("phone/track", data)
    return out.getvalue()


FORMATS: dict[str, Callable[[list[Fix]], bytes]] = {
    "gpx": as_gpx,
    "csv": as_csv,
    "geojson": as_geojson,
    "kml": as_kml,
    "nmea": as_nmea,
    "gpx.gz": lambda f: gzip.compress(as_gpx(f)),
    "nmea.zip": lambda f: as_zip(as_nmea(f)),
    "csv.zip": lambda f: as_zip(as_csv(f)),
}


# -- all that a log's folder holds ---------------------------------------------------------------


def stored_tracks(made: log.Log) -> Iterator[Track]:
    """Every track that can be read from any file of the log's folder."""
    for path in (made.path / "fixes").iterdir():
        yield kept.decode_fixes(path.read_bytes())
    for path in (made.path / "raw").iterdir():
        yield readers.read(kept.decode_raw(path.read_bytes()))[0]


def stored_shapes(made: log.Log) -> Iterator[object]:
    """Every geometry in any event, but that of the private place itself."""
    for event in made.events():
        if not isinstance(event, PrivatePlace):
            for name in ("geometry", "missed", "overlap", "bouts"):
                if getattr(event, name, None):
                    yield shapely.from_wkb(getattr(event, name))


def assert_nothing_within(made: log.Log, radius_m: float) -> None:
    for held in stored_tracks(made):
        assert not (from_home_m(held.lon, held.lat) <= radius_m).any()
    for shape in stored_shapes(made):
        points = shapely.get_coordinates(shape)
        assert not (from_home_m(points[:, 0], points[:, 1]) <= radius_m).any()
    for path in (made.path / "raw").iterdir():
        held = kept.decode_raw(path.read_bytes())
        numbers = np.array([float(n) for n in re.findall(rb"-?\d+\.\d{4,}", held)])
        for lat, lon in ((numbers[:-1], numbers[1:]), (numbers[1:], numbers[:-1])):
            ok = np.abs(lat) <= 90.0
            assert not (from_home_m(lon[ok], lat[ok]) <= radius_m).any()


@st.composite
def drives(draw: st.DrawFn) -> list[Fix]:
    """A way through corners about home, one fix every few seconds, some of them lost."""
    near = st.floats(-500, 500)
    corners = [
        (HOME_M[0] + draw(near), HOME_M[1] + draw(near)) for _ in range(draw(st.integers(2, 6)))
    ]
    corners.insert(draw(st.integers(0, len(corners))), HOME_M)
    fixes = walk(corners, draw(st.floats(1.0, 20.0))) or [(START, *HOME_M)]
    every_s = draw(st.sampled_from([1, 1, 2, 5, 10]))
    fixes = fixes[::every_s]
    lost = draw(st.lists(st.integers(0, max(len(fixes) - 1, 0)), max_size=20))
    return [f for i, f in enumerate(fixes) if i not in lost] or fixes[:1]


@settings(
    deadline=None, max_examples=30, phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(drives(), st.sampled_from(sorted(FORMATS)), st.floats(20, 400))
def test_no_byte_that_is_kept_speaks_of_a_place_within(drive, form, radius_m):
    folder = Path(tempfile.mkdtemp())
    try:
        made = farm_log(folder / "log")
        private.state_circle(made, "home", HOME[1], HOME[0], radius_m)
        drive = drive + [
            (drive[-1][0] + timedelta(hours=1, seconds=k), 5.0 * k, 50.0) for k in range(60)
        ]
        done = flow.import_files(
            made, [(f"day.{form}", FORMATS[form](drive))], Told(machine="blue")
        )
        assert not done.files[0].refused, done.files[0].refused
        assert_nothing_within(made, radius_m)
        assert log.check(made.path).exit_code == 0
    finally:
        shutil.rmtree(folder)


# -- cutting -------------------------------------------------------------------------------------


def drive_of(corners: list[tuple[float, float]], speed_m_s: float = 5.0, every_s: int = 1) -> Track:
    fixes = degrees(walk(corners, speed_m_s))[::every_s]
    return track(
        [t.replace(tzinfo=None) for t, _, _ in fixes], [f[1] for f in fixes], [f[2] for f in fixes]
    )


def circle_at_home(radius_m: float) -> cutting.Private:
    shape = private.circle(HOME[1], HOME[0], radius_m)
    return cutting.private([PrivatePlace(place="home", geometry=shapely.to_wkb(shape))])


THROUGH = [(HOME_M[0] - 2000, HOME_M[1]), (HOME_M[0] + 2000, HOME_M[1])]


def test_a_short_way_through_leaves_a_gap_that_nothing_bridges():
    whole = drive_of(THROUGH, 10.0)
    cut = cutting.without_places(whole, circle_at_home(15.0))
    gap_s = np.diff(cut.time) / np.timedelta64(1, "s")
    assert gap_s.max() >= 61.0
    assert cut.segment[0] != cut.segment[-1]
    assert len(whole) - len(cut) < 70


def test_a_step_over_the_place_is_no_bridge_either():
    """A fix every ten seconds: none lies in the place, yet the line between two of them does."""
    whole = drive_of([(x + 50.0, y) for x, y in THROUGH], 30.0, every_s=3)
    places = circle_at_home(20.0)
    assert not places.inside(whole).any()
    cut = cutting.without_places(whole, places)
    assert (np.diff(cut.time) / np.timedelta64(1, "s")).max() >= 61.0


def test_a_long_stay_takes_nothing_with_it_that_was_outside():
    whole = drive_of([THROUGH[0], HOME_M, (HOME_M[0] + 1, HOME_M[1]), THROUGH[0]], 1.0)
    cut = cutting.without_places(whole, circle_at_home(150.0))
    assert len(cut) == int((from_home_m(whole.lon, whole.lat) > 150.2).sum())


@settings(deadline=None, max_examples=60)
@given(st.floats(-80, 80), st.floats(-180, 180), st.floats(10, 5000), st.floats(0, 360))
def test_no_point_of_a_circle_is_outside_its_polygon(lat, lon, radius_m, bearing):
    shape = private.circle(lat, lon, radius_m)
    places = cutting.private([PrivatePlace(place="p", geometry=shapely.to_wkb(shape))])
    x, y, _ = GEOD.fwd(lon, lat, bearing, radius_m)
    at = track([np.datetime64("2026-01-01")], [y], [x])
    assert places.inside(at).all()
    x, y, _ = GEOD.fwd(lon, lat, bearing, radius_m * 1.02 + 1.0)
    assert not places.inside(track([np.datetime64("2026-01-01")], [y], [x])).any()


# -- in the log ----------------------------------------------------------------------------------

HOMEWARD = walk(
    [(50, 0), (HOME_M[0], HOME_M[1]), (HOME_M[0] + 1, HOME_M[1]), (50, 0)],
    4.0,
    start=DRILLED[-1][0] + timedelta(minutes=1),
)
EVENING = DRILLED + HOMEWARD


def at_home(made: log.Log, radius_m: float = 150.0) -> None:
    private.state_circle(made, "home", HOME[1], HOME[0], radius_m)


def test_the_same_file_is_known_again_and_so_is_another_export(farm):
    at_home(farm)
    flow.import_file(farm, as_gpx(EVENING), "day.gpx", Told(machine="blue"))
    for again, name in ((as_gpx(EVENING), "day.gpx"), (as_csv(EVENING), "other.csv")):
        files = flow.import_files(farm, [(name, again)], Told(machine="blue")).files
        assert (files[0].new, files[0].refused) == (0, "")
    longer = EVENING + walk([(50, 0), (50, 100)], 2.0, start=EVENING[-1][0] + timedelta(seconds=1))
    (more,) = flow.import_files(farm, [("l.gpx", as_gpx(longer))], Told(machine="blue")).files
    assert 0 < more.new <= 52
    assert_nothing_within(farm, 150.0)


def test_the_work_is_the_same_and_the_day_adds_up(farm, tmp_path):
    plain = farm_log(tmp_path / "plain")
    flow.import_file(plain, as_gpx(EVENING), "day.gpx", Told(machine="blue", implement="drill"))
    at_home(farm)
    flow.import_file(farm, as_gpx(EVENING), "day.gpx", Told(machine="blue", implement="drill"))
    (with_home,), (without,) = read(plain).farm.days, read(farm).farm.days
    (before,), (after,) = read(plain).farm.visits, read(farm).farm.visits
    assert after.worked_m2 == pytest.approx(before.worked_m2, rel=1e-5)
    assert without.tracked_s == pytest.approx(with_home.tracked_s, abs=1e-6)
    sums = without.field_s + without.road_s + without.elsewhere_s
    assert sums == pytest.approx(without.tracked_s, abs=1e-3)
    assert without.road_s < with_home.road_s
    assert without.elsewhere_s > with_home.elsewhere_s


def test_what_is_kept_in_place_of_the_file_is_the_track_and_mends_it(farm):
    at_home(farm)
    flow.import_file(farm, as_gpx(EVENING), "day.gpx", Told(machine="blue"))
    (event,) = every(farm, TrackImported)
    assert isinstance(event, TrackImported)
    assert event.kept
    assert event.kept != event.file_digest
    held = readers.read(farm.raw(event.file_digest))[0]
    assert held.digest() == event.fixes
    assert held.device == farm.fixes(event.fixes).device
    (file,) = (farm.path / "fixes").iterdir()
    file.write_bytes(b"rotten")
    assert log.check(farm.path).damaged
    log.mend(farm.path, fixes_again(farm))
    assert not log.check(farm.path).damaged
    assert farm.fixes(event.fixes).digest() == event.fixes


def test_what_is_kept_in_place_is_held_against_the_event(farm):
    at_home(farm)
    flow.import_file(farm, as_gpx(EVENING), "day.gpx", Told(machine="blue"))
    (event,) = every(farm, TrackImported)
    (file,) = (farm.path / "raw").iterdir()
    other = farm.raw(event.file_digest).replace(b",52.", b",53.")
    data = kept.encode_raw(other)
    file.unlink()
    name = kept.raw_name(event.file_digest, data, kept.sha256(other))
    (farm.path / "raw" / name).write_bytes(data)
    assert log.check(farm.path).damaged


def test_a_file_that_leads_nowhere_private_is_kept_as_it_is(farm):
    at_home(farm)
    flow.import_file(farm, gpx(DRILLED), "day.gpx", Told(machine="blue"))
    (event,) = every(farm, TrackImported)
    assert event.kept is None
    assert farm.raw(event.file_digest) == gpx(DRILLED)


def test_a_waypoint_alone_is_enough_for_the_file_not_to_be_kept(farm):
    at_home(farm)
    flow.import_file(farm, as_gpx(DRILLED), "day.gpx", Told(machine="blue"))
    (event,) = every(farm, TrackImported)
    assert event.kept
    assert b"home" not in farm.raw(event.file_digest)
    assert len(farm.fixes(event.fixes)) == len(DRILLED)


def test_a_file_from_within_alone_adds_nothing(farm):
    at_home(farm, 400.0)
    stay = walk([HOME_M, (HOME_M[0] + 50, HOME_M[1])], 1.0)
    with pytest.raises(OplogError, match=r"private place.*Nothing was added"):
        flow.import_file(farm, as_gpx(stay), "day.gpx", Told(machine="blue"))
    assert not every(farm, TrackImported)


def test_nothing_told_of_the_cut_says_where_or_when(farm):
    at_home(farm)
    done = flow.import_file(farm, as_gpx(EVENING), "day.gpx", Told(machine="blue"))
    (told,) = (p for p in done.problems if "private" in p.message)
    assert told.line is None
    assert told.count == int(sum(from_home_m(*lonlat(x, y))[0] <= 150.1 for _, x, y in EVENING))
    assert not re.search(r"\d", told.message + told.done)


def test_a_place_is_taken_back_with_a_reason_and_named_anew(farm):
    at_home(farm)
    with pytest.raises(OplogError, match="because"):
        private.remove(farm, "home", " ")
    with pytest.raises(UnknownName):
        private.remove(farm, "hame", "moved")
    private.state_circle(farm, "Home", HOME[1], HOME[0], 200.0)
    assert [(p.place, p.radius_m) for p in read(farm).farm.private] == [("home", 200.0)]
    private.remove(farm, "HOME", "moved")
    assert read(farm).farm.private == ()


@pytest.mark.parametrize("radius_m", [0.0, 5.0, 9_000.0])
def test_a_radius_that_cannot_be_right_is_refused(farm, radius_m):
    with pytest.raises(OplogError, match="radius"):
        private.state_circle(farm, "home", HOME[1], HOME[0], radius_m)


def test_a_place_may_be_drawn_in_a_boundary_file(farm):
    x, y = HOME_M
    ring = [
        lonlat(x + a, y + b) for a, b in ((-80, -80), (80, -80), (80, 80), (-80, 80), (-80, -80))
    ]
    drawn = json.dumps({"type": "Polygon", "coordinates": [ring]}).encode()
    private.state_file(farm, "yard", drawn, "yard.geojson")
    flow.import_file(farm, as_gpx(EVENING), "day.gpx", Told(machine="blue"))
    assert_nothing_within(farm, 79.0)


def test_two_who_state_the_same_name_apart_both_hold(farm, tmp_path):
    """Better too much is private than too little."""
    other = log.create(tmp_path / "other", "Hill Farm", "Europe/London")
    at_home(farm)
    private.state_circle(other, "home", 10.0, 10.0, 50.0)
    farm.merge(other)
    assert len(read(farm).farm.private) == 2
