"""What the README shows is what happens.

`python -m tests.test_readme` writes its table of commands anew from the program.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from oplog.cli import main, program
from tests.evening import DRILLED, FIELDS, Run
from tests.tracks import geojson, gpx

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
TABLE = re.compile(r"(?<=<!-- commands -->\n).*?(?=\n<!-- commands end -->)", re.S)


def block(marker: str, language: str = "sh") -> str:
    """The code block after a marker."""
    found = re.search(
        rf"<!-- {marker} -->\n```{language}\n(.*?)```", README.read_text("utf-8"), re.S
    )
    assert found, f"README.md has no {language} block after <!-- {marker} -->"
    return found[1].strip()


def commands(group: click.Group, path: str = "oplog") -> Iterator[tuple[str, str]]:
    """Every command with its arguments, and its help line."""
    context = click.Context(group, info_name=path)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        arguments = [
            p.make_metavar(click.Context(command))
            for p in command.params
            if isinstance(p, click.Argument)
        ]
        yield " ".join([path, name, *arguments]), command.get_short_help_str(200)
        if isinstance(command, click.Group):
            yield from commands(command, f"{path} {name}")


def command_table() -> str:
    """The README's table of commands."""
    rows = [f"| `{usage}` | {line} |" for usage, line in commands(program)]
    return "\n".join(["| command | what it does |", "|---|---|", *rows])


def test_the_table_of_commands_is_what_the_program_has() -> None:
    shown = TABLE.search(README.read_text("utf-8"))
    assert shown
    assert shown[0] == command_table(), "python -m tests.test_readme writes it anew"


def test_ci_runs_the_two_commands_exactly_as_printed() -> None:
    ci = (ROOT / ".ci" / "run").read_text("utf-8")
    for marker in ("run", "test"):
        command = block(marker)
        assert "\n" not in command, "one command"
        assert f"\n{command}\n" in ci


def test_the_first_paragraph_says_what_it_is_for() -> None:
    first = README.read_text("utf-8").split("\n\n")[1]
    for word in ("tracks", "field", "hectares", "hours", "no network"):
        assert word in first


@pytest.fixture
def guided(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The README's guide followed, line by line, in an empty folder."""
    (tmp_path / "boundaries.geojson").write_bytes(geojson(FIELDS))
    (tmp_path / "track.gpx").write_bytes(gpx(DRILLED))
    monkeypatch.chdir(tmp_path)
    for line in block("guide").splitlines():
        words = shlex.split(line)
        if words[0] == "cd":
            monkeypatch.chdir(tmp_path / words[1])
        else:
            assert words[0] == "oplog"
            assert main(words[1:]) == 0, line
    return tmp_path


def test_the_guide_leads_to_tonights_hectares(guided: Path, run: Run) -> None:
    shown = run("day").out
    assert "Long Acre" in shown
    assert "ha/h over all" in shown


def test_the_screen_shown_is_one_that_is_printed(guided: Path, run: Run) -> None:
    """The same lines, whatever the figures are by now."""

    def form(text: str) -> list[str]:
        return [re.sub(r"\d+", "0", line).strip() for line in text.splitlines() if line.strip()]

    shown, printed = form(block("screen", "")), form(run("day").out)
    labels = [line.split()[0] for line in printed if line.split()[0].isalpha()]
    assert [line.split()[0] for line in shown if line.split()[0].isalpha()] == labels


def test_the_api_shown_runs(guided: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(guided)
    names: dict[str, object] = {}
    exec(block("api", "python"), names)
    track = names["track"]
    assert str(track.time.dtype) == "datetime64[us]"  # type: ignore[attr-defined]
    assert names["done"].files[0].known == len(DRILLED)  # type: ignore[attr-defined]


if __name__ == "__main__":
    README.write_text(TABLE.sub(lambda _: command_table(), README.read_text("utf-8")), "utf-8")
