"""oplog customer"""

from __future__ import annotations

from pathlib import Path

import click

from oplog.cli import Commands, _shared


@click.command(
    cls=Commands, package=__name__, folder=Path(__file__).parent, invoke_without_command=True
)
@_shared.table_options
@click.pass_context
def command(ctx: click.Context, output: _shared.Output) -> None:
    """Show for whom work is done; or add customers and prices.

    \b
    oplog customer add "Brook Farm" --farm Brook
    oplog customer price drilling 62 --currency GBP
    """
    if ctx.invoked_subcommand is None:
        _show(ctx, output)


def _show(ctx: click.Context, output: _shared.Output) -> None:
    from oplog.fold import of_tables
    from oplog.sheets.table import Column, Table

    farm = _shared.farm_of(_shared.log_of(ctx))
    customers = tuple((c.customer, c.farms, c.fields) for c in farm.customers)
    prices = tuple(
        (p.operation, p.customer or "all", p.price, p.currency, p.per, p.basis, p.valid_from)
        for p in farm.prices
    )
    names = ("customer", "farms", "fields")
    aside = _shared.beside(farm, of_tables(farm, ("customers", "prices")))
    if output.form == "text" and not customers and not prices:
        click.echo("No customer is on file. Add one: oplog customer add NAME --farm FARM")
        _shared.end(aside)
        return
    if output.form != "text":
        more = ("operation", "price", "currency", "per", "basis", "valid_from")
        rows = [(*c, *(None for _ in more)) for c in customers]
        # A price that holds for all customers names none.
        rows += [(p.customer, (), (), *(getattr(p, n) for n in more)) for p in farm.prices]
        table = Table("", tuple(Column(n, n) for n in (*names, *more)), tuple(rows))
        _shared.put(table, output, aside=aside)
        return
    _shared.put(Table("", tuple(Column(n, n) for n in names), customers), output)
    if prices:
        click.echo()
        heads = ("operation", "customer", "price", "currency", "per", "basis", "from")
        _shared.put(Table("", tuple(Column(n, n) for n in heads), prices), output)
    _shared.end(aside, output.units)
