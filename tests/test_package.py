"""The wheel, installed and used outside the checkout."""

import csv
import io
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The wheel as its own build backend makes it; needs no network."""
    out = tmp_path_factory.mktemp("wheel")
    script = f"from hatchling.build import build_wheel; print(build_wheel({str(out)!r}))"
    built = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return out / built.stdout.split()[-1]


@pytest.fixture(scope="module")
def away(wheel, tmp_path_factory):
    """Runs the installed command in a folder that is not the checkout."""
    here = tmp_path_factory.mktemp("away")
    where = here / "site"
    subprocess.run(
        [
            *(sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index"),
            *("--disable-pip-version-check", "--target", str(where), str(wheel)),
        ],
        check=True,
        cwd=here,
    )
    settings = {
        **{name: value for name, value in os.environ.items() if not name.startswith("OPLOG_")},
        "PYTHONPATH": str(where),
        "OPLOG_CONFIG": str(here / "configuration"),
        "COLUMNS": "80",
    }

    def run(*arguments: str, code: int = 0) -> str:
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=here,
            env=settings,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == code, done.stdout + done.stderr
        return done.stdout

    assert str(where) in run("-c", "import oplog; print(oplog.__file__)")
    return run


def test_the_wheel_holds_what_it_should(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    assert "oplog/py.typed" in names
    for folder in ("queries", "sample_tracks"):
        kept = {
            p.relative_to(ROOT / folder).as_posix()
            for p in (ROOT / folder).rglob("*")
            if p.is_file() and "__pycache__" not in p.parts
        }
        assert kept, f"{folder} is empty"
        assert {f"oplog/_{folder}/{name}" for name in kept} <= names
    templates = ROOT / "oplog" / "sheets" / "pages" / "templates"
    assert {p.relative_to(ROOT).as_posix() for p in templates.iterdir()} <= names
    assert not [n for n in names if n.startswith(("tests/", "benchmarks/"))]
    assert zipfile.Path(wheel).joinpath("oplog/py.typed").exists()


def test_the_command_is_there(away):
    assert "Usage" in away("-m", "oplog", "--help")


def test_every_question_is_there_and_runs(away):
    script = (
        "from oplog.fold import fold\n"
        "from oplog.query import ask, questions\n"
        "for name in questions():\n    print(name, len(ask(fold([]), name).rows))"
    )
    here = {path.stem for path in (ROOT / "queries").glob("*.sql")}
    assert {line.split()[0] for line in away("-c", script).splitlines()} == here


def test_the_sample_and_a_question_from_the_installed_wheel(away):
    shown = away("-m", "oplog", "sample", "farm")
    assert " ha" in shown
    text = away("-m", "oplog", "--log", "farm", "ask", "hectares_per_day", "--csv")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) > 10
    assert all(float(row["worked_ha"]) >= 0 for row in rows if row["worked_ha"])
    assert {row["field"] for row in rows}
    page = away("-m", "oplog", "--log", "farm", "sheet", "season", "--out", "-")
    assert page.startswith("<!DOCTYPE html>")
