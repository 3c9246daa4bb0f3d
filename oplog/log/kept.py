"""What the log keeps beside its events: cleaned fixes, and the files as the device wrote them.

Both are named `<digest of what is in it>-<digest of the file's own bytes>`, so that any change of
any byte shows, and two files that hold the same under different bytes never share a name. What
stands in the place of something else, because part of that may not be kept (it is private, or was
forgotten), has the digest of the other in front: `<other>-<what is in it>-<own bytes>`.

Columns of a fixes file, one row per fix in the order of the track. All but the time are whole
numbers of 32 bits (64 where a value is too large for that); a person with DuckDB gets positions
back by adding steps up:

    SELECT time, sum(lat_step) OVER w / 1e7 AS lat, sum(lon_step) OVER w / 1e7 AS lon
    FROM read_parquet('fixes/....parquet', file_row_number = true)
    WINDOW w AS (ORDER BY file_row_number)

    time        timestamp[us, UTC]; null where the file gave none
    lat_step    from the fix before (the first from 0). [1e-7 degree]
    lon_step    the same for the longitude. [1e-7 degree]
    speed       over ground; null where not given. [mm/s]
    course      clockwise from true north; null where not given. [0.01 degree]
    hdop        null where not given. [0.01]
    quality     NMEA GGA code, -1 where not stated
    segment     number of the stretch without a break
"""

from __future__ import annotations

import hashlib
import re
from typing import Any, NamedTuple

import numpy as np

from oplog.events import text
from oplog.log._arrow import nulls, whole_numbers
from oplog.log.disk import digest
from oplog.log.reading import UNREADABLE
from oplog.track import MISSING, SCALES, Track, as_float, fixed, track

MAX_RAW_BYTES = 4 << 30
"""No imported file is larger than this when unpacked. [byte]"""

LEVEL = 9
"""Of zstd for fixes: a seventh of the time of 15, and a twentieth larger."""

TOLD_BY = 8192
"""Fixes by which it is told how a column packs best."""

_NAME = re.compile(
    r"(?:[0-9a-f]{32}-){1,2}[0-9a-f]{32}\.parquet|(?:[0-9a-f]{64}-){1,2}[0-9a-f]{32}\.zst"
)
_NUMBERS = {"speed": "speed_m_s", "course": "course_deg", "hdop": "hdop"}


class Name(NamedTuple):
    """What the name of a fixes or raw file says.

    stands_for: digest of the track or file by which it is asked for. content: digest of what is
    in it, the same unless it stands in the place of another. own: digest of its bytes.
    """

    stands_for: str
    content: str
    own: str


class Packed(NamedTuple):
    """A track or an imported file as the log keeps it. content: digest of what is in it."""

    content: str
    data: bytes


def packed(content: Track | bytes, digest: str | None = None) -> Packed:
    """A track or the bytes of an imported file, packed: nearly all of the work of keeping them.

    digest: of it, where it has been worked out already.
    """
    if isinstance(content, Track):
        return Packed(digest or content.digest(), encode_fixes(content))
    return Packed(digest or sha256(content), encode_raw(content))


def parts(name: str) -> Name:
    """What a name says that `is_kept`."""
    digests = stem(name).split("-")
    return Name(digests[0], digests[-2], digests[-1])


def stem(name: str) -> str:
    """A name without its ending, as entries hold it (see EntryWritten.stored)."""
    return name.split(".")[0]


def fixes_name(track_digest: str, data: bytes, rest: str | None = None) -> str:
    """Name of the file that holds a track, or what is left of it, of digest `rest`."""
    return f"{track_digest}-{rest + '-' if rest else ''}{digest(data)}.parquet"


def raw_name(file_digest: str, data: bytes, kept: str | None = None) -> str:
    """Name of the file that holds the bytes of an imported file, or those of digest `kept` that
    are kept in their place."""
    return f"{file_digest}-{kept + '-' if kept else ''}{digest(data)}.zst"


def is_kept(name: str) -> bool:
    """Whether a name is one that the log gives to a fixes or raw file."""
    return _NAME.fullmatch(name) is not None


def as_named(name: str, data: bytes) -> bool:
    """Whether a fixes or raw file still has the bytes that its name speaks of."""
    return is_kept(name) and parts(name).own == digest(data)


def holds(content: str, data: bytes) -> bool:
    """Whether the bytes of a fixes or raw file hold what they should: a track, or an imported
    file, of this digest."""
    try:
        if len(content) == 64:
            return sha256(decode_raw(data)) == content
        return decode_fixes(data).digest() == content
    except UNREADABLE:
        return False


def encode_fixes(fixes: Track) -> bytes:
    """A track as Parquet: a few bytes a fix."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    moments = pa.array(fixes.time.astype("datetime64[us]"))
    columns: dict[str, Any] = {"time": moments.view(pa.timestamp("us", tz="UTC"))}
    for name in ("lat", "lon"):
        values = fixed(getattr(fixes, name), SCALES[name])
        columns[f"{name}_step"] = _whole(_steps(values), values == MISSING)
    for name, column in _NUMBERS.items():
        values = fixed(getattr(fixes, column), SCALES[column])
        columns[name] = _whole(values, values == MISSING)
    columns["quality"] = pa.array(fixes.quality.astype(np.int32))
    columns["segment"] = pa.array(fixes.segment.astype(np.int32))
    table = pa.table(columns)
    sink = pa.BufferOutputStream()
    writer = pq.ParquetWriter(
        sink,
        table.schema,
        compression="zstd",
        compression_level=LEVEL,
        use_dictionary=False,
        # Measured on recorded tracks: times pack best as differences of differences, the rest as
        # it is or packed, whichever is smaller (1.7 to 3.3 bytes a fix in all; 1.7 to 3.7 with all
        # as it is, 2.2 to 5.6 with everything packed). Byte by byte they would be a twentieth
        # smaller again, but no DuckDB before 2 reads whole numbers so.
        column_encoding={
            n: "DELTA_BINARY_PACKED" if n == "time" else _smaller(c) for n, c in columns.items()
        },
        write_statistics=False,
        write_page_checksum=True,
        store_schema=False,
    )
    writer.write_table(table, row_group_size=max(1, len(fixes)))
    writer.add_key_value_metadata({"oplog": "1", "device": text(fixes.device)})
    writer.close()
    return bytes(sink.getvalue())


def decode_fixes(data: bytes) -> Track:
    """The track of a fixes file.

    Raises: pyarrow's errors, KeyError or ValueError for bytes that are not such a file.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    file = pq.ParquetFile(pa.BufferReader(data), page_checksum_verification=True)
    table = file.read(use_threads=False)
    device = (file.metadata.metadata or {}).get(b"device", b"").decode()
    whole = {name: _numbers(table[name]) for name in table.column_names}
    time = whole["time"]
    return track(
        np.where(time == MISSING, np.datetime64("NaT"), time.astype("datetime64[us]")),
        _position(whole["lat_step"], SCALES["lat"]),
        _position(whole["lon_step"], SCALES["lon"]),
        speed_m_s=as_float(whole["speed"], SCALES["speed_m_s"]),
        course_deg=as_float(whole["course"], SCALES["course_deg"]),
        hdop=as_float(whole["hdop"], SCALES["hdop"]),
        quality=whole["quality"],
        segment=whole["segment"],
        device=device,
    )


def encode_raw(data: bytes) -> bytes:
    """The bytes of an imported file, compressed (a zstd frame that any zstd opens). At the quickest
    level: a tenth of the time of level 9, and a seventh larger."""
    import pyarrow as pa

    return bytes(pa.Codec("zstd", compression_level=1).compress(data, asbytes=True))


def decode_raw(data: bytes) -> bytes:
    """The bytes of an imported file. Raises: OSError for bytes that are not a zstd frame."""
    import pyarrow as pa

    with pa.CompressedInputStream(pa.BufferReader(data), "zstd") as stream:
        return bytes(stream.read(MAX_RAW_BYTES))


def sha256(data: bytes) -> str:
    """The digest by which an imported file is known: 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def _smaller(column: Any) -> str:
    """How the whole numbers of a column take less room, told from its middle: as they are, or as
    differences, packed."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    if column.null_count == len(column):
        return "PLAIN"
    middle = pa.table({"": column.slice(max((len(column) - TOLD_BY) // 2, 0), TOLD_BY)})
    sizes = {}
    for encoding in ("PLAIN", "DELTA_BINARY_PACKED"):
        sink = pa.BufferOutputStream()
        pq.write_table(
            middle, sink, compression="zstd", compression_level=LEVEL, use_dictionary=False,
            column_encoding=encoding, write_statistics=False, store_schema=False,
        )  # fmt: skip
        sizes[encoding] = len(sink.getvalue())
    return min(sizes, key=lambda e: sizes[e])


def _steps(values: Any) -> Any:
    known = values != MISSING
    steps = np.full_like(values, MISSING)
    steps[known] = np.diff(values[known], prepend=0)
    return steps


def _position(steps: Any, scale: float) -> Any:
    missing = steps == MISSING
    return np.where(missing, np.nan, np.cumsum(np.where(missing, 0, steps)) / scale)


def _whole(values: Any, missing: Any) -> Any:
    import pyarrow as pa

    known = np.where(missing, 0, values)
    small = not len(known) or (known.min() >= -(2**31) and known.max() < 2**31)
    whole = known.astype(np.int32) if small else known
    return pa.array(whole, mask=missing) if missing.any() else pa.array(whole)


def _numbers(column: Any) -> Any:
    array = column.combine_chunks() if column.num_chunks != 1 else column.chunk(0)
    return np.where(nulls(array), MISSING, whole_numbers(array).astype(np.int64))
