"""oplog sheet account"""

from __future__ import annotations

from datetime import date

import click

from oplog.cli import _shared, _sheet


@click.command()
@click.argument("customer", metavar="CUSTOMER")
@click.option("--from", "first", type=_shared.DAY, metavar="DATE", help="Work begun from this day.")
@click.option("--to", "last", type=_shared.DAY, metavar="DATE", help="Work begun up to this day.")
@click.option("--vat", type=click.FloatRange(0, 100), metavar="PERCENT", help="Add VAT.")
@_sheet.out_option
@_shared.units_option
@_shared.with_log
def command(
    log: _shared.Log, customer: str, first: date | str | None, last: date | str | None,
    vat: float | None, out: str | None, units: str,
) -> None:  # fmt: skip
    """Make the work account of a customer, with maps of their ground only.

    \b
    oplog sheet account "Brook Farm" --from 2027-03-01 --vat 20
    """
    from oplog.flow.writing import customer_of
    from oplog.sheets.pages.account import account_page

    farm = _shared.farm_of(log)
    name = customer_of(farm, customer)
    days = _shared.period_of(farm, first, last)
    page = account_page(farm, name, *days, vat, log.seal(), system=units)
    # An account of March is not written over by that of April.
    named = [f"{word} {day}" for word, day in zip(("from", "to"), days, strict=True) if day]
    _sheet.put(page, out, "account", name, *named)
