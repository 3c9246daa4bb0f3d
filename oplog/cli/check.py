"""oplog check"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.option("--mend", is_flag=True, help="Restore what can be restored, and say what could not.")
@click.option(
    "--seal", metavar="SEAL", help="Whether the log still holds what a sheet was made from."
)
@_shared.with_log
def command(log: _shared.Log, mend: bool, seal: str | None) -> int:
    """Re-read the log and say what is not as it was written.

    \b
    oplog check
    oplog check --seal "x7k2-9mqa-41ce"
    """
    from oplog.cli import _check

    if seal is not None:
        return _check.seal(log, seal)
    code = _check.mend(log) if mend else _check.check(log)
    _check.unsettled(log)
    return code
