"""Whether a file speaks of a place: in any letters, and in degrees, minutes and seconds."""

from __future__ import annotations

import pytest

from oplog.readers.mentions import mentions

BOX = (0.19, 52.09, 0.21, 52.11)
ELSEWHERE = (3.19, 52.09, 3.21, 52.11)


@pytest.mark.parametrize("code", ["utf-8", "utf-16", "utf-16-le", "utf-16-be", "latin-1"])
@pytest.mark.parametrize(
    "text",
    [
        '<wpt lat="52.1001" lon="0.2001"/>',
        "$GPGGA,080000,5206.0000,N,00012.0000,E,1",
        "home,N 52° 6.0000',E 0° 12.0000'",
        "home,52°06'00.0\"N,0°12'00.0\"E",
        "home;52 06.0000;0 12.0000",
    ],
)
def test_a_place_is_found_in_any_letters(text, code):
    assert mentions(text.encode(code), [BOX])
    assert not mentions(text.encode(code), [ELSEWHERE])


def test_times_of_day_are_no_places():
    day = "".join(f"2026-05-04T{h:02d}:{m:02d}:00Z,x\n" for h in range(24) for m in range(60))
    assert not mentions(day.encode(), [(12.0, 23.0, 12.5, 23.5)])
