"""Answers, layers and lines out into files."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from oplog.errors import CannotWrite, OplogError
from oplog.fold import Farm
from oplog.log.disk import rename
from oplog.season.lines import Lines, tramlines, wheelings

SPRAYED = ("spraying", "spreading")
DRILLED = ("drilling", "planting")


def lines_of(
    farm: Farm, field: str, boom_m: float | None, harvest_year: int | None, *,
    other_side: bool = False,
) -> Lines:  # fmt: skip
    """Tramlines for a boom, or the wheelings of past sprayings where none is given.

    harvest_year: of the crop; the newest with such work unless it is said.
    Raises: UnknownName, OplogError.
    """
    drawn = farm.field(field)
    operations = SPRAYED if boom_m is None else DRILLED
    work = [
        v
        for v in farm.visits
        if v.field.casefold() == drawn.name.casefold()
        and (v.operation or "").casefold() in operations
        and v.bouts
        and harvest_year in (None, farm.standing[v.event_id].harvest_year)
    ]
    if not work:
        what = " or ".join(operations)
        when = f" for harvest {harvest_year}" if harvest_year else ""
        raise OplogError(f"{drawn.name}: no {what} with bouts is on file{when}.")
    year = farm.standing[work[-1].event_id].harvest_year
    work = [v for v in work if farm.standing[v.event_id].harvest_year == year]
    if boom_m is None:
        spraying = [v for v in work if (v.operation or "").casefold() == SPRAYED[0]]
        return wheelings(drawn, spraying or work)
    return tramlines(drawn, work, boom_m, other_side=other_side)


def put_files(folder: str, files: Mapping[str, bytes], *, overwrite: bool = False) -> list[str]:
    """Write files into a folder, each whole or not at all; gives their paths.

    Raises: CannotWrite for one that is there, or where the folder cannot be written to.
    """
    place = Path(folder)
    paths = [place / name for name in files]
    if not overwrite and (there := [p for p in paths if p.exists()]):
        raise CannotWrite(
            f"{there[0]} is there already. Nothing was written; --overwrite writes over it."
        )
    try:
        place.mkdir(parents=True, exist_ok=True)
        for path, data in zip(paths, files.values(), strict=True):
            aside = path.with_name(f".{path.name}.{os.getpid()}")
            aside.write_bytes(data)
            rename(aside, path)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise CannotWrite(
            f"{paths[0]} could not be written: {why}. Name a file in another folder."
        ) from error
    return [str(p) for p in paths]
