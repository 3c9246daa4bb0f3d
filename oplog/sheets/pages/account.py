"""The work account: what was done for a customer, with maps as proof, and their ground only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from oplog.errors import OplogError
from oplog.fold import Farm
from oplog.query import ask, records
from oplog.season.customer import for_customer
from oplog.sheets import day as screen
from oplog.sheets import figures as fig
from oplog.sheets.account import CAUTION, account_cells, account_notes, account_sums
from oplog.sheets.pages.farmmap import NARROW, WIDTH, Ground, farm_map, together
from oplog.sheets.pages.fieldmap import field_map
from oplog.sheets.pages.render import render
from oplog.sheets.table import METRIC
from oplog.sheets.unsettled import notices


def account_page(
    farm: Farm,
    customer: str,
    first: date | None,
    last: date | None,
    vat_percent: float | None,
    seal: str,
    *,
    system: str = METRIC,
) -> str:
    """The HTML of an account; figures and sums as `oplog account` shows them.

    customer: the name as the log has it. first, last: only work begun on these days or between.
    Raises: OplogError where no work is on file.
    """
    asked = {"customer": customer, "first_day": first, "last_day": last}
    rows = records(ask(farm, "account", asked))
    if not rows:
        raise OplogError(f"No work for {customer} is on file for that time. No sheet was made.")
    proofs = _proofs(farm, rows, system)
    return render(
        "account.html",
        title=f"Work for {customer}, {farm.name}",
        farm=farm.name,
        customer=customer,
        period=_period(rows),
        lines=[
            [c.isoformat() if isinstance(c, date) else c for c in cells]
            for cells in account_cells(rows)
        ],
        sums=account_sums(rows, vat_percent),
        notes=[n.partition(": oplog ")[0].rstrip(".") + "." for n in account_notes(rows)]
        + [CAUTION],
        maps=_maps(farm, rows, system),
        proofs=proofs,
        method=", ".join(sorted({p["method"] for p in proofs})) or "none used",
        unsettled=notices(farm, for_customer(farm, customer).unsettled, system),
        seal=seal,
    )


def _period(rows: Sequence[Mapping[str, Any]]) -> str:
    first, last = min(r["began"] for r in rows), max(r["ended"] for r in rows)
    days = screen.day_name(first)
    return days if first == last else f"{days} to {screen.day_name(last)}"


def _maps(farm: Farm, rows: Sequence[Mapping[str, Any]], system: str) -> list[dict[str, Any]]:
    """The customer's fields that work was done in, and no others."""
    names = list(dict.fromkeys(r["field"] for r in rows))
    last = max(r["ended"] for r in rows)
    grounds: list[Ground] = []
    named = {}
    for name in names:
        if name.casefold() in farm.fields:
            drawn = farm.field(name, last)
            grounds.append(Ground(str(len(grounds) + 1), drawn.boundary, farm=drawn.farm))
            named[grounds[-1].label] = name
    groups = together(grounds)
    width = WIDTH if len(groups) == 1 else NARROW
    found = []
    for i, some in enumerate(groups):
        numbered = [(g.label, named[g.label]) for g in some]
        told = f"Fields: {', '.join(name for _, name in numbered)}."
        drawing = farm_map(some, {}, [], f"acc{i}", told, system, width=width)
        found.append(
            {"name": ", ".join(sorted({g.farm for g in some})), "map": drawing, "fields": numbered}
        )
    return found


def _proofs(farm: Farm, rows: Sequence[Mapping[str, Any]], system: str) -> list[dict[str, Any]]:
    """Each visit that a line rests on, with its map; in order of time."""
    handles = dict.fromkeys(h for r in rows for h in r["visits"].replace(",", " ").split())
    visits = sorted((farm.visit(h) for h in handles), key=lambda v: v.started_at)
    found = []
    for number, v in enumerate(visits, start=1):
        found.append(
            {
                "handle": farm.standing[v.event_id].handle,
                "field": v.field,
                "what": v.operation or "work not said yet",
                "when": f"{v.day.isoformat()}, {screen.period(farm, v)}",
                "worked": fig.area(v.worked_m2, system),
                "range": fig.area_range(v.worked_low_m2, v.worked_high_m2, system),
                "map": field_map(farm, v, None, f"p{number}", system),
                "method": v.method,
            }
        )
    return found
