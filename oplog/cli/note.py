"""oplog note"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("text")
@click.option("--on", multiple=True, metavar="PLACE",
              help="A field, machine, visit or day; again for more. Else today.")  # fmt: skip
@_shared.with_log
def command(log: _shared.Log, text: str, on: tuple[str, ...]) -> None:
    """Write a note on a field, a machine, a visit or a day.

    'oplog notes' and 'oplog field' find it again.

    \b
    oplog note "seed at 5 cm, moist below" --on "Long Acre"
    oplog note "new points on the drill" --on drill --on 2027-03-25
    """
    from oplog.flow.writing import note

    farm = _shared.farm_of(log)
    event = note(log, text, on=on, today=_shared.today(farm), command=_shared.typed())
    place = [str(p) for p in (event.day, event.field, event.machine) if p]
    _shared.say(f"Noted on {', '.join(place)}: {event.note}")
