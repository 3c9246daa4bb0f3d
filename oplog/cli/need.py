"""oplog need"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("job")
@click.argument("product")
@click.argument("rate")
@click.option("--kind", required=True, metavar="KIND", help="seed, spray, fertiliser or water.")
@_shared.with_log
def command(log: _shared.Log, job: str, product: str, rate: str, kind: str) -> None:
    """State what a job is to get of a product a hectare.

    'oplog jobs' then says what the ground left still needs.

    \b
    oplog need "drill the beans" "bean seed" 245kg --kind seed
    """
    from oplog.flow.applying import plan_need

    if rate.startswith("-"):
        raise click.BadParameter(f"{rate!r} is less than nothing.")
    value, unit = _shared.amount(rate.removesuffix("/ha"))
    assert value is not None
    assert unit is not None
    need = plan_need(log, job, product, value, unit, kind.casefold(), command=_shared.typed())
    _shared.say(f"{need.job}: {need.per_ha:g} {need.unit}/ha of {need.product} ({need.kind}).")
