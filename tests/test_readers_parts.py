"""Files too large to be held at once: read in parts, and every fix of them."""

from __future__ import annotations

import io
import os
import tracemalloc
import zipfile

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oplog import flow, log
from oplog.cli._files import contents
from oplog.cli._import import found
from oplog.flow.taking import FileTaken, Told
from oplog.kit import KitItem
from oplog.readers import _parts, read
from oplog.track import Track, concat
from tests.evening import DRILLED
from tests.test_readers_nmea import clocks, rmc
from tests.tracks import gpx

TIMES = [f"2024-05-02T06:{k // 60:02d}:{k % 60:02d}Z" for k in range(900)]
PLACES = [(52.1 + k * 1e-5, 0.2 + k * 1e-5) for k in range(900)]


def made(kind: str) -> bytes:
    both = list(zip(TIMES, PLACES, strict=True))
    if kind == "german csv":
        table = made("csv").decode().split("\n", 1)[1]
        return f"# Gerät\nZeit (UTC),Breite,Länge\n{table}".encode()
    if kind == "csv":
        return ("time,lat,lon\n" + "".join(f"{t},{a:.5f},{o:.5f}\n" for t, (a, o) in both)).encode()
    if kind == "nmea":
        return "".join(
            rmc(t[11:19].replace(":", ""), f"{6 + k / 100:07.4f}") for k, (t, _) in enumerate(both)
        ).encode()
    tag = "x:trkpt" if kind == "prefixed" else "trkpt"
    gx = "x:" if kind == "prefixed" else ""
    points = "".join(
        f'<{tag} lat="{a:.5f}" lon="{o:.5f}"><{gx}time>{t}</{gx}time></{tag}>\n'
        for t, (a, o) in both
    )
    return (
        f'<?xml version="1.0"?><{gx}gpx creator="box"><{gx}trk><{gx}name>Day 1</{gx}name>'
        f"<{gx}trkseg>{points}</{gx}trkseg></{gx}trk></{gx}gpx>"
    ).encode()


KINDS = ["gpx", "prefixed", "nmea", "csv", "german csv"]


def in_parts(data: bytes) -> list[bytes]:
    parts = _parts.parts(lambda at, count: data[at : at + count], len(data))
    assert parts is not None
    return list(parts)


def together(parts: list[bytes]) -> Track:
    return concat([read(p, name="x")[0] for p in parts])


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=8, deadline=None)
@given(size=st.integers(4096, 30_000))
def test_parts_hold_every_fix_once(kind, size):
    data = made(kind)
    whole, _ = read(data)
    before, _parts.PART_BYTES = _parts.PART_BYTES, size
    try:
        parts = in_parts(data)
    finally:
        _parts.PART_BYTES = before
    assert len(parts) > 1
    found = together(parts)
    for column in ("time", "lat", "lon"):
        np.testing.assert_array_equal(getattr(found, column), getattr(whole, column))
    assert found.device == whole.device
    assert [p for part in parts for p in read(part)[1]] == []


@pytest.mark.parametrize("kind", KINDS)
def test_a_hole_of_zero_bytes_costs_the_fix_it_begins_in(kind, monkeypatch):
    data = made(kind)
    monkeypatch.setattr(_parts, "PART_BYTES", 10_000)
    cut = data.index(b"\n", len(data) // 2) + 1
    track = together(in_parts(data[:cut] + b"\0" * 95_000 + data[cut:]))
    assert 898 <= len(np.unique(track.time)) <= 900


@pytest.mark.parametrize("data", [b"<kml><Placemark/></kml>", b"PK\3\4" + b"x" * 99, b"\xff\xfe<"])
def test_what_cannot_be_cut_is_no_parts(data):
    assert _parts.parts(lambda at, count: data[at : at + count], len(data)) is None


def test_a_large_file_is_imported_in_parts(farm: log.Log, tmp_path, monkeypatch):
    whole = flow.import_files(farm, [("day.gpx", gpx(DRILLED))], Told(machine="blue"))
    monkeypatch.setattr(_parts, "WHOLE_BYTES", 100_000)
    monkeypatch.setattr(_parts, "PART_BYTES", 100_000)
    file = tmp_path / "day.gpx"
    file.write_bytes(gpx(DRILLED))
    unread: list[FileTaken] = []
    done = flow.import_files(farm, contents([str(file)], unread), Told(machine="blue"))
    assert len(done.files) > 1
    assert done.files[0].name == "day.gpx, part 1"
    assert sum(f.known for f in done.files) == whole.files[0].new
    assert unread == []


def test_a_large_file_of_another_kind_is_refused_with_the_reason(tmp_path):
    file = tmp_path / "big.kml"
    with file.open("wb") as out:
        out.write(b"<kml>")
        out.truncate(2_100_000_000)
    unread: list[FileTaken] = []
    tracemalloc.start()
    assert list(contents([str(file)], unread)) == []
    assert tracemalloc.get_traced_memory()[1] < 50_000_000
    tracemalloc.stop()
    assert unread[0].refused.startswith("big.kml holds 2.1 GB and is none of the kinds")


def test_a_large_sparse_file_is_read_in_bounded_memory(tmp_path):
    file = tmp_path / "big.nmea"
    with file.open("wb") as out:
        out.write("".join(rmc(c) for c in clocks(20)).encode())
        out.truncate(300_000_000)
    unread: list[FileTaken] = []
    tracemalloc.start()
    fixes = [len(read(data, name=name)[0]) for name, data in contents([str(file)], unread)]
    assert tracemalloc.get_traced_memory()[1] < 4 * _parts.PART_BYTES
    tracemalloc.stop()
    assert sum(fixes) == 20


def test_one_file_that_cannot_be_read_stops_no_other(tmp_path):
    good = tmp_path / "good.gpx"
    good.write_bytes(gpx(DRILLED))
    (tmp_path / "gone.gpx").symlink_to(tmp_path / "nowhere")
    unread: list[FileTaken] = []
    files = [str(tmp_path / "gone.gpx"), str(good)]
    assert [name for name, _ in contents(files, unread)] == ["good.gpx"]
    assert "gone.gpx cannot be read: no such file or directory. If a program" in unread[0].refused


def test_a_device_in_use_is_told(tmp_path, monkeypatch):
    file = tmp_path / "in_use.gpx"
    file.write_bytes(b"x")

    def busy(_):
        raise OSError(16, "Device or resource busy")

    monkeypatch.setattr("pathlib.Path.read_bytes", busy)
    unread: list[FileTaken] = []
    assert list(contents([str(file)], unread)) == []
    assert (
        "cannot be read: device or resource busy. If a program or the device itself is using"
        in (unread[0].refused)
    )


def test_an_archive_of_two_machines_is_told_apart(farm: log.Log, tmp_path):
    flow.add_kit(farm, KitItem("red", "tractor", True))
    for machine, away_m in (("blue", 0), ("red", 900)):
        track = gpx([(t, x + away_m, y) for t, x, y in DRILLED[:400]], creator=f"{machine} box")
        flow.import_file(farm, track, f"{machine}.gpx", Told(machine=machine))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for machine, away_m in (("blue", 0), ("red", 900)):
            track = [(t, x + away_m, y) for t, x, y in DRILLED[:900]]
            archive.writestr(f"{machine}.gpx", gpx(track, creator=f"{machine} box"))
        archive.writestr("readme.txt", "two tracks")
    (tmp_path / "stick.zip").write_bytes(out.getvalue())
    unread: list[FileTaken] = []
    done = flow.import_files(farm, contents([str(tmp_path / "stick.zip")], unread))
    assert [(f.name, f.machine, f.new) for f in done.files] == [
        ("stick.zip:blue.gpx", "blue", 500),
        ("stick.zip:readme.txt", "", 0),
        ("stick.zip:red.gpx", "red", 500),
    ]


def test_an_archive_of_one_file_is_that_file(tmp_path):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("day.gpx", gpx(DRILLED[:50]))
    (tmp_path / "day.zip").write_bytes(out.getvalue())
    assert list(contents([str(tmp_path / "day.zip")], [])) == [("day.zip", out.getvalue())]


def test_what_is_wrong_with_an_archive_is_told_beside_its_files(tmp_path):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.gpx", gpx(DRILLED[:50]))
        archive.writestr("b.gpx", gpx(DRILLED[50:100]))
        archive.writestr("c.gpx", b"\0" * (90 << 20))
    (tmp_path / "day.zip").write_bytes(out.getvalue())
    unread: list[FileTaken] = []
    names = [name for name, _ in contents([str(tmp_path / "day.zip")], unread)]
    assert names == ["day.zip:a.gpx", "day.zip:b.gpx"]
    assert [f.refused for f in unread] == [
        "day.zip: c.gpx in the archive unpacks to a size no track has; refused. "
        "Nothing was added from it."
    ]


def test_a_folder_with_other_things_in_it(tmp_path, monkeypatch):
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "a.gpx").write_bytes(gpx(DRILLED))
    (tmp_path / ".hidden").write_bytes(b"x")
    (tmp_path / "locked").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "gone").symlink_to(tmp_path / "nowhere")
    listed = os.scandir

    def scandir(path):
        if str(path).endswith("locked"):
            raise PermissionError(13, "Permission denied", str(path))
        return listed(path)

    monkeypatch.setattr(os, "scandir", scandir)
    unread: list[FileTaken] = []
    files = list(found([str(tmp_path)], unread))
    assert [os.path.relpath(f, tmp_path) for f in files] == ["gone", "sub/a.gpx"]
    assert [name for name, _ in contents(files, unread)] == ["a.gpx"]
    assert ["locked cannot be read: permission denied" in f.refused for f in unread] == [1, 0]
    assert "gone cannot be read: no such file" in unread[1].refused
