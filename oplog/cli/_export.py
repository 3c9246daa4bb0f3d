"""What `oplog export` does: an answer or a layer, in the form that the file's name asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from oplog.cli import _shared
from oplog.errors import CannotWrite, OplogError, UnknownName
from oplog.records import dataclass

if TYPE_CHECKING:
    from oplog.fold import Farm
    from oplog.query import Answer
    from oplog.query.layers import Layer, Only

ANSWERS = "answers"
"""As the name of what to export: every answer."""
_OF_ANSWERS = (".csv", ".json", ".parquet")
_OF_LAYERS = (".geojson", ".parquet", ".gpkg", ".gpx")
_AS_GPX = ("bouts", "left")
_KINDS = {"varchar": "str", "double": "float", "bigint": "int", "integer": "int",
          "boolean": "bool", "date": "date", "timestamptz": "datetime",
          "varchar[]": "list"}  # fmt: skip
_OF_SPRAYS = ("inputs", "spray_records", "treated")


@dataclass(frozen=True)
class Exported:
    """Files written, each with its number of rows; a caution that goes with them, or ""; and
    what stands beside them."""

    files: tuple[tuple[str, int], ...]
    caution: str
    aside: _shared.Beside


def export(
    farm: Farm, what: str, file: str, values: Mapping[str, str], only: Only, *,
    overwrite: bool, raw: bool, units: str = "metric", whole: Farm | None = None,
) -> Exported:  # fmt: skip
    """Write an answer, every answer, or a layer. The seal, and what is unsettled of it, go into
    every kind of file that has a place for them; CSV has none.

    whole: the farm that `farm` is a customer's part of.
    Raises: UnknownName, OplogError, CannotWrite.
    """
    from oplog import query
    from oplog.fold import of_tables
    from oplog.query.layers import LAYERS, READS, layer
    from oplog.sheets.inputs import CAUTION

    form = Path(file).suffix.lower()
    caution = CAUTION if what in (*_OF_SPRAYS, ANSWERS) else ""
    if what in LAYERS:
        _check_form(form, _OF_LAYERS, f"The layer {what}")
        aside = _shared.beside(farm, of_tables(farm, READS[what]), whole)
        found = replace(layer(farm, what, only), caution=caution, beside=aside.data(units))
        _write_layer(found, file, form, overwrite)
        return Exported(((file, len(found.rows)),), caution, aside)
    _check_form(form, _OF_ANSWERS, "An answer")
    questions = query.questions()
    if what != ANSWERS and what.replace("-", "_") not in questions:
        raise UnknownName("answer or layer", what, [*questions, *LAYERS, ANSWERS])
    names = list(questions) if what == ANSWERS else [what.replace("-", "_")]
    files = []
    reads = {table for name in names for table in questions[name].reads}
    aside = _shared.beside(farm, of_tables(farm, reads), whole)
    for name in names:
        answer = query.ask(farm, name, values if what != ANSWERS else {})
        path = file.replace("*", name) if what == ANSWERS else file
        own = replace(aside, unsettled=of_tables(farm, questions[name].reads)).data(units)
        _put(path, _answer(answer, form, raw, own), overwrite)
        files.append((path, len(answer.rows)))
    return Exported(tuple(files), caution, aside)


def _answer(answer: Answer, form: str, raw: bool, beside: Mapping[str, Any]) -> bytes:
    from oplog.sheets import data
    from oplog.sheets.questions import answer_table

    if form == ".csv":
        return data.to_csv(answer_table(answer), raw=raw).encode()
    if form == ".json":
        return data.to_json(answer_table(answer), beside).encode()
    from oplog.log.export import parquet
    from oplog.query import find

    kinds = {c.name: _KINDS.get(c.type, "str") for c in find(answer.name).columns}
    types = [kinds.get(c, "str") for c in answer.columns]
    return parquet(answer.columns, types, answer.rows, beside=beside)


def _write_layer(found: Layer, file: str, form: str, overwrite: bool) -> None:
    from oplog.sheets import geo

    if form == ".geojson":
        _put(file, geo.geojson(found).encode(), overwrite)
    elif form == ".gpx":
        if found.name not in _AS_GPX:
            raise OplogError(
                f"GPX is written of {' and '.join(_AS_GPX)}; {found.name} as .geojson."
            )
        _put(file, geo.layer_gpx(found).encode(), overwrite)
    elif form == ".parquet":
        from oplog.log.export import parquet

        table = (found.columns, found.kinds, found.rows, found.geometries)
        _put(file, parquet(*table, beside=found.beside), overwrite)
    else:
        _geopackage(found, file, overwrite)


def _geopackage(found: Layer, file: str, overwrite: bool) -> None:
    from oplog.sheets import geo

    if Path(file).exists():
        if not overwrite:
            raise CannotWrite(f"{file} is there already; --overwrite writes over it.")
        Path(file).unlink()
    try:
        geo.geopackage(found, file)
    except ImportError:
        raise OplogError(
            "GeoPackages need the extra: pip install 'oplog[boundaries]'. Without it, .geojson "
            "and .parquet hold the same."
        ) from None


def _put(file: str, data: bytes, overwrite: bool) -> None:
    from oplog.flow.writing_out import put_files

    path = Path(file)
    put_files(str(path.parent), {path.name: data}, overwrite=overwrite)


def _check_form(form: str, able: tuple[str, ...], what: str) -> None:
    if form not in able:
        raise OplogError(
            f"{what} is written as {', '.join(able)}; the file's name ends in {form or 'none'}."
        )
