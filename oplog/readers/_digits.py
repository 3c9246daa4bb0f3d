"""Decimal numbers in a block of bytes, read for many places together.

What is not plain digits with at most one point and a leading sign is read one by one, so that
the answer is always that of float().
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from oplog.readers._numbers import number

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

_TENS = 10.0 ** np.arange(23)
_MOST_EXACT = 2**53


def windows(block: Bytes, begin: Ints, width: int) -> Bytes:
    """The `width` bytes from each place on, one row a place; zeros behind the end."""
    room = len(block) - width
    if room < 0 or (len(begin) and int(begin.max()) > room):
        block = np.concatenate([block, np.zeros(width, np.uint8)])
        room = len(block) - width
    rows: Bytes = as_strided(block, (room + 1, width), (1, 1), writeable=False)[begin]
    return rows


def texts(block: Bytes, begin: Ints, end: Ints, longest: int) -> Bytes | None:
    """The texts between `begin` and `end`, left-aligned and padded with zeros.

    None if one is longer than `longest`.
    """
    width = end - begin
    most = int(width.max()) if len(width) else 0
    if most > longest:
        return None
    rows = windows(block, begin, most + 1)
    if len(width) and int(width.min()) == most:
        rows[:, most] = 0
    else:
        rows[np.arange(most + 1) >= width[:, None]] = 0
    return rows


def whole(columns: Bytes, width: Ints) -> tuple[Ints, Ints, Mask]:
    """Unsigned decimal numbers as digits and number of decimals: 12.50 is (1250, 2).

    columns: (longest, n), the texts by column; width: their lengths. The mask tells the texts
    that are such a number of at most 18 digits.
    """
    n = columns.shape[1]
    values = np.zeros(n, np.int64)
    point_at = np.full(n, -1)
    good = (width > 0) & (width <= 19)
    shortest = int(width.min()) if n else 0
    for at in range(min(len(columns), 19)):
        digit = columns[at] - np.uint8(48)
        is_digit = digit < 10
        if at >= shortest:
            is_digit &= at < width
        if is_digit.all():
            values = values * 10 + digit
            continue
        point = columns[at] == 46
        outside = at >= width
        good &= is_digit | outside | (point & (point_at < 0))
        point_at[point & (point_at < 0) & ~outside] = at
        values = np.where(is_digit, values * 10 + digit, values)
    pointed = point_at >= 0
    decimals = np.where(pointed, width - 1 - point_at, 0)
    good &= ~(pointed & (width == 1)) & ~(~pointed & (width == 19))
    return values, np.where(good, decimals, 0), good


def decimals(block: Bytes, begin: Ints, end: Ints) -> Floats:
    """The numbers between `begin` and `end`, NaN where there is none."""
    if not len(begin):
        return np.zeros(0)
    first = block[np.minimum(begin, len(block) - 1)]
    minus = (first == 45) & (end > begin)
    width = end - begin - minus
    longest = min(int(width.max()), 24)
    columns = np.ascontiguousarray(windows(block, begin + minus, max(longest, 1)).T)
    digits, after_point, good = whole(columns, width)
    exact = good & (digits <= _MOST_EXACT) & (after_point <= 22)
    value = digits / _TENS[np.where(exact, after_point, 0)]
    value = np.where(minus, -value, value)
    value[width <= 0] = np.nan
    for row in np.flatnonzero(~exact & (width > 0)):
        text = block[begin[row] : end[row]].tobytes().decode("latin-1")
        value[row] = number(text.strip())
    return value
