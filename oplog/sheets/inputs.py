"""Inputs, spray records and drill settings on a sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from typing import Any

from oplog.events import DrillCalibrated
from oplog.sheets import figures as fig
from oplog.sheets.jobs import amount
from oplog.sheets.table import METRIC
from oplog.sheets.text import HOLD, WIDTH, clean, paragraph
from oplog.units import HECTARE_M2, feet
from oplog.work import agronomy

CAUTION = (
    "A calculation and a record, not advice: the product's label, local rules and the advice of a "
    "qualified adviser decide. Check every figure before you use it."
)
"""Goes with every output about products that are sprayed or spread."""

TO_ADD = (
    "To add what is missing: oplog apply PRODUCT AMOUNT --replaces INPUT, with --authorisation, "
    "--water, --bbch, --eppo, --wind, --wind-from or --use; what is not said again stays."
)
"""Goes with spray records that lack something."""


def inputs_sheet(
    rows: Sequence[Mapping[str, Any]], *, system: str = METRIC, width: int = WIDTH
) -> str:
    """Rows of the question `inputs` as blocks of lines."""
    blocks = [_input(r, system, width) for r in rows]
    if any(r["kind"] in ("spray", "fertiliser") for r in rows):
        blocks.append(paragraph(CAUTION, width=width))
    return "\n\n".join(blocks)


def records_sheet(
    rows: Sequence[Mapping[str, Any]],
    *,
    zone: tzinfo,
    system: str = METRIC,
    width: int = WIDTH,
) -> str:
    """Rows of the question `spray_records` as blocks, with what is missing."""
    blocks = [_record(r, zone, system, width) for r in rows]
    return "\n\n".join([*blocks, paragraph(CAUTION, width=width)])


def setting(event: DrillCalibrated, width: int = WIDTH) -> str:
    """A drill's setting in sentences: the rate, and what the calibration says of it."""
    lines = []
    if event.plants_m2 and event.thousand_grain_g and event.establishment:
        seeds = agronomy.seeds_per_m2(event.plants_m2, event.establishment)
        lines.append(
            f"{event.plants_m2:g} plants/m2 at {event.establishment * 100:g} % establishment are "
            f"{seeds:.0f} seeds/m2; at {event.thousand_grain_g:g} g a thousand: "
            f"{event.rate_kg_ha:.0f} kg/ha of {event.product}."
        )
    else:
        lines.append(f"{event.product}: {event.rate_kg_ha:.4g} kg/ha.")
    if event.calibrated_m2:
        expected = agronomy.amount_over(event.rate_kg_ha, event.calibrated_m2)
        lines.append(f"Over {event.calibrated_m2:g} m2, {expected:.2f} kg are to fall.")
        if event.caught_kg:
            gave = agronomy.rate_over(event.caught_kg, event.calibrated_m2) or 0.0
            lines.append(
                f"{event.caught_kg:.2f} kg fell: {gave:.0f} kg/ha, "
                f"{_off(event.caught_kg, expected)}."
            )
    return "\n".join(paragraph(line, width=width) for line in lines)


def seed_lines(rows: Sequence[Mapping[str, Any]], *, width: int = WIDTH) -> str:
    """Rows of the question `seed_used` in sentences."""
    lines = []
    for r in rows:
        text = (
            f"{r['implement']}, {r['product']}, set {r['day']}: wanted {r['wanted_rate']:.0f} kg/ha"
        )
        if r["calibration_error"] is not None:
            text += f"; the calibration was {r['calibration_error']:+.1f} % off"
        if r["drilled_ha"]:
            text += f"; {r['drilled_ha']:.2f} ha drilled since"
            text += f" ({r['drilled_low_ha']:.2f} to {r['drilled_high_ha']:.2f})"
        if r["used_rate"] is not None:
            text += f" with {amount(r['used_kg'], 'kg')}: {r['used_rate']:.0f} kg/ha, "
            text += f"{r['rate_error']:+.1f} % against what was wanted"
        elif r["drilled_ha"]:
            text += "; no seed is stated for it (oplog apply)"
        lines.append(paragraph(text + ".", rest="  ", width=width))
    return "\n".join(lines)


def _input(r: Mapping[str, Any], system: str, width: int) -> str:
    what = f"{r['input']}  {clean(r['product'])} ({r['kind']}), {amount(r['used'], r['unit'])}"
    if r["left_over"]:
        what += f" ({amount(r['left_over'], r['unit'])} left over taken off)"
    when = f", {r['day']}" if r["day"] and str(r["day"]) != r["went_to"] else ""
    lines = [paragraph(f"{what} on {clean(r['went_to'])}{when}", rest=" " * 7, width=width)]
    if not r["visits"]:
        return "\n".join([*lines, "       no work fits it yet"])
    parts = [("rate", _rates(r, system)), ("loads", _loads(r, system)), ("flow", _flow(r))]
    for label, text in parts:
        if text:
            first = f"       {label:<8}"
            lines.append(paragraph(text, first=first, rest=" " * len(first), width=width))
    return "\n".join(lines)


def _rates(r: Mapping[str, Any], system: str) -> str:
    if r["net_ha"] is None:
        return "not known: the width of the work was not said"
    found = []
    for name in ("applied", "net", "gross"):
        if r[f"{name}_rate"] is not None and not (name == "applied" and _as_net(r)):
            area = fig.area(r[f"{name}_ha"] * HECTARE_M2, system)
            found.append(f"{_per_ha(r[f'{name}_rate'], r['unit'])} {name} ({area})")
    said = f"; {_per_ha(r['stated_rate'], r['unit'])} was said" if r["stated_rate"] else ""
    return ", ".join(found) + said


def _as_net(r: Mapping[str, Any]) -> bool:
    """Without sections that shut off, the applied area is the net one."""
    return bool(abs(r["applied_ha"] - r["net_ha"]) < 0.005)


def _loads(r: Mapping[str, Any], system: str) -> str:
    if r["load_ha"] is None:
        return ""
    metres = r["load_m"]
    way = f", {metres:.0f}{HOLD}m" if system == METRIC else f", {feet(metres):.0f}{HOLD}ft"
    text = f"{r['loads']:.1f}, {fig.area(r['load_ha'] * HECTARE_M2, system)} each{way}"
    seen, expected = r["refills_seen"], r["refills_expected"]
    text += f"; refills expected {expected}, seen in the tracks {seen}"
    if abs(seen - expected) > 1:
        text += " (they differ: is the amount or a stop amiss?)"
    return text


def _flow(r: Mapping[str, Any]) -> str:
    if r["boom_l_min"] is None:
        return ""
    nozzle = f", {r['nozzle_l_min']:.2f}{HOLD}l/min a nozzle" if r["nozzle_l_min"] else ""
    return f"{r['boom_l_min']:.0f}{HOLD}l/min over the boom at the mean speed{nozzle}"


def _record(r: Mapping[str, Any], zone: tzinfo, system: str, width: int) -> str:
    local = r["started_at"].astimezone(zone) if r["started_at"] else None
    day = local.date() if local else r["day"]
    at = r["start"] or (f"{local:%H:%M}" if local else "?")
    head = f"{r['input']}  {day}, {at}: {r['product']} on {r['field'] or '?'}"
    area = fig.area(r["treated_ha"] * HECTARE_M2, system) if r["treated_ha"] is not None else "?"
    dose = _per_ha(r["dose"], r["unit"]) if r["dose"] is not None else "?"
    water = _per_ha(r["water_rate"], "l") if r["water_rate"] is not None else "?"
    wind = "?" if r["wind_force"] is None else f"force {r['wind_force']:g}"
    parts = [
        f"authorisation {r['authorisation'] or '?'}", f"{dose} on {area}", f"water {water}",
        f"{r['crop'] or 'crop ?'} ({r['eppo'] or 'EPPO ?'}), BBCH {r['bbch'] or '?'}",
        f"by {r['operator'] or '?'}", f"wind {wind} from {r['wind_from'] or '?'}",
    ]  # fmt: skip
    indent = " " * 7
    lines = [
        paragraph(clean(head), rest=indent, width=width),
        paragraph("; ".join(parts), first=indent, rest=indent, width=width),
    ]
    told = f"missing: {r['missing']}" if r["missing"] else "nothing is missing"
    lines.append(paragraph(told, first=indent, rest=indent + "  ", width=width))
    return "\n".join(lines)


def _per_ha(value: float, unit: str) -> str:
    return f"{amount(value, unit)}/ha"


def _off(value: float, wanted: float) -> str:
    percent = 100.0 * (value / wanted - 1.0)
    if abs(percent) < 0.05:
        return "as wanted"
    return f"{abs(percent):.1f} % too {'much' if percent > 0 else 'little'}"
