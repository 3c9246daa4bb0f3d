"""What the commands of `oplog sheet` share: where the page goes."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Any

import click

from oplog.cli import _shared
from oplog.errors import CannotWrite

out_option = click.option(
    "--out", metavar="FILE", help="Where the page goes; - for stdout. Otherwise named by its kind."
)


def put(page: str, out: str | None, *names: Any) -> None:
    """Write a page whole or not at all, and say where it is. names: make up its name."""
    if out == "-":
        click.echo(page, nl=False)
        return
    from oplog.log.disk import rename

    path = Path(out) if out else Path(f"{_shared.file_stem(*names)}.html")
    aside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        aside.write_text(page, encoding="utf-8", newline="\n")
        rename(aside, path)
    except OSError as error:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        why = (error.strerror or str(error)).lower()
        raise CannotWrite(
            f"The page could not be written to {path}: {why}. Name another place: --out FILE"
        ) from error
    click.echo(f"The page is in {path}")
    _shared.say("Open it in a browser to look at it, or to print it.")
