"""oplog export"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("what")
@click.argument("file")
@click.argument("values", nargs=-1, metavar="[VALUE=...]")
@click.option("--field", metavar="NAME", help="Only this field (of a layer).")
@click.option("--day", type=_shared.DAY, metavar="DATE", help="Only this day (of a layer).")
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Only this harvest (of a layer).")
@click.option("--overwrite", is_flag=True, help="Write over a file that is there.")
@click.option("--raw", is_flag=True, help="In CSV, leave text that begins like a formula.")
@_shared.customer_options
@_shared.with_log
def command(
    log: _shared.Log, what: str, file: str, values: tuple[str, ...], field: str | None,
    day: date | str | None, year: int | None, overwrite: bool, raw: bool,
    customer: str | None, drivers: bool,
) -> None:  # fmt: skip
    """Write an answer or a map layer to a file of any kind.

    The kind is what the file's name ends in.

    Answers ('oplog ask' lists the questions): .csv .json .parquet. Layers (fields, bouts,
    coverage, missed, overlap, left, treated): .geojson .parquet .gpkg, and bouts and left as
    .gpx. 'answers' as WHAT writes them all, FILE being *.csv, say, in a folder.

    \b
    oplog export season season.csv harvest_year=2027
    oplog export left left.gpx --field "Long Acre"
    oplog export answers 'out/*.parquet'
    oplog export coverage brook.geojson --customer "Brook Farm"
    """
    from oplog.cli._export import export
    from oplog.query.layers import Only

    whole = _shared.farm_of(log)
    farm = _shared.seen_by(whole, customer, drivers)
    only = Only(field, _shared.day_of(farm, day), year)
    given = dict(_pair(v) for v in values)
    done = export(farm, what, file, given, only, overwrite=overwrite, raw=raw, whole=whole)
    for path, rows in done.files:
        _shared.say(f"{path}: {rows} {'row' if rows == 1 else 'rows'}.")
    if done.caution:
        _shared.note(done.caution)
    _shared.end(done.aside)


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals:
        raise click.BadParameter(f"{text!r}: write values as NAME=VALUE, as harvest_year=2027.")
    return name.strip().replace("-", "_"), value
