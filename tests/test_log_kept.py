"""Fixes and imported files as the log keeps them."""

from __future__ import annotations

import duckdb
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog import readers
from oplog.log import kept
from oplog.track import COLUMNS, Track, empty, track
from tests.corpus import corpus
from tests.logs import fixes


def same(a: Track, b: Track) -> bool:
    return a.device == b.device and all(
        np.array_equal(getattr(a, n), getattr(b, n), equal_nan=n != "quality") for n in COLUMNS
    )


def back(drive: Track) -> Track:
    return kept.decode_fixes(kept.encode_fixes(drive))


finite = st.floats(-1e6, 1e6)
or_missing = st.one_of(st.just(float("nan")), finite)
rows = st.tuples(
    st.one_of(st.none(), st.integers(-(2**50), 2**50)),
    or_missing,
    or_missing,
    or_missing,
    or_missing,
    or_missing,
    st.integers(-1, 9),
    st.integers(0, 2**30),
)


@settings(deadline=None)
@given(st.lists(rows, min_size=1, max_size=40), st.text(max_size=10))
def test_a_track_comes_back_as_rounded(drawn, device):
    times, lat, lon, speed, course, hdop, quality, segment = zip(*drawn, strict=True)
    drive = track(
        [np.datetime64("NaT") if t is None else np.datetime64(t, "us") for t in times],
        lat,
        lon,
        speed_m_s=speed,
        course_deg=course,
        hdop=hdop,
        quality=quality,
        segment=segment,
        device=device.encode("utf-8", "replace").decode(),
    )
    again = back(drive)
    assert same(again, drive.rounded())
    assert again.digest() == drive.digest() == drive.rounded().digest()
    assert same(again.rounded(), again)


def test_an_empty_track_comes_back():
    assert len(back(empty())) == 0


def test_duckdb_alone_gets_positions_back(tmp_path):
    drive = fixes(1).rounded()
    path = tmp_path / "a.parquet"
    path.write_bytes(kept.encode_fixes(drive))
    got = (
        duckdb.connect()
        .execute(
            """
        SELECT epoch_us(time), sum(lat_step) OVER w / 1e7, sum(lon_step) OVER w / 1e7, speed / 1e3
        FROM read_parquet($path, file_row_number = true)
        WINDOW w AS (ORDER BY file_row_number)
        ORDER BY file_row_number
        """,
            {"path": str(path)},
        )
        .fetchnumpy()
    )
    times, lat, lon, speed = got.values()
    assert np.array_equal(times, drive.time.astype(np.int64))
    assert np.allclose(lat, drive.lat, atol=1e-9, rtol=0)
    assert np.allclose(lon, drive.lon, atol=1e-9, rtol=0)
    assert np.allclose(speed, drive.speed_m_s, atol=1e-6, rtol=0)


@settings(deadline=None)
@given(st.binary(max_size=2000))
def test_an_imported_file_comes_back(data):
    assert kept.decode_raw(kept.encode_raw(data)) == data


def test_a_name_speaks_of_content_and_bytes():
    drive, other = fixes(1), fixes(2)
    data = kept.encode_fixes(drive)
    name = kept.fixes_name(drive.digest(), data)
    assert kept.is_kept(name)
    assert kept.as_named(name, data)
    assert not kept.as_named(name, data + b"x")
    assert kept.holds(drive.digest(), data)
    assert not kept.holds(other.digest(), data)
    assert not kept.holds(drive.digest(), b"rot")
    assert kept.is_kept(kept.raw_name(kept.sha256(b"a"), kept.encode_raw(b"a")))
    assert kept.holds(kept.sha256(b"a"), kept.encode_raw(b"a"))
    assert not kept.holds(kept.sha256(b"b"), kept.encode_raw(b"a"))
    assert not kept.holds(kept.sha256(b"b"), b"rot")


def test_a_few_bytes_a_fix():
    drive = fixes(1, 20_000)
    assert len(kept.encode_fixes(drive)) / len(drive) < 5.0


def test_recorded_tracks_take_a_fortieth_of_their_gpx():
    paths = sorted(corpus("fieldwork").rglob("*.gpx"))
    if not paths:
        pytest.fail("no GPX file in the recorded field work")
    sizes = []
    for path in paths:
        data = path.read_bytes()
        drive, _ = readers.read(data, name=path.name)
        if len(drive) > 1000:
            sizes.append((len(data), len(kept.encode_fixes(drive)), len(drive)))
    gpx, ours, count = np.sum(sizes, axis=0)
    assert ours / count < 2.5
    assert gpx / ours > 40
