"""oplog apply"""

from __future__ import annotations

from datetime import date
from typing import Any

import click

from oplog.cli import _shared


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("product")
@click.argument("amount")
@click.argument("unit", required=False, default="")
@click.option("--to", metavar="JOB|VISIT|FIELD|DAY", help="What it went on.")
@click.option("--on", type=_shared.DAY, metavar="DATE", help="Only work of this day.")
@click.option("--kind", metavar="KIND", help="seed, spray, fertiliser, fuel or water.")
@click.option("--machine", metavar="NAME", help="Only work of this machine.")
@click.option("--left", "left_over", metavar="AMOUNT", help="What was left over, in the same unit.")
@click.option("--loads", type=float, help="Tank or hopper loads, where you counted them.")
@click.option("--dose", "per_ha", metavar="AMOUNT", help="A hectare, as on the label.")
@click.option("--water", "water_l_ha", type=float, metavar="L/HA", help="Water a hectare.")
@click.option("--nozzles", "nozzle_m", type=_shared.LENGTH, metavar="LENGTH", help="Their spacing.")
@click.option("--authorisation", metavar="NUMBER", help="Authorisation number of the product.")
@click.option("--started", metavar="HH:MM", help="Start, where it is not that of the track.")
@click.option("--eppo", metavar="CODE", help="EPPO code of the crop.")
@click.option("--bbch", metavar="STAGE", help="Growth stage of the crop, 00 to 99.")
@click.option("--operator", metavar="NAME", help="Who did it, if not the driver.")
@click.option("--wind", "wind_force", type=float, metavar="FORCE", help="Beaufort, 0 to 12.")
@click.option("--wind-from", metavar="DIRECTION", help="As NW.")
@click.option("--use", metavar="TEXT", help="Type of use, as on the label.")
@click.option("--replaces", metavar="INPUT", help="Input to correct; what is not said stays.")
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, product: str, amount: str, unit: str, to: str | None, on: date | str | None,
    kind: str | None, replaces: str | None, left_over: str | None, per_ha: str | None,
    started: str | None, units: str, **details: Any,
) -> None:  # fmt: skip
    """State what went out: seed, spray, fertiliser, fuel.

    \b
    oplog apply "bean seed" 3900 kg --to "drill the beans" --left 120kg
    oplog apply Herbex 62 l --to 2027-04-14 --dose 2l --water 200 --bbch 31
    oplog apply diesel 84 l --to 2027-04-09 --kind fuel --machine blue
    oplog apply Herbex 62 l --replaces 54df6 --wind 3 --wind-from NW
    """
    from oplog.flow.applying import apply, rows_of
    from oplog.fold import of_tables
    from oplog.sheets.inputs import inputs_sheet

    if to is None and replaces is None:
        raise click.UsageError("Say what it went on: --to JOB, VISIT, FIELD or DAY.")
    farm = _shared.farm_of(log)
    value, said = _amount(f"{amount} {unit}".strip())
    details |= {"left_over": _same(left_over, said), "per_ha": _same(per_ha, said)}
    details["started"] = _shared.clock_time(started) if started else None
    done = apply(
        log, product, value, said, to, today=_shared.today(farm), kind=kind and kind.casefold(),
        on=_shared.day_of(farm, on), replaces=replaces, details=details, command=_shared.typed(),
    )  # fmt: skip
    now = _shared.farm_of(log)
    rows = rows_of(now, done.event)
    click.echo(inputs_sheet(rows, system=units, width=_shared.columns()))
    for doubt in done.doubts:
        _shared.note(doubt)
    _shared.end(_shared.beside(now, of_tables(now, ["inputs", "input_visits"])), units)


def _amount(text: str) -> tuple[float, str]:
    if text.startswith("-"):
        raise click.BadParameter(f"{text!r} is less than nothing.")
    value, unit = _shared.amount(text)
    assert value is not None
    assert unit is not None
    return value, unit


def _same(text: str | None, unit: str) -> float | None:
    """An amount in kg or litres; of the unit said before where it names none."""
    from oplog.units import AMOUNTS

    if text is None:
        return None
    if text.replace(".", "", 1).isdigit():
        text = f"{text} {unit}"
    value, own = _amount(text)
    if AMOUNTS[own][0] != AMOUNTS[unit][0]:
        raise click.BadParameter(f"{text!r} does not fit an amount in {unit}.")
    return value * AMOUNTS[own][1]
