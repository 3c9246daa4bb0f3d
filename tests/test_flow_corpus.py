"""Every recorded file is taken in, or answered with a clear statement of why not."""

from __future__ import annotations

from pathlib import Path

import pytest

from oplog import flow, log
from oplog.flow import Told
from tests.corpus import CORPUS, corpus
from tests.evening import now

FOLDERS = ("gpx_gpxpy", "nmea_gpsd")
ABOUT = {".md", ".chk", ""}
"""Endings of what is no recording: notices, and reference decodes."""


def recordings() -> list[Path]:
    return [
        p for f in FOLDERS for p in sorted(CORPUS.joinpath(f).glob("*")) if p.suffix not in ABOUT
    ]


@pytest.mark.parametrize("path", recordings(), ids=lambda p: p.name)
def test_a_recording_is_taken_or_answered(farm: log.Log, path: Path) -> None:
    before = {e.event_id for e in farm.events()}
    done = flow.import_files(farm, [(path.name, path.read_bytes())], Told(machine="blue"))
    (file,) = done.files
    if file.refused:
        assert path.name in file.refused
        assert file.refused.endswith(("Nothing was added.", "NAME."))
        assert {e.event_id for e in farm.events()} == before
    else:
        assert file.new > 1
        for d in now(farm).days:
            assert d.tracked_s == pytest.approx(d.field_s + d.road_s + d.elsewhere_s, abs=0.01)


def test_there_are_recordings() -> None:
    assert len(list(corpus(FOLDERS[0]).glob("*.gpx"))) > 20
    assert len(list(corpus(FOLDERS[1]).glob("*.log"))) > 20
