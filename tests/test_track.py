"""Tracks: columns side by side, joined, cut, digested and rounded."""

import hashlib
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oplog import track as tracks
from oplog.track import COLUMNS, Track, concat, empty, track

TIMES = np.array(["2026-04-10T08:00:00", "2026-04-10T08:00:01", "NaT"], dtype="datetime64[us]")


def some(**more) -> Track:
    return track(TIMES, [52.0, 52.1, 52.2], [1.0, 1.1, 1.2], **more)


def same(a: Track, b: Track) -> bool:
    return all(
        np.array_equal(getattr(a, c), getattr(b, c), equal_nan=getattr(a, c).dtype.kind in "fM")
        for c in COLUMNS
    )


def test_what_is_not_given_is_not_stated():
    made = some()
    assert len(made) == 3
    assert np.isnan(made.speed_m_s).all()
    assert (made.quality == tracks.NOT_STATED).all()
    assert (made.segment == 0).all()
    assert made.time.dtype == np.dtype("datetime64[us]")


def test_taking_rows_keeps_the_columns_together():
    made = some(speed_m_s=[1.0, 2.0, 3.0], device="phone")
    part = made.take(np.array([2, 0]))
    assert part.lat.tolist() == [52.2, 52.0]
    assert part.speed_m_s.tolist() == [3.0, 1.0]
    assert part.device == "phone"
    assert len(made.take(slice(0, 0))) == 0


def test_no_segment_runs_across_a_seam():
    joined = concat([some(segment=[0, 1, 1]), empty(), some(segment=[0, 0, 4])])
    assert joined.segment.tolist() == [0, 1, 1, 2, 2, 6]
    assert len(concat([])) == 0


def test_the_digest_is_of_the_fixes_alone():
    plain = some(speed_m_s=[1.0, 2.0, np.nan])
    assert plain.digest() == some(speed_m_s=[1.0, 2.0, np.nan], device="x").digest()
    assert plain.digest() != some(speed_m_s=[1.0, 2.001, np.nan]).digest()
    assert plain.digest() != plain.take(slice(0, 2)).digest()
    assert plain.digest() != some(speed_m_s=[1.0, 2.0, np.nan], segment=[0, 0, 1]).digest()
    assert empty().digest() == empty().digest()


def test_the_digest_never_changes():
    """The log's files of fixes bear this name: a change would lose every track ever imported."""
    fixes = track(TIMES[:2], [52.0, 52.1], [1.0, 1.1], speed_m_s=[2.5, np.nan])
    missing = -(2**63)
    columns = (
        (1775808000000000, 1775808001000000),
        (520000000, 521000000),
        (10000000, 11000000),
        (2500, missing),
        (missing, missing),
        (0, 0),
    )
    written = b"".join(struct.pack("<2q", *column) for column in columns)
    assert fixes.digest() == hashlib.sha256(written).hexdigest()[:32]


@pytest.mark.parametrize("column", ["lat", "lon"])
def test_a_centimetre_counts_and_less_does_not(column):
    moved = {"lat": np.array([52.0, 52.1, 52.2]), "lon": np.array([1.0, 1.1, 1.2])}
    moved[column] = moved[column] + 1e-7
    assert track(TIMES, **moved).digest() != some().digest()
    moved[column] = moved[column] - 0.8e-7
    assert track(TIMES, **moved).digest() == some().digest()


@given(
    st.lists(
        st.tuples(st.floats(-90, 90), st.floats(-180, 180), st.floats(0, 60) | st.just(np.nan)),
        max_size=20,
    )
)
def test_rounding_is_what_the_log_keeps(rows):
    lat, lon, speed = np.array(rows, dtype=float).reshape(-1, 3).T
    times = np.arange(len(rows)).astype("datetime64[us]")
    made = track(times, lat, lon, speed_m_s=speed)
    once = made.rounded()
    assert same(once, once.rounded())
    assert once.digest() == made.digest()
    assert np.allclose(once.lat, made.lat, atol=0.51e-7, rtol=0)
