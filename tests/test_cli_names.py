"""Names become no paths: files that are named after fields, jobs and customers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.cli._shared import file_stem
from oplog.flow import Told
from tests.evening import DAY, DRILLED, Run
from tests.tracks import geojson, gpx, square

STRANGE = ("../../etc/passwd", "..", "a/b\\c:d", "CON", "'; DROP TABLE visits; --", "=1+1",
           "🚜", "N" * 300, "nul\x00", '"><b>', "%s")  # fmt: skip


@pytest.mark.parametrize("name", STRANGE)
def test_a_file_named_after_anything_can_be_written_on_any_system(name: str) -> None:
    stem = file_stem("field", name, 2027)
    assert re.fullmatch(r"field-[\w.-]+-2027", stem)
    assert len(stem) < 100
    assert ".." not in stem


def test_two_names_are_two_files() -> None:
    names = [
        *STRANGE,
        "a b\\c:d",
        "a/b/c:d",
        "1+1",
        "N" * 299,
        "Long Acre",
        "Long-Acre!",
        "etc/passwd",
    ]
    assert len({file_stem("job", n) for n in names}) == len(names)
    assert file_stem("field", "Long Acre", 2027) == "field-Long-Acre-2027"


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
