"""Whether the events of a file are what their ids say, worked out a column at a time.

An id is the digest of an event's content as JSON (see `oplog.events.event_id`). Here the same text
is put together from the columns of a file, without making the events: a third of the time. What
does not come out as it should is left to the slow way, which is the one that decides.
"""

from __future__ import annotations

import hashlib
import typing
from collections.abc import Callable, Sequence
from dataclasses import MISSING, fields
from datetime import date, datetime
from itertools import pairwise
from json.encoder import encode_basestring_ascii as quoted
from typing import Any

import numpy as np

from oplog.events import TYPES, Event, Found, Span, canonical_json, columns, struct
from oplog.log import schema
from oplog.log._arrow import nulls, rows_of, whole_numbers
from oplog.log.reading import UNREADABLE, values

Parts = list[str | None]
"""A column as JSON, a cell each; None where there is nothing that goes into an id."""


def all_whole(table: Any) -> bool:
    """Whether every row of an events file's table is an event of a known type and version that is
    what its id says. False, too, where that cannot be told this way."""
    kinds = list(zip(values(table["type"]), values(table["version"]), strict=True))
    rows: dict[tuple[str, int], list[int]] = {}
    for row, kind in enumerate(kinds):
        rows.setdefault(kind, []).append(row)
    try:
        return all(_of_kind(rows_of(table, where), *kind) for kind, where in rows.items())
    except UNREADABLE:
        return False


def _of_kind(table: Any, type_string: str, version: int) -> bool:
    event_type = TYPES.get(type_string)
    if event_type is None or version != event_type.VERSION:
        return False
    ids = values(table["event_id"])
    return _ids(table, event_type) == ids


def _ids(table: Any, event_type: type[Event]) -> list[str]:
    """Ids of the rows of one type, as their content gives them."""
    n = table.num_rows
    defaults = {f.name: f.default for f in fields(event_type) if f.default is not MISSING}
    parts: dict[str, Parts] = {
        "type": [f'"type":{quoted(event_type.TYPE)}'] * n,
        "version": [f'"version":{event_type.VERSION}'] * n,
    }
    held = set(table.column_names)
    for name, hint in columns(event_type).items():
        found: Parts = [None] * n
        if name in held:
            found = _column(table[name], hint)
        default = canonical_json(hint, defaults.get(name))
        if default is not None:
            found = [default if p is None else p for p in found]
        if any(found):
            parts[name] = [p and f"{quoted(name)}:{p}" for p in found]
    rows = zip(*(parts[name] for name in sorted(parts)), strict=True)
    texts = ("{" + ",".join(filter(None, row)) + "}" for row in rows)
    return [hashlib.sha256(t.encode("ascii")).hexdigest()[:32] for t in texts]


def _column(column: Any, hint: Any) -> Parts:
    if column.type != schema.arrow_type(hint):
        raise TypeError(f"a column of type {column.type}")
    chunks = column.chunks
    found: Parts = []
    for array in chunks:
        found += _array(array, hint)
    return found


def _array(array: Any, hint: Any) -> Parts:
    """An array as JSON; None where it is null, or an empty list or map."""
    if array.null_count == len(array):
        return [None] * len(array)
    origin = typing.get_origin(hint)
    if origin is tuple:
        found = _lists(array, typing.get_args(hint)[0])
    elif origin is dict:
        found = _maps(array)
    elif hint in (Span, Found):
        found = _structs(array, hint)
    else:
        found = _simple(array, hint)
    if array.null_count:
        for row in np.flatnonzero(nulls(array)).tolist():
            found[row] = None
    return found


def _simple(array: Any, hint: Any) -> Parts:
    if hint is datetime:
        return [f'"@{v}"' for v in whole_numbers(array).tolist()]
    if hint is float:
        return [f'"{v.hex()}"' for v in whole_numbers(array).tolist()]
    if hint is int:
        return [str(v) for v in whole_numbers(array).tolist()]
    if hint is date:
        return _each(values(array), lambda v: f'"{v.isoformat()}"')
    if hint is str:
        return _each(values(array), quoted)
    if hint is bytes:
        return [v and f'"{hashlib.sha256(v).hexdigest()}"' for v in values(array)]
    return [None if v is None else "true" if v else "false" for v in values(array)]


def _each(cells: Sequence[Any], write: Callable[[Any], str | None]) -> Parts:
    """Cells as JSON, equal ones written once."""
    written = {v: None if v is None else write(v) for v in set(cells)}
    return [written[v] for v in cells]


def _maps(array: Any) -> Parts:
    keys, items = array.keys, array.items
    if keys.null_count or items.null_count:
        raise ValueError("nothing where something has to be")
    # Settings are the same in most rows: those of the same bytes are written once.
    starts = _offsets(keys)
    names = keys.buffers()[2] or b""
    numbers = whole_numbers(items)
    written: dict[tuple[bytes, ...], str | None] = {}
    found: Parts = []
    for a, b in pairwise(array.offsets.to_numpy().tolist()):
        text = bytes(names[int(starts[a]) : int(starts[b])])
        cell = (text, np.diff(starts[a : b + 1]).tobytes(), numbers[a:b].tobytes())
        if cell not in written:
            written[cell] = _map(values(keys.slice(a, b - a)), numbers[a:b].tolist())
        found.append(written[cell])
    return found


def _offsets(array: Any) -> Any:
    """Where each text of an array begins, and the last one ends: (n + 1,)."""
    held = array.buffers()[1]
    offset = 4 * array.offset
    return np.frombuffer(held, np.int32, len(array) + 1, offset) if held else np.zeros(1, np.int32)


def _map(keys: Sequence[str], numbers: Sequence[float]) -> str | None:
    pairs = sorted(dict(zip(keys, numbers, strict=True)).items())
    return "{" + ",".join([f'{quoted(k)}:"{v.hex()}"' for k, v in pairs]) + "}" if pairs else None


def _lists(array: Any, hint: Any) -> Parts:
    offsets = array.offsets.to_numpy()
    first, last = int(offsets[0]), int(offsets[-1])
    items = _array(array.values.slice(first, last - first), hint)
    if None in items:
        raise ValueError("nothing where something has to be")
    ends = (offsets - first).tolist()
    joined = typing.cast(list[str], items)
    return [f"[{','.join(joined[a:b])}]" if b > a else None for a, b in pairwise(ends)]


def _structs(array: Any, hint: Any) -> Parts:
    forms: list[str] = []
    parts: list[Sequence[Any]] = []
    for name, inner in struct(hint):
        held = array.field(name)
        if inner in (datetime, int) and not held.null_count:  # as nearly all of a season's are
            forms.append('"@%d"' if inner is datetime else "%d")
            parts.append(whole_numbers(held).tolist())
        else:
            forms.append("%s")
            parts.append(["null" if p is None else p for p in _array(held, inner)])
    row = f"[{','.join(forms)}]"
    return [row % cells for cells in zip(*parts, strict=True)]
