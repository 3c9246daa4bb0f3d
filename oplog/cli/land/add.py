"""oplog land add"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("file", type=click.Path())
@click.option("--farm", metavar="NAME", help="The block of land they belong to.")
@click.option("--name-from", "name_property", metavar="PROPERTY",
              help="The file's property that holds the names. Otherwise found.")  # fmt: skip
@click.option("--from", "valid_from", type=_shared.DAY, metavar="DATE",
              help="The day from which these drawings hold.")  # fmt: skip
@_shared.with_log
def command(
    log: _shared.Log, file: str, farm: str | None, name_property: str | None,
    valid_from: date | str | None,
) -> int:  # fmt: skip
    """Add the fields of a boundary file (GeoJSON).

    A field that is there in another shape is drawn anew from today on, or from the day given
    with --from; work done before keeps the old drawing.

    \b
    oplog land add boundaries.geojson --farm Home
    """
    from oplog.flow.listing import add_land

    before = _shared.farm_of(log, detail=False)
    today, day = _shared.today(before), _shared.day_of(before, valid_from)
    added = add_land(
        log, _shared.content(file), _shared.name_of(file), today=today, farm=farm,
        name_property=name_property, valid_from=day, command=_shared.typed(),
    )  # fmt: skip
    for what, names in (("New", added.new), ("Drawn anew", added.redrawn)):
        if names:
            since = f" (from {added.valid_from})" if added.valid_from else ""
            _shared.say(f"{what}{since}: {', '.join(names)}.")
    if added.unchanged:
        _shared.say(f"There already, unchanged: {', '.join(added.unchanged)}.")
    _shared.note(f"Names are from {' and '.join(added.named_by)} (--name-from takes another).")
    if before.days and (added.new or added.redrawn):
        _shared.note("Work measured before keeps its figures. What these fields would change:")
        _shared.note("oplog remeasure", indent="  ")
    return _shared.problems(added.problems)
