"""oplog kit add"""

from __future__ import annotations

from datetime import date
from typing import Any

import click

from oplog.cli import _shared


@click.command()
@click.argument("name")
@click.option("--kind", help="What kind of thing: tractor, drill, mower ... (see above).")
@click.option("--machine/--implement", "is_machine", default=None,
              help="Which of the two, for --kind other.")  # fmt: skip
@click.option("--width", "width_m", type=_shared.LENGTH, metavar="LENGTH", help="Working width.")
@click.option("--operation", help="What it does. Otherwise its kind's usual operation.")
@click.option("--right", "antenna_right_m", type=_shared.LENGTH, metavar="LENGTH",
              help="Machine: antenna right of the centre line (left is negative).")  # fmt: skip
@click.option("--hitch", "hitch_m", type=_shared.LENGTH, metavar="LENGTH",
              help="Machine: from the antenna back to the hitch.")  # fmt: skip
@click.option("--carries", metavar="IMPLEMENT", help="Machine: its usual implement.")
@click.option("--behind", "behind_m", type=_shared.LENGTH, metavar="LENGTH",
              help="Implement: from the hitch back to the working line.")  # fmt: skip
@click.option("--ahead", "ahead_m", type=_shared.LENGTH, metavar="LENGTH",
              help="Implement: working line in front of the antenna.")  # fmt: skip
@click.option(
    "--trailed/--mounted", default=None, help="Implement: towed and swinging, or carried."
)
@click.option("--holds", metavar="AMOUNT", help="Implement: what its hopper or tank holds.")
@click.option("--sections", type=int, metavar="N",
              help="Implement: sections that shut off by themselves.")  # fmt: skip
@click.option("--from", "valid_from", type=_shared.DAY, metavar="DATE",
              help="The day from which this holds; earlier work keeps what was.")  # fmt: skip
@_shared.with_log
def command(
    log: _shared.Log, name: str, kind: str | None, is_machine: bool | None, holds: str | None,
    valid_from: date | str | None, **lengths: Any,
) -> None:  # fmt: skip
    """Add a machine or an implement, or change what is listed of one.

    Machines are of the kind tractor, combine, self-propelled sprayer or other; implements are a
    plough, cultivator, roller, drill, planter, spreader, sprayer, header, mower, rake, baler or
    other. Lengths take a unit: 3m, 20ft, 90cm. What is not said stays as it was. Without --from,
    what was listed is corrected; figures measured before stay as they are.

    \b
    oplog kit add blue --kind tractor --right 0.9m --hitch 2.5m --carries drill
    oplog kit add drill --kind drill --width 4m --behind 2m --trailed --holds 1200kg
    oplog kit add drill --width 3m --from 2027-04-01
    """
    from oplog.flow.listing import add_kit
    from oplog.kit import MACHINES, KitItem
    from oplog.sheets.figures import width
    from oplog.sheets.history import FIGURES_STAY

    amount, unit = _shared.amount(holds)
    item = KitItem(
        name, _shared.kind(kind), kind in MACHINES if is_machine is None else is_machine,
        holds=amount, holds_unit=unit, valid_from=_shared.day_in(log, valid_from),
        **lengths,
    )  # fmt: skip
    listed, what = add_kit(log, item, command=_shared.typed())
    wide = f", {width(listed.width_m)}" if listed.width_m else ""
    since = f" from {listed.valid_from}" if listed.valid_from else ""
    words = {"new": "Listed", "changed": "Changed", "unchanged": "Listed already, unchanged"}
    _shared.say(f"{words[what]}: {listed.name} ({listed.kind}{wide}){since}.")
    if what == "changed":
        _shared.note(FIGURES_STAY)
    if not listed.is_machine and listed.width_m is None:
        _shared.note(f"Its width is not known: oplog kit add {listed.name} --width 3m")
