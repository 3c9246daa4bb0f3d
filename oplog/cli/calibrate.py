"""oplog calibrate"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("drill")
@click.argument("product")
@click.option("--rate", metavar="AMOUNT", help="Wanted a hectare, as 180kg.")
@click.option("--plants", type=float, metavar="N", help="Plants wanted a square metre.")
@click.option("--grain-weight", type=float, metavar="GRAMS", help="Weight of a thousand grains.")
@click.option("--establishment", type=float, metavar="PERCENT", help="Seeds that come up.")
@click.option("--area", type=float, metavar="M2", help="Area that was turned, or is to be.")
@click.option("--caught", metavar="AMOUNT", help="What fell, as 3.1kg.")
@click.option("--on", type=_shared.DAY, default="today", metavar="DATE", help="Set on this day.")
@_shared.with_log
def command(
    log: _shared.Log, drill: str, product: str, rate: str | None, plants: float | None,
    grain_weight: float | None, establishment: float | None, area: float | None,
    caught: str | None, on: date | str,
) -> None:  # fmt: skip
    """Set a drill: seed rate, what is to fall, and what fell.

    \b
    oplog calibrate drill "bean seed" --plants 40 --grain-weight 520 --establishment 85
    oplog calibrate drill "bean seed" --rate 245kg --area 100 --caught 2.4kg
    """
    from oplog.flow.applying import calibrate
    from oplog.sheets.inputs import setting

    day = _shared.day_of(_shared.farm_of(log), on)
    assert day is not None
    event = calibrate(
        log, drill, product, day, rate_kg_ha=_kg(rate), plants_m2=plants,
        thousand_grain_g=grain_weight,
        establishment=None if establishment is None else establishment / 100.0,
        calibrated_m2=area, caught_kg=_kg(caught), command=_shared.typed(),
    )  # fmt: skip
    click.echo(setting(event, _shared.columns()))


def _kg(text: str | None) -> float | None:
    from oplog.units import AMOUNTS

    value, unit = _shared.amount(text)
    if value is None or unit is None:
        return None
    if AMOUNTS[unit][0] != "kg":
        raise click.BadParameter(f"{text!r}: seed goes by weight (kg, t, g, lb).")
    return value * AMOUNTS[unit][1]
