"""Numbers as text, forgivingly: what cannot be read is NaN."""

from __future__ import annotations

import numpy as np

from oplog.track import Floats


def number(text: str | None) -> float:
    """A decimal number, NaN where the text is none (digit groups and commas are refused)."""
    if not text or "_" in text:
        return np.nan
    try:
        return float(text)
    except ValueError:
        return np.nan


def numbers(texts: list[str | None]) -> Floats:
    """Numbers of many texts."""
    return np.array([number(t) for t in texts], dtype=np.float64)
