"""oplog check"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command(context_settings={"allow_extra_args": True})
@click.option("--mend", is_flag=True, help="Restore what can be restored, and say what could not.")
@click.option(
    "--seal", metavar="SEAL", help="Whether the log still holds what a sheet was made from."
)
@_shared.table_options
@_shared.with_log
def command(log: _shared.Log, output: _shared.Output, mend: bool, seal: str | None) -> int:
    """Re-read the log and say what is not as it was written.

    \b
    oplog check
    oplog check --seal "x7k2-9mqa-41ce"
    """
    from oplog.cli import _check

    ctx = click.get_current_context()
    if seal is not None and output.form != "text":
        ctx.fail("--csv and --json are for what a check finds: --seal is answered in words.")
    if seal is not None:  # of several writers it has several parts, typed as they are printed
        return _check.seal(log, " ".join([seal, *ctx.args]))
    if ctx.args:
        ctx.fail(f"Got unexpected extra argument ({' '.join(ctx.args)})")
    return _check.mend(log, output) if mend else _check.check(log, output)
