"""Arrow's arrays as NumPy's, without Arrow's compute functions: loading those takes longer than
reading a log of some years."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

FEW_RUNS = 64
"""Rows that stand in more runs than this are picked by Arrow itself."""


def whole_numbers(array: Any) -> NDArray[Any]:
    """A fixed-width array (numbers, dates, times) as the numbers it is stored as; anything where
    there is a null. Dates count days, times their unit, from 1970."""
    width = array.type.bit_width
    kind = np.dtype(f"i{width // 8}")
    if str(array.type) in ("float", "double"):
        kind = np.dtype(f"f{width // 8}")
    elif str(array.type).startswith("uint"):
        kind = np.dtype(f"u{width // 8}")
    held = array.buffers()[1]
    if held is None:
        return np.zeros(len(array), dtype=kind)
    return np.frombuffer(held, dtype=kind, count=len(array), offset=array.offset * kind.itemsize)


def nulls(array: Any) -> NDArray[np.bool_]:
    """Which cells of an array are null."""
    held = array.buffers()[0]
    if not array.null_count or held is None:
        return np.full(len(array), array.null_count > 0)
    first = array.offset // 8
    bits = np.unpackbits(np.frombuffer(held, dtype=np.uint8)[first:], bitorder="little")
    start = array.offset - 8 * first
    return np.asarray(bits[start : start + len(array)] == 0)


def rows_of(table: Any, rows: Sequence[int]) -> Any:
    """Some rows of a table, in order; without copying where they stand together."""
    import pyarrow as pa

    if not len(rows):
        return table.slice(0, 0)
    cuts = [0, *(np.flatnonzero(np.diff(rows) != 1) + 1).tolist(), len(rows)]
    if len(cuts) > FEW_RUNS:
        return table.take(rows)
    runs = [table.slice(rows[a], b - a) for a, b in pairwise(cuts)]
    return runs[0] if len(runs) == 1 else pa.concat_tables(runs)
