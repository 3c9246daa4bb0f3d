"""Names become no paths: files that are named after fields, jobs and customers."""

from __future__ import annotations

import errno
import os
import re
import types
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.cli import _sheet
from oplog.cli._shared import file_stem
from oplog.flow import Told
from oplog.flow.writing_out import put_files
from oplog.log import disk
from tests.evening import DAY, DRILLED, Run
from tests.tracks import geojson, gpx, square

STRANGE = ("../../etc/passwd", "..", "a/b\\c:d", "CON", "'; DROP TABLE visits; --", "=1+1",
           "🚜", "N" * 300, "nul\x00", '"><b>', "%s")  # fmt: skip


@pytest.mark.parametrize("name", STRANGE)
def test_a_file_named_after_anything_can_be_written_on_any_system(name: str) -> None:
    stem = file_stem("field", name, 2027)
    assert re.fullmatch(r"field-[\w-]+-2027", stem)
    assert len(stem) < 100


@pytest.mark.parametrize("name", ["con.x", "AUX", "com1.", "nul.tar", "LPT9", "Prn"])
def test_no_file_is_a_device_of_windows(name: str) -> None:
    """Which goes by what stands before the first dot, in any case, whatever comes after it."""
    for stem in (file_stem(name, "tramlines"), file_stem("field", name)):
        base = f"{stem}.gpx".split(".")[0]
        assert base.casefold() not in DEVICES


DEVICES = {"con", "prn", "aux", "nul", *(f"{k}{n}" for k in ("com", "lpt") for n in "0123456789")}


def test_two_names_are_two_files() -> None:
    names = [
        *STRANGE,
        "a b\\c:d",
        "a/b/c:d",
        "1+1",
        "N" * 299,
        "Long Acre",
        "Long.Acre",
        "Long-Acre!",
        "etc/passwd",
    ]
    assert len({file_stem("job", n) for n in names}) == len(names)
    assert file_stem("field", "Long Acre", 2027) == "field-Long-Acre-2027"


def test_a_page_that_a_virus_scanner_holds_for_a_moment_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries: list[object] = []

    def blocked(source: Path, target: Path) -> None:
        tries.append(target)
        if len(tries) % 3:
            raise PermissionError(errno.EACCES, "in use")
        os.replace(source, target)

    real = {k: v for k, v in vars(os).items() if not k.startswith("__")}
    windows = types.SimpleNamespace(**(real | {"name": "nt", "replace": blocked}))
    monkeypatch.setattr(disk, "os", windows)
    _sheet.put("<html>", str(tmp_path / "day.html"))
    put_files(str(tmp_path), {"lines.gpx": b"<gpx>"})
    assert {p.name for p in tmp_path.iterdir()} >= {"day.html", "lines.gpx"}
    assert len(tries) == 6


@pytest.mark.parametrize("name", ["../../up", "a\\b:c", "N" * 300])
def test_sheets_and_lines_stay_in_the_folder(
    name: str, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    of = log.create(tmp_path / "deep" / "log", "Hill Farm", "Europe/London")
    flow.add_land(of, geojson({name: square(0, 0, 100, 200)}), "f.geojson", today=DAY)
    run("--log", of.path, "kit", "add", "blue", "--kind", "tractor")
    run("--log", of.path, "kit", "add", "drill", "--kind", "drill", "--width", "4m")
    flow.import_file(of, gpx(DRILLED), "day.gpx", Told(machine="blue", implement="drill"))
    flow.plan(of, name, "drilling", fields=[name], today=DAY)
    here = tmp_path / "deep" / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    elsewhere = tmp_path / "deep", tmp_path, of.path
    before = [sorted(p.iterdir()) for p in elsewhere]
    sheets = ("sheet", "field", name), ("sheet", "job", name)
    for words in (*sheets, ("lines", name, "--boom", "24m")):
        said = run("--log", of.path, *words)
        assert said.code == 0, said.err
    assert {p.suffix for p in here.iterdir()} == {".html", ".gpx", ".geojson"}
    assert [sorted(p.iterdir()) for p in elsewhere] == before
