"""What `oplog check` says."""

from __future__ import annotations

import click

from oplog import log as log_room
from oplog.cli import _shared
from oplog.errors import DAMAGED, DONE
from oplog.flow.restoring import fixes_again
from oplog.log.report import BESIDE


def check(log: log_room.Log, output: _shared.Output) -> int:
    """Check a log; the exit code."""
    return _show(log, log_room.check(log.path), output)


def mend(log: log_room.Log, output: _shared.Output) -> int:
    """Mend a log and check it; the exit code."""
    tell = _shared.teller(output)
    mended = log_room.mend(log.path, fixes_again(log))
    for done in mended.done:
        tell(f"- {done}")
    if not mended.done:
        tell("There was nothing to mend.")
    return _show(log, mended.after, output)


def _show(log: log_room.Log, report: log_room.Report, output: _shared.Output) -> int:
    """Show what a check found, and what was stated apart: no damage, but open."""
    from oplog.flow.history import DETAIL
    from oplog.fold import fold
    from oplog.sheets.table import Column, Table
    from oplog.sheets.unsettled import open_choices

    if output.form == "text":
        _tell(report)
    farm = fold(log.events(without=DETAIL))
    found = open_choices(farm)
    if output.form == "text":
        _shared.tell_unsettled(farm, found, output.units)
    else:
        names = ("kind", "file", "event", "damage", "message")
        rows = tuple(tuple(getattr(f, n) for n in names) for f in report.findings)
        aside = _shared.Beside(farm, report.seal, found)
        _shared.put(Table("", tuple(Column(n, n) for n in names), rows), output, aside=aside)
    return report.exit_code


def seal(log: log_room.Log, text: str) -> int:
    """Whether the log holds what a seal speaks of; the exit code."""
    sealed = log_room.check_seal(log.path, text)
    if sealed.mistyped:
        _shared.say(f"Mistyped, or no seal: {text.strip()}. Compare it with the sheet.")
        return 1
    if sealed.absent:
        _shared.say(
            f"The log does not hold what {' '.join(sealed.absent)} speaks of: entries were altered "
            "or taken out after that sheet was made, or it is another log's."
        )
        return DAMAGED
    _shared.say("The log still holds all that the sheet was made from.")
    return DONE


def _tell(report: log_room.Report) -> None:
    beside = [f for f in report.findings if f.kind == BESIDE]
    for finding in report.findings:
        if finding not in beside:
            _shared.say(f"- {finding}")
    megabytes = report.bytes_read / 1e6
    read = f"{report.files} files, {report.events} events, {megabytes:.1f} MB read"
    if report.damaged:
        click.echo(f"The log is damaged ({read}). To restore what can be: oplog check --mend")
    else:
        click.echo(f"The log is whole ({read}).")
    if beside:
        files = "1 file," if len(beside) == 1 else f"{len(beside)} files, such as"
        _shared.say(f"Also in its folder, and no part of it: {files} {beside[0].file}.")
    click.echo(f"Seal: {report.seal}")
