"""oplog new"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("folder", metavar="DIR")
@click.option("--name", "farm", metavar="FARM", help="The farm's name. Otherwise asked, or DIR's.")
@click.option("--zone", metavar="AREA/CITY", help="Time zone. Otherwise the computer's.")
@click.option("--day-turns-at", "turn", default="04:00", show_default=True, metavar="HH:MM",
              help="When one working day becomes the next.")  # fmt: skip
def command(folder: str, farm: str | None, zone: str | None, turn: str) -> None:
    """Start a log in a folder.

    \b
    oplog new season --name "Hill Farm" --zone Europe/London
    """
    from pathlib import Path

    from oplog.cli._zone import known_zone, system_zone
    from oplog.log import create

    name = farm or _farm_name(Path(folder))
    zone = known_zone(zone or system_zone() or _asked_zone())
    create(Path(folder), name, zone, _shared.clock_time(turn))
    click.echo(f"A log for {name} is open in {folder} (times of {zone}, days turn at {turn}).")
    if Path(folder).resolve() not in (Path.cwd(), *Path.cwd().parents):
        click.echo(f"Go there (cd {folder}), or name it each time: oplog --log {folder} ...")
    _shared.say(
        "Next: oplog kit add NAME --kind KIND, for each machine and implement; and where you have "
        "boundaries, oplog land add BOUNDARIES.geojson. Then: oplog import TRACK."
    )


def _farm_name(folder: object) -> str:
    from pathlib import Path

    usual = Path(str(folder)).resolve().name or "Farm"
    if not _shared.at_terminal():
        return usual
    return str(click.prompt("The farm's name", default=usual, err=True))


def _asked_zone() -> str:
    if _shared.at_terminal():
        return str(click.prompt("Time zone (Area/City)", default="UTC", err=True))
    _shared.note("The computer does not tell its time zone: UTC is taken (--zone AREA/CITY).")
    return "UTC"
