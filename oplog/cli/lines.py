"""oplog lines"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("field")
@click.option("--boom", type=_shared.LENGTH, metavar="LENGTH",
              help="Tramlines for this boom, from the drilling.")  # fmt: skip
@click.option("--other-side", is_flag=True, help="Count from the side where drilling ended.")
@click.option("--harvest", "year", type=int, metavar="YEAR", help="Work for this harvest.")
@click.option("--to", "folder", type=click.Path(file_okay=False), default=".", metavar="DIR",
              help="Where the files go; the folder you are in unless it is said.")  # fmt: skip
@click.option("--overwrite", is_flag=True, help="Write over files that are there.")
@_shared.with_log
def command(
    log: _shared.Log, field: str, boom: float | None, other_side: bool, year: int | None,
    folder: str, overwrite: bool,
) -> None:  # fmt: skip
    """Work out lines to follow, as GPX and GeoJSON for a phone or a map.

    With --boom, tramlines from the drilling; without, the wheelings of past sprayings. An aid to
    finding the lines, not for steering.

    \b
    oplog lines "Long Acre" --boom 24m
    oplog lines "Long Acre" --to /media/stick
    """
    from oplog.flow.writing_out import lines_of, put_files
    from oplog.sheets import geo
    from oplog.sheets.unsettled import of_field

    farm = _shared.farm_of(log)
    found = lines_of(farm, field, boom, year, other_side=other_side)
    aside = _shared.beside(farm, of_field(farm, found.field))
    told = aside.data("metric")
    stem = _shared.file_stem(found.field, found.kind).lower()
    written = put_files(
        folder,
        {f"{stem}.gpx": geo.lines_gpx(found, told).encode(),
         f"{stem}.geojson": geo.lines_geojson(found, told).encode()},
        overwrite=overwrite,
    )  # fmt: skip
    _shared.say(
        f"{found.field}, {found.kind}: {len(found.lines)} lines in {' and '.join(written)}."
    )
    for line in found.lines:
        click.echo(f"  {line.name:<14} {line.where}")
    for remark in found.remarks:
        _shared.say(remark)
    _shared.say(
        f"To be off by up to {found.error_m:.2f} m, 19 times in 20, by the tracks they rest on; "
        f"your phone's own error comes on top. {geo.FINDING}"
    )
    _shared.end(aside)
