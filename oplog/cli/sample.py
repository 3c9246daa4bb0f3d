"""oplog sample"""

from __future__ import annotations

import click

from oplog.cli import _shared


@click.command()
@click.argument("folder", metavar="DIR")
@_shared.units_option
def command(folder: str, units: str) -> None:
    """Open a log of an invented farm, to look round in.

    Takes in its tracks (a spring fortnight and some summer days), shows a day and the season, and
    says what to type next.

    \b
    oplog sample my-sample
    """
    from pathlib import Path

    from oplog.cli._sample import show
    from oplog.flow.sample import open_sample

    with _shared.Progress() as progress:
        sample = open_sample(Path(folder), progress)
    show(sample, folder, units)
