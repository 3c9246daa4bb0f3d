"""Columns of many events as Arrow tables, without a Python value a cell where that can be spared.

For whoever asks questions of them: a database takes such a table as it lies.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np

from oplog.events import Event, columns
from oplog.log import schema
from oplog.log.parts import Part

POSITION = "position"
"""Name of the column that says which event a row is; -1 for one that was not asked for."""


def of_events(events: Sequence[Event], event_type: type[Event], names: Sequence[str]) -> Any:
    """Columns of events of one type, in an order of their own.

    names: of columns, or "event_id". Beside them stands the number of each event among those
    given, in the column POSITION.
    """
    import pyarrow as pa

    hints = {"event_id": str, **columns(event_type)}
    kinds = {n: schema.arrow_type(hints[n]) for n in names}
    held = [e.__dict__ for e in events]
    parts = [p if isinstance(p := h.get("_part"), Part) else None for h in held]
    number = {key: k for k, key in enumerate(dict.fromkeys(map(id, parts)))}
    part_of = np.array([number[id(p)] for p in parts], dtype=np.int64)
    tables, others = [], []
    for k in number.values():
        which = np.flatnonzero(part_of == k)
        part = parts[which[0]]
        if part is None:
            others = which.tolist()
        else:
            rows = np.array([held[w]["_row"] for w in which], dtype=np.int64)
            tables.append(_of_part(part, rows, which, kinds))
    if others or not tables:
        whole = [events[w] for w in others]
        arrays = [array([getattr(e, n) for e in whole], kind) for n, kind in kinds.items()]
        positions = _whole(np.array(others, dtype=np.int64))
        tables.append(pa.table([*arrays, positions], names=[*kinds, POSITION]))
    return pa.concat_tables(tables)


def of_lists(lists: Mapping[str, tuple[type, Sequence[Any]]]) -> Any:
    """Lists of Python values as a table. lists: type and values of each column."""
    import pyarrow as pa

    arrays = [array(cells, schema.arrow_type(kind)) for kind, cells in lists.values()]
    return pa.table(arrays, names=list(lists))


def encoded(table: Any) -> bytes:
    """A table as Parquet."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd", compression_level=1, store_schema=False)
    return bytes(sink.getvalue())


def array(cells: Sequence[Any], kind: Any) -> Any:
    """Values as an Arrow array, past Arrow's own way of reading lists, which loads pandas where
    there is one."""
    import pyarrow as pa
    import pyarrow.types as t

    valid, count = None, 0
    if None in cells:
        missing = np.array([c is None for c in cells], dtype=bool)
        valid, count = _bits(~missing), int(missing.sum())
    if t.is_string(kind):
        texts: list[Any] = ["" if c is None else c for c in cells] if count else list(cells)
        joined = "".join(texts).encode()
        if not joined.isascii():
            texts = [c.encode() for c in texts]
        ends = np.cumsum([0, *map(len, texts)], dtype=np.int32)
        held = pa.py_buffer(ends.tobytes()), pa.py_buffer(joined)
        return pa.StringArray.from_buffers(len(cells), *held, valid, count)
    if t.is_boolean(kind):
        held = _bits(np.array([bool(c) for c in cells], dtype=bool))
    else:
        number = _number(kind)
        numbers = [0 if c is None else number(c) for c in cells]
        width = "f8" if t.is_floating(kind) else f"i{kind.bit_width // 8}"
        held = pa.py_buffer(np.array(numbers, dtype=width).tobytes())
    return pa.Array.from_buffers(kind, len(cells), [valid, held], count)


def _whole(numbers: Any) -> Any:
    """Whole numbers as an Arrow array as they lie: reading them looks for masks, by a module of
    NumPy's that nothing else needs."""
    import pyarrow as pa

    return pa.Array.from_buffers(pa.int64(), len(numbers), [None, pa.py_buffer(numbers.tobytes())])


def _bits(flags: Any) -> Any:
    import pyarrow as pa

    return pa.py_buffer(np.packbits(flags, bitorder="little").tobytes())


def _number(kind: Any) -> Callable[[Any], Any]:
    """How a value of a type is stored."""
    import pyarrow.types as t

    if t.is_date32(kind):
        return lambda day: day.toordinal() - date(1970, 1, 1).toordinal()
    if t.is_timestamp(kind):
        first, step = datetime(1970, 1, 1, tzinfo=UTC), timedelta(microseconds=1)
        return lambda moment: (moment - first) // step
    return float if t.is_floating(kind) else int


def _of_part(part: Part, rows: Any, which: Any, kinds: Mapping[str, Any]) -> Any:
    import pyarrow as pa

    count = part.rows.num_rows
    positions = np.full(count, -1, dtype=np.int64)
    positions[rows] = which
    held = [
        part.rows[n]
        if n == "event_id"
        else part.column(n)
        if n in part.held
        else pa.nulls(count, kind)
        for n, kind in kinds.items()
    ]
    return pa.table([*held, _whole(positions)], names=[*kinds, POSITION])
