"""oplog customer add"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("customer", metavar="NAME")
@click.option("--farm", "farms", multiple=True, metavar="NAME", help="A block of land.")
@click.option("--field", "fields", multiple=True, metavar="NAME", help="A field.")
@_shared.with_log
def command(
    log: _shared.Log, customer: str, farms: tuple[str, ...], fields: tuple[str, ...]
) -> None:
    """State for whom the work in fields is done."""
    from oplog.flow.writing import state_customer

    event = state_customer(log, customer, farms=farms, fields=fields, command=_shared.typed())
    _shared.say(f"{event.customer}: {', '.join((*event.farms, *event.fields))}.")
