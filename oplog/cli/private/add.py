"""oplog private add"""

from __future__ import annotations

import re

import click

from oplog.cli import _shared


@click.command()
@click.argument("name")
@click.option("--at", metavar="LAT,LON", help="Middle of a circle, in degrees.")
@click.option("--radius", "radius_m", type=_shared.LENGTH, metavar="LENGTH",
              help="Radius of the circle, such as 150m.")  # fmt: skip
@click.option("--file", type=click.Path(), metavar="FILE",
              help="A boundary file in place of a circle, as for 'oplog land add'.")  # fmt: skip
@_shared.with_log
def command(
    log: _shared.Log, name: str, at: str | None, radius_m: float | None, file: str | None
) -> int:
    """State a place whose positions are cut from tracks before anything is kept.

    Put the middle of a circle a little off the house: tracks that end at its edge show where it
    lies. The place itself is kept in the log, so that it holds on every computer.

    \b
    oplog private add home --at 52.3009,0.1720 --radius 150m
    oplog private add yard --file yard.geojson
    """
    from oplog.cli import _forget
    from oplog.flow import private

    if (at is None) == (file is None) or (at is None) != (radius_m is None):
        raise click.UsageError("Say either --at LAT,LON with --radius LENGTH, or --file FILE.")
    typed = _without_place(_shared.typed())
    if file is not None:
        content, called = _shared.content(file), _shared.name_of(file)
        done = private.state_file(log, name, content, called, command=typed)
    else:
        assert at is not None
        assert radius_m is not None
        lat, lon = _position(at)
        done = private.state_circle(log, name, lat, lon, radius_m, command=typed)
    _shared.say(
        f"{', '.join(done.names)} is private: what lies in it is cut from every track imported "
        "from now on, before anything is kept."
    )
    _forget.tell_of_older(log, done.names)
    return _shared.problems(done.problems)


def _position(at: str) -> tuple[float, float]:
    """Latitude and longitude as typed. Raises: click.BadParameter."""
    found = re.fullmatch(r"\s*([+-]?\d+(?:\.\d+)?)\s*,\s*([+-]?\d+(?:\.\d+)?)\s*", at)
    if found is None:
        raise click.BadParameter(
            f"{at!r} is no position: write latitude,longitude in degrees, as 52.3009,0.1720."
        )
    return float(found[1]), float(found[2])


def _without_place(typed: str) -> str:
    """The command for the log, without where the place is: entries are shown to people."""
    return re.sub(r"(--at[= ]\s*)\S+", r"\1...", typed)
