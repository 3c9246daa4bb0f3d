"""oplog customer price"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("operation")
@click.argument("price", type=float)
@click.option("--currency", required=True, metavar="CODE", help="GBP, EUR, ...")
@click.option("--per", type=click.Choice(["ha", "h"]), default="ha", show_default=True,
              help="By the hectare or by the hour.")  # fmt: skip
@click.option("--by", "basis", type=click.Choice(["field", "net", "gross", "hours"]),
              help="What is charged by: the field's area, unless it is said.")  # fmt: skip
@click.option("--customer", metavar="NAME", help="Only for this customer.")
@click.option("--from", "valid_from", type=_shared.DAY, metavar="DATE", help="From this day on.")
@_shared.with_log
def command(
    log: _shared.Log, operation: str, price: float, currency: str, per: str, basis: str | None,
    customer: str | None, valid_from: date | str | None,
) -> None:  # fmt: skip
    """State what an operation costs a hectare or an hour."""
    from oplog.flow.writing import state_price

    day = _shared.day_of(_shared.farm_of(log), valid_from)
    p = state_price(
        log, operation, price, currency.upper(), per, basis=basis, customer=customer,
        valid_from=day, command=_shared.typed(),
    )  # fmt: skip
    whose = p.customer or "all customers"
    _shared.say(f"{p.operation}: {p.price:g} {p.currency} per {p.per} by {p.basis}, {whose}.")
