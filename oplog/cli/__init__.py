"""The command: one file per command, found by its place.

A file `NAME.py` in this folder is the command `oplog NAME`, a folder `NAME/` the command whose
`__init__` shows things and whose files do things (`oplog land`, `oplog land add`). Each holds a
click command called `command`. Nothing heavy is imported before a command runs, so that
`oplog --help` comes at once.
"""

from __future__ import annotations

import atexit
import gc
import os
import re
import sys
from collections.abc import Sequence
from importlib import import_module

import click

from oplog import __version__
from oplog.cli._without import Without
from oplog.errors import FAILED, OplogError

COLLECT_AFTER = 200_000
"""New objects between two searches for circles among them; Python's own 700 suit programs that
run for long, and cost a command a thirtieth of its time."""

LINE = 200
"""No help line is longer than this."""

SECTIONS = (
    ("To begin", ("sample", "new", "land", "kit")),
    ("Of an evening", ("import", "day", "say", "strike", "note")),
    ("Jobs", ("plan", "jobs", "close", "need", "lines", "sequence")),
    ("What was done", ("ask", "field", "season", "output", "compare", "fixes", "notes")),
    ("Inputs", ("apply", "calibrate", "inputs", "sprays")),
    ("For others", ("sheet", "export", "customer", "account")),
    ("The log itself", ("check", "merge", "settle", "history", "remeasure", "tidy", "forget")),
)
"""How the help groups the commands; those not named here come under "More"."""


_TOLD = re.compile(
    r'^def command\([^"]*\) -> [^"]*:[^"\n]*\n    """(.+?)"""', re.MULTILINE | re.DOTALL
)
"""What a command tells of itself, in its source."""


class Commands(click.Group):
    """A group whose commands are the files of a folder, imported when they are asked for."""

    def __init__(self, package: str, folder: str | os.PathLike[str], **settings: object) -> None:
        super().__init__(**settings)  # type: ignore[arg-type]
        self.package, self.folder = package, folder
        self._found: dict[str, str] = {}

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the commands in the order of the alphabet."""
        return sorted(self._modules())

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """The command of a file; None where there is no such file."""
        module = self._modules().get(name)
        if module is None:
            return None
        found: click.Command = import_module(f"{self.package}.{module}").command
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it, with near names offered for a command that is not there."""
        name = args[0]
        if self.get_command(ctx, name) is None and not name.startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(name, self.list_commands(ctx), n=2, cutoff=0.5)
            hint = f" Did you mean {' or '.join(near)}?" if near else ""
            ctx.fail(f"There is no command {name!r}.{hint} '{ctx.command_path} --help' lists them.")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The commands in sections, each with its help line in full."""
        left = self.list_commands(ctx)
        lines = {name: self._line(ctx, name) for name in left}
        named = {n for _, names in SECTIONS for n in names} if self.package == __name__ else set()
        sections = [(title, [n for n in names if n in lines]) for title, names in SECTIONS if named]
        sections.append(("More" if named else "Commands", [n for n in left if n not in named]))
        for title, names in sections:
            if names:
                with formatter.section(title):
                    formatter.write_dl([(n, lines[n]) for n in names])

    def _line(self, ctx: click.Context, name: str) -> str:
        """The help line of a command, out of its source: to import them all takes five times as
        long. Where there is no source it is imported."""
        module = os.path.join(self.folder, self._modules()[name])
        for path in (f"{module}.py", os.path.join(module, "__init__.py")):
            try:
                with open(path, encoding="utf-8") as source:
                    told = _TOLD.search(source.read())
            except OSError:
                continue
            if told:
                return click.Command(name, help=told[1]).get_short_help_str(LINE)
        command = self.get_command(ctx, name)
        return command.get_short_help_str(LINE) if command else ""

    def _modules(self) -> dict[str, str]:
        if not self._found:
            for entry in os.scandir(self.folder):
                name, suffix = os.path.splitext(entry.name)
                is_command = suffix == ".py" or os.path.exists(
                    os.path.join(entry.path, "__init__.py")
                )
                if is_command and not name.startswith("_"):
                    self._found[name.rstrip("_")] = name
        return self._found


@click.command(
    cls=Commands,
    package=__name__,
    folder=os.path.dirname(__file__),
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="A new log: 'oplog new DIR'. To look round first: 'oplog sample DIR'.",
)
@click.option(
    "--log",
    "log_folder",
    envvar="OPLOG_LOG",
    metavar="DIR",
    help="The log's folder. Otherwise OPLOG_LOG, or the folder you are in or one above it.",
)
@click.version_option(__version__, message="oplog %(version)s")
@click.pass_context
def program(ctx: click.Context, log_folder: str | None) -> None:
    """A log of field work, read from the tracks that machines and phones write.

    Bare nouns show ('oplog land'), verbs do ('oplog land add FILE'). Every command explains
    itself with --help. Nothing needs the network.
    """
    ctx.obj = log_folder


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and give its exit code; messages for the person, no traceback.

    arguments: those of the command line where none are given; the process is then the command's,
    and ends with it.
    """
    if arguments is not None:
        return _done(arguments)
    codes: list[int] = []
    gc.set_threshold(COLLECT_AFTER)
    # Arrow's own allocator would hold 20 MB beside what Python and NumPy share.
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
    # Nothing here is a large product of matrices, for which NumPy would start a thread a core.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    atexit.register(_leave, codes)
    sys.meta_path.insert(0, Without())
    codes.append(_done(None))
    return codes[0]


def _leave(codes: list[int]) -> None:
    """Leave without taking apart a hundred thousand objects first, which goes with the process in
    any case and takes longer than a short command. Of all that is done on leaving this comes last.

    codes: the exit code, unless the command was not finished or something failed after it.
    """
    if not codes or hasattr(sys, "last_type"):
        return
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        return
    os._exit(codes[0])


def _done(arguments: Sequence[str] | None) -> int:
    """Run the command; its exit code."""
    try:
        result = program.main(arguments, prog_name="oplog", standalone_mode=False)
        sys.stdout.flush()
        return result if isinstance(result, int) else 0
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. What was not yet reported as done has not been kept.", err=True)
        return FAILED
    except BrokenPipeError:
        _quiet_stdout()
        return 0
    except OplogError as error:
        click.echo(str(error), err=True)
        return error.exit_code
    except OSError as error:
        click.echo(_said(error), err=True)
        return FAILED
    except Exception as error:
        if os.environ.get("OPLOG_TRACEBACK"):
            raise
        click.echo(_fault(error), err=True)
        return FAILED


def _said(error: OSError) -> str:
    where = f" ({error.filename})" if error.filename else ""
    return f"The computer would not do it: {error.strerror or error}{where}."


def _fault(error: Exception) -> str:
    return (
        f"This is a fault in oplog itself: {type(error).__name__}: {error}. The log is as it was "
        "after the last entry. Please report it with what is shown when the same is run with "
        "OPLOG_TRACEBACK=1 set."
    )


def _quiet_stdout() -> None:
    """The reader of our output has gone: let the interpreter's last flush go nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
