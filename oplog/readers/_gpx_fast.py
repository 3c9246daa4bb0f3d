"""Track points read many at a time, where they are written plainly and all alike.

Takes a stretch of a document that should hold nothing but whole `trkpt` elements and breaks
between segments, checks that it does, and reads it as arrays. Whatever it does not fully
understand it refuses by answering None; the stream in gpx.py then reads the same stretch.

What is checked: every tag of every point is byte for byte that of a point that expat has parsed,
every point's own tag is `<trkpt lat="..." lon="...">` (or lon before lat), and there is no
comment, CDATA, entity, control character or letter beyond ASCII.
"""

from __future__ import annotations

from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from oplog.readers import _digits, _times, _xml
from oplog.readers._digits import Bytes, Ints, Mask
from oplog.readers._rows import Rows, join, unstated
from oplog.records import dataclass
from oplog.track import NOT_STATED

VALUES = ("time", "speed", "course", "hdop", "fix")
QUALITY = {"none": 0, "2d": 1, "3d": 1, "dgps": 2, "pps": 3}
MOST_TEMPLATES = 32
LONGEST_TAG = 32
LONGEST_TIME = 40

_OPEN = np.frombuffer(b"<trkpt l", "<u8")[0]
_LAT, _LON = (np.frombuffer(b'pt %s="' % name, "<u8")[0] for name in (b"lat", b"lon"))
_THEN_LON, _THEN_LAT = (np.frombuffer(b'" %s="\0' % name, "<u8")[0] for name in (b"lon", b"lat"))
_SEVEN = np.uint64(0x00FF_FFFF_FFFF_FFFF)


@dataclass
class Tags:
    """Tags of a stretch: where each begins and ends (`<` and `>`), and whether a point does."""

    begin: Ints
    end: Ints
    point: Mask


def rows(text: bytes, start: int, stop: int, segment: int) -> Rows | None:
    """The points of text[start:stop], which begins with `<trkpt`; None if refused."""
    block = np.frombuffer(text, np.uint8, stop - start, start)
    if text.find(b"&", start, stop) >= 0 or not _plain(block):
        return None
    tags = _tags(block)
    if tags is None:
        return None
    opens = np.flatnonzero(tags.point)
    if not len(opens) or opens[0] != 0:
        return None
    marks = np.flatnonzero(block == 34)
    if len(marks) != 4 * len(opens):
        return None
    quotes = marks.reshape(-1, 4)
    if not _plain_points(block, tags, opens, quotes):
        return None
    if block[8] == ord("o"):  # longitude first
        quotes = quotes[:, [2, 3, 0, 1]]
    found = _by_template(block, tags, opens, quotes, start)
    if found is not None:
        begun = found.segment  # behind each point
        found.segment = (segment + np.cumsum(begun) - begun).astype(np.int32)
    return found


def _plain(block: Bytes) -> bool:
    """Neither letters beyond ASCII nor control characters, and no tag of another nature."""
    odd = block[(block - np.uint8(32)) > 94]
    return bool(((odd == 9) | (odd == 10) | (odd == 13)).all())


def _tags(block: Bytes) -> Tags | None:
    """All tags, or None where `<` and `>` do not take turns or a tag is too long to compare."""
    begin, end = np.flatnonzero(block == 60), np.flatnonzero(block == 62)
    if not len(begin) or len(begin) != len(end):
        return None
    if not (begin < end).all() or not (end[:-1] < begin[1:]).all():
        return None
    # What begins nearer to the end is no point's tag: that would have to end first.
    point = _words(block, np.minimum(begin, len(block) - 8)) == _OPEN
    if int(np.where(point, 0, end - begin + 1).max()) > LONGEST_TAG:
        return None
    return Tags(begin, end, point)


def _bytes_of(block: Bytes, tags: Tags) -> list[NDArray[np.uint64]]:
    """The bytes of each tag, and its length, as words by which two tags can be told apart; a
    point's own tag is like any other's."""
    begin, end, point = tags.begin, tags.end, tags.point
    length = end - begin + 1
    padded = np.concatenate([np.zeros(32, np.uint8), block, np.zeros(32, np.uint8)])
    keep = np.minimum(length, 8).astype(np.uint64) * np.uint64(8)
    mask = (np.uint64(1) << (keep % np.uint64(64))) - np.uint64(1) | _all(keep == 64)
    head = _words(padded, begin + 32) & mask
    words = [np.where(point, _OPEN, head), _words(padded, end + 25), length.astype(np.uint64)]
    if int(np.where(point, 0, length).max()) > 16:
        words += [_words(padded, begin + 40), _words(padded, end + 17)]
    for k in range(1, len(words)):
        words[k] = np.where(point, 0, words[k])
    words[1] = np.where(length < 8, 0, words[1])
    for k in range(3, len(words)):
        words[k] = np.where(length <= 16, 0, words[k])
    return words


def _all(mask: Mask) -> NDArray[np.uint64]:
    return np.where(mask, np.uint64(0xFFFF_FFFF_FFFF_FFFF), np.uint64(0))


def _words(block: Bytes, at: Ints) -> NDArray[np.uint64]:
    """The eight bytes from each place on as one number. All lie within the block."""
    words = np.ndarray(len(block) - 7, dtype="<u8", buffer=block, strides=(1,))
    return np.asarray(words[at])


def _plain_points(block: Bytes, tags: Tags, opens: Ints, quotes: Ints) -> bool:
    """Whether all are written `<trkpt lat="..." lon="...">`, or all with longitude first."""
    begin, end = tags.begin[opens], tags.end[opens]
    first, then = (_LAT, _THEN_LON) if block[8] == ord("a") else (_LON, _THEN_LAT)
    return bool(
        (quotes[:, 0] == begin + 11).all()
        and (_words(block, begin + 4) == first).all()
        and (quotes[:, 2] == quotes[:, 1] + 6).all()
        and ((_words(block, quotes[:, 1]) & _SEVEN) == then).all()
        and (quotes[:, 3] + 1 == end).all()
    )


def _by_template(block: Bytes, tags: Tags, opens: Ints, quotes: Ints, start: int) -> Rows | None:
    """Group the points by their tags, let expat read one of each group, and read the others."""
    if _all_alike(block, tags, opens):
        size = len(tags.begin) // len(opens)
        fields = _fields_of(block, tags, 0, size)
        found = None if fields is None else _read(block, tags, opens, quotes, fields)
        if found is not None:
            found.where = tags.begin[opens] + start
        return found
    words = _bytes_of(block, tags)
    count = np.diff(np.append(opens, len(tags.begin)))
    left = np.arange(len(opens))
    parts, order = [], []
    for _ in range(MOST_TEMPLATES):
        size = int(count[left[0]])
        alike = left[count[left] == size]
        alike = alike[_same_tags(words, opens[alike], size)]
        fields = _fields_of(block, tags, int(opens[alike[0]]), size)
        if fields is None:
            return None
        part = _read(block, tags, opens[alike], quotes[alike], fields)
        if part is None:
            return None
        part.where = tags.begin[opens[alike]] + start
        parts.append(part)
        order.append(alike)
        if len(alike) == len(left):
            break
        left = np.setdiff1d(left, alike, assume_unique=True)
    else:
        return None
    if len(parts) == 1:
        return parts[0]
    return join(parts).take(np.argsort(np.concatenate(order), kind="stable"))


def _all_alike(block: Bytes, tags: Tags, opens: Ints) -> bool:
    """Whether all points have tag for tag the bytes of the first one, as nearly always."""
    size = len(tags.begin) // len(opens)
    if len(tags.begin) != size * len(opens) or not (np.diff(opens) == size).all():
        return False
    return all(_one_tag(block, tags.begin[k::size], tags.end[k::size]) for k in range(1, size))


def _one_tag(block: Bytes, begin: Ints, end: Ints) -> bool:
    """Whether tags, none of which comes first, are byte for byte the same."""
    length = int(end[0] - begin[0]) + 1
    if not (end - begin == length - 1).all():
        return False
    # The last eight bytes, or as many of them as are the tag's; and those before by eights.
    last = _words(block, end - 7) >> np.uint64(8 * max(8 - length, 0))
    if not (last == last[0]).all():
        return False
    for before in range(0, length - 8, 8):
        word = _words(block, begin + before)
        if not (word == word[0]).all():
            return False
    return True


def _same_tags(words: list[NDArray[np.uint64]], opens: Ints, size: int) -> Mask:
    """Which points have tag for tag the bytes of the first one."""
    same = np.ones(len(opens), bool)
    for word in words:
        for k in range(1, size):
            here = word[opens + k]
            same &= here == here[0]
    return same


def _fields_of(block: Bytes, tags: Tags, at: int, size: int) -> dict[str, int] | None:
    """Which tag of the point opens the value of which name, as expat sees one such point."""
    stop = tags.end[at + size - 1] + 1
    text = b"<trk><trkseg>" + block[tags.begin[at] : stop].tobytes() + b"</trkseg></trk>"
    seen: list[tuple[str, bool]] = []
    parser = _xml.new_parser(
        lambda tag, _: seen.append((tag.rpartition(":")[2], True)),
        lambda tag: seen.append((tag.rpartition(":")[2], False)),
        lambda _: None,
    )
    try:
        parser.Parse(text, True)
    except expat.ExpatError:
        return None
    if len(seen) != size + 4 or b"/>" in text or b"<?" in text:
        return None
    return _leaves(seen[2:-2])


def _leaves(seen: list[tuple[str, bool]]) -> dict[str, int] | None:
    """Places of the values among the tags of a point (name, whether it opens); None if refused.

    Under `trkseg`: how many new segments begin behind the point.
    """
    if ("trkpt", False) not in seen:
        return None
    last = seen.index(("trkpt", False))
    after = seen[last + 1 :]
    found = {"trkseg": len(after) // 2}
    if after != [("trkseg", False), ("trkseg", True)] * found["trkseg"]:
        return None
    seen = seen[: last + 1]
    depth = 0
    for k, (name, opens) in enumerate(seen):
        depth += 1 if opens else -1
        if (name == "trkpt") != (k in (0, len(seen) - 1)) or depth + 3 > _xml.DEEPEST:
            return None
        if opens and is_value(name, depth):
            if name in found or seen[k + 1] != (name, False):
                return None
            found[name] = k
    return found


def is_value(name: str, depth: int) -> bool:
    """Whether an element of a point is read; depth: 2 for the point's own children.

    Only time has to be the point's own: extensions hold times of other things.
    """
    return name in VALUES and (name != "time" or depth == 2)


def _read(
    block: Bytes, tags: Tags, opens: Ints, quotes: Ints, fields: dict[str, int]
) -> Rows | None:
    n = len(opens)
    columns = unstated(n)
    columns["segment"] = np.full(n, fields["trkseg"], np.int32)
    time_us, became = np.full(n, _times.NAT), np.full(n, _times.MISSING, np.int8)
    for name in VALUES:
        if name not in fields:
            continue
        k = fields[name]
        begin, end = tags.end[opens + k] + 1, tags.begin[opens + k + 1]
        if name == "time":
            packed = _digits.texts(block, begin, end, LONGEST_TIME)
            if packed is None:
                return None
            time_us, became = _times.parse_bytes(packed)
        elif name == "fix":
            packed = _digits.texts(block, begin, end, LONGEST_TIME)
            if packed is None:
                return None
            columns["quality"] = _quality(packed)
        else:
            key = {"speed": "speed_m_s", "course": "course_deg", "hdop": "hdop"}[name]
            columns[key] = _digits.decimals(block, begin, end)
    lat = _digits.decimals(block, quotes[:, 0] + 1, quotes[:, 1])
    lon = _digits.decimals(block, quotes[:, 2] + 1, quotes[:, 3])
    return Rows(time_us, became, lat, lon, **columns, where=tags.begin[opens])


def _quality(packed: Bytes) -> NDArray[np.int8]:
    """GGA codes of the words that GPX has for a fix."""
    said = packed.view(f"S{packed.shape[1]}").ravel()
    words, inverse = np.unique(said, return_inverse=True)
    codes = [QUALITY.get(w.decode("ascii").strip().lower(), NOT_STATED) for w in words]
    return np.array(codes, np.int8)[inverse]
