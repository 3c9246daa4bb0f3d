"""Many small events files made into few, safely against readers, kills and power cuts.

The larger file is on the disk for good, and read back, before any of those it replaces is taken
away; what is there twice in between counts once. Nothing of an event is changed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from oplog.errors import OplogError
from oplog.log import disk, schema
from oplog.log.files import EventFiles, as_named
from oplog.log.folder import SUFFIX
from oplog.log.reading import UNREADABLE, table_of, values

TIERS = ((1 << 20, 24), (16 << 20, 12))
"""Files below the first figure [byte] are merged when there are as many as the second."""

LARGEST = 32 << 20
"""A merged file is made of files that add up to no more than this. [byte]"""


def when_many(files: EventFiles) -> int:
    """Tidy those tiers that have become many. The log is held. Never fails: a tidy that cannot
    be done is done another day. Returns: files taken away."""
    try:
        sizes = _sizes(files)
        smaller = 0
        removed = 0
        for limit, many in TIERS:
            tier = [n for n, size in sizes.items() if smaller <= size < limit]
            if len(tier) >= many:
                removed += _merge(files, tier, sizes)
            smaller = limit
        return removed
    except (OplogError, OSError):
        return 0


def everything(files: EventFiles) -> int:
    """Merge all files that are not large. The log is held. Returns: files taken away.
    Raises: CannotWrite; the log then holds what it held."""
    sizes = _sizes(files)
    return _merge(files, [n for n, size in sizes.items() if size < TIERS[-1][0]], sizes)


def _merge(files: EventFiles, names: Sequence[str], sizes: dict[str, int]) -> int:
    known = _ids_elsewhere(files, set(names))
    return sum(_merge_group(files, g, known) for g in _groups(names, sizes) if len(g) > 1)


def _merge_group(files: EventFiles, names: Sequence[str], known: set[str]) -> int:
    tables = {n: t for n in names if (t := _trusted(files.folder / n)) is not None}
    if len(tables) < 2:
        return 0
    made = ""
    if rows := _once(list(tables.values()), known):
        data = schema.to_parquet(rows[0])
        made = disk.digest(data) + SUFFIX
        disk.write_whole(files.folder, made, data)
        if not as_named(made, (files.folder / made).read_bytes()):
            return 0  # the disk does not give back what it took: keep everything
        known.update(values(rows[0]["event_id"]))
    return sum(disk.remove(files.folder / n) for n in tables if n != made)


def _once(tables: list[Any], known: set[str]) -> list[Any]:
    """One table of the rows whose ids are not known yet, each once, like with like; [] for none."""
    import pyarrow as pa

    joined = pa.concat_tables(tables, promote_options="default")
    ids, types = values(joined["event_id"]), values(joined["type"])
    first = {i: row for row, i in reversed(list(enumerate(ids))) if i not in known}
    if not first:
        return []
    order = sorted(first.values(), key=lambda row: (types[row], ids[row]))
    declared = [n for n in schema.schema_of(set(types)).names if n in joined.column_names]
    others = [n for n in joined.column_names if n not in declared]
    return [joined.select(declared + others).take(order)]


def _trusted(path: Path) -> Any:
    try:
        data = path.read_bytes()
        return table_of(data) if as_named(path.name, data) else None
    except UNREADABLE:
        return None


def _ids_elsewhere(files: EventFiles, names: set[str]) -> set[str]:
    return set(files.index(leave_out=names).types)


def _groups(names: Sequence[str], sizes: dict[str, int]) -> Iterator[list[str]]:
    group: list[str] = []
    total = 0
    for name in sorted(names, key=lambda n: (sizes[n], n)):
        if group and total + sizes[name] > LARGEST:
            yield group
            group, total = [], 0
        group.append(name)
        total += sizes[name]
    if group:
        yield group


def _sizes(files: EventFiles) -> dict[str, int]:
    found = {}
    for name in files.names():
        try:
            found[name] = (files.folder / name).stat().st_size
        except FileNotFoundError:
            continue
    return found
