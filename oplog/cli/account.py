"""oplog account"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared


@click.command()
@click.argument("customer")
@click.option("--from", "first", type=_shared.DAY, metavar="DATE", help="Work begun from this day.")
@click.option("--to", "last", type=_shared.DAY, metavar="DATE", help="Work begun up to this day.")
@click.option("--vat", type=click.FloatRange(0, 100), metavar="PERCENT", help="Add VAT.")
@_shared.table_options
@_shared.with_log
def command(
    log: _shared.Log, customer: str, first: date | str | None, last: date | str | None,
    vat: float | None, output: _shared.Output,
) -> None:  # fmt: skip
    """Show the work done for a customer, with areas, dates and sums.

    \b
    oplog account "Brook Farm" --from 2027-03-01 --vat 20
    """
    from oplog.flow.writing import customer_of
    from oplog.query import ask, records
    from oplog.season.customer import for_customer
    from oplog.sheets.account import account_sheet, account_table

    farm = _shared.farm_of(log)
    name = customer_of(farm, customer)
    begins, ends = _shared.period_of(farm, first, last)
    asked = {"customer": name, "first_day": begins, "last_day": ends}
    rows = records(ask(farm, "account", asked))
    seen = for_customer(farm, name)
    aside = _shared.beside(seen, seen.unsettled, farm)
    if output.form != "text":
        _shared.put(account_table(rows), output, aside=aside)
        return
    if not rows:
        click.echo(f"No work for {name} is on file for that time.")
    else:
        click.echo(account_sheet(name, rows, vat, width=_shared.columns(), bold=_shared.bold()))
    _shared.end(aside, output.units)
