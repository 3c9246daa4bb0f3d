"""The help has the lines of the commands, and starting a command loads only what it needs."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from oplog import cli

ROOT = Path(__file__).resolve().parents[1]


def groups(group: cli.Commands) -> Iterator[cli.Commands]:
    yield group
    for name in group.list_commands(click.Context(group)):
        command = group.get_command(click.Context(group), name)
        if isinstance(command, cli.Commands):
            yield from groups(command)


def test_each_line_of_the_help_is_what_click_makes_of_the_command():
    seen = 0
    for group in groups(cli.program):
        ctx = click.Context(group)
        for name in group.list_commands(ctx):
            command = group.get_command(ctx, name)
            assert command is not None
            assert group._line(ctx, name) == command.get_short_help_str(cli.LINE)
            assert cli._TOLD.search(Path(sys.modules[told_in(command)].__file__ or "").read_text())
            seen += 1
    assert seen > 40


def told_in(command: click.Command) -> str:
    """The module that a command's function is from."""
    module: str = getattr(command.callback, "__module__", "")
    return module


def test_without_sources_the_commands_themselves_are_asked(monkeypatch, tmp_path):
    group = cli.program
    ctx = click.Context(group)
    before = group._line(ctx, "day")
    group.list_commands(ctx)
    monkeypatch.setattr(group, "folder", tmp_path)
    assert group._line(ctx, "day") == before


def loaded(*arguments: str) -> set[str]:
    """The modules that a command has loaded by its end."""
    script = (
        f"import sys; sys.argv = ['oplog', *{list(arguments)!r}]\n"
        "from oplog.cli import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print('\\nloaded', *sys.modules)"
    )
    run = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return set(run.stdout.splitlines()[-1].split()[1:])


def test_the_help_loads_no_command():
    found = {m for m in loaded("--help") if m.startswith("oplog.cli.")}
    assert found == {"oplog.cli._without"}


def test_a_question_loads_no_arrays_and_nothing_that_measures(tmp_path):
    assert cli.main(["new", str(tmp_path / "farm"), "--name", "F", "--zone", "UTC"]) == 0
    modules = loaded("--log", str(tmp_path / "farm"), "ask", "hectares_per_day")
    assert "_duckdb" in modules
    assert not modules & {"pandas", "numpy", "pyarrow", "shapely", "pyproj", "oplog.work.measure"}


def test_a_day_loads_no_database_and_nothing_that_measures(tmp_path):
    assert cli.main(["new", str(tmp_path / "farm"), "--name", "F", "--zone", "UTC"]) == 0
    modules = loaded("--log", str(tmp_path / "farm"), "day")
    assert "pyarrow" in modules
    heavy = {"pandas", "pyarrow.compute", "pyproj", "duckdb", "jinja2", "secrets", "shapely"}
    assert not modules & {*heavy, "oplog.query", "oplog.work.measure"}


@pytest.mark.parametrize(
    ("script", "code", "said"),
    [
        ("sys.exit(main())", 0, "Usage"),
        ("sys.argv[1:] = ['nonsense']; sys.exit(main())", 2, ""),
        ("main(); print('more'); atexit.register(print, 'last')", 0, "last"),
        ("main(); raise ValueError('after it')", 1, "Usage"),
    ],
)
def test_a_command_leaves_with_all_it_said_and_its_code(script: str, code: int, said: str) -> None:
    start = "import atexit, sys; from oplog.cli import main; sys.argv = ['oplog', '--help']; "
    run = subprocess.run([sys.executable, "-c", start + script], capture_output=True, text=True)
    assert run.returncode == code, run.stderr
    assert said in run.stdout
    assert ("after it" in run.stderr) == (code == 1)
