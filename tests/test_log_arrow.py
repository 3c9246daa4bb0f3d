"""Arrow's arrays as NumPy's: held against Arrow's own way of reading them."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog.log._arrow import FEW_RUNS, nulls, rows_of, whole_numbers

CELLS = {
    pa.int32(): st.integers(-(2**31), 2**31 - 1),
    pa.int64(): st.integers(-(2**63), 2**63 - 1),
    pa.uint8(): st.integers(0, 255),
    pa.float64(): st.floats(allow_nan=False),
}


@settings(deadline=None)
@given(st.data())
def test_numbers_and_nulls_are_what_arrow_reads(data):
    kind = data.draw(st.sampled_from(sorted(CELLS, key=str)))
    cells = data.draw(st.lists(st.none() | CELLS[kind], max_size=40))
    first = data.draw(st.integers(0, len(cells)))
    array = pa.array(cells, kind).slice(first)
    missing, found = nulls(array).tolist(), whole_numbers(array).tolist()
    assert len(missing) == len(found) == len(array)
    assert [None if m else v for m, v in zip(missing, found, strict=True)] == array.to_pylist()


def test_dates_and_times_are_days_and_units_since_1970():
    days = pa.array([date(1970, 1, 3), None, date(1969, 12, 31)])
    assert whole_numbers(days)[[0, 2]].tolist() == [2, -1]
    assert nulls(days).tolist() == [False, True, False]
    moments = pa.array([datetime(1970, 1, 1, 0, 0, 1, 5, tzinfo=UTC)], pa.timestamp("us", "UTC"))
    assert whole_numbers(moments).tolist() == [1_000_005]


@settings(deadline=None)
@given(st.sets(st.integers(0, 299)).map(sorted))
def test_rows_are_those_that_arrow_takes(rows):
    table = pa.table({"a": np.arange(300), "b": [str(k) for k in range(300)]})
    assert rows_of(table, rows).to_pylist() == table.take(pa.array(rows, pa.int64())).to_pylist()


@pytest.mark.parametrize("count", [FEW_RUNS - 1, FEW_RUNS + 5])
def test_rows_scattered_wide_are_taken_too(count):
    table = pa.table({"a": np.arange(1000)})
    rows = list(range(0, 3 * count, 3))
    assert rows_of(table, rows)["a"].to_pylist() == rows
