"""oplog sheet"""

from __future__ import annotations

from pathlib import Path

import click

from oplog.cli import Commands


@click.command(cls=Commands, package=__name__, folder=Path(__file__).parent)
def command() -> None:
    """Make a page to look at, print or send: one HTML file.

    A page needs no network and runs nothing. To print it, open it in a browser.

    \b
    oplog sheet day 2027-03-25
    oplog sheet season 2027 --out season.html
    """
