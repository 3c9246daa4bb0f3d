"""A customer's account on a sheet. Money is rounded here, line by line, so that sums add up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from oplog.sheets.table import Column, Table
from oplog.sheets.text import WIDTH, paragraph, write

BASES = {
    "field": "the field's area; the ground done where a field is not finished",
    "net": "ground covered, overlap counted once",
    "gross": "distance worked times width",
    "hours": "time in the field, long breaks left out",
}
"""What each basis means, in words."""

CAUTION = (
    "Areas and hours are worked out from positions and times. This is a statement of work, not an "
    "invoice: check it before you charge by it."
)


def account_table(rows: Sequence[Mapping[str, Any]]) -> Table:
    """Rows of the question `account` as data, with sums rounded to the hundredth."""
    names = ("customer", "farm", "field", "operation", "crop", "harvest_year", "began", "ended",
             "basis", "quantity", "unit", "price", "currency", "amount", "is_part_done",
             "visits")  # fmt: skip
    columns = tuple(Column(n, n.replace("_", " ")) for n in names)
    return Table("", columns, tuple(tuple(_cell(r, n) for n in names) for r in rows))


def account_sheet(
    customer: str, rows: Sequence[Mapping[str, Any]], vat_percent: float | None, *,
    width: int = WIDTH, bold: bool = False,
) -> str:  # fmt: skip
    """A customer's account: a line for each operation in each field, and the sums.

    vat_percent: added where it is given.
    """
    columns = (
        Column("began", "day"),
        Column("operation", "operation"),
        Column("field", "field"),
        Column("quantity", "quantity"),
        Column("price", "price"),
        Column("amount", "sum"),
        Column("visits", "visits"),
    )
    shown = account_cells(rows)
    lines = [
        f"Work for {customer}",
        "",
        write(Table("", columns, shown), width=width, bold=bold),
        "",
    ]
    lines += account_sums(rows, vat_percent)
    notes = [paragraph(t, width=width) for t in account_notes(rows)]
    return "\n".join([*lines, "", *notes, paragraph(CAUTION, width=width)])


def account_cells(rows: Sequence[Mapping[str, Any]]) -> tuple[tuple[Any, ...], ...]:
    """Day, operation, field, quantity, price, sum and visits of each line, for people."""
    return tuple(
        (
            r["began"], r["operation"], r["field"] + (" *" if _partly(r) else ""), _quantity(r),
            _price(r), _sum(r), r["visits"],
        )
        for r in rows
    )  # fmt: skip


def money(value: Decimal, currency: str) -> str:
    """1234.5 -> "1,234.50 GBP"."""
    return f"{value:,.2f} {currency}"


def rounded(value: float) -> Decimal:
    """To the hundredth, halves up."""
    return Decimal(repr(value)).quantize(Decimal("0.01"), ROUND_HALF_UP)


def _cell(r: Mapping[str, Any], name: str) -> Any:
    if name == "amount" and r["amount"] is not None:
        return float(rounded(r["amount"]))
    return r[name]


def _partly(r: Mapping[str, Any]) -> bool:
    return bool(r["is_part_done"] and r["basis"] == "field" and r["quantity"] is not None)


def _quantity(r: Mapping[str, Any]) -> str:
    return "not known" if r["quantity"] is None else f"{r['quantity']:.2f} {r['unit']}"


def _price(r: Mapping[str, Any]) -> str:
    return "no price" if r["price"] is None else f"{rounded(r['price'])} {r['currency']}"


def _sum(r: Mapping[str, Any]) -> str:
    return "-" if r["amount"] is None else f"{rounded(r['amount']):,.2f}"


def account_sums(rows: Sequence[Mapping[str, Any]], vat_percent: float | None) -> list[str]:
    """The sums of each currency, with VAT where it is given, as lines."""
    lines = []
    for currency in sorted({r["currency"] for r in rows if r["amount"] is not None}):
        net = sum(
            (rounded(r["amount"]) for r in rows if r["currency"] == currency and r["amount"]),
            Decimal(0),
        )
        lines.append(f"Sum {money(net, currency)}")
        if vat_percent is not None:
            vat = (net * Decimal(repr(vat_percent)) / 100).quantize(Decimal("0.01"), ROUND_HALF_UP)
            lines.append(f"VAT {vat_percent:g} % {money(vat, currency)}")
            lines.append(f"In all {money(net + vat, currency)}")
    return lines or ["No sum: no line has both a quantity and a price."]


def account_notes(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """What the figures of an account mean, and what is missing, as sentences."""
    bases = sorted({r["basis"] for r in rows if r["price"] is not None})
    texts = [f"Charged by {b}: {BASES[b]}." for b in bases]
    if any(_partly(r) for r in rows):
        texts.append("* Part-done: only the ground done is counted.")
    if missing := sorted({r["operation"] for r in rows if r["price"] is None}):
        texts.append(
            f"No price is stated for {', '.join(missing)}: oplog customer price OPERATION PRICE."
        )
    return texts
