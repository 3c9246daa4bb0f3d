"""oplog import"""

from __future__ import annotations

from typing import Any

import click

from oplog.cli import _import, _shared


@click.command("import")
@click.argument("paths", nargs=-1, required=True, metavar="PATH...")
@click.option("--machine", metavar="NAME", help="Whose track it is. Remembered for the device.")
@click.option("--implement", metavar="NAME", help="What it pulled or carried.")
@click.option("--operation", metavar="NAME", help="What it did, if not the implement's usual work.")
@click.option("--driver", metavar="NAME", help="Who drove.")
@click.option("--zone", metavar="AREA/CITY", help="Zone of times in a file that state none.")
@click.option("--add-days", type=int, metavar="N",
              help="Set dates right that are 1024 weeks off (7168), or keep them (0).")  # fmt: skip
@click.option("--problems", "every", is_flag=True, help="Tell of every problem found in the files.")
@_shared.units_option
@_shared.with_log
def command(log: _shared.Log, paths: tuple[str, ...], units: str, every: bool, **told: Any) -> int:
    """Take in tracks (GPX, NMEA) and show what was done.

    Files, compressed ones (.gz, .zip) too, or folders, which are read through: a whole stick will
    do. What the log holds already is
    known and counts once. Each import is one entry: all of it or nothing.

    \b
    oplog import track.gpx --machine blue --implement drill
    oplog import /media/stick
    """
    done = _import.run(log, paths, told)
    _import.ask_for_open(log, done)
    _import.tell_of_files(done, every)
    farm = _shared.farm_of(log, detail=False)
    _import.show(log, farm, done, units)
    return _import.exit_code(farm, done, every)
