"""Packed files that are cut off or damaged: all that lies before the damage comes out."""

from __future__ import annotations

import gzip
import io
import random
import zipfile

import pytest

from oplog.readers import _inflate, read

STAMPS = [f"2024-05-02T06:{k // 60:02d}:{k % 60:02d}Z" for k in range(600)]
CHANCE = random.Random(5)
POINTS = [
    f'<trkpt lat="{52 + CHANCE.random():.9f}" lon="0.{k:03d}"><time>{t}</time></trkpt>\n'
    for k, t in enumerate(STAMPS)
]
GPX = ("<gpx><trk><trkseg>\n" + "".join(POINTS) + "</trkseg></trk></gpx>").encode()


def zipped(*files: bytes, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for k, data in enumerate(files):
            archive.writestr(f"{k}.gpx", data)
    return out.getvalue()


def streamed(*files: bytes) -> bytes:
    """A zip as it is written to a pipe: sizes stand behind each file."""

    class Pipe(io.RawIOBase):
        held = b""

        def writable(self) -> bool:
            return True

        def write(self, piece: bytes) -> int:  # type: ignore[override]
            self.held += bytes(piece)
            return len(piece)

    pipe = Pipe()
    with zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as archive:
        for k, data in enumerate(files):
            archive.writestr(f"{k}.gpx", data)
    return pipe.held


def came_in(data: bytes) -> tuple[int, list[str]]:
    track, problems = read(data, name="x")
    return len(track), [p.message for p in problems]


PACKED = gzip.compress(GPX)
CUT = "the compressed file is cut off or damaged"


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
@pytest.mark.parametrize("pack", [gzip.compress, zipped, streamed])
def test_what_lies_before_the_cut_comes_out(pack, share):
    packed = pack(GPX)
    count, said = came_in(packed[: int(len(packed) * share)])
    assert 0.9 * share * 600 < count < 600
    assert any("cut off or damaged" in s for s in said)


@pytest.mark.parametrize(
    "packed",
    [PACKED[:-8] + b"\0" * 8, PACKED[:-3], PACKED + b"left over from an older file"],
    ids=["wrong checksum", "cut in the checksum", "something behind"],
)
def test_a_wrong_end_costs_no_fix(packed):
    assert came_in(packed) == (600, [CUT])


def test_padding_behind_is_no_damage():
    assert came_in(PACKED + b"\0" * 512) == (600, [])


def test_members_one_behind_another_are_one_file():
    assert came_in(b"".join(gzip.compress(GPX[k : k + 500]) for k in range(0, len(GPX), 500))) == (
        600,
        [],
    )


def test_damage_in_the_middle_costs_what_comes_after():
    packed = bytearray(PACKED)
    middle = len(packed) // 2
    packed[middle : middle + 40] = b"\xff" * 40
    count, said = came_in(bytes(packed))
    assert count >= 200
    assert CUT in said


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2])
def test_every_way_of_packing(method):
    assert came_in(zipped(GPX, method=method)) == (600, [])


def test_a_zip_without_its_list_of_files():
    half = GPX[: GPX.index(b"<trkpt", len(GPX) // 2)] + b"</trkseg></trk></gpx>"
    rest = b"<gpx><trk><trkseg>" + GPX[GPX.index(b"<trkpt", len(GPX) // 2) :]
    for pack in (streamed, zipped, lambda *files: zipped(*files, method=zipfile.ZIP_STORED)):
        whole = pack(half, rest)
        count, said = came_in(whole[: whole.index(b"PK\x01\x02")])
        assert count == 600
        assert said == ["the zip file is cut off or damaged: its list of files is gone"]


def test_a_member_whose_checksum_differs_is_read_and_told():
    packed = bytearray(zipped(GPX))
    at = packed.index(b"PK\x01\x02") + 16
    packed[at] ^= 1
    count, said = came_in(bytes(packed))
    assert (count, said) == (600, ["0.gpx in the archive is cut off or damaged"])


def test_little_is_held_of_what_unpacks_to_much():
    """Pieces come out small however much one byte unpacks to."""
    bomb = gzip.compress(b"\0" * (64 << 20))
    assert max(map(len, _inflate.gunzipped(bomb))) <= 1 << 20


def test_pictures_in_a_kmz_are_part_of_it():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("doc.kml", "<kml><Placemark/></kml>")
        archive.writestr("files/icon.png", b"\x89PNG\r\n")
    _, problems = read(out.getvalue(), name="a.kmz")
    assert not any("picture" in p.message for p in problems)


@pytest.mark.parametrize(
    ("begin", "name"),
    [
        (b"7z\xbc\xaf'\x1c", "7z"),
        (b"Rar!\x1a\x07", "rar"),
        (b"BZh91AY&SY", "bzip2"),
        (b"\xfd7zXZ\0", "xz"),
        (b"\x28\xb5\x2f\xfd", "zstd"),
    ],
)
def test_archives_of_other_kinds_are_named(begin, name):
    _, problems = read(begin + b"\0\1" * 40, name="x")
    assert problems[0].message == f"an archive of a kind not opened here ({name}): unpack it first"


@pytest.mark.parametrize(
    "members",
    [("[Content_Types].xml", "xl/workbook.xml", "docProps/app.xml"), ("mimetype", "content.xml")],
)
def test_a_spreadsheet_is_one_thing_and_told_what_to_do(members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for member in members:
            archive.writestr(member, "<a/>")
    track, problems = read(out.getvalue(), name="a.xlsx")
    assert len(track) == 0
    assert [p.message for p in problems] == [
        "a document or spreadsheet: save its table as CSV and import that"
    ]


def test_a_settings_file_is_no_json():
    for text in (b"[autorun]\nopen=a.exe\n", b"{not json at all"):
        assert "JSON" not in read(text, name="x")[1][0].message
    for text in (b'{"a": 1}', b"[1, 2]", b' [ {"a": []} ]', b"[]", b"{}"):
        assert "JSON" in read(text, name="x")[1][0].message


def test_what_a_file_manager_puts_beside_each_file_is_passed_over():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in ("stick/._a.gpx", "__MACOSX/._a.gpx", "stick/.DS_Store", "stick/Thumbs.db"):
            archive.writestr(name, b"\0\5\x16\7\0\2\0\0Mac OS X")
        archive.writestr("stick/a.gpx", GPX)
    assert came_in(out.getvalue()) == (600, [])
